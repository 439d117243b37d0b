"""A second opinion on a plan: every rule checked again, everything it counts counted again.

Shares no code with the planner, only the values it speaks in (`Plan`, `Pluck`, `Harp`). What it does not
judge is whether a better plan exists.

Conventions: whole milliseconds; strings by index from the lowest; state 0 is down, 1 up. One reading is the
checker's own: a flip's slack ends where anything first stands in its way, even if there were room again
further on, because a player who is late is late by every amount up to it.

References: the planning problem, sections 1 and 3 to 6.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from harpkeys.harp.model import STATE_NAMES, Player
from harpkeys.plan.model import Flip, Plan
from harpkeys.score.pluck import Hand, Pluck

HANDS: tuple[Hand, Hand] = ("left", "right")
_REASONS = ("below", "above", "no lever", "clash", "no time")


def violations(
    plan: Plan,
    plucks: Sequence[Pluck],
    *,
    first_key_alters: Sequence[int | Fraction] | None = None,
    weights: Sequence[int] | None = None,
) -> tuple[str, ...]:
    """Everything that is wrong with a plan.

    Args:
        plan: the plan.
        plucks: the plucks it is for, in performed order.
        first_key_alters: alteration of each letter C to B in the first key signature; where given, strings
            that are never played must stand as it has them where they can.
        weights: what each pluck counts when lost, where the plan was made with such weights: its bound is
            then held against the weighted sums. The criteria count every lost pluck once all the same.

    Returns:
        One sentence for each fault, () for a plan that is as it should be. Where the plan does not even fit
        the plucks and the harp, only those faults are named.

    Raises:
        Nothing: whatever is wrong with the plan is told in the sentences.
    """
    misfits = tuple(_misfits(plan, plucks))
    if misfits:
        return misfits
    facts = _gather(plan, plucks)
    return (
        *_wrong_plays(plan, plucks),
        *_wrong_reasons(plan, plucks, facts),
        *_needed_in_both_states(plan, facts),
        *_wrong_starts(plan, facts, first_key_alters),
        *_wrong_order(plan),
        *_wrong_neighbours(plan, plucks, facts),
        *_wrong_changes(plan, plucks, facts),
        *_wrong_times(plan, plucks, facts),
        *_wrong_counts(plan, plucks, facts),
        *_wrong_claims(plan, plucks, weights),
    )


@dataclass(frozen=True, slots=True)
class _Facts:
    """What follows from the plays alone.

    Attributes:
        played: for each string the plucks played at each onset, by onset.
        onsets: for each string those onsets in order.
        busy: for each hand when it is at the strings, in order.
    """

    played: tuple[dict[int, list[int]], ...]
    onsets: tuple[list[int], ...]
    busy: dict[Hand, list[tuple[int, int]]]


def _gather(plan: Plan, plucks: Sequence[Pluck]) -> _Facts:
    played: tuple[dict[int, list[int]], ...] = tuple({} for _ in plan.harp.strings)
    for pluck, play in zip(plucks, plan.plays, strict=True):
        if play is not None:
            played[play[0]].setdefault(pluck.onset, []).append(pluck.id)
    busy = {hand: _busy(plucks, hand, plan.player) for hand in HANDS}
    return _Facts(played, tuple(sorted(at) for at in played), busy)


def _busy(plucks: Sequence[Pluck], hand: Hand, player: Player) -> list[tuple[int, int]]:
    """Times at which a hand is at the strings, overlapping ones joined, so that both ends ascend."""
    times = sorted(
        (pluck.onset - player.place, (pluck.end if pluck.sustained else pluck.onset) + player.leave)
        for pluck in plucks
        if pluck.hand == hand
    )
    joined: list[tuple[int, int]] = []
    for begin, end in times:
        if begin == end and player.flip == 0:
            continue
        if joined and begin < joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _misfits(plan: Plan, plucks: Sequence[Pluck]) -> Iterator[str]:
    """Lengths, numbers and names that are out of range."""
    strings, count = len(plan.harp.strings), len(plucks)
    for what, has, wants in (
        ("plays", len(plan.plays), count),
        ("lost", len(plan.lost), count),
        ("starting", len(plan.starting), strings),
    ):
        if has != wants:
            yield f"The plan's {what} has {has} entries, not {wants}."
    for place, pluck in enumerate(plucks):
        if pluck.id != place:
            yield f"The pluck at place {place} has the id {pluck.id}."
    for place, play in enumerate(plan.plays):
        if play is not None and (play[0] not in range(strings) or play[1] not in (0, 1)):
            yield f"Pluck {place} is played on {play}, which is no string and state of this harp."
    for index, state in enumerate(plan.starting):
        if state not in (0, 1):
            yield f"String {index} starts in the state {state}, which is neither down nor up."
    for place, flip in enumerate(plan.flips):
        if flip.string not in range(strings) or flip.to not in (0, 1) or flip.hand not in HANDS:
            yield f"The flip at place {place} names a string, state or hand that does not exist."
        if flip.after not in range(count) or flip.before not in range(count):
            yield f"The flip at place {place} names a pluck that does not exist."


def _named(plan: Plan, index: int) -> str:
    return f"string {plan.harp.strings[index].name}"


def _candidates(plan: Plan, pluck: Pluck) -> list[tuple[int, int]]:
    """Every string and state that sounds a pluck's pitch."""
    midi = pluck.pitch.midi
    return [
        (index, state)
        for index, string in enumerate(plan.harp.strings)
        for state in ((0, 1) if string.lever else (0,))
        if string.down + state == midi
    ]


def _wrong_plays(plan: Plan, plucks: Sequence[Pluck]) -> Iterator[str]:
    """Plucks played where they do not sound, or both played and lost, or neither."""
    for pluck, play, lost in zip(plucks, plan.plays, plan.lost, strict=True):
        if play is None:
            if lost is None:
                yield f"Pluck {pluck.id} is neither played nor lost."
            continue
        if lost is not None:
            yield f"Pluck {pluck.id} is played, but also lost for '{lost}'."
        index, state = play
        string = plan.harp.strings[index]
        if state == 1 and not string.lever:
            yield f"Pluck {pluck.id} is played on {_named(plan, index)} up, which has no lever."
        elif string.down + state != pluck.pitch.midi:
            yield (
                f"Pluck {pluck.id} is {pluck.pitch}, but {_named(plan, index)} {STATE_NAMES[state]} "
                f"sounds {string.sounding(state)}."
            )


def _wrong_reasons(plan: Plan, plucks: Sequence[Pluck], facts: _Facts) -> Iterator[str]:
    """Lost plucks whose reason does not hold."""
    for pluck, play, reason in zip(plucks, plan.plays, plan.lost, strict=True):
        if play is not None or reason is None:
            continue
        if reason not in _REASONS:
            yield f"Pluck {pluck.id} is lost for '{reason}', which is no reason."
        elif reason not in _possible_reasons(plan, plucks, pluck, facts):
            yield f"Pluck {pluck.id} is lost for '{reason}', which does not hold."


def _possible_reasons(plan: Plan, plucks: Sequence[Pluck], pluck: Pluck, facts: _Facts) -> set[str]:
    """The reasons that may be given for a lost pluck.

    Where a letter is outside the strings but its pitch inside (B## under a harp that begins at C), or the
    other way round, either is accepted.
    """
    candidates = _candidates(plan, pluck)
    if not candidates:
        strings = plan.harp.strings
        lowest, highest = strings[0], strings[-1]
        letter, midi = pluck.pitch.diatonic, pluck.pitch.midi
        under = (letter < lowest.diatonic, midi < lowest.down)
        over = (letter > highest.diatonic, midi > (highest.down if highest.up is None else highest.up))
        names = [("below", any(under)), ("above", any(over)), ("no lever", not (all(under) or all(over)))]
        return {name for name, holds in names if holds}
    blocked = [_stands_otherwise(plan, facts, index, pluck.onset, state) for index, state in candidates]
    reasons = {"clash"} if any(blocked) else set()
    if all(blocked) and not _go_together(plan, [other for other in plucks if other.onset == pluck.onset]):
        return reasons
    return {*reasons, "no time"}


def _go_together(plan: Plan, chord: Sequence[Pluck], states: Mapping[int, int] | None = None) -> bool:
    """Whether every pluck of one onset that has a candidate could be played, were there time for any flip."""
    states = states or {}
    if not chord:
        return True
    candidates = _candidates(plan, chord[0])
    return not candidates or any(
        states.get(index, state) == state and _go_together(plan, chord[1:], {**states, index: state})
        for index, state in candidates
    )


def _stands_otherwise(plan: Plan, facts: _Facts, index: int, onset: int, state: int) -> bool:
    """Whether a string is played in the other state at an onset."""
    return any(plan.plays[i] == (index, 1 - state) for i in facts.played[index].get(onset, ()))


def _needed_in_both_states(plan: Plan, facts: _Facts) -> Iterator[str]:
    for index, at in enumerate(facts.played):
        for ids in at.values():
            other = next((i for i in ids if plan.plays[i] != plan.plays[ids[0]]), None)
            if other is not None:
                yield (
                    f"Plucks {ids[0]} and {other} are plucked together and need {_named(plan, index)} in "
                    "both states."
                )


def _wrong_starts(
    plan: Plan, facts: _Facts, first_key_alters: Sequence[int | Fraction] | None
) -> Iterator[str]:
    """Starting states that do not suit the first pluck of a string, its lever or the first key."""
    for index, string in enumerate(plan.harp.strings):
        start, onsets = plan.starting[index], facts.onsets[index]
        if start == 1 and not string.lever:
            yield f"S{_named(plan, index)[1:]} starts up, but has no lever."
        if onsets:
            first = facts.played[index][onsets[0]][0]
            if plan.plays[first] != (index, start):
                yield (
                    f"S{_named(plan, index)[1:]} starts {STATE_NAMES[start]}, but its first pluck, "
                    f"{first}, needs the other state."
                )
        elif first_key_alters is not None:
            raised = first_key_alters[string.diatonic % 7] - string.tuned
            if raised in ((0, 1) if string.lever else (0,)) and start != raised:
                yield (
                    f"S{_named(plan, index)[1:]} is never plucked and starts {STATE_NAMES[start]}, "
                    "not as the first key signature has it."
                )


def _wrong_order(plan: Plan) -> Iterator[str]:
    for place, flip in enumerate(plan.flips):
        if flip.id != place:
            yield f"The flip at place {place} has the id {flip.id}."
    for earlier, later in pairwise(plan.flips):
        if later.start < earlier.start:
            yield f"Flip {later.id} starts before flip {earlier.id}, which stands in front of it."


def _wrong_neighbours(plan: Plan, plucks: Sequence[Pluck], facts: _Facts) -> Iterator[str]:
    """Flips whose named plucks are not the last before them and the next after them on the string."""
    for flip in plan.flips:
        name = _named(plan, flip.string)
        for side, pluck, state in (("follow", flip.after, 1 - flip.to), ("prepare", flip.before, flip.to)):
            if plan.plays[pluck] != (flip.string, state):
                yield (
                    f"Flip {flip.id} is said to {side} pluck {pluck}, which is not played on {name} "
                    f"{STATE_NAMES[state]}."
                )
        first, last = plucks[flip.after].onset, plucks[flip.before].onset
        onsets = facts.onsets[flip.string]
        if first >= last:
            yield f"Flip {flip.id} prepares pluck {flip.before}, which is not after pluck {flip.after}."
        else:
            for onset in onsets[bisect_right(onsets, first) : bisect_left(onsets, last)]:
                passed = facts.played[flip.string][onset][0]
                yield f"Flip {flip.id} passes over pluck {passed}, which is played on {name} in between."
        together = facts.played[flip.string].get(first, [])
        longest = max((plucks[i].end for i in together), default=plucks[flip.after].end)
        if plucks[flip.after].end < longest:
            yield f"Flip {flip.id} names pluck {flip.after}, but a pluck beside it rings longer."


def _wrong_changes(plan: Plan, plucks: Sequence[Pluck], facts: _Facts) -> Iterator[str]:
    """Changes of state without exactly one flip, and flips without a change of state."""
    made: dict[tuple[int, int, int], int] = {}
    for flip in plan.flips:
        where = (flip.string, plucks[flip.after].onset, plucks[flip.before].onset)
        made[where] = made.get(where, 0) + 1
    for index, onsets in enumerate(facts.onsets):
        for first, last in pairwise(onsets):
            one, other = facts.played[index][first][-1], facts.played[index][last][0]
            needed = int(plan.plays[one] != plan.plays[other])
            count = made.get((index, first, last), 0)
            if count != needed:
                yield (
                    f"Between plucks {one} and {other} {_named(plan, index)} is flipped {count} times, "
                    f"not {needed}."
                )


def _wrong_times(plan: Plan, plucks: Sequence[Pluck], facts: _Facts) -> Iterator[str]:
    """Flips out of their window or in somebody's way, and cuts and slacks that are wrong."""
    length = plan.player.flip
    starts = {hand: sorted(flip.start for flip in plan.flips if flip.hand == hand) for hand in HANDS}
    for flip in plan.flips:
        faults = tuple(_misplaced(flip, plan, plucks, facts, starts[flip.hand]))
        yield from faults
        ringing, due = _ringing_until(flip, plucks, facts), plucks[flip.before].onset
        is_cut = flip.start < ringing
        if flip.is_cut != is_cut:
            yield f"Flip {flip.id} is {'a cut' if is_cut else 'clean'}, but the plan has it otherwise."
        cut = min(ringing, due) - flip.start if is_cut else 0
        if flip.cut != cut:
            yield f"Flip {flip.id} cuts off {cut} ms, not {flip.cut}."
        if not faults:
            slack = _slack(flip, due, length, facts.busy[flip.hand], starts[flip.hand])
            if flip.slack != slack:
                yield f"Flip {flip.id} could start {slack} ms later, not {flip.slack}."


def _ringing_until(flip: Flip, plucks: Sequence[Pluck], facts: _Facts) -> int:
    """The latest end of the plucks played on the string at the onset a flip follows."""
    together = facts.played[flip.string].get(plucks[flip.after].onset, [])
    return max(plucks[i].end for i in (flip.after, *together))


def _misplaced(
    flip: Flip, plan: Plan, plucks: Sequence[Pluck], facts: _Facts, starts: list[int]
) -> Iterator[str]:
    """A flip outside its window, on top of its hand's plucks, or on top of another flip of that hand."""
    start, over = flip.start, flip.start + plan.player.flip
    onset, ringing = plucks[flip.after].onset, _ringing_until(flip, plucks, facts)
    earliest = onset + (ringing - onset + 1) // 2
    if start < earliest:
        yield f"Flip {flip.id} starts at {start}, before half of pluck {flip.after} has rung at {earliest}."
    if over > plucks[flip.before].onset:
        yield f"Flip {flip.id} is over at {over}, after pluck {flip.before} at {plucks[flip.before].onset}."
    busy = facts.busy[flip.hand]
    last = bisect_left(busy, (over,)) - 1
    if last >= 0 and busy[last][1] > start:
        begin, end = busy[last]
        yield f"Flip {flip.id} needs the {flip.hand} hand, which is busy from {begin} to {end}."
    if over > start:
        place = bisect_right(starts, start)
        before = starts[place - 2] if place > 1 else None
        if before is not None and before + plan.player.flip > start:
            yield f"Flip {flip.id} overlaps a flip of the {flip.hand} hand that starts at {before}."


def _slack(flip: Flip, due: int, length: int, busy: list[tuple[int, int]], starts: list[int]) -> int:
    """How much later a well placed flip could start: up to its pluck, its hand's next pluck or next flip."""
    over = flip.start + length
    limit = due
    following = bisect_left(busy, (over,))
    if following < len(busy):
        limit = min(limit, busy[following][0])
    other = bisect_left(starts, over)
    if length > 0 and other < len(starts):
        limit = min(limit, starts[other])
    return limit - over


def _wrong_counts(plan: Plan, plucks: Sequence[Pluck], facts: _Facts) -> Iterator[str]:
    """Criteria that do not agree with the plan."""
    lost = [pluck.kind == "auxiliary" for pluck in plucks if plan.plays[pluck.id] is None]
    homes = [
        plan.harp.strings[play[0]].diatonic == pluck.pitch.diatonic
        for pluck, play in zip(plucks, plan.plays, strict=True)
        if play is not None
    ]
    cuts = sum(flip.start < _ringing_until(flip, plucks, facts) for flip in plan.flips)
    criteria = plan.criteria
    for name, counted, stated in (
        ("lost plucks", lost.count(False), criteria.lost),
        ("lost auxiliaries", lost.count(True), criteria.lost_auxiliaries),
        ("cuts", cuts, criteria.cuts),
        ("flips", len(plan.flips), criteria.flips),
        ("off-string plucks", homes.count(False), criteria.off_string),
        ("flips by the right hand", sum(f.hand == "right" for f in plan.flips), criteria.right_hand),
    ):
        if counted != stated:
            yield f"The plan has {counted} {name}, not {stated}."


def _wrong_claims(plan: Plan, plucks: Sequence[Pluck], weights: Sequence[int] | None) -> Iterator[str]:
    """A bound above the plan's own cost, and a claim of proof that does not agree with it."""
    key, bound = plan.criteria.key, tuple(plan.bound)
    if weights is not None:
        lost = [
            (pluck.kind == "auxiliary", weights[pluck.id]) for pluck in plucks if plan.plays[pluck.id] is None
        ]
        key = (sum(w for aux, w in lost if not aux), sum(w for aux, w in lost if aux), *key[2:])
    if bound > key:
        yield f"The bound {bound} is above what the plan costs, {key}."
    if plan.proved != (bound == key):
        yield f"The plan is {'' if plan.proved else 'not '}called proved, but its bound says otherwise."

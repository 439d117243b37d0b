"""The lever-planning problem written down twice more: for CP-SAT (OR-tools) and as plain enumeration.

Nothing here imports the planner or the checker; only the values (`Harp`, `Player`, `Pluck`, `Plan`) are
shared. Both follow the planning problem, sections 1 and 3 to 5, word by word; speed is not a concern.

What both have in common, and why it is right:

* For one onset a string is played in at most one state, so "the last pluck played on s before a flip" is an
  onset on s, and its latest end is that of the plucks *played* there: losing the longest of them, or moving
  it to another string, lets the string go earlier.
* A flip is only considered between two onsets at which a string is played in opposite states and between
  which it is not played: exactly one flip there, none anywhere else. More would be legal, but cannot help:
  between two plucks that follow each other on a string, flips alternate, so all but one (or all, where both
  plucks need the same state) can be struck out in pairs. What is left still ends in the right state, leaves
  the hands freer, cuts no more, and there are at least two flips fewer, which lowers the fourth criterion
  without touching the first three. Before the first pluck played on a string no flip is needed either: the
  starting state is free.
* Hence no flip starts before the first pluck of the piece, and the rule that everything is free before it
  needs no clause of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Any

from harpkeys.harp.model import Harp, Player
from harpkeys.plan.model import Criteria, Flip, LostReason, Plan
from harpkeys.score.pluck import Hand, Pluck

Key = tuple[int, int, int, int, int, int]
Candidate = tuple[int, int]
HANDS: tuple[Hand, Hand] = ("left", "right")


def candidates_of(pluck: Pluck, harp: Harp) -> list[Candidate]:
    """Every (string, state) that sounds the pluck's pitch; none for a microtone."""
    found = []
    for index, string in enumerate(harp.strings):
        if string.down == pluck.pitch.midi:
            found.append((index, 0))
        if string.lever and string.down + 1 == pluck.pitch.midi:
            found.append((index, 1))
    return found


def busy_times(plucks: Sequence[Pluck], hand: Hand, player: Player) -> list[tuple[int, int]]:
    """When a hand is at the strings: one interval for each of its plucks, lost ones included."""
    return [
        (pluck.onset - player.place, (pluck.end if pluck.sustained else pluck.onset) + player.leave)
        for pluck in plucks
        if pluck.hand == hand
    ]


def release_of(pluck: Pluck) -> int:
    """The earliest moment at which a flip after this pluck may start."""
    length = pluck.end - pluck.onset
    return pluck.onset + (length + 1) // 2


# --- CP-SAT -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Change:
    """A flip that would be made if its two onsets were consecutive on the string."""

    string: int
    to: int
    after: int
    before: int
    made: Any
    by: dict[Hand, Any]
    start: Any
    cut: Any


class _Model:
    """Variables, rules and the six criteria of one problem."""

    def __init__(self, plucks: Sequence[Pluck], harp: Harp, player: Player, weights: Sequence[int]) -> None:
        from ortools.sat.python import cp_model

        self.model = cp_model.CpModel()
        self.plucks, self.harp, self.player = plucks, harp, player
        self.plays: list[dict[Candidate, Any]] = []
        for i, pluck in enumerate(plucks):
            chosen = {c: self.model.new_bool_var(f"play {i} {c}") for c in candidates_of(pluck, harp)}
            self.model.add_at_most_one(chosen.values())
            self.plays.append(chosen)
        self.changes = [change for s in range(len(harp.strings)) for change in self._changes_of(s)]
        for hand in HANDS:
            self._keep_hand(hand)
        self.criteria = self._criteria(weights)

    def _changes_of(self, string: int) -> Iterator[_Change]:
        """Tie the string's plays at every onset together and yield its possible flips."""
        onsets = sorted(
            {p.onset for p, c in zip(self.plucks, self.plays, strict=True) for s, _ in c if s == string}
        )
        played: dict[tuple[int, int], Any] = {}
        for onset in onsets:
            for state in (0, 1):
                those = [c[string, state] for _, c in self._at(onset) if (string, state) in c]
                played[onset, state] = self.model.new_bool_var(f"played {string} {onset} {state}")
                self.model.add_max_equality(played[onset, state], [*those, 0])
            self.model.add_at_most_one(played[onset, 0], played[onset, 1])
        for a, after in enumerate(onsets):
            for b in range(a + 1, len(onsets)):
                for to in (0, 1):
                    if self._possible(string, after, 1 - to) and self._possible(string, onsets[b], to):
                        between = [played[u, x].negated() for u in onsets[a + 1 : b] for x in (0, 1)]
                        needs = [played[after, 1 - to], played[onsets[b], to], *between]
                        yield self._change(string, to, after, onsets[b], needs)

    def _at(self, onset: int) -> list[tuple[Pluck, dict[Candidate, Any]]]:
        return [(p, c) for p, c in zip(self.plucks, self.plays, strict=True) if p.onset == onset]

    def _possible(self, string: int, onset: int, state: int) -> bool:
        return any((string, state) in chosen for _, chosen in self._at(onset))

    def _change(self, string: int, to: int, after: int, before: int, needs: list[Any]) -> _Change:
        """One possible flip: made exactly if all `needs` hold, by one hand, in its window."""
        model, name = self.model, f"{string} {after} {before} {to}"
        made, cut = model.new_bool_var(f"made {name}"), model.new_bool_var(f"cut {name}")
        model.add_bool_and(needs).only_enforce_if(made)
        model.add_bool_or([made, *(need.negated() for need in needs)])
        by: dict[Hand, Any] = {hand: model.new_bool_var(f"{hand} {name}") for hand in HANDS}
        model.add(sum(by.values()) == made)
        start = model.new_int_var(after, before, f"start {name}")
        model.add(start + self.player.flip <= before).only_enforce_if(made)
        for pluck, chosen in self._at(after):
            if (string, 1 - to) in chosen:
                here = [made, chosen[string, 1 - to]]
                model.add(start >= release_of(pluck)).only_enforce_if(here)
                model.add(start >= pluck.end).only_enforce_if([*here, cut.negated()])
        return _Change(string, to, after, before, made, by, start, cut)

    def _keep_hand(self, hand: Hand) -> None:
        """Flips of a hand lie in its free stretches and do not overlap each other."""
        from ortools.sat.python import cp_model

        free = _free_starts(busy_times(self.plucks, hand, self.player), self.player.flip)
        jobs = []
        for change in self.changes:
            present = change.by[hand]
            self.model.add_linear_expression_in_domain(
                change.start, cp_model.Domain.from_intervals(free)
            ).only_enforce_if(present)
            jobs.append(
                self.model.new_optional_fixed_size_interval_var(
                    change.start, self.player.flip, present, "flip"
                )
            )
        self.model.add_no_overlap(jobs)

    def _criteria(self, weights: Sequence[int]) -> list[Any]:
        """The six sums, in order."""
        lost: list[Any] = [0]
        lost_auxiliaries: list[Any] = [0]
        off: list[Any] = [0]
        for pluck, chosen, weight in zip(self.plucks, self.plays, weights, strict=True):
            (lost_auxiliaries if pluck.kind == "auxiliary" else lost).append(
                weight * (1 - sum(chosen.values()))
            )
            off += [
                var for (s, _), var in chosen.items() if self.harp.strings[s].diatonic != pluck.pitch.diatonic
            ]
        flips = sum(change.made for change in self.changes)
        cuts = sum(change.cut for change in self.changes)
        right = sum(change.by["right"] for change in self.changes)
        return [sum(lost), sum(lost_auxiliaries), cuts, flips + sum(off), flips, right]


def _free_starts(busy: list[tuple[int, int]], length: int) -> list[list[int]]:
    """Inclusive intervals of starts that keep [start, start + length] out of every busy time."""
    far = 1 << 40
    free, time = [], -far
    for begin, end in sorted(busy):
        if begin - length >= time:
            free.append([time, begin - length])
        time = max(time, end)
    free.append([time, far])
    return free


def solve_exactly(
    plucks: Sequence[Pluck],
    harp: Harp,
    player: Player,
    weights: Sequence[int] | None = None,
    time_limit: float = 60.0,
) -> Key | None:
    """The six criteria of a best plan, proved by CP-SAT; None where it ran out of time.

    With weights, the first two are weighted sums.
    """
    solved = _solve(plucks, harp, player, weights, time_limit)
    return solved[0] if solved else None


def _solve(
    plucks: Sequence[Pluck], harp: Harp, player: Player, weights: Sequence[int] | None, time_limit: float
) -> tuple[Key, _Model, Any] | None:
    """Minimise the criteria one after the other, each held at its least value from then on."""
    from ortools.sat.python import cp_model

    model = _Model(plucks, harp, player, weights if weights is not None else [1] * len(plucks))
    least: list[int] = []
    solver = cp_model.CpSolver()
    for criterion in model.criteria:
        if isinstance(criterion, int):
            least.append(criterion)
            continue
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        # The relaxation sees at once how many flips a crowded gap can hold.
        solver.parameters.linearization_level = 2
        solver.parameters.max_time_in_seconds = time_limit
        model.model.minimize(criterion)
        if solver.solve(model.model) != cp_model.OPTIMAL:
            return None
        least.append(round(solver.objective_value))
        model.model.add(criterion == least[-1])
    a, b, c, d, e, f = least
    return (a, b, c, d, e, f), model, solver


def exact_plan(
    plucks: Sequence[Pluck],
    harp: Harp,
    player: Player,
    weights: Sequence[int] | None = None,
    time_limit: float = 60.0,
) -> Plan | None:
    """A best plan as CP-SAT found it, filled in as a `Plan`; None where it ran out of time."""
    solved = _solve(plucks, harp, player, weights, time_limit)
    if solved is None:
        return None
    key, model, solver = solved
    plays = [
        next((candidate for candidate, var in chosen.items() if solver.boolean_value(var)), None)
        for chosen in model.plays
    ]
    moves: list[Move] = []
    for change in model.changes:
        for hand, by in change.by.items():
            if solver.boolean_value(by):
                moves.append(
                    (solver.value(change.start), change.string, change.to, hand, change.after, change.before)
                )
    return written_out(plucks, harp, player, plays, moves, key)


Move = tuple[int, int, int, Hand, int, int]
"""Start, string, state brought, hand, onset of the pluck before, onset of the pluck after."""


def written_out(
    plucks: Sequence[Pluck],
    harp: Harp,
    player: Player,
    plays: Sequence[Candidate | None],
    moves: Sequence[Move],
    bound: Key,
) -> Plan:
    """A plan with everything that follows from its plays and moves worked out the slow way."""
    busy = {hand: busy_times(plucks, hand, player) for hand in HANDS}
    moves = sorted(moves)
    flips = []
    for number, move in enumerate(moves):
        start, string, to, hand, after, before = move
        last = [p for p in plucks if p.onset == after and plays[p.id] == (string, 1 - to)]
        ringing = max(last, key=lambda p: p.end)
        following = next(p for p in plucks if p.onset == before and plays[p.id] == (string, to))
        others = [m[0] for k, m in enumerate(moves) if k != number and m[3] == hand]
        slack = 0
        while stands(start + slack + 1, player.flip, before, busy[hand], others):
            slack += 1
        cut = min(ringing.end, before) - start if start < ringing.end else 0
        flips.append(
            Flip(number, string, to, hand, start, ringing.id, following.id, cut, start < ringing.end, slack)
        )
    starting = [0] * len(harp.strings)
    for pluck in sorted(plucks, key=lambda p: -p.onset):
        play = plays[pluck.id]
        if play is not None:
            starting[play[0]] = play[1]
    lost = tuple(_reason(pluck, plucks, harp, plays) for pluck in plucks)
    criteria = counted(plucks, harp, plays, flips)
    return Plan(harp, player, tuple(plays), lost, tuple(starting), tuple(flips), criteria, bound, proved=True)


def stands(start: int, length: int, due: int, busy: Sequence[tuple[int, int]], others: Sequence[int]) -> bool:
    """Whether a flip begun at `start` is in time and collides with nothing; touching is no collision."""
    over = start + length
    return (
        over <= due
        and all(over <= begin or start >= end for begin, end in busy)
        and all(over <= other or start >= other + length for other in others)
    )


def counted(
    plucks: Sequence[Pluck], harp: Harp, plays: Sequence[Candidate | None], flips: Sequence[Flip]
) -> Criteria:
    """The six criteria of a plan, every loss counted once."""
    lost = [p for p in plucks if plays[p.id] is None]
    off = [
        p
        for p in plucks
        if (play := plays[p.id]) is not None and harp.strings[play[0]].diatonic != p.pitch.diatonic
    ]
    return Criteria(
        lost=sum(p.kind != "auxiliary" for p in lost),
        lost_auxiliaries=sum(p.kind == "auxiliary" for p in lost),
        cuts=sum(flip.is_cut for flip in flips),
        flips=len(flips),
        off_string=len(off),
        right_hand=sum(flip.hand == "right" for flip in flips),
    )


def _reason(
    pluck: Pluck, plucks: Sequence[Pluck], harp: Harp, plays: Sequence[Candidate | None]
) -> LostReason | None:
    """Why a pluck is lost, by section 6; a string's name decides what is outside the strings."""
    if plays[pluck.id] is not None:
        return None
    candidates = candidates_of(pluck, harp)
    if not candidates:
        if pluck.pitch.diatonic < harp.strings[0].diatonic:
            return "below"
        return "above" if pluck.pitch.diatonic > harp.strings[-1].diatonic else "no lever"
    together = {plays[p.id] for p in plucks if p.onset == pluck.onset}
    return "clash" if all((s, 1 - x) in together for s, x in candidates) else "no time"


# --- enumeration --------------------------------------------------------------------------------------------


def solve_by_enumeration(
    plucks: Sequence[Pluck], harp: Harp, player: Player, weights: Sequence[int] | None = None
) -> Key:
    """The six criteria of a best plan: every assignment, hand and millisecond. For tiny problems."""
    weigh = weights if weights is not None else [1] * len(plucks)
    best: Key | None = None
    for plays in product(*([*candidates_of(p, harp), None] for p in plucks)):
        gone = [
            weight
            for p, play, weight in zip(plucks, plays, weigh, strict=True)
            if play is None and p.kind != "auxiliary"
        ]
        gone_auxiliaries = [
            weight
            for p, play, weight in zip(plucks, plays, weigh, strict=True)
            if play is None and p.kind == "auxiliary"
        ]
        losses = (sum(gone), sum(gone_auxiliaries))
        if best is not None and losses > best[:2]:
            continue
        turns = _turns(plucks, harp, plays)
        if turns is None:
            continue
        off = counted(plucks, harp, plays, []).off_string
        for cuts, right in _all_timings(turns, plucks, player):
            key = (*losses, cuts, len(turns) + off, len(turns), right)
            if best is None or key < best:
                best = key
    if best is None:
        raise AssertionError("losing every pluck is always a plan")
    return best


Turn = tuple[int, int, int]
"""Of a flip to be made: its earliest start, the latest end of the plucks before, when it must be over."""


def _turns(plucks: Sequence[Pluck], harp: Harp, plays: Sequence[Candidate | None]) -> list[Turn] | None:
    """The flips an assignment needs; None where it needs a string in both states at one onset."""
    turns = []
    for string in range(len(harp.strings)):
        here = sorted(
            (p.onset, play[1], p.end) for p in plucks if (play := plays[p.id]) and play[0] == string
        )
        states: dict[int, int] = {}
        ends: dict[int, int] = {}
        for onset, state, end in here:
            if states.setdefault(onset, state) != state:
                return None
            ends[onset] = max(end, ends.get(onset, end))
        onsets = sorted(states)
        for after, before in pairwise(onsets):
            if states[after] != states[before]:
                half = -((after - ends[after]) // 2)
                turns.append((after + half, ends[after], before))
    return turns


def _all_timings(turns: Sequence[Turn], plucks: Sequence[Pluck], player: Player) -> Iterator[tuple[int, int]]:
    """(cuts, flips by the right hand) of every way to place the flips, millisecond by millisecond."""
    busy = {hand: busy_times(plucks, hand, player) for hand in HANDS}

    def place(k: int, taken: dict[Hand, list[int]]) -> Iterator[tuple[int, int]]:
        if k == len(turns):
            yield 0, 0
            return
        release, ringing, due = turns[k]
        for hand in HANDS:
            for start in range(release, due - player.flip + 1):
                if stands(start, player.flip, due, busy[hand], taken[hand]):
                    for cuts, right in place(k + 1, {**taken, hand: [*taken[hand], start]}):
                        yield cuts + (start < ringing), right + (hand == "right")

    seen = set()
    for result in place(0, {"left": [], "right": []}):
        if result not in seen:
            seen.add(result)
            yield result

"""Flagged passages: where a plan loses or cuts notes, why, and what would mend it.

Plucks flagged for the same reason join one passage while each is within one bar of the one before, on one
pass (section 6 of the planning problem). Plucks of other reasons there make a passage of their own, since
what mends one reason does not mend another. A cut flags the pluck whose ringing is cut off.

Sentences name notes with the signs ♯ and ♭; places are left to the views, which know how they print.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from harpkeys.harp.model import STATE_NAMES, UP
from harpkeys.harp.naming import ALTERATION_WORDS, listed, note_text
from harpkeys.pitch import Pitch, natural_midi
from harpkeys.plan.candidates import candidate_table
from harpkeys.plan.hand_time import Room, gaps_of, most_room
from harpkeys.plan.model import Flip, Plan
from harpkeys.plan.windows import release_of
from harpkeys.score.pluck import Place, Pluck

Reason = Literal["below", "above", "no lever", "clash", "no time", "cut"]

TempoAt = Callable[[Pluck], Fraction]
"""The tempo at a pluck, in quarter notes a minute."""

MOST_NAMED = 4
"""Most different notes that one sentence names."""

MOMENT = 50
"""Milliseconds of free time below which it is not worth saying how much it is."""

LEAST_FACTOR = Fraction(1, 10)
"""Slower than this no tempo is proposed: it would be no music any more (stated assumption)."""


@dataclass(frozen=True, slots=True)
class Passage:
    """A flagged passage.

    Attributes:
        start, end: places of its first and last flagged pluck.
        reason: why its plucks are lost, or "cut".
        plucks: ids of the flagged plucks.
        say: what happens, as a sentence.
        mend: what would mend it, each a clause of its own; the first is the likeliest.
    """

    start: Place
    end: Place
    reason: Reason
    plucks: tuple[int, ...]
    say: str
    mend: tuple[str, ...]


def flagged_passages(plucks: Sequence[Pluck], plan: Plan, tempo_at: TempoAt) -> tuple[Passage, ...]:
    """Every flagged passage of a plan, in performed order.

    Args:
        plucks: in performed order.
        plan: their plan.
        tempo_at: the tempo at a pluck.
    """
    flagged: dict[Reason, list[int]] = {}
    for pluck, reason in enumerate(plan.lost):
        if reason is not None:
            flagged.setdefault(reason, []).append(pluck)
    cuts = {flip.after: flip for flip in plan.flips if flip.is_cut}
    if cuts:
        flagged["cut"] = sorted(cuts)
    if not flagged:
        return ()
    telling = _Telling(plucks, plan, tempo_at, cuts)
    found = [
        telling.passage(reason, group)
        for reason, ids in flagged.items()
        for group in joined([plucks[pluck] for pluck in ids])
    ]
    return tuple(sorted(found, key=lambda passage: passage.plucks))


def joined(plucks: Sequence[Pluck]) -> Iterator[list[Pluck]]:
    """Flagged plucks in performed order, cut where two are more than a bar apart or on different passes."""
    group: list[Pluck] = []
    for pluck in plucks:
        if group and not _near(group[-1].place, pluck.place):
            yield group
            group = []
        group.append(pluck)
    if group:
        yield group


def _near(one: Place, other: Place) -> bool:
    return (
        one.number == other.number and other.visit - one.visit <= 1 and 0 <= other.measure - one.measure <= 1
    )


class _Telling:
    """Puts reasons into words; holds what they are drawn from."""

    def __init__(
        self, plucks: Sequence[Pluck], plan: Plan, tempo_at: TempoAt, cuts: Mapping[int, Flip]
    ) -> None:
        self.plucks = plucks
        self.plan = plan
        self.harp = plan.harp
        self.tempo_at = tempo_at
        self.cuts = cuts
        self.table = candidate_table(plan.harp)
        self.gaps = gaps_of(plucks)
        self.moments = _moments(plucks, plan)

    def passage(self, reason: Reason, group: Sequence[Pluck]) -> Passage:
        """One passage of one reason, in words."""
        tell = {
            "below": self._outside,
            "above": self._outside,
            "no lever": self._no_lever,
            "clash": self._clash,
            "no time": self._no_time,
            "cut": self._cut,
        }[reason]
        say, mend = tell(group)
        ids = tuple(pluck.id for pluck in group)
        return Passage(group[0].place, group[-1].place, reason, ids, say, tuple(mend))

    def _outside(self, group: Sequence[Pluck]) -> tuple[str, list[str]]:
        """Notes below the lowest or above the highest string."""
        strings = self.harp.strings
        below = group[0].pitch.diatonic < self.harp.lowest
        edge, side, way = (
            (strings[0], "below the lowest", "down") if below else (strings[-1], "above the highest", "up")
        )
        pitches = {pluck.pitch for pluck in group}
        furthest = (min if below else max)(pitches, key=lambda pitch: (pitch.diatonic, pitch.midi))
        say = f"{_notes(group)} {_verb(group, 'lies', 'lie')} {side} string, {edge.name}."
        mend = [f"a harp that reaches {way} to {furthest.string_name}"]
        octaves = next(
            (
                number
                for number in (1, 2, 3)
                if all(pitch.midi + 12 * (number if below else -number) in self.table for pitch in pitches)
            ),
            None,
        )
        if octaves:
            distance = ("an octave", "two octaves", "three octaves")[octaves - 1]
            mend.append(
                f"play {_it(group)} {distance} {'higher' if below else 'lower'}, where levers and time allow"
            )
        mend.append(f"leave {_it(group)} out")
        return say, mend

    def _no_lever(self, group: Sequence[Pluck]) -> tuple[str, list[str]]:
        """Notes that no string can be tuned and levered to as it is."""
        pitches = sorted({pluck.pitch for pluck in group}, key=lambda pitch: (pitch.diatonic, pitch.midi))
        say = f"{_notes(group)} cannot be sounded: {self._why_not(pitches[0])}."
        mend: list[str] = []
        for pitch in pitches[:MOST_NAMED]:
            mend += [way for way in self._ways_to(pitch) if way not in mend]
        mend.append(f"change or leave out {_it(group, 'the note', 'these notes')}")
        return say, mend

    def _why_not(self, pitch: Pitch) -> str:
        """Why the string that a note is written on cannot sound it."""
        if isinstance(pitch.alter, Fraction):
            return "no lever gives less than a semitone"
        index = self.harp.index_of(pitch.diatonic)
        if index is None:
            return "it is written outside the strings and no string shares its pitch"
        string = self.harp.strings[index]
        tuned = f"string {string.name} is tuned {ALTERATION_WORDS[string.tuned]}"
        return f"{tuned} and {'its lever raises it a semitone' if string.lever else 'has no lever'}"

    def _ways_to(self, pitch: Pitch) -> Iterator[str]:
        """What would let a string sound a note: its own string first, then its neighbours."""
        if isinstance(pitch.alter, Fraction):
            return
        for diatonic in (pitch.diatonic, pitch.diatonic - 1, pitch.diatonic + 1):
            index = self.harp.index_of(diatonic)
            if index is None:
                continue
            string = self.harp.strings[index]
            alter = pitch.midi - natural_midi(diatonic)
            if alter == string.tuned + UP and not string.lever:
                yield f"a lever on string {string.name}"
            if diatonic == pitch.diatonic and -1 <= alter <= 1 and alter != string.tuned:
                raised = " (only where the string is made to be raised)" if alter > string.tuned else ""
                yield f"string {string.name} tuned {ALTERATION_WORDS[int(alter)]} for this piece{raised}"

    def _clash(self, group: Sequence[Pluck]) -> tuple[str, list[str]]:
        """Notes whose string another note of the same moment needs in the other state."""
        told: list[str] = []
        for pluck in group:
            for string, state in self.table[pluck.pitch.midi]:
                moment = self._moment(string, pluck.onset)
                if moment is not None and moment.state != state:
                    told.append(
                        f"{note_text(pluck.pitch)} is wanted at the same moment as "
                        f"{note_text(self.plucks[moment.pluck].pitch)}, and both need string "
                        f"{self.harp.strings[string].name}"
                    )
                    break
        different = list(dict.fromkeys(told))
        more = f" ({len(group)} times in all)" if len(group) > 1 else ""
        say = (different[0] if different else f"{_notes(group)} cannot be set at that moment") + more + "."
        return say, ["leave one of the two out", "move one of them by an octave", "play one after the other"]

    def _moment(self, string: int, onset: int) -> Moment | None:
        """What a string plays at an onset."""
        moments = self.moments.get(string, [])
        index = bisect_left(moments, onset, key=lambda moment: moment.onset)
        return moments[index] if index < len(moments) and moments[index].onset == onset else None

    def _no_time(self, group: Sequence[Pluck]) -> tuple[str, list[str]]:
        """Notes that no hand has time to set a lever for; told by the tightest of them."""
        rooms = [(need.room.factor, pluck.id, need) for pluck in group if (need := self._need(pluck))]
        if not rooms:
            return f"No hand has time to set a lever for {_notes(group)}.", ["slow down"]
        factor, identity, need = min(rooms, key=lambda entry: entry[:2])
        pluck = self.plucks[identity]
        name, way = self.harp.strings[need.string].name, STATE_NAMES[need.to]
        note = note_text(pluck.pitch)
        lever = (
            f"For {note} the lever of string {name} must first go {way}"
            if need.when == "before"
            else f"After {note} the lever of string {name} must go back {way}"
        )
        flip = _seconds(self.plan.player.flip)
        others = f" ({len(group)} notes in all)" if len(group) > 1 else ""
        if factor >= 1:
            say = f"{lever}, but other levers need the hands then{others}."
            return say, ["slow down until every lever has its time", "leave the note out"]
        if need.room.free < MOMENT:
            best = "no hand is free" + (" for more than a moment" if need.room.free else " at all")
        else:
            best = f"the {need.room.hand} hand, which has most time, is free for {_seconds(need.room.free)} s"
        say = f"{lever}, but {best} and a flip takes {flip} s{others}."
        then = f"it would fit, cutting {note_text(need.rings.pitch)} short" if need.cuts else "it would fit"
        return say, [self._slower(pluck, factor, then), "leave the note out"]

    def _need(self, pluck: Pluck) -> Need | None:
        """The change that kept a note from being played on the string with most room for it."""
        best: Need | None = None
        for string, state in self.table[pluck.pitch.midi]:
            tightest: Need | None = None
            for need in self._changes(pluck, string, state):
                if tightest is None or need.room.factor < tightest.room.factor:
                    tightest = need
            if tightest and (best is None or tightest.room.factor > best.room.factor):
                best = tightest
        return best

    def _changes(self, pluck: Pluck, string: int, state: int) -> Iterator[Need]:
        """The changes of a string before and after a lost pluck that playing it there would need."""
        moments = self.moments.get(string, [])
        index = bisect_left(moments, pluck.onset, key=lambda moment: moment.onset)
        if index and moments[index - 1].state != state:
            earlier = moments[index - 1]
            rings = self.plucks[earlier.pluck]
            room = self._room(earlier.release, pluck.onset)
            yield Need(string, state, "before", rings, rings.end >= pluck.onset, room)
        if index < len(moments) and moments[index].onset == pluck.onset:
            return
        if index < len(moments) and moments[index].state != state:
            later = moments[index]
            room = self._room(release_of(pluck.onset, pluck.end), later.onset)
            yield Need(string, later.state, "after", pluck, pluck.end >= later.onset, room)

    def _room(self, release: int, latest: int) -> Room:
        return most_room(self.gaps, self.plan.player, release, latest)

    def _cut(self, group: Sequence[Pluck]) -> tuple[str, list[str]]:
        """Notes that still ring when their string's lever must move; told by the longest cut."""
        flips = [self.cuts[pluck.id] for pluck in group]
        longest = max(flips, key=lambda flip: (flip.cut, -flip.id))
        pluck = self.plucks[longest.after]
        string = self.harp.strings[longest.string]
        sounds = note_text(string.sounding(longest.to))
        others = f" ({len(group)} notes in all)" if len(group) > 1 else ""
        say = (
            f"{note_text(pluck.pitch)} still rings when the lever of string {string.name} must go "
            f"{STATE_NAMES[longest.to]}, to {sounds}: it is cut short by {_seconds(longest.cut)} s{others}."
        )
        mend = [f"damp string {string.name} just before the lever moves"]
        before = self.plucks[longest.before]
        factors = [
            self._room(self.plucks[flip.after].end, self.plucks[flip.before].onset).factor
            for flip in flips
            if self.plucks[flip.after].end < self.plucks[flip.before].onset
        ]
        if len(factors) == len(flips) and min(factors) < 1:
            mend.append(self._slower(before, min(factors), "the flip would be clean"))
        return say, mend

    def _slower(self, pluck: Pluck, factor: Fraction, then: str) -> str:
        """A clause that names the tempo at which something fits."""
        if factor < LEAST_FACTOR:
            return "slowing down alone is no help"
        bpm = int(self.tempo_at(pluck) * factor)
        return f"at quarter = {bpm} here ({int(100 * factor)} % of the tempo) {then}"


@dataclass(frozen=True, slots=True)
class Moment:
    """What a string plays at one onset.

    Attributes:
        onset: milliseconds.
        state: the lever state.
        release: first moment the lever may move afterwards.
        pluck: id of a pluck played there, the one of latest end.
    """

    onset: int
    state: int
    release: int
    pluck: int


@dataclass(frozen=True, slots=True)
class Need:
    """A change that a lost pluck would need.

    Attributes:
        string: index of the string.
        to: the state it brings.
        when: "before" or "after" the pluck.
        rings: what the string rings with before the change.
        cuts: whether that rings until the next note of the string, so that any change cuts it short.
        room: the most room there is for it.
    """

    string: int
    to: int
    when: Literal["before", "after"]
    rings: Pluck
    cuts: bool
    room: Room


def _moments(plucks: Sequence[Pluck], plan: Plan) -> dict[int, list[Moment]]:
    """What each string plays when, in order."""
    found: dict[int, list[Moment]] = {}
    for pluck, play in zip(plucks, plan.plays, strict=True):
        if play is None:
            continue
        moments = found.setdefault(play[0], [])
        moment = Moment(pluck.onset, play[1], release_of(pluck.onset, pluck.end), pluck.id)
        if moments and moments[-1].onset == pluck.onset:
            if moment.release > moments[-1].release:
                moments[-1] = moment
        else:
            moments.append(moment)
    return found


def _notes(group: Sequence[Pluck]) -> str:
    """The different notes of a group, lowest first: "A1 and B1", "A1, B1, C2, D2 and 3 more"."""
    pitches = sorted({pluck.pitch for pluck in group}, key=lambda pitch: (pitch.diatonic, pitch.midi))
    names = [note_text(pitch) for pitch in pitches]
    if len(names) > MOST_NAMED + 1:
        names = [*names[:MOST_NAMED], f"{len(names) - MOST_NAMED} more"]
    times = f" ({len(group)} times)" if len(pitches) == 1 and len(group) > 1 else ""
    return listed(names) + times


def _verb(group: Sequence[Pluck], one: str, many: str) -> str:
    return one if len({pluck.pitch for pluck in group}) == 1 else many


def _it(group: Sequence[Pluck], one: str = "it", many: str = "them") -> str:
    return one if len(group) == 1 else many


def _seconds(milliseconds: int) -> str:
    """Seconds for people: 0.6, 0.35, 0.004."""
    return f"{milliseconds / 1000:.2g}" if milliseconds < 1000 else f"{milliseconds / 1000:.1f}"

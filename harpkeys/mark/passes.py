"""Which place each flip of one string takes, and which of its cues must name their passes.

Strings do not depend on each other here. Between two neighbouring plucks played on a string lies a **gap**;
at most one flip stands in each. A cue that is obeyed on a pass for which no flip was planned is harmless if
the next pluck played on the string wants the state the cue brings, or there is none, or if a planned flip to
the state it does want follows in the same gap. If every extra obedience is harmless, the last cue obeyed in
each gap is the planned flip or brings the state that is wanted, so the page reads right.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from harpkeys.mark.places import Position, PrintedPlaces
from harpkeys.plan.model import Flip

Printed = tuple[int, int, int]
"""Where a cue of the string is printed and what it does: measure, tick, state it brings."""

Where = Mapping[int, Position]
"""The position chosen for each flip, by its id."""


class Choice(NamedTuple):
    """A cue of one string: where it is printed, the passes it names, the flips it stands for."""

    measure: int
    tick: int
    passes: tuple[int, ...]
    flips: tuple[int, ...]


class Cost(NamedTuple):
    """What is preferred to be small, in this order."""

    naming: int
    cues: int
    displaced: int


@dataclass(frozen=True, slots=True)
class StringCues:
    """What is known of one string.

    Attributes:
        places: the places of the page.
        flips: its flips in playing order.
        positions: where the plucks played on it stand, in order.
        states: the state each of them wants.
        flip_before: id of the flip in the gap before the pluck of each index that has one.
        latest: the latest position of each flip.
    """

    places: PrintedPlaces = field(repr=False)
    flips: tuple[Flip, ...]
    positions: tuple[Position, ...] = field(repr=False)
    states: tuple[int, ...] = field(repr=False)
    flip_before: dict[int, int] = field(repr=False, hash=False)
    latest: dict[int, Position] = field(repr=False, hash=False)

    @classmethod
    def of(cls, string: int, places: PrintedPlaces) -> StringCues:
        """Gather what is known of a string."""
        plan = places.plan
        flips = tuple(flip for flip in plan.flips if flip.string == string)
        wanted = sorted((places.position_of(one), plan.plays[one][1]) for one in places.played[string])  # type: ignore[index]
        positions = tuple(position for position, _ in wanted)
        return cls(
            places,
            flips,
            positions,
            tuple(state for _, state in wanted),
            {_gap(places, flip): flip.id for flip in flips},
            {flip.id: next(places.window(flip)) for flip in flips},
        )

    def printed(self, flip: Flip, position: Position) -> Printed:
        """Where the cue of a flip is printed."""
        return self.places.measure_of(position), position[1], flip.to

    def grouped(self, where: Where) -> dict[Printed, list[Flip]]:
        """The flips of each printed cue."""
        groups: dict[Printed, list[Flip]] = {}
        for flip in self.flips:
            groups.setdefault(self.printed(flip, where[flip.id]), []).append(flip)
        return groups

    def must_name(self, printed: Printed, flips: Sequence[Flip], where: Where) -> bool:
        """Whether obeying a cue on a pass without a flip would change what sounds."""
        measure, tick, to = printed
        visits = self.places.visits_of[measure]
        if len(visits) == len(flips):
            return False
        planned = {where[flip.id][0] for flip in flips}
        return any(not self._harmless((visit, tick), to, where) for visit in visits if visit not in planned)

    def _harmless(self, position: Position, to: int, where: Where) -> bool:
        gap = bisect_right(self.positions, position)
        if gap == len(self.positions) or self.states[gap] == to:
            return True
        flip = self.flip_before.get(gap)
        return flip is not None and where[flip] > position

    def named(self, where: Where) -> dict[Printed, bool]:
        """For each cue whether it must name its passes, as few as will do."""
        groups = self.grouped(where)
        naming = {printed: self.must_name(printed, flips, where) for printed, flips in groups.items()}
        for printed in [printed for printed, names in naming.items() if names]:
            measure, tick, to = printed
            if (measure, tick, 1 - to) in groups:
                continue  # up and down at one place would contradict each other
            naming[printed] = False
            naming[printed] = not self._reads_right(groups, naming, where)
        return naming

    def _reads_right(
        self, groups: Mapping[Printed, Sequence[Flip]], naming: Mapping[Printed, bool], where: Where
    ) -> bool:
        """Whether the string is in the state each of its plucks wants if these cues name their passes."""
        obeyed: list[tuple[Position, int]] = []
        for (measure, tick, to), flips in groups.items():
            named = naming[measure, tick, to]
            visits: Iterable[int] = (
                (where[flip.id][0] for flip in flips) if named else self.places.visits_of[measure]
            )
            obeyed += [((visit, tick), to) for visit in visits]
        obeyed.sort()
        state = self.places.plan.starting[self.flips[0].string]
        following = 0
        for position, wanted in zip(self.positions, self.states, strict=True):
            while following < len(obeyed) and obeyed[following][0] < position:
                state = obeyed[following][1]
                following += 1
            if state != wanted:
                return False
        return True

    def choices(self, where: Where, naming: Mapping[Printed, bool]) -> list[Choice]:
        """The cues, in page order."""
        visits = self.places.performance.timeline.visits
        found = []
        for printed, flips in sorted(self.grouped(where).items()):
            passes = sorted(visits[where[flip.id][0]].number for flip in flips) if naming[printed] else ()
            found.append(Choice(*printed[:2], tuple(passes), tuple(flip.id for flip in flips)))
        return found

    def all_named(self) -> list[Choice]:
        """The cues at their latest places, with passes wherever a bar has more than one."""
        naming = {
            printed: len(self.places.visits_of[printed[0]]) > 1 for printed in self.grouped(self.latest)
        }
        return self.choices(self.latest, naming)


def _gap(places: PrintedPlaces, flip: Flip) -> int:
    """Index of the first pluck on the string at or after the onset of the one that the flip prepares."""
    plucks, played = places.performance.plucks, places.played[flip.string]
    return bisect_left(played, plucks[flip.before].onset, key=lambda one: plucks[one].onset)


def best_choice(string: StringCues) -> list[Choice]:
    """The cues of a string at the places that serve best.

    Flips whose latest place is in a bar played once need no telling and stay there. Of the others those that
    can share a printed place are tried there together, then each cue that still names passes is tried at all
    places where its flips fit. This is a search by improvement, without a claim that nothing better exists.
    """
    where = dict(string.latest)
    places = string.places
    if all(len(places.visits_of[places.measure_of(position)]) == 1 for position in where.values()):
        return string.choices(where, dict.fromkeys(string.grouped(where), False))
    windows = {flip.id: list(places.roomy_window(flip)) for flip in string.flips}
    naming, cost = _judged(string, where, windows)
    for trial in _shared(string, windows):
        where, naming, cost = _better(string, where, naming, cost, trial, windows)
    for printed, flips in list(string.grouped(where).items()):
        if naming.get(printed):
            for trial in _moved(string, flips, windows):
                where, naming, cost = _better(string, where, naming, cost, trial, windows)
                if not cost.naming:
                    break
    return string.choices(where, naming)


def _judged(
    string: StringCues, where: Where, windows: Mapping[int, Sequence[Position]]
) -> tuple[dict[Printed, bool], Cost]:
    naming = string.named(where)
    displaced = sum(windows[number].index(position) for number, position in where.items())
    return naming, Cost(sum(naming.values()), len(naming), displaced)


def _better(
    string: StringCues,
    where: dict[int, Position],
    naming: dict[Printed, bool],
    cost: Cost,
    trial: Mapping[int, Position],
    windows: Mapping[int, Sequence[Position]],
) -> tuple[dict[int, Position], dict[Printed, bool], Cost]:
    """The places so far, or with those of a trial if they cost less."""
    tried = {**where, **trial}
    if tried == where:
        return where, naming, cost
    tried_naming, tried_cost = _judged(string, tried, windows)
    return (tried, tried_naming, tried_cost) if tried_cost < cost else (where, naming, cost)


def _shared(string: StringCues, windows: Mapping[int, Sequence[Position]]) -> list[dict[int, Position]]:
    """For each set of flips that can be printed at one place, the latest such place; large sets first."""
    takers: dict[Printed, dict[int, Position]] = {}
    for flip in string.flips:
        for position in windows[flip.id]:
            takers.setdefault(string.printed(flip, position), {}).setdefault(flip.id, position)
    latest: dict[tuple[int, ...], tuple[Printed, dict[int, Position]]] = {}
    for printed, taken in takers.items():
        flips = tuple(taken)
        if len(flips) > 1 and (flips not in latest or latest[flips][0] < printed):
            latest[flips] = (printed, taken)
    return [taken for _, taken in sorted(latest.values(), key=lambda one: (-len(one[1]), one[0]))]


def _moved(
    string: StringCues, flips: Sequence[Flip], windows: Mapping[int, Sequence[Position]]
) -> list[dict[int, Position]]:
    """Other places at which the flips of one cue can stand together.

    One alone leaves the others behind with their passes: in some 40,000 random scores it never served better.
    """
    together: dict[Printed, dict[int, Position]] = {}
    for flip in flips:
        for position in windows[flip.id]:
            together.setdefault(string.printed(flip, position), {}).setdefault(flip.id, position)
    return [taken for taken in together.values() if len(taken) == len(flips)]

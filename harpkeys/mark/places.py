"""Printed places at which a cue can stand, and where in the performance each is met.

A **position** is (index of the visit, ticks from the start of its bar); positions are ordered as they are
played. Only visible notes and rests of the harp's own staves make places: a cue at anything else would seem
to stand nowhere. Rests under a multiple-bar rest make none either: printed as one sign they are no places to
be found, and programs leave out what stands in them (verovio 6 does).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil

from harpkeys.plan.hand_time import LONG_AFTER, Stretch, free_stretches
from harpkeys.plan.model import Flip, Plan
from harpkeys.report.performance import Performance
from harpkeys.score.model import Part
from harpkeys.score.pluck import Hand

Position = tuple[int, int]


@dataclass(frozen=True, slots=True)
class PrintedPlaces:
    """The places of a performance.

    Attributes:
        performance: what is played.
        plan: its plan.
        onsets: for each printed bar the ticks at which a note or rest starts, ascending.
        visits_of: for each printed bar the indexes of its visits.
        played: for each string the ids of the plucks played on it, in performed order.
        stretches: free stretches of each hand.
        starts: for each hand the starts of its flips, ascending.
    """

    performance: Performance = field(repr=False)
    plan: Plan = field(repr=False)
    onsets: tuple[tuple[int, ...], ...] = field(repr=False)
    visits_of: tuple[tuple[int, ...], ...] = field(repr=False)
    played: dict[int, list[int]] = field(repr=False, hash=False)
    stretches: dict[Hand, tuple[Stretch, ...]] = field(repr=False, hash=False)
    starts: dict[Hand, list[int]] = field(repr=False, hash=False)

    @classmethod
    def of(cls, performance: Performance, plan: Plan) -> PrintedPlaces:
        """The places of a performance."""
        score = performance.score
        onsets: list[set[int]] = [set() for _ in score.measures]
        for index in performance.parts:
            part = score.parts[index]
            long_rests = _bars_of_long_rests(part)
            for note in part.notes:
                if not note.hidden and not (note.rest and note.measure in long_rests):
                    onsets[note.measure].add(note.onset)
        for pluck in performance.plucks:
            onsets[pluck.place.measure].add(pluck.place.tick)
        visits: list[list[int]] = [[] for _ in score.measures]
        for number, visit in enumerate(performance.timeline.visits):
            visits[visit.measure].append(number)
        played: dict[int, list[int]] = {}
        for number, play in enumerate(plan.plays):
            if play is not None:
                played.setdefault(play[0], []).append(number)
        return cls(
            performance,
            plan,
            tuple(tuple(sorted(bar)) for bar in onsets),
            tuple(tuple(bar) for bar in visits),
            played,
            free_stretches(performance.plucks, plan.player),
            {
                "left": sorted(flip.start for flip in plan.flips if flip.hand == "left"),
                "right": sorted(flip.start for flip in plan.flips if flip.hand == "right"),
            },
        )

    def measure_of(self, position: Position) -> int:
        """Index of the printed bar of a position."""
        return self.performance.timeline.visits[position[0]].measure

    def position_of(self, pluck: int) -> Position:
        """Where a pluck stands."""
        place = self.performance.plucks[pluck].place
        return place.visit, place.tick

    def window(self, flip: Flip) -> Iterator[Position]:
        """Every position at which the cue of a flip can stand, the latest first.

        The last is that of the last pluck played on the string before it.
        """
        plucks, visits = self.performance.plucks, self.performance.timeline.visits
        played = self.played[flip.string]
        following = bisect_left(played, plucks[flip.before].onset, key=lambda one: plucks[one].onset)
        first = max(self.position_of(one) for one in self._last_sounding(played[:following]))
        # A place whose time rounds to the flip's start or to something earlier is not after it.
        limit = ceil(self.performance.clock.tick_at(flip.start + Fraction(1, 2)))
        visit = bisect_left(visits, limit, key=lambda one: one.start) - 1
        while visit >= first[0]:
            bar = self.onsets[visits[visit].measure]
            count = bisect_left(bar, limit - visits[visit].start)
            for tick in reversed(bar[:count]):
                if (visit, tick) < first:
                    return
                yield visit, tick
            visit -= 1

    def _last_sounding(self, played: list[int]) -> list[int]:
        """Of these plucks those that share the last onset."""
        plucks = self.performance.plucks
        return [one for one in played if plucks[one].onset == plucks[played[-1]].onset]

    def roomy_window(self, flip: Flip) -> Iterator[Position]:
        """As `window`, without positions after which the flip's hand has no time, all other flips as planned.

        The latest position is always among them, since the flip itself is.
        """
        clock, visits = self.performance.clock, self.performance.timeline.visits
        after = self.performance.plucks[flip.after]
        release = after.onset - (after.onset - after.end) // 2 if flip.is_cut else after.end
        until = flip.start + 1  # the latest position, at which the flip stands
        for position in self.window(flip):
            time = clock.at(visits[position[0]].start + position[1])
            if until > flip.start or self._has_room(flip, max(time, release), until):
                yield position
            until = min(until, time)

    def _has_room(self, flip: Flip, start: int, until: int) -> bool:
        """Whether the flip can start at or after `start` and no later than `until`."""
        length = self.plan.player.flip
        stretches, others = self.stretches[flip.hand], self.starts[flip.hand]
        while start <= until:
            index = bisect_right(stretches, (start, LONG_AFTER)) - 1
            if index < 0 or stretches[index][1] < start + length:
                if index + 1 == len(stretches):
                    return False
                start = stretches[index + 1][0]
                continue
            other = bisect_right(others, start - length)
            if other < len(others) and others[other] == flip.start:
                other += 1
            if other < len(others) and others[other] < start + length:
                start = others[other] + length
                continue
            return start <= until
        return False


def _bars_of_long_rests(part: Part) -> set[int]:
    """The bars of a part that are printed as rests of several bars (MusicXML 4.0, `multiple-rest`)."""
    found: set[int] = set()
    until = 0
    for index, measure in enumerate(part.node_measures):
        for sign in measure.iter("{*}multiple-rest"):
            digits = (sign.text or "").strip()
            length = int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 5 else 1
            until = max(until, index + max(length, 1))
        if index < until:
            found.add(index)
    return found

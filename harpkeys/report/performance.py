"""A part of a score as it is performed: the way from the printed page to plucks, in one step.

Places of single moments of the performance are found here too, the way back from milliseconds to the page.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from math import ceil, floor

from harpkeys.score.beats import beat_unit
from harpkeys.score.clock import Clock, make_clock
from harpkeys.score.model import Part, Score
from harpkeys.score.parts import choose_part
from harpkeys.score.pluck import Hand, Pluck
from harpkeys.score.plucks import find_plucks, retimed
from harpkeys.score.rests import hand_rests
from harpkeys.score.route import Timeline, perform

MOST_BEATS = 1_000_000
"""More beats than any piece has, a week at a hundred a minute. Beats are only preferred, so a file that
claims more is planned without."""


@dataclass(frozen=True, slots=True)
class Performance:
    """A part, or two joined parts, in performed order.

    Attributes:
        score: as printed.
        parts: indexes of the parts played; two are the right and the left hand.
        timeline: the bars in performed order.
        clock: the tempo map.
        plucks: what fingers start.
        bpm, scale: the opening tempo and the factor that were asked for.
    """

    score: Score
    parts: tuple[int, ...]
    timeline: Timeline
    clock: Clock
    plucks: tuple[Pluck, ...] = field(repr=False)
    bpm: Fraction | None = None
    scale: Fraction = Fraction(1)

    @property
    def part(self) -> Part:
        """The part played, of two joined ones the right hand's."""
        return self.score.parts[self.parts[0]]

    def at_factor(self, factor: Fraction) -> tuple[Pluck, ...]:
        """The same plucks with every tempo multiplied by a factor."""
        if factor == 1:
            return self.plucks
        return retimed(self.plucks, make_clock(self.score, self.timeline, self.bpm, self.scale * factor))

    def tempo_at(self, pluck: Pluck) -> Fraction:
        """The tempo at a pluck, in quarter notes a minute."""
        tick = Fraction(pluck.onset_tick)
        # Tempos change on whole ticks only, so a part of a tick has the tempo of its start.
        quarter = (
            2 * self.score.resolution * (self.clock.exactly(tick + Fraction(1, 2)) - self.clock.exactly(tick))
        )
        return 60_000 / quarter

    def rests(self) -> dict[Hand, tuple[tuple[int, int], ...]]:
        """The written rests of each hand, in performed ticks."""
        return hand_rests(self.score, self.parts, self.timeline)


def perform_part(
    score: Score, part: str | None = None, bpm: Fraction | None = None, scale: Fraction = Fraction(1)
) -> Performance:
    """Perform a part of a score.

    Args:
        score: as printed.
        part: which part, as `choose_part` takes it.
        bpm: opening tempo, None for the score's.
        scale: a factor on all tempos.

    Raises:
        PartError: no such part, or no telling which.
        OptionError: the tempo cannot be played.
        ScoreError: the repeats never end.
    """
    parts = choose_part(score, part)
    timeline = perform(score)
    clock = make_clock(score, timeline, bpm, scale)
    return Performance(score, parts, timeline, clock, find_plucks(score, parts, timeline, clock), bpm, scale)


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the performance as a place on the page.

    Attributes:
        measure: index of the printed bar.
        quarters: quarter notes from its start.
        visit: index of the bar in performed order.
        number: the bar's pass, from 1.
    """

    measure: int
    quarters: Fraction
    visit: int
    number: int


def moment_at(performance: Performance, milliseconds: int) -> Moment:
    """The place of a moment that is given in whole milliseconds.

    Of all places that round to that millisecond it is the one whose distance from the barline is the simplest
    fraction of a quarter, so a beat is a beat; the start of a bar is simplest of all.

    Args:
        performance: the performance.
        milliseconds: not before its start.
    """
    clock, visits = performance.clock, performance.timeline.visits
    resolution = performance.score.resolution
    low = max(clock.tick_at(milliseconds - Fraction(1, 2)), Fraction(0))
    high = clock.tick_at(milliseconds + Fraction(1, 2))
    starts = clock.visit_starts
    # A bar that starts within this millisecond is meant rather than the end of the one before.
    index = max(bisect_right(starts, ceil(high) - 1) - 1, 0)
    start = Fraction(starts[index])
    quarters = simplest_between((max(low, start) - start) / resolution, (high - start) / resolution)
    return Moment(visits[index].measure, quarters, index, visits[index].number)


def simplest_between(low: Fraction, high: Fraction) -> Fraction:
    """The fraction of the smallest denominator that is at least `low` and below `high`, of whole numbers the
    smallest; by continued fractions."""
    return _simplest(low, True, high, False)


def _simplest(low: Fraction, low_counts: bool, high: Fraction | None, high_counts: bool) -> Fraction:
    """The simplest fraction between two bounds that may count themselves; None is infinity."""
    base = floor(low)
    if low_counts and low == base:
        return Fraction(base)
    if high is None or base + 1 < high or (high_counts and base + 1 == high):
        return Fraction(base + 1)
    inverse = 1 / (low - base) if low > base else None
    return base + 1 / _simplest(1 / (high - base), high_counts, inverse, low_counts)


def beat_moments(performance: Performance) -> tuple[int, ...]:
    """When the beats of the performance fall, in milliseconds, ascending.

    A pickup bar counts its beats from its end. Of more than MOST_BEATS none is told.
    """
    resolution = performance.score.resolution
    ticks: list[int] = []
    for visit in performance.timeline.visits:
        measure = performance.score.measures[visit.measure]
        unit = int(beat_unit(measure, resolution))
        if unit > 0:
            offset = measure.length % unit if measure.index == 0 and measure.implicit else 0
            beats = range(visit.start + offset, visit.start + measure.length, unit)
            if len(ticks) + len(beats) > MOST_BEATS:
                return ()
            ticks += beats
    times = performance.clock.at_all(ticks)
    return tuple(times[tick] for tick in ticks)

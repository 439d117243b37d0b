"""From performed musical time to whole milliseconds.

The tempo at a performed place is the one in force there on the page, whichever way the place was reached.
Every time is computed exactly and rounded once, half up; nothing here is a float. Tempos are quarter notes
a minute. Section 2 of the planning problem.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from typing import Literal

from harpkeys.errors import OptionError
from harpkeys.score.model import Score, TempoMark
from harpkeys.score.route import Timeline

ASSUMED_TEMPO = Fraction(90)
"""Where no tempo stands: an assumption of the planning problem, to be named to the user."""

SLOWEST_MARK = Fraction(1)
FASTEST_MARK = Fraction(4000)
"""Tempo marks outside these are taken for mistakes: they let a whole note last from 0.06 s to four
minutes."""

TempoSource = Literal["score", "assumed", "given"]


@dataclass(frozen=True, slots=True)
class Clock:
    """A tempo map along the performance.

    Attributes:
        source: where the opening tempo comes from: the score, the assumption, or the caller.
        bpm: the opening tempo, scaled.
        remarks: sentences about tempo marks left out and tempos assumed.
        visit_starts: performed tick at which each visit starts.
        starts: performed tick at which each stretch of constant tempo starts, the first 0.
        origins, rates, divisor: at tick t of stretch i the time is (origins[i] + t * rates[i]) / divisor
            ms, half a millisecond included, so that its floor is the time rounded half up.
    """

    source: TempoSource
    bpm: Fraction
    remarks: tuple[str, ...] = ()
    visit_starts: tuple[int, ...] = field(default=(), repr=False)
    starts: tuple[int, ...] = field(default=(0,), repr=False)
    origins: tuple[int, ...] = field(default=(0,), repr=False)
    rates: tuple[int, ...] = field(default=(1,), repr=False)
    divisor: int = field(default=1, repr=False)

    def milliseconds(self, visit: int, tick: int) -> int:
        """The time of a place, rounded to the nearest millisecond, half up.

        Args:
            visit: index of the bar in performed order.
            tick: ticks from the start of that bar; the end of a bar is the start of the one that follows.
        """
        return self.at(self.visit_starts[visit] + tick)

    def at(self, tick: int) -> int:
        """The time of a performed tick, rounded to the nearest millisecond, half up."""
        stretch = bisect_right(self.starts, tick) - 1
        return (self.origins[stretch] + tick * self.rates[stretch]) // self.divisor

    def at_all(self, ticks: Iterable[int]) -> dict[int, int]:
        """`at` for many performed ticks at once."""
        divisor = self.divisor
        if len(self.starts) == 1:
            origin, rate = self.origins[0], self.rates[0]
            return {tick: (origin + tick * rate) // divisor for tick in ticks}
        times: dict[int, int] = {}
        stretch, last = 0, len(self.starts) - 1
        for tick in sorted(set(ticks)):
            while stretch < last and self.starts[stretch + 1] <= tick:
                stretch += 1
            times[tick] = (self.origins[stretch] + tick * self.rates[stretch]) // divisor
        return times

    def exactly(self, tick: int | Fraction) -> Fraction:
        """The time of a performed tick in milliseconds, not rounded."""
        stretch = bisect_right(self.starts, tick) - 1
        return (self.origins[stretch] + tick * self.rates[stretch]) / Fraction(self.divisor) - Fraction(1, 2)

    def tick_at(self, milliseconds: int | Fraction) -> Fraction:
        """The performed tick that is reached at a time, exactly; after the last bar as if its tempo went
        on."""
        stretch = bisect_right(self.starts, milliseconds, key=self.exactly) - 1
        time = (milliseconds + Fraction(1, 2)) * self.divisor
        return (time - self.origins[max(stretch, 0)]) / self.rates[max(stretch, 0)]


def make_clock(
    score: Score, timeline: Timeline, bpm: Fraction | None = None, scale: Fraction = Fraction(1)
) -> Clock:
    """The tempo map of a performance.

    Args:
        score: as printed.
        timeline: its bars in performed order.
        bpm: the opening tempo the caller wants, in quarter notes a minute; every other tempo of the score
            keeps its proportion to it. None keeps the score's.
        scale: a factor on all tempos, after `bpm`.

    Returns:
        The clock; its source is "given" where `bpm` is.

    Raises:
        OptionError: `bpm` or `scale` is not above 0.
    """
    for value, name in ((bpm, "tempo"), (scale, "tempo factor")):
        if value is not None and value <= 0:
            raise OptionError(f"a {name} of {float(value):g} cannot be played", f"give a {name} above 0")
    marks, remarks = _usable(score)
    page = _page_tempos(score, marks)
    source: TempoSource = "score"
    opening = page[0][0][1] if page else ASSUMED_TEMPO
    if not marks or not _governs_start(marks):
        source = "assumed"
        remarks += _assumed(score, marks, bpm is not None)
    factor = Fraction(scale)
    if bpm is not None:
        source, factor = "given", factor * bpm / opening
    return _wind(score, timeline, page, factor, Clock(source, opening * factor, tuple(remarks)))


def _usable(score: Score) -> tuple[list[TempoMark], list[str]]:
    """The marks that make sense, in page order with the one that counts last at each place, and remarks on
    the rest."""
    kept, remarks = [], []
    for mark in score.tempos:
        if SLOWEST_MARK <= mark.bpm <= FASTEST_MARK:
            kept.append(mark)
        else:
            bar = score.measures[mark.measure].number
            remarks.append(f"Bar {bar}: a tempo of {float(mark.bpm):g} quarter notes a minute is left out.")
    kept.sort(key=lambda mark: (mark.measure, max(mark.onset, 0), mark.sound, mark.order))
    return kept, remarks


def _governs_start(marks: list[TempoMark]) -> bool:
    return marks[0].measure == 0


def _page_tempos(score: Score, marks: list[TempoMark]) -> list[list[tuple[int, Fraction]]]:
    """For each printed bar its tempos with their onsets, the first at 0."""
    page: list[list[tuple[int, Fraction]]] = []
    current = ASSUMED_TEMPO
    if marks and _governs_start(marks):
        first = max(marks[0].onset, 0)
        current = [m.bpm for m in marks if m.measure == 0 and max(m.onset, 0) == first][-1]
    following = 0
    for measure in score.measures:
        bar = [(0, current)]
        while following < len(marks) and marks[following].measure == measure.index:
            onset, current = max(marks[following].onset, 0), marks[following].bpm
            if onset == bar[-1][0]:
                bar.pop()
            bar.append((onset, current))
            following += 1
        page.append(bar)
    return page


def _assumed(score: Score, marks: list[TempoMark], given: bool) -> list[str]:
    """What to say of the part of the score that has no tempo."""
    if marks:
        bar = score.measures[marks[0].measure].number
        return [f"No tempo stands before bar {bar}: quarter = {ASSUMED_TEMPO} is assumed up to there."]
    return [] if given else [f"The score gives no tempo: quarter = {ASSUMED_TEMPO} is assumed."]


def _wind(
    score: Score, timeline: Timeline, page: list[list[tuple[int, Fraction]]], factor: Fraction, clock: Clock
) -> Clock:
    """Lay the page's tempos along the performance."""
    starts: list[int] = []
    tempos: list[Fraction] = []
    for visit in timeline.visits:
        length = score.measures[visit.measure].length
        for onset, tempo in page[visit.measure]:
            if (onset < length or not onset) and (not tempos or tempos[-1] != tempo):
                if starts and starts[-1] == visit.start + onset:
                    starts.pop()
                    tempos.pop()
                if not tempos or tempos[-1] != tempo:
                    starts.append(visit.start + onset)
                    tempos.append(tempo)
    if not starts:
        starts, tempos = [0], [clock.bpm / factor]
    scaled = {tempo: tempo * factor for tempo in set(tempos)}
    # A tick lasts 60000 / (bpm * resolution) ms; over the common multiple of all numerators every rate is
    # whole.
    common = lcm(*(tempo.numerator for tempo in scaled.values())) * score.resolution
    divisor = 2 * common
    rates, origins = [], []
    time, before, rate = common, 0, 0
    for start, tempo in zip(starts, tempos, strict=True):
        time += (start - before) * rate
        exact = scaled[tempo]
        rate = 2 * 60_000 * exact.denominator * (common // score.resolution // exact.numerator)
        before = start
        rates.append(rate)
        origins.append(time - start * rate)
    return Clock(
        clock.source,
        clock.bpm,
        clock.remarks,
        tuple(visit.start for visit in timeline.visits),
        tuple(starts),
        tuple(origins),
        tuple(rates),
        divisor,
    )

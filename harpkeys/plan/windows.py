"""Where in a hand's free time a flip fits.

A flip of `flip` milliseconds fits a free stretch that is long enough; what matters of a moment is the
earliest start at or after it (`Fits.earliest`). For a change that may start at `release` at the earliest,
is clean from `clean` on, and must start by `latest`, four ways are open, cheapest first: clean by the left
hand, clean by the right, cut by the left, cut by the right.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from harpkeys.plan.hand_time import Stretch
from harpkeys.score.pluck import Hand

NEVER = 1 << 60
"""Later than any time: no stretch is long enough any more."""

HANDS: tuple[Hand, Hand] = ("left", "right")


@dataclass(frozen=True, slots=True)
class Fits:
    """The stretches of one hand that are long enough for a flip.

    Attributes:
        stretches: those stretches, in order.
        starts: their starts.
        lasts: the last moment a flip can start in each.
    """

    stretches: tuple[Stretch, ...]
    starts: tuple[int, ...]
    lasts: tuple[int, ...]

    def earliest(self, moment: int) -> int:
        """Earliest start of a flip at or after a moment; NEVER where there is none."""
        index = bisect_left(self.lasts, moment)
        if index == len(self.lasts):
            return NEVER
        start = self.starts[index]
        return start if start > moment else moment

    def last(self, moment: int) -> int:
        """Latest start of a flip at or before a moment; -NEVER where there is none."""
        index = bisect_right(self.starts, moment) - 1
        if index < 0:
            return -NEVER
        last = self.lasts[index]
        return last if last < moment else moment

    def without(self, first: int, last: int) -> Fits:
        """The same hand without the stretches in which a flip can start between two moments."""
        low, high = bisect_left(self.lasts, first), bisect_right(self.starts, last)
        return Fits(
            self.stretches[:low] + self.stretches[high:],
            self.starts[:low] + self.starts[high:],
            self.lasts[:low] + self.lasts[high:],
        )

    def around(self, starts: Iterable[int], flip: int) -> Fits:
        """The same hand with what is left of its time when some flips are made, which do not overlap."""
        free: list[Stretch] = []
        index = 0
        taken = sorted(starts)
        for begin, end in self.stretches:
            while index < len(taken) and taken[index] < end:
                free.append((begin, taken[index]))
                begin = taken[index] + flip
                index += 1
            free.append((begin, end))
        return _usable(free, flip)


def fits_of(stretches: Mapping[Hand, Sequence[Stretch]], flip: int) -> tuple[Fits, Fits]:
    """The usable stretches of the left and the right hand."""
    return _usable(stretches["left"], flip), _usable(stretches["right"], flip)


def _usable(stretches: Iterable[Stretch], flip: int) -> Fits:
    usable = tuple(s for s in stretches if s[1] - s[0] >= flip)
    return Fits(usable, tuple(s[0] for s in usable), tuple(s[1] - flip for s in usable))


def release_of(onset: int, end: int) -> int:
    """First moment a string last plucked at `onset` and ending at `end` may change: half way through."""
    return onset + (end - onset + 1) // 2

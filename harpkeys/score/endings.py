"""Endings: which printed brackets are alternatives of one another, and in which round each is played.

A **bracket** is one printed ending; a **row** is what neighbouring brackets make together. A bracket
**returns** where a backward repeat stands in it that no forward repeat inside it opened.

References: MusicXML 4.0, element ending (its numbers need not be consecutive, and nothing forbids nonsense).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from harpkeys.score.model import Measure

NO_SENSE = "the numbers of the endings make no sense; the endings count in the order printed"
TOO_SHORT = "an ending does not reach to its repeat sign; it is taken to"
"""Repairs, as clauses for a remark."""


@dataclass(frozen=True, slots=True)
class Bracket:
    """One printed ending.

    Attributes:
        start, end: first and last bar.
        numbers: the rounds it is played in.
        row: index of its row.
        times: how often the backward repeat in it says the section is played, 0 where it does not return.
    """

    start: int
    end: int
    numbers: tuple[int, ...]
    row: int
    times: int


@dataclass(frozen=True, slots=True)
class Row:
    """Neighbouring endings, alternatives of one another.

    Attributes:
        brackets: from left to right.
        rounds: how often the section that they end is played, 0 where none of them returns.
        has_jump: whether a da capo or dal segno stands in an ending before the last.
        repairs: what was assumed to make sense of the brackets, as clauses.
    """

    brackets: tuple[Bracket, ...]
    rounds: int
    has_jump: bool
    repairs: tuple[str, ...]

    @property
    def start(self) -> int:
        """First bar."""
        return self.brackets[0].start

    @property
    def end(self) -> int:
        """Last bar."""
        return self.brackets[-1].end

    def bracket_at(self, bar: int) -> Bracket | None:
        """The ending that a bar belongs to."""
        index = bisect_right(self.brackets, bar, key=attrgetter("start")) - 1
        return self.brackets[index] if index >= 0 and bar <= self.brackets[index].end else None


def find_rows(measures: Sequence[Measure]) -> tuple[Row, ...]:
    """Every row of endings from left to right.

    A forward repeat at a bracket's start begins a new row, and so does a bracket whose numbers are taken
    already where the one before it does not return. Numbers of which none is 1, or which several brackets
    claim, give way to the order of printing. Brackets at the end of a row that no round would reach are no
    endings.
    """
    rows: list[list[Bracket]] = []
    repairs: list[list[str]] = []
    taken: set[int] = set()
    bar = 0
    while bar < len(measures):
        if not measures[bar].ending:
            bar += 1
            continue
        end = _bracket_end(measures, bar)
        stretched = _repeat_behind(measures, bar, end)
        if stretched is not None:
            end = stretched
        row = rows[-1] if rows else []
        neighbours = bool(row) and row[-1].end == bar - 1 and not measures[bar].opens
        if not neighbours or (not row[-1].times and not taken.isdisjoint(measures[bar].ending)):
            row = []
            rows.append(row)
            repairs.append([])
            taken = set()
        if stretched is not None:
            repairs[-1].append(TOO_SHORT)
        taken.update(measures[bar].ending)
        row.append(Bracket(bar, end, measures[bar].ending, len(rows) - 1, _times(measures, bar, end)))
        bar = end + 1
    return tuple(_as_row(measures, *pair) for pair in zip(rows, repairs, strict=True))


def _bracket_end(measures: Sequence[Measure], start: int) -> int:
    """Last bar of the ending that starts here: a backward repeat ends it, unless it closes one opened
    inside."""
    opened = 0
    for bar in range(start, len(measures)):
        if measures[bar].ending != measures[start].ending:
            return bar - 1
        opened += measures[bar].opens
        if measures[bar].closes:
            if not opened:
                return bar
            opened -= 1
    return len(measures) - 1


def _repeat_behind(measures: Sequence[Measure], start: int, end: int) -> int | None:
    """The bar of a backward repeat that a bracket drawn too short should reach to.

    That is one between a bracket that does not return and another bracket right behind the repeat; such
    files occur.
    """
    if measures[end].closes:
        return None
    for bar in range(end + 1, len(measures) - 1):
        if measures[bar].ending or measures[bar].opens:
            return None
        if measures[bar].closes:
            following = measures[bar + 1].ending
            return bar if following and min(following) > max(measures[start].ending) else None
    return None


def _times(measures: Sequence[Measure], start: int, end: int) -> int:
    """How often the backward repeat at the end of a bracket says its section is played; 0 without one."""
    opened = sum(measures[bar].opens for bar in range(start, end + 1))
    closed = sum(measures[bar].closes > 0 for bar in range(start, end + 1))
    return measures[end].closes if closed > opened else 0


def _as_row(measures: Sequence[Measure], brackets: list[Bracket], repairs: list[str]) -> Row:
    """A row with numbers that make sense and without brackets that no round reaches."""
    numbers = [number for one in brackets for number in one.numbers]
    returns = any(one.times for one in brackets)
    sensible = 1 in numbers and len(set(numbers)) == len(numbers) and _reached(brackets) == len(brackets)
    if returns and not sensible:
        repairs = [*repairs, NO_SENSE]
        brackets = [replace(one, numbers=(place,)) for place, one in enumerate(brackets, 1)]
        brackets = brackets[: _reached(brackets)]
    rounds = _rounds(brackets) if any(one.times for one in brackets) else 0
    has_jump = any(_leaps(measures[bar]) for one in brackets[:-1] for bar in range(one.start, one.end + 1))
    return Row(tuple(brackets), rounds, has_jump, tuple(repairs))


def _leaps(measure: Measure) -> bool:
    return any(jump.kind in ("dacapo", "dalsegno") for jump in measure.jumps)


def _rounds(brackets: list[Bracket]) -> int:
    """How often the section is played: until a round does not return, or the highest number is done.

    Of a bracket that stands alone the backward repeat tells how often.
    """
    if len(brackets) > 1:
        most = max(number for one in brackets for number in one.numbers)
    else:
        most = brackets[0].times
    returning = {number for one in brackets if one.times for number in one.numbers}
    number = 1
    while number < most and number in returning:
        number += 1
    return number


def _reached(brackets: list[Bracket]) -> int:
    """How many brackets some round plays."""
    rounds = _rounds(brackets)
    return sum(any(number <= rounds for number in one.numbers) for one in brackets)

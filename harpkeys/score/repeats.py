"""Which bars each repeat spans, before anything is played.

A **section** is what one forward and its backward repeat enclose, endings included. A backward repeat
closes the latest forward repeat still open; where none is, it goes back to the end of the previous repeat,
else to the start.

References: MusicXML 4.0, element repeat.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from harpkeys.score.endings import Bracket, Row, find_rows
from harpkeys.score.model import Measure


@dataclass(frozen=True, slots=True)
class Section:
    """A repeated stretch.

    Attributes:
        start, end: first and last bar, endings included.
        rounds: how often it is played.
        row: index of its row of endings, None without.
    """

    start: int
    end: int
    rounds: int
    row: int | None


@dataclass(frozen=True, slots=True)
class Layout:
    """The repeats of a score.

    Attributes:
        sections: by order of their first backward repeat.
        rows: rows of endings from left to right.
        section_of_row: for each row the index of the section it ends, None where none of its endings returns.
        brackets: for each bar the ending that starts there, None without.
        closes: for each bar the index of the section whose backward repeat stands at its end, None without.
        remarks: sentences about endings that make no sense.
    """

    sections: tuple[Section, ...]
    rows: tuple[Row, ...]
    section_of_row: tuple[int | None, ...]
    brackets: tuple[Bracket | None, ...]
    closes: tuple[int | None, ...]
    remarks: tuple[str, ...]

    def inside(self, which: int) -> Iterator[int]:
        """Indexes of the sections inside a section; sections nest and are in the order in which they
        close."""
        outer = self.sections[which]
        for index in range(which - 1, -1, -1):
            if self.sections[index].start < outer.start:
                break
            yield index
        for index in range(which + 1, len(self.sections)):
            if self.sections[index].end > outer.end or self.sections[index].start < outer.start:
                break
            yield index

    def last_round(self, section: Section, bar: int) -> int:
        """The last round of a section on which one of its bars sounds."""
        if section.row is not None:
            bracket = self.rows[section.row].bracket_at(bar)
            if bracket is not None:
                return max(number for number in bracket.numbers if number <= section.rounds)
        return section.rounds


def lay_out(measures: tuple[Measure, ...]) -> Layout:
    """Find every section and every row of endings.

    Args:
        measures: the printed bars.

    Returns:
        The layout; any arrangement of marks has one.
    """
    rows = find_rows(measures)
    starts, closes, section_of_row = _match(measures, rows)
    row_of_section = {which: row for row, which in section_of_row.items()}
    last_close: dict[int, int] = {}
    for bar, which in closes.items():
        last_close[which] = max(bar, last_close.get(which, bar))
    sections: list[Section] = []
    for which, start in enumerate(starts):
        end, row = last_close[which], row_of_section.get(which)
        if row is None:
            sections.append(Section(start, end, measures[end].closes, None))
        else:
            sections.append(Section(start, max(end, rows[row].end), rows[row].rounds, row))
    by_start = {bracket.start: bracket for row in rows for bracket in row.brackets}
    bars = range(len(measures))
    return Layout(
        tuple(sections),
        rows,
        tuple(section_of_row.get(row) for row in range(len(rows))),
        tuple(by_start.get(bar) for bar in bars),
        tuple(closes.get(bar) for bar in bars),
        tuple(_remarks(measures, rows)),
    )


def _remarks(measures: tuple[Measure, ...], rows: tuple[Row, ...]) -> Iterator[str]:
    """What to say of endings that make no sense."""
    for row in rows:
        bar = f"Bar {measures[row.start].number}"
        yield from (f"{bar}: {repair}." for repair in row.repairs)
        if not row.rounds and not row.has_jump and len(row.brackets) > 1:
            yield f"{bar}: the endings have no repeat and are played in a row."


def _match(
    measures: tuple[Measure, ...], rows: tuple[Row, ...]
) -> tuple[list[int], dict[int, int], dict[int, int]]:
    """Pair backward with forward repeats.

    Returns:
        The first bar of each section; the section of each closing bar; the section of each row of endings.
    """
    row_of = {bar: index for index, row in enumerate(rows) for bar in range(row.start, row.end + 1)}
    starts: list[int] = []
    closes: dict[int, int] = {}
    section_of_row: dict[int, int] = {}
    open_bars: list[int] = []
    unopened = 0  # where a backward repeat that nothing opened goes back to
    before_row = 0  # the same as it was when the current row of endings began
    for bar, measure in enumerate(measures):
        index = row_of.get(bar)
        if index is not None and bar == rows[index].start:
            before_row = unopened
        if measure.opens:
            open_bars.append(bar)
        if measure.closes:
            bracket = None if index is None else rows[index].bracket_at(bar)
            inside = bracket is not None and bool(open_bars) and open_bars[-1] >= bracket.start
            if index in section_of_row and not inside:
                closes[bar] = section_of_row[index]
            else:
                if index is not None and not inside:
                    section_of_row[index] = len(starts)
                closes[bar] = len(starts)
                starts.append(open_bars.pop() if open_bars else unopened if index is None else before_row)
            unopened = bar + 1
        if index in section_of_row and bar == rows[index].end:
            unopened = bar + 1
    return starts, closes, section_of_row

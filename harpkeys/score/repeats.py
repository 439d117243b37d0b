"""Which bars each repeat spans and which endings belong to it, before anything is played.

A **section** is what one forward and its backward repeat enclose, endings included; a **bracket** is one
printed ending; a **group** is a row of brackets that are alternatives of one another.

References: MusicXML 4.0, elements repeat and ending.
"""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.score.model import Measure


@dataclass(frozen=True, slots=True)
class Bracket:
    """One printed ending: first and last bar, its numbers, and the index of its group."""

    start: int
    end: int
    numbers: tuple[int, ...]
    group: int


@dataclass(frozen=True, slots=True)
class Group:
    """Neighbouring endings, alternatives of one another.

    Attributes:
        start, end: first and last bar.
        brackets: the endings from left to right.
        section: index of the section they end, None where no backward repeat stands in them.
        has_jump: whether a da capo or dal segno stands in an ending before the last.
    """

    start: int
    end: int
    brackets: tuple[Bracket, ...]
    section: int | None
    has_jump: bool


@dataclass(frozen=True, slots=True)
class Section:
    """A repeated stretch.

    Attributes:
        start, end: first and last bar, endings included.
        rounds: how often it is played.
        group: index of its endings, None without.
    """

    start: int
    end: int
    rounds: int
    group: int | None


@dataclass(frozen=True, slots=True)
class Layout:
    """The repeats of a score.

    Attributes:
        sections: by order of their first backward repeat.
        groups: from left to right.
        brackets: for each bar the ending that starts there, None without.
        closes: for each bar the index of the section whose backward repeat stands at its end, None without.
        remarks: sentences about endings that make no sense.
    """

    sections: tuple[Section, ...]
    groups: tuple[Group, ...]
    brackets: tuple[Bracket | None, ...]
    closes: tuple[int | None, ...]
    remarks: tuple[str, ...]

    def last_round(self, section: Section, bar: int) -> int:
        """The last round of a section on which one of its bars sounds."""
        if section.group is not None:
            for bracket in self.groups[section.group].brackets:
                if bracket.start <= bar <= bracket.end:
                    return max((n for n in bracket.numbers if n <= section.rounds), default=section.rounds)
        return section.rounds


def lay_out(measures: tuple[Measure, ...]) -> Layout:
    """Find every section and every group of endings.

    Args:
        measures: the printed bars.

    Returns:
        The layout; any arrangement of marks has one.
    """
    rows = _find_groups(measures)
    row_of = {
        bar: row
        for row, brackets in enumerate(rows)
        for bar in range(brackets[0].start, brackets[-1].end + 1)
    }
    starts, closes, section_of_row = _match(measures, rows, row_of)
    row_of_section = {which: row for row, which in section_of_row.items()}
    last_close: dict[int, int] = {}
    for bar, which in closes.items():
        last_close[which] = max(bar, last_close.get(which, bar))
    sections: list[Section] = []
    for which, start in enumerate(starts):
        row = row_of_section.get(which)
        end = last_close[which] if row is None else max(last_close[which], rows[row][-1].end)
        rounds = (
            measures[last_close[which]].closes
            if row is None
            else _count_rounds(measures, rows[row], closes, which)
        )
        sections.append(Section(start, end, rounds, row))
    groups: list[Group] = []
    remarks: list[str] = []
    for row, brackets in enumerate(rows):
        has_jump = any(
            _leaps(measures[bar]) for one in brackets[:-1] for bar in range(one.start, one.end + 1)
        )
        group = Group(brackets[0].start, brackets[-1].end, brackets, section_of_row.get(row), has_jump)
        groups.append(group)
        if group.section is None and not has_jump and len(brackets) > 1:
            remarks.append(
                f"Bar {measures[group.start].number}: the endings have no repeat and are played in a row."
            )
    by_start = {bracket.start: bracket for brackets in rows for bracket in brackets}
    bars = range(len(measures))
    return Layout(
        tuple(sections),
        tuple(groups),
        tuple(by_start.get(bar) for bar in bars),
        tuple(closes.get(bar) for bar in bars),
        tuple(remarks),
    )


def _leaps(measure: Measure) -> bool:
    return any(jump.kind in ("dacapo", "dalsegno") for jump in measure.jumps)


def _find_groups(measures: tuple[Measure, ...]) -> list[tuple[Bracket, ...]]:
    """Rows of neighbouring brackets; numbers that do not rise, or a forward repeat, start a new row."""
    rows: list[list[Bracket]] = []
    bar = 0
    while bar < len(measures):
        numbers = measures[bar].ending
        if not numbers:
            bar += 1
            continue
        end = _bracket_end(measures, bar)
        row = rows[-1] if rows else []
        joins = bool(row) and row[-1].end == bar - 1 and not measures[bar].opens
        if not joins or min(numbers) <= min(number for one in row for number in one.numbers):
            row = []
            rows.append(row)
        row.append(Bracket(bar, end, numbers, len(rows) - 1))
        bar = end + 1
    return [tuple(row) for row in rows]


def _bracket_end(measures: tuple[Measure, ...], start: int) -> int:
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


def _match(
    measures: tuple[Measure, ...], rows: list[tuple[Bracket, ...]], row_of: dict[int, int]
) -> tuple[list[int], dict[int, int], dict[int, int]]:
    """Pair backward with forward repeats.

    Returns:
        The first bar of each section; the section of each closing bar; the section of each row of endings.
    """
    starts: list[int] = []
    closes: dict[int, int] = {}
    section_of_row: dict[int, int] = {}
    open_bars: list[int] = []
    unopened = 0  # where a backward repeat that nothing opened goes back to
    before_row = 0  # the same as it was when the current row of endings began
    for bar, measure in enumerate(measures):
        row = row_of.get(bar)
        if row is not None and bar == rows[row][0].start:
            before_row = unopened
        if measure.opens:
            open_bars.append(bar)
        if row in section_of_row and row is not None and bar == rows[row][-1].end:
            unopened = bar + 1
        if not measure.closes:
            continue
        bracket = None if row is None else next(one for one in rows[row] if one.start <= bar <= one.end)
        inside = bracket is not None and bool(open_bars) and open_bars[-1] >= bracket.start
        if row is not None and not inside and row in section_of_row:
            closes[bar] = section_of_row[row]
        else:
            start = open_bars.pop() if open_bars else (unopened if row is None else before_row)
            if row is not None and not inside:
                section_of_row[row] = len(starts)
            closes[bar] = len(starts)
            starts.append(start)
        unopened = bar + 1
    return starts, closes, section_of_row


def _count_rounds(
    measures: tuple[Measure, ...], brackets: tuple[Bracket, ...], closes: dict[int, int], which: int
) -> int:
    """How often a section with endings is played: until a round does not end in a backward repeat."""
    returns = {
        one: [measures[bar].closes for bar in range(one.start, one.end + 1) if closes.get(bar) == which]
        for one in brackets
    }
    if len(brackets) > 1:
        most = max(number for one in brackets for number in one.numbers)
    else:
        most = max(returns[brackets[0]])
    number = 1
    while number < most and any(returns[one] for one in brackets if number in one.numbers):
        number += 1
    return number

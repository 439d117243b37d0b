"""A shelf as a table, as JSON lines ("harpkeys/shelf/1") and as CSV."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import floor

from harpkeys.cli.data_text import csv_text
from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import heading, paragraph, table
from harpkeys.report.words import count_text, ordinal, seconds_text
from harpkeys.shelf.model import Finding, HardSpot, Row
from harpkeys.shelf.sift import NOT_VETTED, VERDICTS, verdict_word

ROWS = 50
"""Files shown in the table where no number is asked for."""

LONGEST_FILE = 34
"""Columns of a file's name in the table."""

LONGEST_LABEL = 24
"""Columns of a harp's name."""

HEADER = (
    "file",
    "harp",
    "verdict",
    "problem",
    "title",
    "part",
    "measures",
    "notes",
    "bpm",
    "lost",
    "lost_auxiliaries",
    "cuts",
    "flips",
    "off_string",
    "right_hand",
    "levers_up",
    "tempo_ceiling",
    "spot",
    "spot_measure",
    "spot_pass",
    "spot_amount",
    "proved",
    "effort",
)
"""Columns of the CSV table. A spot's amount is notes lost, or seconds cut or to spare."""


def csv_header() -> str:
    """The first line of the CSV table."""
    return csv_text(HEADER, ())


def csv_rows(rows: Sequence[Row]) -> str:
    """Rows of the CSV table."""
    text = csv_text(HEADER, map(_csv_row, rows))
    return text[len(csv_header()) :]


def _csv_row(row: Row) -> tuple[object, ...]:
    found = row.finding
    if found is None:
        return (row.file, row.label, NOT_VETTED, row.problem, *[""] * (len(HEADER) - 4))
    spot: tuple[object, ...] = ("", "", "", "")
    if found.spot is not None:
        amount = found.spot.amount if found.spot.kind == "lost" else found.spot.amount / 1000
        spot = (found.spot.kind, found.spot.measure, found.spot.number, amount)
    return (
        row.file,
        row.label,
        found.verdict,
        "",
        found.title,
        found.part,
        found.measures,
        found.plucks,
        found.bpm,
        found.lost,
        found.lost_auxiliaries,
        found.cuts,
        found.flips,
        found.off_string,
        found.right_hand,
        found.levers_up,
        "" if found.ceiling is None else found.ceiling,
        *spot,
        "yes" if found.proved else "no",
        found.effort,
    )


def shelf_lines(
    name: str,
    every: Sequence[Sequence[Row]],
    shown: Sequence[Sequence[Row]],
    labels: Sequence[str],
    most: int = ROWS,
    *,
    sifted: bool = False,
) -> Iterator[Line]:
    """The whole shelf, line by line.

    Args:
        name: of the shelf.
        every: rows of every file.
        shown: rows of the files that are asked for, in order.
        labels: of the instruments, in order.
        most: how many files to show.
        sifted: whether not all files were asked for.
    """
    yield Line(f"{name}: {count_text(len(every), 'file')}", "heading")
    yield Line()
    yield from table(_summary(every, labels), right=range(1, 6))
    several = len(labels) > 1
    vetted = [rows for rows in shown if any(row.finding for row in rows)]
    first = vetted[:most]
    if sifted:
        yield from heading(f"As asked for: {count_text(len(shown), 'file')}")
    elif first:
        yield from heading("Each file")
    if first:
        yield from table(
            _several(first, labels) if several else _single(first), right=() if several else range(2, 6)
        )
        if len(vetted) > len(first):
            yield from paragraph(f"… and {len(vetted) - len(first)} more; --rows {len(vetted)} shows all.", 2)
        if several and len(labels) > 1:
            yield from _harps(labels)
        yield from paragraph(_legend(first, several=several), 2)
    yield from _problems(shown)


def _summary(every: Sequence[Sequence[Row]], labels: Sequence[str]) -> list[tuple[str, ...]]:
    """How many files have which verdict on each harp."""
    counts = Counter((row.label, verdict_word(row)) for rows in every for row in rows)
    words = [*VERDICTS, NOT_VETTED]
    return [
        ("", *words),
        *((_short(label, LONGEST_LABEL), *(str(counts[label, word]) for word in words)) for label in labels),
    ]


def _single(files: Sequence[Sequence[Row]]) -> list[tuple[str, ...]]:
    """A row for each file, on one harp."""
    found: list[tuple[str, ...]] = [("file", "verdict", "lost", "cut", "flips", "up", "hardest", "to")]
    for row, *_ in files:
        finding = row.finding
        if finding is None:
            continue
        near = f"+{finding.off_string}" if finding.off_string else ""
        found.append(
            (
                _short(row.file, LONGEST_FILE),
                finding.verdict,
                f"{'' if finding.proved else '~'}{finding.lost + finding.lost_auxiliaries}",
                str(finding.cuts),
                f"{finding.flips}{near}",
                str(finding.levers_up),
                _spot(finding.spot),
                "" if finding.ceiling is None else f"{floor(100 * Fraction(str(finding.ceiling))) / 100:g}",
            )
        )
    return found


def _several(files: Sequence[Sequence[Row]], labels: Sequence[str]) -> list[tuple[str, ...]]:
    """A row for each file, a column for each harp."""
    found = [("file", *_letters(labels))]
    for rows in files:
        cells = {row.label: _cell(row.finding) for row in rows}
        found.append((_short(rows[0].file, LONGEST_FILE), *(cells.get(label, "") for label in labels)))
    return found


def _letters(labels: Sequence[str]) -> list[str]:
    """A short name of each harp, for the head of a column."""
    return [chr(ord("a") + k % 26) * (1 + k // 26) for k in range(len(labels))]


def _harps(labels: Sequence[str]) -> Iterator[Line]:
    pairs = zip(_letters(labels), labels, strict=True)
    yield from paragraph("; ".join(f"{letter}: {label}" for letter, label in pairs) + ".", 2)


def _cell(finding: Finding | None) -> str:
    if finding is None:
        return "?"
    sign = "" if finding.proved else "~"
    if finding.lost or finding.lost_auxiliaries:
        return f"{sign}{finding.lost + finding.lost_auxiliaries} lost"
    if finding.cuts:
        return f"{sign}{count_text(finding.cuts, 'cut')}"
    return f"{sign}{count_text(finding.flips, 'flip')}" if finding.flips else "as set"


def _spot(spot: HardSpot | None) -> str:
    if spot is None:
        return ""
    place = f"{spot.measure}, {ordinal(spot.number)}" if spot.number > 1 else spot.measure
    if spot.kind == "lost":
        return f"{place}: {spot.amount} lost"
    return f"{place}: {'cuts ' if spot.kind == 'cut' else ''}{seconds_text(spot.amount)}"


def _short(text: str, columns: int) -> str:
    """A text of at most so many columns, its end kept: of a path that is the file."""
    return text if len(text) <= columns else "…" + text[1 - columns :]


def _legend(files: Sequence[Sequence[Row]], *, several: bool) -> str:
    told = []
    if not several:
        told = [
            "flips: with + those notes that go on a neighbouring string",
            "up: levers raised before the start",
            "hardest: bar with its tightest flip, longest cut or most lost notes",
            "to: how much faster the flips still fit",
        ]
    if any(row.finding is not None and not row.finding.proved for rows in files for row in rows):
        told.append("~: the best plan found, not proved the best")
    return "; ".join(told) + "." if told else ""


def _problems(shown: Sequence[Sequence[Row]]) -> Iterator[Line]:
    """The files that could not be vetted, with their reasons."""
    problems = [
        (rows[0].file, sentence)
        for rows in shown
        for sentence in dict.fromkeys(row.problem for row in rows if row.problem)
    ]
    if problems:
        yield from heading("Not vetted")
        for file, sentence in problems:
            yield from paragraph(f"{file}: {sentence}", 2, bullet=True)

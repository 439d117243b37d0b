"""Laying text out in 80 columns: headings, paragraphs, entries with a label, tables."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence

from harpkeys.cli.terminal import Line, Role

WIDTH = 80
"""Columns of a text view."""

_UNIT = re.compile(r"(?<=\d) (s\b|%)")
_TIE = "\N{NO-BREAK SPACE}"


def heading(text: str) -> Iterator[Line]:
    """A heading, with a blank line before it."""
    yield Line()
    yield Line(text, "heading")


def paragraph(text: str, indent: int = 0, *, bullet: bool = False, role: Role = "text") -> Iterator[Line]:
    """A paragraph, broken at spaces.

    Args:
        text: what it says.
        indent: columns to the left of it.
        bullet: whether a dash stands before it.
        role: how it stands out.
    """
    start = " " * indent + ("- " if bullet else "")
    yield from _wrapped(text, start, " " * len(start), role)


def entries(rows: Sequence[tuple[str, str]], indent: int = 0) -> Iterator[Line]:
    """Labels with what is said of each, aligned.

    Args:
        rows: (label, text).
        indent: columns to the left of the labels.
    """
    widest = max(len(label) for label, _ in rows)
    for label, text in rows:
        start = " " * indent + label.ljust(widest) + "  " * bool(widest)
        yield from _wrapped(text, start, " " * len(start), "text")


def table(
    rows: Sequence[Sequence[str]], groups: Sequence[object] | None = None, right: Sequence[int] = ()
) -> Iterator[Line]:
    """A table, its first row the names of the columns.

    Args:
        rows: cells, as many in each row.
        groups: one for each row; a blank line parts rows whose groups differ. None parts nothing.
        right: columns that are set flush right.
    """
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for number, row in enumerate(rows):
        if groups is not None and number > 1 and groups[number] != groups[number - 1]:
            yield Line()
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        yield Line(("  " + "  ".join(cells)).rstrip())


def _wrapped(text: str, first: str, other: str, role: Role) -> Iterator[Line]:
    tied = _UNIT.sub(_TIE + r"\1", text)
    lines = textwrap.wrap(tied, WIDTH, initial_indent=first, subsequent_indent=other, break_on_hyphens=False)
    for line in lines or [first.rstrip()]:
        yield Line(line.replace(_TIE, " "), role)

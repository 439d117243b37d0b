"""Results for other programs: JSON with one entry of each list to a line, and CSV.

JSON is ASCII with escapes, as it allows, so any pipe carries it. CSV has a header line and \\n line ends (RFC
4180 but for these, so that it goes through pipes like other text). No cell of text is taken for a formula.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?", re.ASCII)
"""What begins with a sign and is no formula."""


def json_text(entries: Mapping[str, Any]) -> str:
    """One JSON object, with its last line end."""
    parts = []
    for name, value in entries.items():
        if isinstance(value, (list, tuple)) and value:
            items = ",\n".join("    " + json.dumps(item) for item in value)
            parts.append(f"  {json.dumps(name)}: [\n{items}\n  ]")
        else:
            parts.append(f"  {json.dumps(name)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def csv_text(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A CSV table.

    Args:
        header: what stands over the columns.
        rows: the cells; text that a spreadsheet might take for a formula gets an apostrophe in front.
    """
    from harpkeys.page.sheet_csv import harmless

    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(cell, harmless) for cell in row])
    return stream.getvalue()


def _cell(cell: object, harmless: Callable[[str], str]) -> object:
    if not isinstance(cell, str) or _NUMBER.fullmatch(cell):
        return cell
    return harmless(cell)

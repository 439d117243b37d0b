"""Results for other programs: JSON with one entry of each list to a line, and CSV.

JSON is ASCII with escapes, as it allows, so any pipe carries it. CSV has a header line and \\n line ends (RFC
4180 but for these, so that it goes through pipes like other text).
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any


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
    """A CSV table."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return stream.getvalue()

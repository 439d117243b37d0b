"""What stands before the music: title and part list.

Reference: MusicXML 4.0, `work`, `movement-title`, `credit`, `part-list`, `score-part`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from harpkeys.score.texts import plain_text, whole_number

MAX_TITLE = 200
"""Longest title and name kept, in characters."""


@dataclass(frozen=True, slots=True)
class PartHeader:
    """What the part list says of a part; see `Part` for the meaning of the fields."""

    id: str
    name: str = ""
    program: int | None = None
    sound: str = ""


def read_title(root: Any, prefix: str, fallback: str) -> str:
    """The score's title.

    Args:
        root: the root element.
        prefix: "{namespace}" in front of every tag, or "".
        fallback: what to take where the file has none.

    Returns:
        Work title, else movement title, else the words of the credit marked as title, else `fallback`.
    """
    paths = (f"{prefix}work/{prefix}work-title", f"{prefix}movement-title")
    for path in paths:
        title = plain_text(root.findtext(path))[:MAX_TITLE]
        if title:
            return title
    for credit in root.iterchildren(prefix + "credit"):
        kinds = [plain_text(kind.text).lower() for kind in credit.iterchildren(prefix + "credit-type")]
        if "title" in kinds:
            words = " ".join(word.text or "" for word in credit.iterchildren(prefix + "credit-words"))
            title = plain_text(words)[:MAX_TITLE]
            if title:
                return title
    return plain_text(fallback)[:MAX_TITLE]


def read_part_list(root: Any, prefix: str) -> dict[str, PartHeader]:
    """The part list by part id; the first of equal ids counts.

    Args:
        root: the root element.
        prefix: "{namespace}" in front of every tag, or "".

    Returns:
        Headers by id.
    """
    headers: dict[str, PartHeader] = {}
    part_list = root.find(prefix + "part-list")
    if part_list is None:
        return headers
    for element in part_list.iterchildren(prefix + "score-part"):
        header = _part_header(element, prefix)
        headers.setdefault(header.id, header)
    return headers


def _part_header(element: Any, prefix: str) -> PartHeader:
    """The header of one `score-part`: its printed name, else its displayed name, else its instrument's."""
    display = element.find(f"{prefix}part-name-display")
    shown = "" if display is None else "".join(t.text or "" for t in display.iter(prefix + "display-text"))
    instrument = element.findtext(f"{prefix}score-instrument/{prefix}instrument-name")
    names = (element.findtext(prefix + "part-name"), shown, instrument)
    name = next((text for text in map(plain_text, names) if text), "")
    program = whole_number(element.findtext(f"{prefix}midi-instrument/{prefix}midi-program"))
    sound = element.findtext(f"{prefix}score-instrument/{prefix}instrument-sound")
    return PartHeader(
        element.get("id") or "",
        name[:MAX_TITLE],
        program if program is not None and 1 <= program <= 128 else None,
        plain_text(sound)[:MAX_TITLE],
    )

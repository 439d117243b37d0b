"""Barlines: repeats, endings, signs on them.

References: MusicXML 4.0, `barline`, `repeat`, `ending`. What is missing or invalid is survived: a bracket
without readable numbers gets the number after the bracket before it.
"""

from __future__ import annotations

import re
from typing import Any

from harpkeys.score.model import Jump
from harpkeys.score.reader_draft import EndingDraft, JumpDraft, PartDraft
from harpkeys.score.texts import plain_text, whole_number

MAX_TIMES = 99
"""Most times believed that a section is played, and largest number believed on a bracket."""

_RANGE = re.compile(r"([0-9]+)(?:\s*\.?\s*[-\u2013]\s*([0-9]+))?", re.ASCII)


def read_barline(element: Any, part: PartDraft) -> None:
    """Take in a `barline`.

    Args:
        element: the barline.
        part: the part being read; it is changed.
    """
    prefix = part.shared.prefix
    location = element.get("location") or ("right" if part.cursor else "left")
    for child in element:
        name = child.tag[len(prefix) :] if isinstance(child.tag, str) else ""
        if name == "repeat":
            _repeat(child, part, location)
        elif name == "ending":
            _ending(child, part, location)
        elif name in ("segno", "coda"):
            # The attribute of the same name on the barline gives the sign its name.
            sign = plain_text(element.get(name))
            draft = JumpDraft(Jump(name, sign, onset=part.cursor), sign_only=element.get(name) is None)
            part.bar.add_jumps(draft)
        elif name == "fermata":
            part.shared.places.add(("fermata", part.index, part.cursor))


def _repeat(element: Any, part: PartDraft, location: str) -> None:
    """Take in a repeat sign; a forward one at a bar's end opens the next bar."""
    if location == "middle":
        part.remark("middle")
    if element.get("direction") == "forward":
        if location == "right" and part.cursor:
            part.opens_next = True
        else:
            part.bar.opens = True
        return
    if element.get("direction") != "backward":
        return
    times = whole_number(element.get("times"))
    closes = 2 if times is None else max(1, min(MAX_TIMES, times))
    bar = part.bars[-2] if location == "left" and len(part.bars) > 1 else part.bar
    bar.closes = max(bar.closes, closes)


def _ending(element: Any, part: PartDraft, location: str) -> None:
    """Take in a bracket's start or end; an end at a bar's start is that of the bar before."""
    kind = element.get("type") or "start"
    if kind not in ("start", "stop", "discontinue"):
        return
    numbers = ending_numbers(element.get("number")) or ending_numbers(element.text)
    bar = part.bars[-2] if kind != "start" and location == "left" and len(part.bars) > 1 else part.bar
    bar.add_ending(EndingDraft(kind, numbers))


def ending_numbers(text: str | None) -> tuple[int, ...]:
    """The numbers on a bracket: "1, 2", "1.-3." and "1.2." alike.

    Args:
        text: the number attribute or the printed text.

    Returns:
        The numbers in order, () where none can be read.
    """
    numbers: set[int] = set()
    for match in _RANGE.finditer((text or "")[:200]):
        first = int(match.group(1))
        last = int(match.group(2) or first)
        if 1 <= first <= last <= MAX_TIMES:
            numbers.update(range(first, last + 1))
    return tuple(sorted(numbers))

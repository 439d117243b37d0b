"""Marks as MusicXML elements, and how a program's own marks are told from everything else in a file.

A mark is a `<direction>` with `<words>` that follow the grammar of `harpkeys.mark.words`. The words of the
setting, at the first bar, are so peculiar that they show that a file is marked at all: only then is anything
in it taken for a mark. In a file as this program wrote it marks also bear exactly the attributes given here
(places apart), so somebody else's words of the same form are left alone; another program that opened and
saved the file may have dropped the attributes, and then the words alone decide.

Ids are not used, since only MusicXML 3.1 and later know them on directions.

Reference: MusicXML 4.0, `direction`, `words`; which attributes readers and engravers heed was measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from lxml import etree

from harpkeys.mark.words import CUE, NEIGHBOUR, SETTING
from harpkeys.score.texts import plain_text

Role = Literal["setting", "cue", "neighbour"]

GRAMMAR = {"setting": SETTING, "cue": CUE, "neighbour": NEIGHBOUR}

ATTRIBUTES: dict[Role, dict[str, str]] = {
    "setting": {"font-style": "normal"},
    "cue": {"enclosure": "rectangle", "font-style": "normal"},
    "neighbour": {"font-style": "normal", "font-size": "8"},
}
"""Attributes of the words. They name no place: an engraver that is told one no longer keeps words apart."""

_PLACES = {"default-x", "default-y", "relative-x", "relative-y"}

FLAG_COLOUR = "#C2410C"
"""Colour of notes that are lost or cut: dark enough to be read in black and white."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Words to be put on a page.

    Attributes:
        part: index of the part.
        measure: index of the printed bar.
        tick: ticks from its start.
        staff: staff within the part, None where the part has only one.
        role: what the words are.
        text: the words.
    """

    part: int
    measure: int
    tick: int
    staff: int | None
    role: Role
    text: str


def mark_element(mark: Mark, prefix: str, placement: str = "above") -> Any:
    """The direction of a mark.

    Args:
        mark: the mark.
        prefix: "{namespace}" in front of every tag, or "".
        placement: "above" or "below".
    """
    direction = etree.Element(prefix + "direction", placement=placement)
    holder = etree.SubElement(direction, prefix + "direction-type")
    words = etree.SubElement(holder, prefix + "words", ATTRIBUTES[mark.role])
    words.text = mark.text
    if mark.staff is not None:
        etree.SubElement(direction, prefix + "staff").text = str(mark.staff)
    return direction


def role_of(direction: Any, prefix: str) -> Role | None:
    """What a direction is if its words are those of a mark, else None.

    Args:
        direction: a `<direction>`.
        prefix: "{namespace}" in front of every tag, or "".
    """
    words = _only_words(direction, prefix)
    if words is None or len(words):
        return None
    text = plain_text(words.text)
    return next((role for role in ATTRIBUTES if GRAMMAR[role].fullmatch(text)), None)


def is_as_written(direction: Any, role: Role, prefix: str) -> bool:
    """Whether the words of a mark bear exactly the attributes that this program gives them, places apart."""
    words = _only_words(direction, prefix)
    if words is None:
        return False
    given = {name: value for name, value in words.attrib.items() if name not in _PLACES}
    return given == {name: value for name, value in ATTRIBUTES[role].items() if name not in _PLACES}


def _only_words(direction: Any, prefix: str) -> Any:
    """The `<words>` of a direction that has nothing else to say, else None."""
    types = direction.findall(prefix + "direction-type")
    if len(types) != 1 or len(types[0]) != 1 or types[0][0].tag != prefix + "words":
        return None
    if direction.find(prefix + "sound") is not None:
        return None
    return types[0][0]

"""Single bars cut out of a score copy, each piece a score of its own with clef, key and time in force.

The engraver could select bars of a whole score, but lays the whole score out for each: a piece is drawn many
times faster. Ties, slurs and hairpins that lead out of a piece are left as they are; the engraver ignores
those that end nowhere.

Reference: MusicXML 4.0, element `attributes` and the order of its children.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from copy import deepcopy
from xml.etree import ElementTree

from harpkeys.page.score_copy import ScoreCopy, copied_tree

Element = ElementTree.Element
InForce = dict[tuple[str, str], Element]
"""Attributes in force, by tag and staff number ("" for all staves)."""

_ORDER = ("divisions", "key", "time", "staves", "instruments", "clef", "staff-details", "transpose")
_MUSIC = frozenset({"note", "backup", "forward"})


def score_cuts(
    xml: str | bytes,
    ranges: Sequence[tuple[int, int]],
    *,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
) -> Iterator[ScoreCopy]:
    """Cut bars out of a score.

    Args:
        xml: a MusicXML document, as text or as bytes.
        ranges: first and last measure of each piece, as indices.
        parts: ids of the parts to keep; all where empty.
        tints: colours "#rrggbb" by number of the note in the document.
        brackets: numbers of the notes whose heads stand in brackets.

    Returns:
        A copy for each range; its numbers are those of the bars in it.

    Raises:
        ScoreError: it is no MusicXML score, or has none of the parts.
        ValueError: a range that is not in the score.
    """
    root, numbers = copied_tree(xml, parts=parts, tints=tints, brackets=brackets, single_bars=True)
    for first, last in ranges:
        if not 0 <= first <= last < len(numbers):
            raise ValueError(f"measures {first} to {last} are not among {len(numbers)}")
    in_force = {id(part): _in_force(part, {first for first, _ in ranges}) for part in root.findall("part")}
    for first, last in ranges:
        piece = Element(root.tag, root.attrib)
        for child in root:
            piece.append(_cut(child, in_force[id(child)], first, last) if child.tag == "part" else child)
        yield ScoreCopy(ElementTree.tostring(piece, encoding="unicode"), numbers[first : last + 1])


def _in_force(part: Element, wanted: Collection[int]) -> dict[int, InForce]:
    """What is in force before each of the wanted measures of a part."""
    found: dict[int, InForce] = {}
    current: InForce = {}
    for index, measure in enumerate(part.findall("measure")):
        if index in wanted:
            found[index] = dict(current)
        for attributes in measure.findall("attributes"):
            _take_over(current, attributes)
    return found


def _take_over(current: InForce, attributes: Element) -> None:
    """Let new attributes replace those in force; one for all staves replaces those of single staves."""
    for child in attributes:
        if child.tag not in _ORDER:
            continue
        staff = child.get("number", "")
        for key in [key for key in current if key[0] == child.tag and not staff]:
            del current[key]
        current[child.tag, staff] = child


def _cut(part: Element, in_force: Mapping[int, InForce], first: int, last: int) -> Element:
    """A part with some of its measures, the first of which says what is in force."""
    piece = Element("part", part.attrib)
    measures = part.findall("measure")[first : last + 1]
    for place, measure in enumerate(measures):
        piece.append(_with_attributes(measure, in_force[first]) if not place else measure)
    return piece


def _with_attributes(measure: Element, in_force: InForce) -> Element:
    """A copy of a measure that begins with everything that is in force at its first note."""
    found = Element("measure", measure.attrib)
    current, begun = dict(in_force), False
    for child in measure:
        begun = begun or child.tag in _MUSIC
        if child.tag == "attributes" and not begun:
            _take_over(current, child)
        else:
            found.append(child)
    attributes = Element("attributes")
    attributes.extend(
        deepcopy(child) for child in sorted(current.values(), key=lambda one: _ORDER.index(one.tag))
    )
    found.insert(0, attributes)
    return found

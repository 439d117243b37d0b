"""The copy of a score that goes to the engraver: partwise, without namespaces, every note and bar with an id.

The file itself is never touched. In the copy the k-th `<note>` of the document, rests counted, is "note-k",
and the k-th measure of the part is "measure-k" in the first part and "measure-k-p" in the p-th other part,
so that a place in the drawing can be named without knowing the engraver.

verovio reads only partwise scores without prefixes, and copies some attributes of the file into its
drawing: what it might copy is checked here, since the drawing ends up in a web page.

Reference: MusicXML 4.0, whose two roots hold the same music, part by part or measure by measure.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Container, Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree

from harpkeys.errors import ScoreError

_UNSEEN = re.compile("[\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufdd0-\ufdef\ufffe\uffff]")
"""Controls and what turns the direction of writing: nothing that an engraver should print."""
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}(?:[0-9A-Fa-f]{2})?")

_PLAIN_ID_OWNERS = frozenset({"score-part", "part", "score-instrument", "midi-instrument", "instrument"})
"""Elements whose ids tie the file together; every other id is replaced or dropped."""


@dataclass(frozen=True, slots=True)
class ScoreCopy:
    """What is handed to the engraver.

    Attributes:
        text: the MusicXML text.
        numbers: the printed number of each measure of the first part kept, in order.
    """

    text: str
    numbers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Credits:
    """Who and what a score says it is; every field "" where it does not say.

    Attributes:
        title: the work's title, else the movement's.
        subtitle: the movement's title where the work has one of its own.
        composer, arranger, lyricist: creators of that type, several joined by commas.
        rights: copyright lines.
    """

    title: str = ""
    subtitle: str = ""
    composer: str = ""
    arranger: str = ""
    lyricist: str = ""
    rights: str = ""


def read_credits(xml: str | bytes) -> Credits:
    """Read title and creators, for the head of a printed score.

    Raises:
        ScoreError: it is not XML.
    """
    root = _parsed(xml)
    work, movement = _words(root, "work/work-title"), _words(root, "movement-title")
    of_type = {
        kind: _words(root, f"identification/creator[@type='{kind}']")
        for kind in ("composer", "arranger", "lyricist")
    }
    return Credits(
        title=work or movement,
        subtitle=movement if work and movement != work else "",
        rights=_words(root, "identification/rights"),
        **of_type,
    )


def _words(root: ElementTree.Element, path: str) -> str:
    """Text of every element on a path, each on one line, joined by commas."""
    found = (" ".join("".join(element.itertext()).split()) for element in root.findall(path))
    return ", ".join(text for text in found if text)


def score_copy(
    xml: str | bytes,
    *,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
    single_bars: bool = False,
    opened: Collection[int] = (),
) -> ScoreCopy:
    """Copy a score for the engraver.

    Args:
        xml: a MusicXML document, as text or as bytes in any encoding that XML knows.
        parts: ids of the parts to keep; all where empty.
        tints: colours "#rrggbb" by number of the note in the document.
        brackets: numbers of the notes whose heads stand in brackets.
        single_bars: undo all multiple-bar rests, so that every measure is drawn.
        opened: indices of measures that must be drawn: multiple-bar rests over them are undone.

    Raises:
        ScoreError: it is no MusicXML score, or has none of the parts.
    """
    root, numbers = copied_tree(
        xml, parts=parts, tints=tints, brackets=brackets, single_bars=single_bars, opened=opened
    )
    return ScoreCopy(ElementTree.tostring(root, encoding="unicode"), numbers)


def copied_tree(
    xml: str | bytes,
    *,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
    single_bars: bool = False,
    opened: Collection[int] = (),
) -> tuple[ElementTree.Element, tuple[str, ...]]:
    """`score_copy` before it is written out: the root, and the numbers of the measures.

    Raises:
        ScoreError: it is no MusicXML score, or has none of the parts.
    """
    root = _parsed(xml)
    if root.tag == "score-timewise":
        root = _partwise(root)
    if root.tag != "score-partwise":
        raise ScoreError(f"the root element is {root.tag}", "give a MusicXML score")
    _name_notes(root, tints or {}, frozenset(brackets))
    _space_before_metronome(root)
    _keep_parts(root, parts)
    numbers: tuple[str, ...] = ()
    for place, part in enumerate(root.findall("part")):
        measures = part.findall("measure")
        if not place:
            numbers = tuple(measure.get("number", "") for measure in measures)
        for index, measure in enumerate(measures):
            measure.set("id", f"measure-{index}" if not place else f"measure-{index}-{place}")
    if not numbers:
        raise ScoreError("the score has no measures", "export it again")
    _undo_multiple_rests(root, range(len(numbers)) if single_bars else frozenset(opened))
    return root, numbers


def _parsed(xml: str | bytes) -> ElementTree.Element:
    """The tree with bare tag names; entities are not expanded beyond what expat allows."""
    try:
        root = ElementTree.fromstring(xml)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise ScoreError(f"the score is not well-formed XML ({error})", "export it again") from error
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        if element.text and not element.text.isascii():
            element.text = _UNSEEN.sub("", element.text)
        owner = element.tag in _PLAIN_ID_OWNERS
        for name in list(element.attrib):
            stray = name == "id" and not owner
            foreign = name.startswith("{")
            colour = name == "color" and not _COLOUR.fullmatch(element.attrib[name])
            if stray or foreign or colour:
                del element.attrib[name]
    return root


def _partwise(root: ElementTree.Element) -> ElementTree.Element:
    """The same score part by part."""
    found = ElementTree.Element("score-partwise", root.attrib)
    parts: dict[str, ElementTree.Element] = {}
    for child in root:
        if child.tag != "measure":
            found.append(child)
            continue
        for old in child.findall("part"):
            name = old.get("id", "")
            if name not in parts:
                parts[name] = ElementTree.SubElement(found, "part", {"id": name})
            ElementTree.SubElement(parts[name], "measure", child.attrib).extend(old)
    return found


def _name_notes(root: ElementTree.Element, tints: Mapping[int, str], brackets: frozenset[int]) -> None:
    for number, note in enumerate(root.iter("note")):
        note.set("id", f"note-{number}")
        if number in tints and _COLOUR.fullmatch(tints[number]):
            note.set("color", tints[number])
        if number in brackets:
            _put_in_brackets(note)


def _put_in_brackets(note: ElementTree.Element) -> None:
    head = note.find("notehead")
    if head is None:
        head = ElementTree.SubElement(note, "notehead")
        head.text = "normal"
    head.set("parentheses", "yes")


def _keep_parts(root: ElementTree.Element, parts: Collection[str]) -> None:
    if not parts:
        return
    part_list = root.find("part-list")
    for holder, tag in ((root, "part"), (part_list, "score-part")):
        for part in list(holder.findall(tag)) if holder is not None else ():
            if part.get("id") not in parts and holder is not None:
                holder.remove(part)
    if root.find("part") is None:
        raise ScoreError(f"the score has no part {' or '.join(parts)}", "name one that it has")


def _space_before_metronome(root: ElementTree.Element) -> None:
    """Keep "Andante" and the note of its metronome mark apart: verovio sets them without a space."""
    for direction in root.iter("direction"):
        if direction.find("direction-type/metronome") is None:
            continue
        for before, after in pairwise(direction.findall("direction-type")):
            words = before.findall("words")
            if words and words[-1].text and after.find("metronome") is not None:
                words[-1].text = words[-1].text.rstrip() + " "


def _undo_multiple_rests(root: ElementTree.Element, drawn: Container[int]) -> None:
    """Undo the multiple-bar rests over measures that must be drawn."""
    for part in root.findall("part"):
        for index, measure in enumerate(part.findall("measure")):
            for style in measure.iter("measure-style"):
                for rest in style.findall("multiple-rest"):
                    digits = (rest.text or "").strip()
                    length = int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 5 else 1
                    if any(index + k in drawn for k in range(max(length, 1))):
                        style.remove(rest)

"""Marked documents: the tree that was read, with marks added and nothing else changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import deepcopy
from typing import Any

from lxml import etree

from harpkeys.errors import OptionError
from harpkeys.mark.clear import clear_marks
from harpkeys.mark.cues import cues_of
from harpkeys.mark.elements import FLAG_COLOUR, Mark
from harpkeys.mark.insert import Inserter, prefix_of
from harpkeys.mark.neighbours import moved_notes, neighbours_of
from harpkeys.mark.style import MarkStyle
from harpkeys.mark.words import cue_text, neighbour_text, setting_text
from harpkeys.pitch import Pitch
from harpkeys.plan.model import Plan
from harpkeys.report.model import Report
from harpkeys.report.performance import Performance
from harpkeys.score.model import Note


def marked_document(report: Report, style: MarkStyle | None = None) -> bytes:
    """The score of a report as MusicXML, with its levers marked.

    Args:
        report: what vet found; the score in it must come from a file.
        style: how to mark it.

    Returns:
        The document in the encoding of the file. Older marks of the same part are replaced.

    Raises:
        OptionError: notes are to be coloured in a colour that the file already uses.
    """
    return serialised(marked_tree(report.performance, report.plan, style))


def cleared_document(tree: Any) -> tuple[bytes, int]:
    """A document without its marks, and how many there were.

    Args:
        tree: the lxml ElementTree of a file; it is not changed.
    """
    copy = deepcopy(tree)
    count = clear_marks(copy.getroot())
    return serialised(copy), count


def marked_tree(performance: Performance, plan: Plan, style: MarkStyle | None = None) -> Any:
    """The tree of a score with the levers of a plan marked.

    Args:
        performance: what is played; the score in it must come from a file, whose tree is not changed.
        plan: the plan for it.
        style: how to mark it.

    Returns:
        An lxml ElementTree of its own.

    Raises:
        OptionError: notes are to be coloured in a colour that the file already uses.
    """
    style = style or MarkStyle()
    score = performance.score
    copy = deepcopy(score.tree)
    marks = list(marks_of(performance, plan, style))
    inserter = Inserter(score, copy, marks)
    flagged = inserter.twins(_flagged_notes(performance, plan)) if style.colour_flagged else []
    own = {score.parts[index].id for index in performance.parts}
    clear_marks(copy.getroot(), {part.id for part in score.parts} - own)
    upper = performance.parts[0] if len(performance.parts) > 1 else None
    for mark in marks:
        inserter.insert(mark, upper)
    if style.colour_flagged:
        _refuse_colour_in_use(copy)
        for node in flagged:
            if node.get("color") is None:
                node.set("color", FLAG_COLOUR)
    return copy


def marks_of(performance: Performance, plan: Plan, style: MarkStyle) -> Iterator[Mark]:
    """Everything that is to be put on the page, in the order in which it goes into the file.

    Args:
        performance: what is played.
        plan: the plan for it.
        style: how to mark it.
    """
    score, parts = performance.score, performance.parts
    # A joined part may be empty; the words of the setting are what shows that a file is marked.
    first = next((index for index in parts if score.parts[index].node_measures), parts[0])
    staff = 1 if score.parts[first].staves > 1 else None
    moved = moved_notes(performance, plan) if style.neighbours else {}
    setting = setting_text(plan.harp, plan.starting, style.labels, moved)
    yield Mark(first, 0, 0, staff, "setting", setting)
    staves = score.parts[parts[-1]].staves
    for cue in cues_of(performance, plan):
        text = cue_text(cue, plan.harp, style.labels)
        yield Mark(parts[-1], cue.measure, cue.tick, staves if staves > 1 else None, "cue", text)
    if style.neighbours:
        yield from _neighbours(performance, plan, style, moved)


def _neighbours(
    performance: Performance, plan: Plan, style: MarkStyle, moved: Mapping[Pitch, int]
) -> Iterator[Mark]:
    """The words at notes that are played on strings of other letters."""
    for said in neighbours_of(performance, plan, moved):
        pluck = performance.plucks[said.pluck]
        part = performance.parts[0 if pluck.hand == "right" else -1]  # of joined parts each has a hand
        staff = pluck.staff if performance.score.parts[part].staves > 1 else None
        text = neighbour_text(said.strings, said.passes, plan.harp, style.labels)
        yield Mark(part, said.measure, said.tick, staff, "neighbour", text)


def _flagged_notes(performance: Performance, plan: Plan) -> Iterator[Note]:
    """Every note that is lost or cut on some pass, once."""
    flagged = [number for number, reason in enumerate(plan.lost) if reason is not None]
    flagged += [flip.after for flip in plan.flips if flip.is_cut]
    seen: set[int] = set()
    for number in flagged:
        note = performance.plucks[number].note
        if note is not None and id(note.node) not in seen:
            seen.add(id(note.node))
            yield note


def _refuse_colour_in_use(copy: Any) -> None:
    """See that no note has the colour of flagged notes, so that it can be told whose it is.

    Raises:
        OptionError: one has.
    """
    root = copy.getroot()
    if any(note.get("color") == FLAG_COLOUR for note in root.iter(prefix_of(root) + "note")):
        raise OptionError(
            f"the score has notes of its own in {FLAG_COLOUR}, the colour of flagged notes",
            "leave the flagged notes uncoloured",
        )


def serialised(tree: Any) -> bytes:
    """A tree as bytes, in its own encoding and with everything around its root.

    In UTF-8 where its encoding is one that not even the start of a document can be told by, such as UTF-7.

    Args:
        tree: an lxml ElementTree.
    """
    encoding = tree.docinfo.encoding or "UTF-8"
    if encoding.upper().startswith("UTF-16"):
        encoding = "UTF-16"  # with the mark that tells the order of bytes
    try:
        data = _written(tree, encoding)
    except LookupError:
        return _written(tree, "UTF-8")
    return data if encoding == "UTF-16" or data.startswith(b"<?xml") else _written(tree, "UTF-8")


def _written(tree: Any, encoding: str) -> bytes:
    data = etree.tostring(tree, encoding=encoding, xml_declaration=True, standalone=tree.docinfo.standalone)
    return data if isinstance(data, bytes) else data.encode(encoding)

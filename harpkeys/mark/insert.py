"""Putting marks into a copy of the tree, each where it belongs in the order of its bar.

A mark goes before the first note that starts at its place, never between the notes of a chord, on its own
staff if one starts there. Where none starts (with two joined parts the other may be the one that plays, and
bars under a measure-repeat sign are empty), a step back and one forward at the end of the bar reach the place
and leave everything as it was; if the steps were no whole divisions, the mark goes below the other part.

Every inserted element is followed by white space like that before it, and goes together with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

from lxml import etree

from harpkeys.mark.elements import Mark, mark_element
from harpkeys.score.model import Note, Part, Score
from harpkeys.score.reader_draft import MAX_QUARTERS
from harpkeys.score.texts import exact_decimal

Place = tuple[int, int, int]
"""Part, measure, tick."""


def holder_map(score: Score, copy: Any) -> dict[Any, Any]:
    """For each element of the read tree that holds a part's bar, the same element in a copy of the tree.

    Args:
        score: as read.
        copy: an exact copy of its tree.
    """
    root = score.tree.getroot()
    prefix = prefix_of(root)
    tag = prefix + ("part" if root.tag == prefix + "score-timewise" else "measure")
    # At any depth: a faulty file may have a bar inside a bar.
    return dict(zip(root.iter(tag), copy.getroot().iter(tag), strict=True))


def prefix_of(root: Any) -> str:
    """ "{namespace}" in front of every tag, or ""."""
    return str(root.tag[: root.tag.index("}") + 1]) if root.tag.startswith("{") else ""


class Inserter:
    """Puts marks into a copy of a score's tree.

    Args:
        score: as read.
        copy: the copy; it is changed.
        marks: what will be put in.
    """

    def __init__(self, score: Score, copy: Any, marks: Sequence[Mark]) -> None:
        self._score = score
        self._prefix = prefix_of(copy.getroot())
        self._holders = holder_map(score, copy)
        # Counted before anything changes, so that places in the read tree are places in the copy.
        self._anchors = self._find_anchors(marks)

    def insert(self, mark: Mark, other_part: int | None = None) -> None:
        """Put one mark in.

        Args:
            mark: the mark.
            other_part: a joined part above, whose notes serve where the mark's own part cannot be reached.
        """
        anchor = self._anchor(mark)
        if anchor is not None:
            _put_before(anchor, mark_element(mark, self._prefix))
        elif not self._by_steps(mark):
            if other_part is None:
                self._at_end(mark)
            else:
                moved = replace(mark, part=other_part, staff=None)
                anchor = self._anchor(moved)
                if anchor is None:
                    self._at_end(moved)
                else:
                    _put_before(anchor, mark_element(moved, self._prefix, "below"))

    def twins(self, notes: Iterable[Note]) -> list[Any]:
        """The same notes in the copy; to be asked for before anything is put in or taken out."""
        return [self._twin(note.node) for note in notes]

    def _find_anchors(self, marks: Sequence[Mark]) -> dict[Place, list[tuple[int, Any]]]:
        """For each place the notes of the copy that start there, with their staves, in file order."""
        wanted = {(mark.measure, mark.tick) for mark in marks}
        anchors: dict[Place, list[tuple[int, Any]]] = {}
        for index in range(len(self._score.parts)):
            part = self._score.parts[index]
            for note in part.notes if wanted else ():
                place = (note.measure, note.onset)
                if place in wanted and not note.chord and self._is_own(part, note):
                    anchors.setdefault((index, *place), []).append((note.staff, self._twin(note.node)))
        return anchors

    def _is_own(self, part: Part, note: Note) -> bool:
        """Whether a note is written in its bar, not copied there by a measure-repeat sign."""
        return note.node is not None and note.node.getparent() is part.node_measures[note.measure]

    def _twin(self, node: Any) -> Any:
        """The same note in the copy."""
        holder = node.getparent()
        return self._holders[holder][holder.index(node)]

    def _anchor(self, mark: Mark) -> Any:
        found = self._anchors.get((mark.part, mark.measure, mark.tick), [])
        return next((node for staff, node in found if staff == mark.staff), found[0][1] if found else None)

    def _by_steps(self, mark: Mark) -> bool:
        """Reach the place by a step at the end of the bar and its opposite; whether that can be done."""
        part = self._score.parts[mark.part]
        if mark.measure >= len(part.node_measures):
            return False
        holder = self._holders[part.node_measures[mark.measure]]
        divisions, end = _end_of_bar(part, mark.measure, self._score.resolution, self._prefix)
        distance = (end - mark.tick) * divisions / self._score.resolution
        if distance.denominator != 1 or abs(distance) > MAX_QUARTERS * divisions:
            return False
        element = mark_element(mark, self._prefix)
        if not distance:
            _append(holder, element)
            return True
        there, back = ("backup", "forward") if distance > 0 else ("forward", "backup")
        for inserted in (self._step(there, distance), element, self._step(back, distance)):
            _append(holder, inserted)
        return True

    def _at_end(self, mark: Mark) -> None:
        """The last resort: at the end of the bar, with an offset in (parts of) divisions."""
        part = self._score.parts[mark.part]
        if not part.node_measures:
            return  # a part without bars has no place for marks
        holder = self._holders[part.node_measures[min(mark.measure, len(part.node_measures) - 1)]]
        divisions, end = _end_of_bar(part, mark.measure, self._score.resolution, self._prefix)
        element = mark_element(mark, self._prefix)
        offset = etree.Element(self._prefix + "offset")
        offset.text = f"{float((mark.tick - end) * divisions / self._score.resolution):.6f}"
        element.insert(1, offset)
        _append(holder, element)

    def _step(self, name: str, distance: Fraction) -> Any:
        step = etree.Element(self._prefix + name)
        etree.SubElement(step, self._prefix + "duration").text = str(abs(distance))
        return step


def _put_before(anchor: Any, element: Any) -> None:
    before = anchor.getprevious()
    space = before.tail if before is not None else anchor.getparent().text
    element.tail = space if space and not space.strip() else None
    anchor.addprevious(element)


def _append(holder: Any, element: Any) -> None:
    space = holder[-1].tail if len(holder) else holder.text
    element.tail = space if space and not space.strip() else None
    holder.append(element)


def _end_of_bar(part: Part, measure: int, resolution: int, prefix: str) -> tuple[Fraction, int]:
    """Divisions to a quarter at the end of a part's bar, and the tick at which the file leaves off."""
    divisions = Fraction(1)
    for index in range(measure, -1, -1):
        given = [
            value
            for element in part.node_measures[index].findall(f"{prefix}attributes/{prefix}divisions")
            if (value := exact_decimal(element.text)) is not None and value > 0
        ]
        if given:
            divisions = given[-1]
            break
    return divisions, _cursor_at_end(part, measure, resolution, prefix)


def _cursor_at_end(part: Part, measure: int, resolution: int, prefix: str) -> int:
    """Ticks from the bar's start at which the next element would stand."""
    holder = part.node_measures[measure]
    # At any depth, as the reader takes them: a faulty file may have notes inside anything.
    own = set(holder.iter(prefix + "note"))
    ends: Mapping[Any, int] = {
        note.node: note.onset + note.duration
        for note in part.notes
        if note.measure == measure and not note.chord and note.node in own
    }
    divisions = Fraction(1)
    for index in range(measure):
        for element in part.node_measures[index].iter(prefix + "divisions"):
            divisions = exact_decimal(element.text) or divisions
    cursor = Fraction(0)
    for child in holder.iter(*(prefix + name for name in ("note", "attributes", "backup", "forward"))):
        length = (exact_decimal(child.findtext(prefix + "duration")) or 0) * resolution / divisions
        if child in ends:
            cursor = Fraction(ends[child])
        elif child.tag == prefix + "note":
            # A rest that notes of an earlier bar stand in for.
            if child.find(prefix + "chord") is None and child.find(prefix + "grace") is None:
                cursor += length
        elif child.tag == prefix + "attributes":
            divisions = exact_decimal(child.findtext(prefix + "divisions")) or divisions
        else:
            cursor = cursor + length if child.tag == prefix + "forward" else max(Fraction(0), cursor - length)
    return int(cursor)

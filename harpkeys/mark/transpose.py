"""The transposed score as MusicXML: the tree that was read, with what depends on the key moved.

Moved are pitches with their accidentals, accidental-marks (those of ornaments by the note they are for), key
signatures, roots and bass notes of chord symbols, and signs of figured bass. Parts that sound in another key
than they are written move as written; notes on tablature and percussion staves do not. All else stays byte
for byte, and a score that was valid stays valid. Marks of this program name strings, which the move makes
wrong, so they are taken out.

A part whose notes stand before any key signature gets the signature that the move makes of none.

Reference: MusicXML 4.0. How notes are spelled: `harpkeys.choose.transposition`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from lxml import etree

from harpkeys.choose.transposition import Move, lacks_opening_key, turn_at
from harpkeys.errors import OptionError
from harpkeys.mark.clear import clear_marks
from harpkeys.mark.document import serialised
from harpkeys.mark.transpose_elements import (
    add_accidental,
    insert_before,
    key_element,
    move_figures,
    move_harmony,
    move_key,
    move_pitch,
    move_sign,
)
from harpkeys.pitch import Pitch, alteration_in_key
from harpkeys.score.key_map import key_map
from harpkeys.score.model import Note, Part
from harpkeys.score.reader import score_from_tree
from harpkeys.score.reader_draft import StaffTable, read_pitch
from harpkeys.score.reader_signs import ACCIDENTALS, AUXILIARIES, TRILLS
from harpkeys.score.texts import plain_text

HIGHEST_OCTAVE = 9
"""Octaves of MusicXML run from 0 to this."""

UNMOVED_CLEFS = frozenset(("TAB", "percussion"))
"""Clefs whose staves show no pitches that move, but frets and instruments."""

MUSIC = ("attributes", "note", "backup", "forward", "harmony", "figured-bass", "direction", "barline")
"""Elements of a bar before which its opening signature stands."""

REMARKS = {
    "marks": "The marks of an earlier plan were taken out, since they name strings; mark the score anew.",
    "key": "A key signature was added where the score had none, so that no note needs another accidental.",
    "turned": (
        "Where a key signature would have more than seven sharps or flats, the music under it is spelled "
        "twelve fifths away, which sounds the same."
    ),
    "sign": "Some accidentals have no counterpart in the new key and were left as they are.",
    "unmoved": "Tablature and percussion staves were left as they are.",
    "frame": "Chord diagrams and fret numbers were left as they are.",
    "pedals": "Harp pedal diagrams were left as they are.",
    "names": "Names of notes written into note heads were left as they are.",
}
"""What is said of a transposed score, in this order."""

WATCHED = {"frame": "frame", "fret": "frame", "harp-pedals": "pedals", "notehead-text": "names"}
"""Elements that a move makes wrong and that are left alone, with the remark for each."""


@dataclass(frozen=True, slots=True)
class Transposed:
    """A transposed document.

    Attributes:
        move: the transposition.
        notes: how many notes moved.
        remarks: sentences about what was added, left alone or respelled.
        tree: the lxml ElementTree.
    """

    move: Move
    notes: int
    remarks: tuple[str, ...]
    tree: Any = field(compare=False, repr=False)

    @property
    def document(self) -> bytes:
        """The document in the encoding of the file it came from."""
        return serialised(self.tree)


def transposed(tree: Any, move: Move) -> Transposed:
    """A score moved to another key.

    Args:
        tree: the lxml ElementTree of a file; it is not changed.
        move: the transposition.

    Returns:
        The new document.

    Raises:
        ScoreError: the score cannot be read.
        OptionError: a note would leave the octaves that MusicXML can write.
    """
    copy = deepcopy(tree)
    root = copy.getroot()
    told: Counter[str] = Counter()
    told["marks"] = clear_marks(root)
    score = score_from_tree(copy, "")
    prefix = root.tag[: root.tag.index("}") + 1] if root.tag.startswith("{") else ""
    count = 0
    if move.semitones:
        for part in score.parts:
            mover = _Mover(part, prefix, move, told)
            mover.move()
            count += mover.count
            mover.check_octaves()
        for name, remark in WATCHED.items():
            told[remark] += any(True for _ in root.iter(prefix + name))
    remarks = tuple(sentence for name, sentence in REMARKS.items() if told[name])
    return Transposed(move, count, remarks, copy)


class _Mover:
    """Moves one part of a tree in place."""

    def __init__(self, part: Part, prefix: str, move: Move, told: Counter[str]) -> None:
        self.part = part
        self.prefix = prefix
        self.move_by = move
        self.told = told
        self.count = 0
        self.lowest, self.highest = 0, 0
        self.staves = StaffTable()
        self.unmoved: dict[int, bool] = {}
        self.notes: dict[Any, Note] = {}
        for note in part.notes:
            self.notes.setdefault(note.node, note)
        self.keys = key_map(part)

    def move(self) -> None:
        """Move everything in the part that depends on the key."""
        names = ("attributes", "note", "harmony", "figured-bass")
        moving = {self.prefix + name: name for name in names}
        turn = 0
        for measure in self.part.node_measures:
            for element in list(measure):
                name = moving.get(element.tag)
                if name == "attributes":
                    self._clefs(element)
                elif name == "note":
                    turn = self._note(element, turn)
                elif name is not None:
                    self._without_place(element, name, turn)
        if self._is_percussion():
            return
        self.told["turned"] += sum(bool(self.move_by.turn(key.printed_fifths)) for key in self.part.keys)
        for element in list(self._keys()):
            move_key(element, self.prefix, self.move_by)
        if self.count and lacks_opening_key(self.part) and self.move_by.key_fifths(0):
            self._add_key()
            self.told["key"] += 1

    def check_octaves(self) -> None:
        """See that every moved note can be written.

        Raises:
            OptionError: one cannot.
        """
        if self.lowest < 0 or self.highest > HIGHEST_OCTAVE:
            raise OptionError(
                f"a move by {self.move_by.semitones:+d} semitones takes notes of part "
                f"{plain_text(self.part.id)[:40]} out of the octaves 0 to {HIGHEST_OCTAVE}",
                "transpose by less",
            )

    def _is_percussion(self) -> bool:
        """Whether the part has notes and none of them moves, so that its signature says nothing."""
        return not self.count and any(not note.rest for note in self.part.notes)

    def _keys(self) -> Iterator[Any]:
        """The key elements of the part."""
        for measure in self.part.node_measures:
            for attributes in measure.iterchildren(self.prefix + "attributes"):
                yield from attributes.iterchildren(self.prefix + "key")

    def _clefs(self, attributes: Any) -> None:
        """Take in which staves do not move."""
        for clef in attributes.iterchildren(self.prefix + "clef"):
            sign = (clef.findtext(self.prefix + "sign") or "").strip()
            self.unmoved[self.staves[clef.get("number")]] = sign in UNMOVED_CLEFS

    def _note(self, element: Any, before: int) -> int:
        """Move a note; returns how its place is spelled."""
        note = self.notes.get(element)
        if note is None:
            return before
        turn = turn_at(self.keys, note.measure, note.onset, note.staff, self.move_by)
        pitch = element.find(self.prefix + "pitch")
        if pitch is None:
            return turn
        if self.unmoved.get(note.staff):
            self.told["unmoved"] += 1
            return turn
        interval = self.move_by.interval(turn)
        moved = move_pitch(pitch, self.prefix, interval)
        if moved is None:
            return turn
        old, new = moved
        self.count += 1
        self.lowest, self.highest = min(self.lowest, new.octave), max(self.highest, new.octave)
        accidental = element.find(self.prefix + "accidental")
        if accidental is not None:
            self._sign(accidental, old, new)
        elif turn != before and note.tie_stop:
            self._tied_across(element, note, new)
        for notations in element.iterchildren(self.prefix + "notations"):
            self._marks(notations, old, turn)
        return turn

    def _sign(self, element: Any, old: Pitch, new: Pitch) -> None:
        if not move_sign(element, new.alter - old.alter):
            self.told["sign"] += 1

    def _tied_across(self, element: Any, note: Note, new: Pitch) -> None:
        """Give a note that is tied to from another spelling the accidental it now needs."""
        key = self.keys.at(note.measure, note.onset, note.staff)
        fifths = None if key is None else key.printed_fifths
        if fifths is not None and alteration_in_key(new.letter, self.move_by.key_fifths(fifths)) != new.alter:
            add_accidental(element, self.prefix, new.alter)

    def _marks(self, notations: Any, principal: Pitch, turn: int) -> None:
        """Move the accidental-marks of a note: each by the note that it is for."""
        mark_tag = self.prefix + "accidental-mark"
        outside = list(notations.iterchildren(mark_tag))
        signs: list[tuple[str, list[Any]]] = []
        for ornaments in notations.iterchildren(self.prefix + "ornaments"):
            found: list[tuple[str, list[Any]]] = []
            for child in ornaments:
                name = etree.QName(child).localname if isinstance(child.tag, str) else ""
                if name in TRILLS:
                    found.append((TRILLS[name], []))
                elif child.tag == mark_tag and found:
                    found[-1][1].append(child)
            if len(found) == 1 and not found[0][1]:
                # The reader takes the accidental beside the ornaments for that of the only ornament.
                found[0][1].extend(outside)
                outside = []
            signs += found
        for mark in outside:
            self._mark(mark, principal, 0, turn)
        for kind, marks in signs:
            for number, mark in enumerate(marks):
                side = AUXILIARIES[kind]
                if side == "both":
                    side = mark.get("placement") or ("above" if number == 0 else "below")
                self._mark(mark, principal, 1 if side == "above" else -1, turn)

    def _mark(self, mark: Any, principal: Pitch, step: int, turn: int) -> None:
        alter = ACCIDENTALS.get((mark.text or "").strip(), 0)
        old = Pitch(principal.diatonic + step, alter)
        self._sign(mark, old, self.move_by.interval(turn).pitch(old))

    def _without_place(self, element: Any, name: str, turn: int) -> None:
        """Move a chord symbol or figured bass: it belongs to the note that follows."""
        note = next(
            (
                found
                for found in element.itersiblings(self.prefix + "note")
                if found in self.notes and found.find(self.prefix + "pitch") is not None
            ),
            None,
        )
        if note is not None:
            place = self.notes[note]
            turn = turn_at(self.keys, place.measure, place.onset, place.staff, self.move_by)
        if name == "harmony":
            move_harmony(element, self.prefix, self.move_by, turn)
        elif note is not None:
            self._figures(element, note, turn)

    def _figures(self, element: Any, note: Any, turn: int) -> None:
        """Move a figured bass over a note that has not moved yet."""
        bass = _written_pitch(note.find(self.prefix + "pitch"), self.prefix)
        if bass is not None:
            interval = self.move_by.interval(turn)
            self.told["sign"] += len(list(move_figures(element, self.prefix, bass, interval)))

    def _add_key(self) -> None:
        """Put a signature at the start of the part."""
        measure = self.part.node_measures[0]
        key = key_element(self.prefix, self.move_by.key_fifths(0))
        music = {self.prefix + name for name in MUSIC}
        first = next((child for child in measure if child.tag in music), None)
        if first is None or first.tag != self.prefix + "attributes":
            attributes = etree.Element(self.prefix + "attributes")
            attributes.append(key)
            insert_before(measure, first, attributes)
            return
        earlier = {self.prefix + name for name in ("footnote", "level", "divisions")}
        later = next((child for child in first if child.tag not in earlier), None)
        insert_before(first, later, key)


def _written_pitch(element: Any, prefix: str) -> Pitch | None:
    """The pitch of a `pitch` element, without changing it."""
    texts = (element.findtext(prefix + name) for name in ("step", "alter", "octave"))
    return read_pitch(*texts)

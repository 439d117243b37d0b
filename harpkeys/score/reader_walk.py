"""The walk over one part: a single pass over the elements that matter, in file order.

lxml hands out only the elements whose tags are asked for, so most of a file never becomes a Python object.
An element of a note (step, octave, duration, …) only leaves its text in `fields`; the note is built when the
next element of the bar begins. `staff`, `voice` and `duration` also occur outside notes: every element that
can hold them ends the pending note, so what they say then is dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain
from typing import Any

from lxml import etree

from harpkeys.errors import HarpkeysError, ScoreError
from harpkeys.score.model import Note, Signs
from harpkeys.score.reader_attributes import read_attributes
from harpkeys.score.reader_barlines import read_barline
from harpkeys.score.reader_directions import UNIT_QUARTERS, read_direction, read_sound, words_matter
from harpkeys.score.reader_draft import MAX_NOTES, BarDraft, PartDraft
from harpkeys.score.reader_note import NoteInMaking
from harpkeys.score.reader_signs import read_signs
from harpkeys.score.texts import plain_text, whole_number

MAX_MEASURES = 100_000
"""Most bars of a part."""

TEXTS = ("step", "octave", "duration", "voice", "staff", "alter", "accidental")
"""Elements inside a note whose text is all that counts; their codes are their places here."""

FLAGS = ("chord", "rest", "grace", "cue")
"""Elements inside a note whose presence is all that counts; their codes go on from those of `TEXTS`."""

SIGNS = ("tie", "tied", "ornaments", "fermata", "arpeggiate", "harmonic", "glissando", "slide")
"""Elements inside a note that `read_signs` looks into."""

BOUNDARIES = ("note", "backup", "forward", "measure", "attributes", "barline", "direction", "sound")
"""Elements of a bar that end the pending note."""

SILENT = ("harmony", "figured-bass")
"""Elements of a bar that end the pending note and say nothing more."""

MARKS = ("words", "metronome", "segno", "coda")
"""Elements inside a direction that make it worth reading."""

FIRST_FLAG = len(TEXTS)
DURATION = TEXTS.index("duration")
FIRST_SIGN = 50
NOTE, BACKUP, FORWARD, MEASURE, ATTRIBUTES, BARLINE, DIRECTION, SOUND = range(100, 108)
SILENCE = 110
MARK = 120
END = "end-of-part"
"""Tag of the element that ends the last pending note."""

Fields = list[str | None]

NO_SIGNS: tuple[bool, bool, Signs | None] = (False, False, None)


def codes_of_tags(prefix: str, measure: str) -> dict[str, int]:
    """The code of every tag that the walk looks at.

    Args:
        prefix: "{namespace}" in front of every tag, or "".
        measure: the element that holds a part's bar: "measure", or "part" in a timewise score.

    Returns:
        Codes by qualified tag.
    """
    codes = {prefix + name: code for code, name in enumerate(TEXTS + FLAGS)}
    codes.update({prefix + name: FIRST_SIGN + place for place, name in enumerate(SIGNS)})
    codes.update({prefix + name: NOTE + place for place, name in enumerate(BOUNDARIES)})
    codes.update({prefix + name: SILENCE for name in SILENT})
    codes.update({prefix + name: MARK for name in MARKS})
    del codes[prefix + "measure"]
    codes[prefix + measure] = MEASURE
    codes[END] = SILENCE
    return codes


def walk_part(part: PartDraft, holders: Iterable[Any], codes: dict[str, int]) -> None:
    """Read a part into its draft.

    Args:
        part: the draft; it is filled.
        holders: elements under which the part's bars stand, or the bars themselves, in order.
        codes: from `codes_of_tags`.

    Raises:
        ScoreError: nonsense in the file, with part and bar; or more notes or bars than are read.
    """
    tags = tuple(codes)
    ended = (*holders, etree.Element(END))
    elements = chain.from_iterable(holder.iter(*tags) for holder in ended)
    try:
        _walk(part, elements, codes)
        _check_notes(part)
    except HarpkeysError as error:
        places = (
            (f"part {plain_text(part.id)[:40]}", f"measure {part.bar.number or part.index + 1}")
            if part.bars
            else ()
        )
        error.where = (*places, *error.where)
        raise
    part.bar.length = part.furthest
    _drop_strays(part)


def _walk(part: PartDraft, elements: Iterator[Any], codes: dict[str, int]) -> None:
    """The hot loop, paid for on every element that matters."""
    entities = part.shared.entities
    blank: Fields = [None] * len(TEXTS + FLAGS)
    fields = blank[:]
    signs: list[Any] = []
    pending = 0
    holder: Any = None
    for element in elements:
        code = codes[element.tag]
        if code < FIRST_FLAG:
            fields[code] = element.text or _entity_text(element, entities)
        elif code < FIRST_SIGN:
            fields[code] = ""
        elif code < NOTE:
            signs.append(element)
        else:
            if pending == NOTE:
                _finish_note(part, holder, fields, signs)
            elif pending:
                _finish_move(part, pending, fields)
            if signs:
                signs = []
            if code <= FORWARD:
                pending = code
                holder = element
                fields = blank[:]
            else:
                pending = 0
                if code != DIRECTION and code != SILENCE:
                    _other(part, code, element)


def _finish_note(part: PartDraft, node: Any, fields: Fields, elements: list[Any]) -> None:
    """Make a note of the texts and signs that were found inside it."""
    step, octave, duration, voice, staff_text, alter, accidental, chord, rest, grace, cue = fields
    if grace is not None:
        length = 0
    elif duration is not None:
        length = part.ticks[duration]
    else:
        length = _written_length(node, part)
    if chord is None:
        onset = part.onset = part.cursor
        part.cursor = end = onset + length
    else:
        onset = part.onset
        end = onset + length
    if end > part.furthest:
        part.furthest = end
    staff = part.staff_numbers[staff_text]
    pitch = None
    if step is not None:
        table = part.pitches
        if table is None:
            table = part.shared.table(part.transposition(staff))
        pitch = table[step, alter, octave]
        if pitch is None:
            part.remark("pitch")
    tie_start, tie_stop, signs = read_signs(elements, part) if elements else NO_SIGNS
    note = NoteInMaking(
        part.index,
        onset,
        length,
        pitch,
        staff,
        voice or "1",
        rest is not None,
        grace is not None,
        cue is not None,
        node.get("print-object") == "no",
        chord is not None,
        tie_start,
        tie_stop,
        accidental,
        signs,
        node,
    )
    note.__class__ = Note  # type: ignore[assignment]
    part.notes.append(note)  # type: ignore[arg-type]


def _finish_move(part: PartDraft, code: int, fields: Fields) -> None:
    """Move the cursor by a backup or forward."""
    duration = fields[DURATION]
    length = 0 if duration is None else part.ticks[duration]
    if code == FORWARD:
        part.cursor += length
        part.furthest = max(part.furthest, part.cursor)
    elif length > part.cursor:
        part.cursor = 0
        part.remark("backup")
    else:
        part.cursor -= length


def _other(part: PartDraft, code: int, element: Any) -> None:
    """Take in an element that is not of the notes."""
    if code == MARK:
        _mark(element, part)
    elif code == MEASURE:
        # A bar inside a bar is no bar: marks could not be put in order behind it.
        if next(element.iterancestors(element.tag), None) is None:
            _begin_bar(part, element)
    elif code == ATTRIBUTES:
        read_attributes(element, part)
    elif code == BARLINE:
        read_barline(element, part)
    elif code == SOUND:
        _sound(element, part)


def _begin_bar(part: PartDraft, element: Any) -> None:
    """Open the draft of the next bar.

    Raises:
        ScoreError: more notes or bars than are read.
    """
    part.bar.length = part.furthest
    part.cursor = part.onset = part.furthest = 0
    part.index += 1
    if part.index >= MAX_MEASURES:
        raise ScoreError(f"the score has more than {MAX_MEASURES} bars", "split it into parts")
    _check_notes(part)
    if part.beats_pending:
        part.beats = part.next_beats
        part.beats_pending = False
    number = element.get("number")
    if number is None:
        # In a timewise score the part stands inside the measure, which has the number.
        element, holder = element.getparent(), element
        number = element.get("number") or ""
    else:
        holder = element
    if not (number.isascii() and number.isalnum() and len(number) <= 20):
        number = plain_text(number)[:20]
    part.bar = BarDraft(number, element.get("implicit") == "yes", beats=part.beats, opens=part.opens_next)
    part.opens_next = False
    part.bars.append(part.bar)
    part.elements.append(holder)


def _drop_strays(part: PartDraft) -> None:
    """Leave out what stands before the part's first bar."""
    if part.notes and part.notes[0].measure < 0:
        kept = [note for note in part.notes if note.measure >= 0]
        part.shared.counts["stray"] += len(part.notes) - len(kept)
        part.notes = kept
    part.keys = [key for key in part.keys if key.measure >= 0]
    part.spans = [span for span in part.spans if span.first >= 0]


def _check_notes(part: PartDraft) -> None:
    """See that there are not too many notes so far.

    Raises:
        ScoreError: more notes than are read.
    """
    if part.shared.notes + len(part.notes) > MAX_NOTES:
        raise ScoreError(f"the score has more than {MAX_NOTES} notes", "split it into parts")


def _mark(element: Any, part: PartDraft) -> None:
    """Read the direction around one of its marks, once."""
    name = element.tag[len(part.shared.prefix) :]
    if name == "words" and not words_matter(element.text):
        return
    direction = element.getparent()
    direction = direction.getparent() if direction is not None else None
    if direction is None or direction is part.direction:
        return
    if direction.tag != part.shared.prefix + "direction":
        return
    part.direction = direction
    read_direction(direction, part)


def _sound(element: Any, part: PartDraft) -> None:
    """Read a sound, with its direction where it stands in one."""
    parent = element.getparent()
    if parent.tag != part.shared.prefix + "direction":
        read_sound(element, part, part.cursor)
    elif parent is not part.direction:
        part.direction = parent
        read_direction(parent, part)


def _written_length(note: Any, part: PartDraft) -> int:
    """Ticks of a note without duration, by its printed type, dots and tuplet; 0 where it has none."""
    prefix = part.shared.prefix
    part.remark("duration")
    quarters = UNIT_QUARTERS.get((note.findtext(prefix + "type") or "").strip())
    if quarters is None:
        return 0
    dots = min(8, len(note.findall(prefix + "dot")))
    quarters *= 2 - quarters / quarters / 2**dots
    tuplet = note.find(prefix + "time-modification")
    if tuplet is not None:
        actual = whole_number(tuplet.findtext(prefix + "actual-notes"))
        normal = whole_number(tuplet.findtext(prefix + "normal-notes"))
        if actual and normal and 0 < actual < 1000 and 0 < normal < 1000:
            quarters = quarters * normal / actual
    return part.shared.whole_ticks(quarters)


def _entity_text(element: Any, entities: dict[str, str]) -> str:
    """Text of an element that has none before its first child: that of an entity in it, else ""."""
    if not len(element):
        return ""
    parts: list[str] = []
    for child in element:
        if child.tag is etree.Entity:
            # Only plain text: an entity made of entities or tags is not looked into.
            parts.append(entities.get(child.name, ""))
        parts.append(child.tail or "")
    text = "".join(parts)
    return text if len(text) <= 100 else ""

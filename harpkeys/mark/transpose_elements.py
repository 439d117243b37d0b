"""The elements of a MusicXML tree that depend on the key, changed in place for a transposition.

Each function changes one element and what is inside it, and nothing where nothing changes. An element that
has to be added stands where the schema wants it, and white space is kept as it was.

What a sign shows moves as the note does that it is for: a flat on a note that moves from B flat to B natural
becomes a natural, and the sign before it in the bar has moved likewise. So no sign has to be added or
dropped, courtesy and editorial ones stay, and a sign that contradicted its note contradicts it still.

References: MusicXML 4.0, `accidental-value`, `key`, `harmony`, `figure`, order of elements in `note`,
`attributes` and `pitch`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from lxml import etree

from harpkeys.choose.transposition import Move, moved_pitch
from harpkeys.pitch import LETTERS, SHARP_ORDER, Pitch
from harpkeys.score.reader_draft import read_alter, read_letter
from harpkeys.score.reader_signs import ACCIDENTALS
from harpkeys.score.reader_transpose import Transposition
from harpkeys.score.texts import whole_number

Alter = int | Fraction

SIGNS: dict[Alter, str] = {
    -3: "triple-flat",
    -2: "flat-flat",
    -1: "flat",
    0: "natural",
    1: "sharp",
    2: "double-sharp",
    3: "triple-sharp",
    Fraction(-3, 2): "three-quarters-flat",
    Fraction(-1, 2): "quarter-flat",
    Fraction(1, 2): "quarter-sharp",
    Fraction(3, 2): "three-quarters-sharp",
}
"""The usual sign of each alteration."""

ALTERS: dict[str, Alter] = {**{sign: alter for alter, sign in SIGNS.items()}, **ACCIDENTALS}
"""The alteration of each sign that moves."""

CANCELLING = {"natural-sharp": {1: "natural-sharp", -1: "natural-flat"}}
CANCELLING["natural-flat"] = CANCELLING["natural-sharp"]
"""Signs that cancel the one before, by the alteration they give."""

ARROWS = ("-down", "-up")
"""Endings of signs that bend a usual sign by a microtone."""

AFTER_ACCIDENTAL = (
    "time-modification",
    "stem",
    "notehead",
    "notehead-text",
    "staff",
    "beam",
    "notations",
    "lyric",
    "play",
    "listen",
)
"""What stands after the accidental in a note."""


def moved_sign(text: str, change: Alter) -> str | None:
    """The sign for an alteration so many semitones higher.

    Args:
        text: a MusicXML accidental value.
        change: semitones.

    Returns:
        The sign, the same where nothing changes; None where there is none.
    """
    if not change:
        return text
    base, arrow = text, ""
    for ending in ARROWS:
        if text.endswith(ending):
            base, arrow = text.removesuffix(ending), ending
    alter = ALTERS.get(base)
    if alter is None:
        return None
    moved: Alter = alter + change
    if base in CANCELLING and moved in CANCELLING[base]:
        return CANCELLING[base][int(moved)]
    sign = SIGNS.get(moved)
    if sign is None or (arrow and moved not in (-2, -1, 0, 1, 2)):
        return None
    return sign + arrow


def move_sign(element: Any, change: Alter) -> bool:
    """Move an `accidental` or `accidental-mark`, or the sign before or after a figure.

    Returns:
        Whether it could be moved; it is left as it is where there is no such sign.
    """
    text = (element.text or "").strip()
    moved = moved_sign(text, change)
    if moved is None:
        return False
    if moved != text:
        element.text = moved
        if element.get("smufl") is not None:
            del element.attrib["smufl"]
    return True


def move_pitch(element: Any, prefix: str, interval: Transposition) -> tuple[Pitch, Pitch] | None:
    """Move a `pitch`.

    Returns:
        The pitch before and after, None where the element holds no pitch.
    """
    step, octave = element.find(prefix + "step"), element.find(prefix + "octave")
    before = _pitch_of(element, prefix, "step", "alter")
    number = None if octave is None else whole_number(octave.text)
    if before is None or number is None:
        return None
    before = Pitch(before.diatonic + 7 * number, before.alter)
    after = moved_pitch(interval, before)
    if after != before:
        _set_text(step, LETTERS[after.letter])
        _set_alter(step, prefix + "alter", after.alter)
        _set_text(octave, str(after.octave))
    return before, after


def _pitch_of(element: Any, prefix: str, step_name: str, alter_name: str) -> Pitch | None:
    """Letter and alteration of an element, as a pitch of octave 0."""
    step, alter = element.find(prefix + step_name), element.find(prefix + alter_name)
    letter = None if step is None else read_letter(step.text)
    alteration = read_alter(alter.text) if alter is not None and (alter.text or "").strip() else 0
    return None if letter is None or alteration is None else Pitch(letter, alteration)


def _set_text(element: Any, text: str) -> None:
    if (element.text or "").strip() != text:
        for child in list(element):  # an entity
            element.remove(child)
        element.text = text


def _set_alter(step: Any, name: str, alter: Alter) -> None:
    """Give the element after a step this alteration, adding or dropping it as needed."""
    parent = step.getparent()
    element = parent.find(name)
    text = _decimal(alter)
    if element is None:
        if alter:
            element = etree.Element(name)
            element.text = text
            element.tail = step.tail
            parent.insert(parent.index(step) + 1, element)
    elif read_alter(element.text) == alter:
        return
    elif alter:
        _set_text(element, text)
    else:
        _remove(element)


def _decimal(alter: Alter) -> str:
    return str(alter) if alter == int(alter) else f"{float(alter):g}"


def _remove(element: Any) -> None:
    """Remove an element and the white space before it."""
    parent, before = element.getparent(), element.getprevious()
    tail = element.tail
    parent.remove(element)
    if before is not None:
        before.tail = tail
    else:
        parent.text = tail


def add_accidental(note: Any, prefix: str, alter: Alter) -> None:
    """Give a note the accidental of an alteration where the schema wants it."""
    sign = SIGNS.get(alter)
    if sign is None:
        return
    element = etree.Element(prefix + "accidental")
    element.text = sign
    names = {prefix + name for name in AFTER_ACCIDENTAL}
    later = next((child for child in note if child.tag in names), None)
    insert_before(note, later, element)


def insert_before(parent: Any, later: Any, element: Any) -> None:
    """Insert an element before another, or at the end where that is None, with the white space around."""
    before = later.getprevious() if later is not None else (parent[-1] if len(parent) else None)
    if before is None:
        element.tail = parent.text
        parent.insert(0, element)
    else:
        element.tail, before_tail = before.tail, (parent.text if later is None else before.tail)
        parent.insert(parent.index(before) + 1, element)
        before.tail = before_tail


def move_key(element: Any, prefix: str, move: Move) -> None:
    """Move a `key`."""
    fifths = element.find(prefix + "fifths")
    if fifths is None:
        _move_mixed_key(element, prefix, move)
        return
    for child in (element.find(prefix + "cancel"), fifths):
        number = None if child is None else whole_number(child.text)
        if number is not None:
            _set_text(child, str(move.key_fifths(number)))


def _move_mixed_key(element: Any, prefix: str, move: Move) -> None:
    """Move a key signature of single letters.

    It says natural of the letters that it does not name, so some of those may have to be named after the move
    and some that were named need not be.
    """
    interval = move.interval(0)
    names = {prefix + name: name for name in ("key-step", "key-alter", "key-accidental")}
    signs: list[dict[str, Any]] = []
    for child in list(element):
        name = names.get(child.tag)
        if name == "key-step":
            signs.append({})
        if name is not None and signs:
            signs[-1][name] = child
    left = set(range(7))
    numbers: dict[int, tuple[int, int] | None] = {}
    for number, sign in enumerate(signs, 1):
        step, alter = sign["key-step"], sign.get("key-alter")
        letter = read_letter(step.text)
        value = None if alter is None else read_alter(alter.text)
        if letter is None or value is None:
            continue
        left.discard(letter)
        moved = moved_pitch(interval, Pitch(28 + letter, value))
        kept = bool(moved.alter) or not value
        numbers[number] = (letter, moved.letter) if kept else None
        if not kept:
            for child in sign.values():
                _remove(child)
            continue
        _set_text(step, LETTERS[moved.letter])
        if moved.alter != value:
            _set_text(alter, _decimal(moved.alter))
        if "key-accidental" in sign:
            move_sign(sign["key-accidental"], moved.alter - value)
    _renumber_octaves(element, prefix, numbers)
    octaves = element.find(prefix + "key-octave")
    for letter in (letter for letter in SHARP_ORDER if letter in left):
        moved = moved_pitch(interval, Pitch(28 + letter, 0))
        if moved.alter:
            for name, text in (("key-step", LETTERS[moved.letter]), ("key-alter", _decimal(moved.alter))):
                child = etree.Element(prefix + name)
                child.text = text
                insert_before(element, octaves, child)


def _renumber_octaves(element: Any, prefix: str, numbers: Mapping[int, tuple[int, int] | None]) -> None:
    """Keep the octaves of a mixed signature with their signs, on the staff where they were.

    Args:
        element: the `key`.
        prefix: "{namespace}" in front of every tag, or "".
        numbers: by the number of each sign its letter before and after, None where it is gone.
    """
    kept = [number for number, letters in numbers.items() if letters is not None]
    for child in list(element.iterchildren(prefix + "key-octave")):
        number, octave = whole_number(child.get("number")), whole_number(child.text)
        letters = None if number is None else numbers.get(number)
        if number is None or octave is None or number not in numbers:
            continue
        if letters is None:
            _remove(child)
            continue
        child.set("number", str(kept.index(number) + 1))
        _set_text(child, str(octave + round((letters[0] - letters[1]) / 7)))


def key_element(prefix: str, fifths: int) -> Any:
    """A `key` of so many sharps (flats where negative)."""
    element = etree.Element(prefix + "key")
    etree.SubElement(element, prefix + "fifths").text = str(fifths)
    return element


def move_harmony(element: Any, prefix: str, move: Move, turn: int) -> None:
    """Move the roots and bass notes of a chord symbol; kind and degrees count from the root and stay."""
    interval = move.interval(turn)
    for name in ("root", "bass"):
        for holder in element.iterchildren(prefix + name):
            step = holder.find(f"{prefix}{name}-step")
            before = _pitch_of(holder, prefix, f"{name}-step", f"{name}-alter")
            if before is None:
                continue
            after = moved_pitch(interval, before)
            if after.letter == before.letter and after.alter == before.alter:
                continue
            _set_text(step, LETTERS[after.letter])
            _set_alter(step, f"{prefix}{name}-alter", after.alter)
            _move_shown_text(step, before, after)
    for numeral in element.iterchildren(prefix + "numeral"):
        for fifths in numeral.iterfind(f"{prefix}numeral-key/{prefix}numeral-fifths"):
            number = whole_number(fifths.text)
            if number is not None:
                _set_text(fifths, str(move.key_fifths(number)))


def _move_shown_text(step: Any, before: Pitch, after: Pitch) -> None:
    """Move the text that is shown in place of a root or bass, where it shows the letter."""
    shown = step.get("text")
    if shown and shown.strip().upper() == LETTERS[before.letter]:
        letter = LETTERS[after.letter]
        step.set("text", letter if shown.strip().isupper() else letter.lower())


def move_figures(element: Any, prefix: str, bass: Pitch, interval: Transposition) -> Iterable[Any]:
    """Move the signs of figures over a bass note.

    Args:
        element: a `figured-bass`.
        prefix: "{namespace}" in front of every tag, or "".
        bass: the written bass note before the move.
        interval: the move.

    Yields:
        Signs that could not be moved.
    """
    for figure in element.iterchildren(prefix + "figure"):
        text = figure.findtext(prefix + "figure-number")
        number = whole_number(text) if text and text.strip() else 3  # a sign alone is for the third
        if number is None or not 0 < number < 20:
            continue
        for name in ("prefix", "suffix"):
            sign = figure.find(prefix + name)
            alter = None if sign is None else ACCIDENTALS.get((sign.text or "").strip())
            if alter is not None:
                before = Pitch(bass.diatonic + number - 1, alter)
                if not move_sign(sign, interval.pitch(before).alter - alter):
                    yield sign

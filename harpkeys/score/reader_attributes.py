"""What an `attributes` element sets: divisions, keys, times, staves, transpositions, measure repeats.

References: MusicXML 4.0, `attributes`, `key` (traditional and non-traditional), `time`, `transpose`,
`measure-style`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from harpkeys.errors import ScoreError
from harpkeys.pitch import alteration_in_key
from harpkeys.score.model import KeySignature
from harpkeys.score.reader_draft import (
    MAX_RESOLUTION,
    PartDraft,
    RepeatSpan,
    TickTable,
    read_alter,
    read_letter,
)
from harpkeys.score.reader_transpose import transposition
from harpkeys.score.texts import exact_decimal, plain_text, whole_number

MAX_FIFTHS = 21
"""Most sharps or flats believed in a key signature: three turns of seven."""

MAX_STAVES = 99

MAX_BEATS = 1000
"""Largest numerator and denominator believed in a time signature."""

MAX_PATTERN = 16
"""Most bars believed in a measure repeat's pattern."""

MODES = frozenset(
    ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "ionian", "locrian")
)
"""The modes that MusicXML names; "none" and others say nothing."""


def read_attributes(element: Any, part: PartDraft) -> None:
    """Take in an `attributes` element.

    Args:
        element: the element.
        part: the part being read; it is changed.

    Raises:
        ScoreError: divisions that are no positive number.
    """
    prefix = len(part.shared.prefix)
    keys: list[Any] = []
    time_seen = False
    for child in element:
        name = child.tag[prefix:] if isinstance(child.tag, str) else ""
        if name == "divisions":
            _divisions(child, part)
        elif name == "key":
            keys.append(child)
        elif name == "time":
            if not time_seen:
                _time(child, part)
            time_seen = True
        elif name == "staves":
            part.staves = max(part.staves, min(MAX_STAVES, whole_number(child.text) or 1))
        elif name == "transpose":
            _transpose(child, part)
        elif name == "measure-style":
            _measure_style(child, part)
        elif name == "for-part":
            part.remark("for-part")
    # Keys come before transpositions in an attributes element, but sound after them.
    for key in keys:
        _key(key, part)


def _named(element: Any, prefix: str) -> Iterator[tuple[str, Any]]:
    """Children that are elements, with their local names."""
    length = len(prefix)
    for child in element:
        if isinstance(child.tag, str):
            yield child.tag[length:], child


def _divisions(element: Any, part: PartDraft) -> None:
    """Take in new divisions.

    Raises:
        ScoreError: not a positive number, or absurd.
    """
    divisions = exact_decimal(element.text)
    if divisions is None or not 0 < divisions <= MAX_RESOLUTION:
        shown = plain_text(element.text)[:20]
        raise ScoreError(f"the divisions {shown!r} are not a positive number", "export the score again")
    if divisions != part.ticks.divisions:
        part.ticks = TickTable(divisions, part.shared)


def _staff_number(element: Any) -> int | None:
    """The staff that an element's number attribute names, None for all."""
    number = whole_number(element.get("number"))
    return number if number is not None and 1 <= number <= MAX_STAVES else None


def _transpose(element: Any, part: PartDraft) -> None:
    """Take in a transposition for one staff or all."""
    texts = {name: child.text for name, child in _named(element, part.shared.prefix)}
    chromatic = exact_decimal(texts.get("chromatic")) or Fraction(0)
    octaves = whole_number(texts.get("octave-change")) or 0
    if abs(chromatic) > 60 or abs(octaves) > 5:
        part.remark("transpose")
        return
    moved, supplied = transposition(whole_number(texts.get("diatonic")), chromatic, octaves)
    if supplied and chromatic:
        part.remark("diatonic")
    if "double" in texts:
        part.remark("double")
    staff = _staff_number(element)
    if staff is None:
        part.transpositions.clear()
    part.transpositions[staff] = moved
    part.pitches = part.shared.table(moved) if set(part.transpositions) == {None} else None


def _key(element: Any, part: PartDraft) -> None:
    """Take in a key signature, moved to sounding pitch."""
    staff = _staff_number(element)
    moved = part.transposition(staff)
    fifths: int | None = None
    mode: str | None = None
    alters: list[int | Fraction] = [0] * 7
    traditional = False
    letter: int | None = None
    for name, child in _named(element, part.shared.prefix):
        if name == "fifths":
            traditional = True
            fifths = whole_number(child.text)
        elif name == "mode":
            mode = (child.text or "").strip().lower()
        elif name == "key-step":
            letter = read_letter(child.text)
        elif name == "key-alter" and letter is not None:
            alters[letter] = read_alter(child.text) or 0
    if mode not in MODES:
        mode = None
    if not traditional:
        sounding = moved.alters(tuple(alters))
        if any(isinstance(alter, Fraction) for alter in sounding):
            part.remark("microtone")
        part.keys.append(KeySignature(part.index, part.cursor, staff, None, mode, sounding))
    elif fifths is None or abs(fifths) > MAX_FIFTHS:
        part.remark("key")
    else:
        # A transposition by a microtone leaves the signature.
        written = fifths if moved.fifths else None
        fifths += moved.fifths or 0
        sounding = tuple(alteration_in_key(number, fifths) for number in range(7))
        part.keys.append(KeySignature(part.index, part.cursor, staff, fifths, mode, sounding, written))


def _time(element: Any, part: PartDraft) -> None:
    """Take in a time signature; after the bar has begun it is for the next bar."""
    beats: Fraction | None = None
    largest = 1
    count: int | None = None
    free = False
    for name, child in _named(element, part.shared.prefix):
        if name == "senza-misura":
            free = True
        elif name == "beats":
            numbers = [whole_number(text) for text in (child.text or "").split("+")]
            count = None if None in numbers else sum(number for number in numbers if number is not None)
        elif name == "beat-type":
            unit = whole_number(child.text)
            if not count or not unit or not 0 < count <= MAX_BEATS or not 0 < unit <= MAX_BEATS:
                part.remark("time")
                return
            beats = (beats or Fraction(0)) + Fraction(count, unit)
            largest = max(largest, unit)
    signature: tuple[int, int] | None = None
    if beats is not None and not free:
        # 3/4 stays 3/4 and 6/8 stays 6/8: the printed unit is kept wherever it can express the sum.
        scaled = beats * largest
        signature = (
            (scaled.numerator, largest) if scaled.denominator == 1 else (beats.numerator, beats.denominator)
        )
    if part.cursor == 0:
        part.beats = part.bar.beats = signature
    else:
        part.next_beats, part.beats_pending = signature, True


def _measure_style(element: Any, part: PartDraft) -> None:
    """Take in the start or stop of a measure repeat; other styles only say how rests and beats look."""
    for name, child in _named(element, part.shared.prefix):
        if name == "measure-repeat":
            staff = _staff_number(element)
            for span in part.spans:
                if span.stop is None and span.staff == staff:
                    span.stop = part.index
            if child.get("type") == "start":
                pattern = whole_number(child.text) or 1
                part.spans.append(RepeatSpan(part.index, max(1, min(MAX_PATTERN, pattern)), staff))
        elif name in ("beat-repeat", "slash") and child.get("type") == "start":
            part.remark(name)

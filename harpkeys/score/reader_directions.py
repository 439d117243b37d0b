"""Directions and sounds: tempo marks, jumps and their targets, written slowings.

Sound attributes decide. Where a direction has no jump in its sound, words that begin D.C., D.S., Da Capo,
Dal Segno, Fine or To Coda are read as that jump, and a segno or coda sign (or the bare word) as a target; a
coda sign beside the words To Coda is that jump. A sign that nothing explains is settled when the parts are
put together (`reader_combine`).

References: MusicXML 4.0, `direction`, `sound`, `metronome`; which words slow down is common practice.
"""

from __future__ import annotations

import re
from fractions import Fraction
from math import floor
from typing import Any

from harpkeys.score.model import Jump
from harpkeys.score.reader_draft import JumpDraft, PartDraft, TempoDraft
from harpkeys.score.texts import exact_decimal, plain_text

UNIT_QUARTERS = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
    "64th": Fraction(1, 16),
    "128th": Fraction(1, 32),
    "256th": Fraction(1, 64),
    "512th": Fraction(1, 128),
    "1024th": Fraction(1, 256),
}
"""Quarter notes in each of MusicXML's note types."""

MAX_WORDS = 200
"""Most characters of a direction's words that are looked at."""

MAX_BPM = 10_000
"""Fastest tempo believed, in quarter notes a minute."""

JUMP_WORDS = (
    (re.compile(r"(d\.? ?c\b\.?|da +capo\b)", re.IGNORECASE), "dacapo"),
    (re.compile(r"(d\.? ?s\b\.?|dal +segno\b)", re.IGNORECASE), "dalsegno"),
    (re.compile(r"fine\b", re.IGNORECASE), "fine"),
    (re.compile(r"to +(coda\b|\U0001d10c)", re.IGNORECASE), "tocoda"),
    (re.compile(r"(coda|\U0001d10c)\W*$", re.IGNORECASE), "coda"),
    (re.compile(r"(segno|\U0001d10b)\W*$", re.IGNORECASE), "segno"),
)
"""How words that jump begin (planning problem, section 2); bare Coda and Segno are targets."""

SLOWING = re.compile(
    r"\b(rit\b|ritard|riten|rall|slarg|allarg|calando|smorz|morendo|c[ée]dez|retenu|ralent|z[öo]gernd)",
    re.IGNORECASE,
)
"""Words of slowing down, wherever they stand in the text."""

FLAG_SOUNDS = ("dacapo", "fine")
NAMED_SOUNDS = ("dalsegno", "tocoda", "segno", "coda")

_MATTERS = re.compile(
    "|".join((SLOWING.pattern, *(pattern.pattern for pattern, _ in JUMP_WORDS))), re.IGNORECASE
)
"""What `words_matter` looks for: a slowing or the words of a jump, these with anything before them.

A direction may hold its words in pieces, so words that only end a text are let through here too; what they
are is decided on the whole text.
"""

_NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)?", re.ASCII)


def read_direction(element: Any, part: PartDraft) -> None:
    """Take in the tempo, jumps and slowings of one `direction`.

    Args:
        element: the direction.
        part: the part being read; it is changed.
    """
    prefix = part.shared.prefix
    onset = max(0, part.cursor + _offset(element, part))
    words: list[str] = []
    signs: list[str] = []
    sound: Any = None
    for child in element:
        if child.tag == prefix + "direction-type":
            for sign in child:
                name = sign.tag[len(prefix) :] if isinstance(sign.tag, str) else ""
                if name == "words":
                    words.append(sign.text or "")
                elif name in ("segno", "coda"):
                    signs.append(name)
                elif name == "metronome":
                    _metronome(sign, part, onset)
        elif child.tag == prefix + "sound":
            sound = child
    text = plain_text(" ".join(words))[:MAX_WORDS]
    jumps = [] if sound is None else read_sound(sound, part, onset, text)
    if text and SLOWING.search(text):
        part.shared.places.add(("slowing", part.index, onset))
    if not jumps and (text or signs):
        part.bar.add_jumps(*_written_jumps(text, signs, onset))


def read_sound(element: Any, part: PartDraft, onset: int, text: str = "") -> list[JumpDraft]:
    """Take in a `sound` element: tempo, jumps, an implied forward repeat.

    Args:
        element: the sound.
        part: the part being read; it is changed.
        onset: ticks from the start of the bar.
        text: words that stand beside it.

    Returns:
        The jumps it had.
    """
    attributes = element.attrib
    if not attributes and not len(element):
        return []
    onset = max(0, onset + _offset(element, part))
    tempo = attributes.get("tempo")
    if tempo is not None:
        bpm = exact_decimal(tempo)
        if bpm is not None and 0 < bpm <= MAX_BPM:
            _add_tempo(part, onset, bpm, sound=True)
        else:
            part.remark("tempo")
    if attributes.get("forward-repeat") == "yes":
        part.bar.opens = True
    swing = element.find(part.shared.prefix + "swing")
    if swing is not None and swing.find(part.shared.prefix + "straight") is None:
        part.remark("swing")
    jumps = [
        JumpDraft(Jump(kind, onset=onset), text=text)
        for kind in FLAG_SOUNDS
        if attributes.get(kind, "no") not in ("no", "")
    ]
    for kind in NAMED_SOUNDS:
        name = attributes.get(kind)
        if name is not None:
            jumps.append(JumpDraft(Jump(kind, plain_text(name)[:MAX_WORDS], onset=onset), text=text))
    part.bar.add_jumps(*jumps)
    return jumps


def words_matter(text: str | None) -> bool:
    """Whether words may be a jump or a slowing, so that their direction is worth reading."""
    return text is not None and _MATTERS.search(text) is not None


def _offset(element: Any, part: PartDraft) -> int:
    """Ticks of an element's own `offset` child, rounded down where it lies between ticks."""
    offset = element.find(part.shared.prefix + "offset")
    if offset is None:
        return 0
    value = exact_decimal(offset.text)
    if value is None or abs(value) > 10**9:
        return 0
    return floor(value / part.ticks.divisions * part.shared.resolution)


def _add_tempo(
    part: PartDraft, onset: int, bpm: Fraction | None, *, sound: bool, change: Fraction | None = None
) -> None:
    """Remember a tempo mark."""
    tempos = part.shared.tempos
    tempos.append(TempoDraft(part.index, onset, bpm, sound, len(tempos), change))


def _metronome(element: Any, part: PartDraft, onset: int) -> None:
    """Take in a metronome mark: a number, or a note value that equals another.

    In a metric modulation the note value on the left has the speed, before, that the one on the right has
    after (common practice, no source).
    """
    prefix = len(part.shared.prefix)
    units: list[Fraction] = []
    number: str | None = None
    for child in element:
        name = child.tag[prefix:] if isinstance(child.tag, str) else ""
        if name == "beat-unit":
            unit = UNIT_QUARTERS.get((child.text or "").strip())
            if unit is None:
                part.remark("metronome")
                return
            units.append(unit)
            dot = unit
        elif name == "beat-unit-dot" and units:
            dot = dot / 2
            units[-1] += dot
        elif name == "per-minute":
            number = child.text or ""
    if number is not None and units:
        match = _NUMBER.search(number)
        value = exact_decimal(match.group().replace(",", ".")) if match else None
        if value is None or not 0 < value * units[0] <= MAX_BPM:
            part.remark("metronome")
            return
        if exact_decimal(number) is None:
            part.remark("per-minute")
        _add_tempo(part, onset, value * units[0], sound=False)
    elif len(units) == 2:
        _add_tempo(part, onset, None, sound=False, change=units[1] / units[0])
    else:
        part.remark("metronome")


def _written_jumps(text: str, signs: list[str], onset: int) -> list[JumpDraft]:
    """Jumps and targets that only words and signs tell."""
    kind = next((kind for pattern, kind in JUMP_WORDS if pattern.match(text)), "")
    if kind and not (kind in ("segno", "coda") and kind in signs):
        # A sign beside the words of a jump belongs to them.
        return [JumpDraft(Jump(kind, words=text, onset=onset), text=text)]
    return [JumpDraft(Jump(sign, onset=onset), sign_only=True, text=text) for sign in dict.fromkeys(signs)]

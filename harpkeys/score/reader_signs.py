"""Signs on one note: ties, ornaments with their accidentals, tremolos, harmonics, slides.

References: MusicXML 4.0, elements `tie` (sound) and `tied` (notation), `ornaments`, `accidental-mark`,
`tremolo`, `harmonic`. That a shake is a trill, and that the delayed and vertical turns have a turn's notes,
is common practice, no source.
"""

from __future__ import annotations

from typing import Any

from harpkeys.score.model import Ornament, Signs
from harpkeys.score.reader_draft import PartDraft
from harpkeys.score.texts import whole_number

TRILLS = {
    "trill-mark": "trill",
    "shake": "trill",
    "turn": "turn",
    "delayed-turn": "turn",
    "vertical-turn": "turn",
    "haydn": "turn",
    "inverted-turn": "inverted-turn",
    "delayed-inverted-turn": "inverted-turn",
    "inverted-vertical-turn": "inverted-turn",
    "mordent": "mordent",
    "inverted-mordent": "inverted-mordent",
}
"""MusicXML's trill-like elements and the kind that names their auxiliary notes."""

AUXILIARIES = {
    "trill": "above",
    "inverted-mordent": "above",
    "mordent": "below",
    "turn": "both",
    "inverted-turn": "both",
}
"""Where an ornament's auxiliary notes lie (planning problem, section 2)."""

ACCIDENTALS = {
    "sharp": 1,
    "natural": 0,
    "flat": -1,
    "double-sharp": 2,
    "sharp-sharp": 2,
    "flat-flat": -2,
    "natural-sharp": 1,
    "natural-flat": -1,
    "triple-sharp": 3,
    "triple-flat": -3,
}
"""Alteration of MusicXML's accidental names; the others are microtones."""

TIES = ("tie", "tied")
GLISSANDI = ("glissando", "slide")

Entry = tuple[str, Any]


def read_signs(elements: list[Any], part: PartDraft) -> tuple[bool, bool, Signs | None]:
    """What the marked elements inside a note mean.

    Args:
        elements: the ties, ornaments and so on, in file order.
        part: the part being read, whose onset is the note's; it counts what is left out.

    Returns:
        Whether a tie starts, whether one stops, and the uncommon signs (None without any).
    """
    prefix = len(part.shared.prefix)
    entries = [(element.tag[prefix:], element) for element in elements]
    tie_start, tie_stop = _ties(entries)
    if all(name in TIES for name, _ in entries):
        return tie_start, tie_stop, None
    ornaments: list[Ornament] = []
    tremolo: str | None = None
    marks = 0
    harmonic: str | None = None
    glissando = arpeggiate = fermata = False
    for name, element in entries:
        if name == "ornaments":
            ornaments += _ornaments(element, part)
            for sign in element.iterchildren(part.shared.prefix + "tremolo"):
                kind = sign.get("type") or "single"
                tremolo = kind if kind in ("start", "stop") else "single"
                marks = max(0, min(8, whole_number(sign.text) or 0))
        elif name == "harmonic":
            harmonic = _harmonic(element, part.shared.prefix)
        elif name in GLISSANDI:
            glissando = glissando or element.get("type") == "start"
        elif name == "arpeggiate":
            arpeggiate = True
        elif name == "fermata":
            fermata = True
            part.shared.places.add(("fermata", part.index, part.onset))
    if not (ornaments or tremolo or harmonic or glissando or arpeggiate or fermata):
        return tie_start, tie_stop, None
    signs = Signs(tuple(ornaments), tremolo, marks, harmonic, glissando, arpeggiate, fermata)
    return tie_start, tie_stop, signs


def _ties(entries: list[Entry]) -> tuple[bool, bool]:
    """Whether ties start and stop: by `tie`, and by `tied` only where the note has no `tie` at all."""
    sounding = [element.get("type") for name, element in entries if name == "tie"]
    if sounding:
        return "start" in sounding, "stop" in sounding
    printed = [element.get("type") for name, element in entries if name == "tied"]
    through = "continue" in printed
    return through or "start" in printed, through or "stop" in printed


def _ornaments(element: Any, part: PartDraft) -> list[Ornament]:
    """The trill-like signs of an `ornaments` element, each with the accidental-marks that follow it."""
    prefix = len(part.shared.prefix)
    found: list[tuple[str, list[Any]]] = []
    wavy = False
    for child in element:
        name = child.tag[prefix:] if isinstance(child.tag, str) else ""
        if name in TRILLS:
            found.append((TRILLS[name], []))
            if name == "haydn":
                part.remark("haydn")
        elif name == "accidental-mark" and found:
            found[-1][1].append(child)
        elif name == "wavy-line" and child.get("type") == "start":
            wavy = True
        elif name in ("schleifer", "other-ornament"):
            part.remark(name)
    if not found:
        if wavy:
            part.remark("wavy-line")
        return []
    if len(found) == 1 and not found[0][1]:
        # Some programs put the accidental beside the ornaments, not inside.
        outside = part.shared.prefix + "accidental-mark"
        found[0][1].extend(element.getparent().iterchildren(outside))
    return [_with_accidentals(kind, marks, part) for kind, marks in found]


def _with_accidentals(kind: str, marks: list[Any], part: PartDraft) -> Ornament:
    """An ornament whose auxiliaries take these accidentals.

    An ornament with one auxiliary gives it the accidental wherever that is printed; with two, placement
    decides, and where that is missing the first accidental is for the note above.
    """
    above: int | None = None
    below: int | None = None
    for number, mark in enumerate(marks):
        alter = ACCIDENTALS.get((mark.text or "").strip())
        if alter is None:
            part.remark("accidental-mark")
            continue
        side = AUXILIARIES[kind]
        if side == "both":
            side = mark.get("placement") or ("above" if number == 0 else "below")
        if side == "above":
            above = alter
        else:
            below = alter
    return Ornament(kind, above, below)


def _harmonic(element: Any, prefix: str) -> str:
    """Whether the written note of a harmonic is the string or what sounds.

    A touching pitch is taken like a sounding one: a harp's harmonic is touched at half the string, an octave
    up.
    """
    for child in element:
        if child.tag in (prefix + "sounding-pitch", prefix + "touching-pitch"):
            return "sounding"
    return "string"

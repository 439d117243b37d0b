"""What is written on and around notes: beams, triplets, ornaments, slurs, chord symbols; and making elements.

References: MusicXML 4.0 (W3C Music Notation Community Group, final report); beams by beat, common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

from corpus_notation import Note
from lxml import etree

SHARPS = "FCGDAEB"
KINDS = {
    "": "major",
    "m": "minor",
    "7": "dominant",
    "m7": "minor-seventh",
    "maj7": "major-seventh",
    "6": "major-sixth",
    "dim": "diminished",
    "sus4": "suspended-fourth",
}
ORNAMENTS = {
    "tr": "trill-mark",
    "mord": "mordent",
    "inv-mord": "inverted-mordent",
    "turn": "turn",
    "inv-turn": "inverted-turn",
}
ARTICULATIONS = {"acc": "accent", "stacc": "staccato", "ten": "tenuto"}
BEAM_LEVELS = {"eighth": 1, "16th": 2, "32nd": 3}


def add(parent: etree._Element, path: str, text: object = None, /, **attributes: str) -> etree._Element:
    """Append an element, or a chain of them ("a/b"); "_" in an attribute's name stands for "-".

    Returns:
        The innermost element.
    """
    *outer, last = path.split("/")
    for tag in outer:
        parent = etree.SubElement(parent, tag)
    element = etree.SubElement(
        parent, last, {name.replace("_", "-"): value for name, value in attributes.items()}
    )
    if text is not None:
        element.text = str(text)
    return element


def alteration(letter: str, fifths: int) -> int:
    order = SHARPS if fifths > 0 else SHARPS[::-1]
    return (1 if fifths > 0 else -1) if letter in order[: abs(fifths)] else 0


def add_notations(
    note: etree._Element, event: Note, ties: Iterable[str], tuplet: str | None, first: bool
) -> None:
    notations = etree.Element("notations")
    for kind in ties:
        add(notations, "tied", type=kind)
    if first:
        for kind, on in (("stop", event.slur_stop), ("start", event.slur_start)):
            if on:
                add(notations, "slur", type=kind, number="1")
        if tuplet:
            add(notations, "tuplet", type=tuplet)
        for mark, kind in (("gliss>", "start"), (">gliss", "stop")):
            if mark in event.marks:
                add(notations, "glissando", type=kind, line_type="wavy", number="1")
        _ornaments(notations, event)
        articulations = [ARTICULATIONS[mark] for mark in event.marks if mark in ARTICULATIONS]
        if "harm" in event.marks:
            harmonic = add(notations, "technical/harmonic")
            add(harmonic, "natural")
            add(harmonic, "base-pitch")
        for articulation in articulations:
            add(notations, f"articulations/{articulation}")
    if first and "ferm" in event.marks:
        add(notations, "fermata", type="upright")
    if "arp" in event.marks:
        add(notations, "arpeggiate")
    if len(notations):
        note.append(notations)


def _ornaments(notations: etree._Element, event: Note) -> None:
    signs = [mark for mark in event.marks if mark in ORNAMENTS or "trem" in mark]
    if not signs:
        return
    ornaments = add(notations, "ornaments")
    for sign in signs:
        if "trem" in sign:
            kind = "start" if sign.endswith(">") else "stop"
            add(ornaments, "tremolo", sign.strip("<>")[4:], type=kind)
            continue
        add(ornaments, ORNAMENTS[sign])
        for mark in event.marks:
            place, _, accidental = mark.partition("=")
            if accidental:
                add(ornaments, "accidental-mark", accidental, placement=place)


def add_harmony(measure: etree._Element, text: str) -> None:
    chord, _, bass = text.partition("/")
    root = chord[:2] if chord[1:2] in ("#", "b") else chord[:1]
    kind = chord[len(root) :]
    harmony = add(measure, "harmony", placement="above")
    for name, note in (("root", root), ("kind", ""), ("bass", bass)):
        if name == "kind":
            add(harmony, "kind", KINDS[kind], **({"text": kind} if kind else {}))
        elif note:
            element = add(harmony, name)
            add(element, f"{name}-step", note[0])
            if note[1:]:
                add(element, f"{name}-alter", {"#": 1, "b": -1}[note[1:]])


def beams_of(notes: Sequence[Note], time: str) -> dict[int, list[str]]:
    """Beam states by level for each note (by id) that is beamed, grouped by beat."""
    beats, unit = (int(part) for part in time.split("/"))
    beat = Fraction(3, 2) if unit == 8 and beats % 3 == 0 else Fraction(1)
    groups: dict[Fraction | int, list[list[Note]]] = {}
    open_group: list[Note] = []
    key: object = None
    for note in notes:
        if note.grace:
            continue
        window = note.onset // beat
        if time == "4/4" and _only_eighths(notes, note.onset // 2):
            window = note.onset // 2 + 100  # a half bar of plain eighths is beamed together
        if note.type in BEAM_LEVELS and note.pitches:
            if key != window:
                open_group = []
                groups.setdefault(window, []).append(open_group)
                key = window
            open_group.append(note)
        else:
            key = None
    beams: dict[int, list[str]] = {}
    for group in (group for found in groups.values() for group in found if len(group) > 1):
        for position, note in enumerate(group):
            beams[id(note)] = [
                _beam(group, position, level) for level in range(1, BEAM_LEVELS[note.type] + 1)
            ]
    return beams


def _only_eighths(notes: Sequence[Note], half: int) -> bool:
    inside = [note for note in notes if not note.grace and note.onset // 2 == half]
    plain = all(
        note.type == "eighth" and not note.dots and not note.triplet and note.pitches for note in inside
    )
    return plain and len(inside) == 4


def _beam(group: Sequence[Note], position: int, level: int) -> str:
    before = position > 0 and BEAM_LEVELS[group[position - 1].type] >= level
    after = position + 1 < len(group) and BEAM_LEVELS[group[position + 1].type] >= level
    if before and after:
        return "continue"
    if before or after:
        return "end" if before else "begin"
    return "forward hook" if position == 0 else "backward hook"


def triplet_brackets(notes: Sequence[Note]) -> dict[int, str]:
    """Where a triplet's bracket starts and stops, by note id: groups that fill whole beats."""
    brackets: dict[int, str] = {}
    filled = Fraction(0)
    for note in notes:
        if not note.triplet:
            continue
        if not filled:
            brackets[id(note)] = "start"
        filled += note.length
        if filled.denominator == 1:
            brackets[id(note)] = "stop"
            filled = Fraction(0)
    return brackets

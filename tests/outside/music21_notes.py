"""The notes of a file as music21 reads them and as the reader does, in comparable form.

A note is (bar index, onset in the bar, sounding pitch, spelling, duration, tie), a key signature "key" and
(bar index, onset, fifths), each once for a part however many staves show it; times are in quarter notes as
music21 rounds them (to fractions with denominators up to 65535). Bars are compared by index because music21
lays each part's bars out by that part's own content, the reader by the longest of all parts.
"""

from __future__ import annotations

import os
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

from harpkeys.score.model import Part, Score
from harpkeys.score.reader import read_score

Notes = Counter[str]

TIES = {None: "", "start": " tie>", "stop": " >tie", "continue": " >tie tie>", "let-ring": ""}
"""music21's names of ties."""


def package_folder() -> Path:
    """Where music21 keeps its corpus and its own test files."""
    import music21

    return Path(music21.__file__).parent


def package_scores() -> list[str]:
    """Every MusicXML file in the music21 package, relative to it, in a fixed order."""
    folder = package_folder()
    names: list[str] = []
    for directory, _, files in os.walk(folder):
        scores = [name for name in files if name.endswith((".xml", ".mxl", ".musicxml"))]
        names += [Path(directory, name).relative_to(folder).as_posix() for name in scores]
    return sorted(names)


def differences(name: str) -> tuple[str, int, list[str], list[str]]:
    """How the two readings of a file differ.

    Args:
        name: the file, relative to the music21 package.

    Returns:
        The name, the number of notes the reader has, and what only the reader and only music21 has; each line
        starts with the part's index.
    """
    path = package_folder() / name
    ours = our_notes(read_score(path))
    theirs = their_notes(path)
    only_ours: list[str] = []
    only_theirs: list[str] = []
    for index in range(max(len(ours), len(theirs))):
        mine = ours[index] if index < len(ours) else Counter({"no such part": 1})
        other = theirs[index] if index < len(theirs) else Counter({"no such part": 1})
        only_ours += [f"{index}: {line}" for line in sorted((mine - other).elements())]
        only_theirs += [f"{index}: {line}" for line in sorted((other - mine).elements())]
    return name, sum(part.total() for part in ours), only_ours, only_theirs


def our_notes(score: Score) -> list[Notes]:
    """The reader's pitched notes of each part."""
    return [_our_part(part, score.resolution) for part in score.parts]


def _our_part(part: Part, resolution: int) -> Notes:
    found: Notes = Counter()
    for note in part.notes:
        if note.pitch is None:
            continue
        tie = " >tie" * note.tie_stop + " tie>" * note.tie_start
        name = note.pitch.name if isinstance(note.pitch.alter, int) else ""
        onset = Fraction(note.onset, resolution)
        length = Fraction(note.duration, resolution)
        found[told(note.measure, onset, float(note.pitch.midi), name, length, tie)] += 1
    for key in part.keys:
        if key.fifths is not None:
            found[told_key(key.measure, Fraction(key.onset, resolution), key.fifths)] = 1
    return found


def their_notes(path: Path) -> list[Notes]:
    """music21's pitched notes of each part; the staves of one part, which it tells apart, together."""
    from music21 import converter, stream

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = converter.parseFile(str(path), format="musicxml", forceSource=True, storePickle=False)
    parts: list[tuple[str, Notes]] = []
    for part in score.parts:
        transposes = any(i.transposition is not None for i in part.recurse().getElementsByClass("Instrument"))
        notes = _their_part(part.toSoundingPitch() if transposes else part)
        split = isinstance(part, stream.PartStaff)
        identity = str(part.id).rsplit("-Staff", 1)[0] if split else ""
        if split and parts and parts[-1][0] == identity:
            parts[-1][1].update(notes)
            for line in [line for line in notes if line.startswith("key")]:
                parts[-1][1][line] = 1
        else:
            parts.append((identity, notes))
    return [notes for _, notes in parts]


def _their_part(part: Any) -> Notes:
    from music21 import chord, harmony, key, note, stream

    found: Notes = Counter()
    for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
        for element in measure.recurse().notes:
            if isinstance(element, harmony.Harmony):
                continue
            onset = element.getOffsetInHierarchy(measure)
            members = element.notes if isinstance(element, chord.ChordBase) else [element]
            for member in members:
                if not isinstance(member, note.Note):
                    continue
                pitch = member.pitch
                length = 0 if element.duration.isGrace else member.quarterLength
                name = pitch.nameWithOctave.replace("-", "b") if pitch.alter == int(pitch.alter) else ""
                tie = TIES[member.tie.type if member.tie else None]
                found[told(index, onset, pitch.ps, name, length, tie)] += 1
        for signature in measure.recurse().getElementsByClass(key.KeySignature):
            if not signature.isNonTraditional:
                place = signature.getOffsetInHierarchy(measure)
                found[told_key(index, place, signature.sharps)] = 1
    return found


def told_key(index: int, onset: Any, fifths: int) -> str:
    """One key signature in a line: "key 12 3/2 -2"."""
    return f"key {index} {_time(onset)} {fifths}"


def told(index: int, onset: Any, sounding: float, name: str, length: Any, tie: str) -> str:
    """One note in a line: "12 3/2 60 C4 1/2 tie>"."""
    return f"{index} {_time(onset)} {sounding:g} {name} {_time(length)}{tie}"


def _time(quarters: Any) -> str:
    """Quarter notes as music21 rounds them."""
    from music21.common.numberTools import opFrac

    return str(Fraction(opFrac(quarters)).limit_denominator(65535))

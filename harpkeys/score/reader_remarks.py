"""Sentences about what reading assumed or left out."""

from __future__ import annotations

from collections import Counter

from harpkeys.pitch import Pitch
from harpkeys.score.reader_draft import Shared

SENTENCES = {
    "duration": (
        "A note has no duration: its printed value counts.",
        "{n} notes have no duration: their printed values count.",
    ),
    "stray": (
        "A note stands outside every bar; it is left out.",
        "{n} notes stand outside every bar; they are left out.",
    ),
    "pitch": (
        "A note's pitch cannot be read; the note is left out.",
        "{n} notes' pitches cannot be read; these notes are left out.",
    ),
    "backup": (
        "A backup goes back past the start of its bar; it stops there.",
        "{n} backups go back past the start of their bar; they stop there.",
    ),
    "bars": (
        "The parts have different numbers of bars.",
        "",
    ),
    "ending": (
        "An ending bracket has no readable number; it is taken to follow the bracket before it.",
        "{n} ending brackets have no readable number; each is taken to follow the bracket before it.",
    ),
    "bracket": (
        "An ending bracket is never closed; it is taken to cover one bar.",
        "{n} ending brackets are never closed; each is taken to cover one bar.",
    ),
    "middle": (
        "A repeat sign in the middle of a bar is taken to stand at the bar's edge.",
        "{n} repeat signs in the middle of a bar are taken to stand at the bar's edge.",
    ),
    "measure-repeat": (
        "A bar under a repeat sign is filled with the notes it repeats.",
        "{n} bars under repeat signs are filled with the notes they repeat.",
    ),
    "beat-repeat": (
        "A beat-repeat sign is ignored.",
        "{n} beat-repeat signs are ignored.",
    ),
    "slash": (
        "A passage in slash notation is ignored.",
        "{n} passages in slash notation are ignored.",
    ),
    "key": (
        "A key signature cannot be read and is ignored.",
        "{n} key signatures cannot be read and are ignored.",
    ),
    "time": (
        "A time signature cannot be read and is ignored.",
        "{n} time signatures cannot be read and are ignored.",
    ),
    "transpose": (
        "A transposition cannot be read and is ignored.",
        "{n} transpositions cannot be read and are ignored.",
    ),
    "diatonic": (
        "A transposition gives no usable number of letters; the usual spelling is taken.",
        "{n} transpositions give no usable number of letters; the usual spelling is taken.",
    ),
    "double": (
        "A doubling in octaves is ignored.",
        "{n} doublings in octaves are ignored.",
    ),
    "for-part": (
        "Transpositions for extracted parts are ignored.",
        "",
    ),
    "tempo": (
        "A tempo cannot be read and is ignored.",
        "{n} tempi cannot be read and are ignored.",
    ),
    "metronome": (
        "A metronome mark cannot be read and is ignored.",
        "{n} metronome marks cannot be read and are ignored.",
    ),
    "per-minute": (
        "A metronome mark is not a plain number; its first number counts.",
        "{n} metronome marks are not plain numbers; the first number of each counts.",
    ),
    "modulation": (
        "A tempo is given as a ratio to the one before, but none is given; it is ignored.",
        "{n} tempi are given as a ratio to the one before, but none is given; they are ignored.",
    ),
    "modulated": (
        "A tempo is computed from its ratio to the one before.",
        "{n} tempi are computed from their ratio to the one before.",
    ),
    "swing": (
        "Swing is ignored in the timing.",
        "",
    ),
    "haydn": (
        "A Haydn ornament is read as a turn.",
        "{n} Haydn ornaments are read as turns.",
    ),
    "schleifer": (
        "A slide ornament (schleifer) is ignored.",
        "{n} slide ornaments (schleifer) are ignored.",
    ),
    "other-ornament": (
        "An ornament that MusicXML has no name for is ignored.",
        "{n} ornaments that MusicXML has no name for are ignored.",
    ),
    "wavy-line": (
        "A wavy line without a trill sign is ignored.",
        "{n} wavy lines without a trill sign are ignored.",
    ),
    "accidental-mark": (
        "An accidental at an ornament cannot be read and is ignored.",
        "{n} accidentals at ornaments cannot be read and are ignored.",
    ),
}
"""What is counted while reading, and its sentence for one and for several."""


def remarks_of(shared: Shared) -> tuple[str, ...]:
    """The sentences of one reading.

    Args:
        shared: what was counted.

    Returns:
        Sentences in a fixed order.
    """
    sentences: list[str] = []
    placed = Counter(what for what, _, _ in shared.places)
    for what, (one, many) in SENTENCES.items():
        number = shared.counts[what] + placed[what]
        if number:
            sentences.append(one if number == 1 or not many else many.format(n=number))
    microtones = sorted({pitch for pitch in shared.pool if not isinstance(pitch.alter, int)}, key=_height)
    if microtones or shared.counts["microtone"]:
        names = ", ".join(pitch.name for pitch in microtones[:8])
        where = f" ({names})" if names else " (in a key signature)"
        sentences.append(f"Microtones are written{where}; no lever gives them.")
    ignored = _ignored_timing(placed)
    return (*sentences, ignored) if ignored else tuple(sentences)


def _height(pitch: Pitch) -> tuple[int, float]:
    """Order of pitches for showing."""
    return pitch.diatonic, float(pitch.alter)


def _ignored_timing(placed: Counter[str]) -> str:
    """The sentence about fermatas and slowings, "" without any."""
    told = []
    for what, one, many in (
        ("fermata", "fermata", "fermatas"),
        ("slowing", "written slowing", "written slowings"),
    ):
        number = placed[what]
        if number:
            told.append(f"{number} {one if number == 1 else many}")
    if not told:
        return ""
    verb = "is" if len(told) == 1 and told[0].startswith("1 ") else "are"
    return f"{' and '.join(told)} {verb} ignored in the timing."

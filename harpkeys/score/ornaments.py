"""What ornaments and tremolos add to the written notes.

A trill and an inverted mordent need the note above, a mordent the note below, turns both. The alteration of
such an auxiliary note is that of its accidental-mark, else of the last accidental of that letter and octave
printed at an earlier onset in the bar on that staff, else the key's. Section 2 of the planning problem; the
meaning of the signs is that of MusicXML 4.0, element ornaments.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from harpkeys.pitch import Pitch
from harpkeys.score.key_map import AccidentalMap
from harpkeys.score.model import Note, Ornament

NOTES_ABOVE = frozenset({"trill", "inverted-mordent", "turn", "inverted-turn"})
"""Ornaments that need the note above."""

NOTES_BELOW = frozenset({"mordent", "turn", "inverted-turn"})
"""Ornaments that need the note below."""


def auxiliary_pitches(note: Note, pitch: Pitch, accidentals: AccidentalMap) -> tuple[Pitch, ...]:
    """The auxiliary notes that the ornaments of a note need.

    Args:
        note: the note that bears them.
        pitch: pitch of the string it is played on.
        accidentals: the accidentals of its part.

    Returns:
        Each pitch once, the note above before the note below.
    """
    found: list[Pitch] = []
    for ornament in note.signs.ornaments if note.signs is not None else ():
        for step, marked in _steps(ornament):
            written = note.pitch.diatonic if note.pitch is not None else pitch.diatonic
            alter: int | Fraction | None = marked
            if alter is None:
                alter = accidentals.in_force(note.measure, note.onset, note.staff, written + step)
            auxiliary = Pitch(pitch.diatonic + step, alter)
            if auxiliary not in found:
                found.append(auxiliary)
    return tuple(found)


def _steps(ornament: Ornament) -> list[tuple[int, int | None]]:
    """The steps from the principal to the auxiliaries of an ornament, each with its accidental-mark."""
    steps: list[tuple[int, int | None]] = []
    if ornament.kind in NOTES_ABOVE:
        steps.append((1, ornament.above))
    if ornament.kind in NOTES_BELOW:
        steps.append((-1, ornament.below))
    return steps


def _chords(notes: Sequence[Note]) -> list[list[int]]:
    """Indexes of notes of one voice in file order, those that share a stem together."""
    found: list[list[int]] = []
    for index, note in enumerate(notes):
        if note.chord and found and notes[found[-1][0]].onset == note.onset:
            found[-1].append(index)
        else:
            found.append([index])
    return found


def tremolo_partners(notes: Sequence[Note]) -> dict[int, tuple[Note, ...]]:
    """Which notes are part of a tremolo, and the pitches that a tremolo between two notes adds to them.

    A tremolo mark on one note of a chord counts for the whole chord. A mark that starts and finds no stop
    later in the bar in its voice, or the reverse, is a tremolo on that chord alone.

    Args:
        notes: the notes of one bar of one part that fingers start, in file order.

    Returns:
        For the index in `notes` of each note of a tremolo the notes it carries besides itself: the first
        note of a chord carries those of the other chord that its own does not have, all others carry none.
    """
    voices: dict[str, list[int]] = {}
    for index, note in enumerate(notes):
        voices.setdefault(note.voice, []).append(index)
    carried: dict[int, tuple[Note, ...]] = {}
    for members in voices.values():
        opened: list[Note] | None = None
        first = 0
        for chord in _chords([notes[index] for index in members]):
            indexes = [members[index] for index in chord]
            own = [notes[index] for index in indexes]
            kinds = {note.signs.tremolo for note in own if note.signs is not None} - {None}
            if not kinds:
                continue
            carried.update((index, ()) for index in indexes)
            if "stop" in kinds and opened is not None:
                carried[first], carried[indexes[0]] = _missing(opened, own), _missing(own, opened)
                opened = None
            if "start" in kinds:
                opened, first = own, indexes[0]
    return carried


def _missing(chord: list[Note], other: list[Note]) -> tuple[Note, ...]:
    """The notes of the other chord whose pitch a chord does not have."""
    pitches = {note.pitch.midi for note in chord if note.pitch is not None}
    return tuple(note for note in other if note.pitch is not None and note.pitch.midi not in pitches)

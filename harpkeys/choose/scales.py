"""Scales a player names: major, the three minors, the church modes; and the chords that bands call out.

A scale is seven letters, each with one alteration, so it sets every string of a harp. The melodic minor has
two forms; its own notes are those on the way up, and on the way down it is the natural minor.

References: theory of scales, arithmetic on the line of fifths (checked against music21's scale objects);
chord symbols, common practice (checked against music21's).
"""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.harp.naming import MODE_TONICS, fifths_note
from harpkeys.harp.tunings import Letters, key_alterations
from harpkeys.pitch import ACCIDENTAL_SIGNS, LETTER_FIFTHS, LETTERS, NATURAL_SEMITONES

Note = tuple[int, int]
"""A note without its octave: letter number, C = 0 to B = 6, and alteration in semitones."""

KINDS = (
    "major",
    "minor",
    "harmonic minor",
    "melodic minor",
    "dorian",
    "phrygian",
    "lydian",
    "mixolydian",
    "locrian",
)
"""The kinds of scale; "minor" is the natural minor."""

_RAISED = {"harmonic minor": (6,), "melodic minor": (5, 6)}
"""Degrees, from 0, that a kind raises above the natural minor."""

MOST_SIGNS = 7
"""Most sharps or flats of a usual signature."""


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale.

    Attributes:
        tonic: letter and alteration of its first note.
        kind: one of KINDS.
    """

    tonic: Note
    kind: str

    @property
    def fifths(self) -> int:
        """Sharps (positive) or flats of its signature; the raised notes of a minor are not in it."""
        mode = "minor" if self.kind.endswith("minor") else self.kind
        return LETTER_FIFTHS[self.tonic[0]] + 7 * self.tonic[1] - MODE_TONICS[mode]

    @property
    def letters(self) -> Letters:
        """Alteration of each letter C to B, on the way up."""
        letters = list(key_alterations(self.fifths))
        for degree in _RAISED.get(self.kind, ()):
            letters[(self.tonic[0] + degree) % 7] += 1
        return tuple(letters)  # type: ignore[return-value]

    @property
    def letters_down(self) -> Letters:
        """Alteration of each letter C to B, on the way down; differs in the melodic minor only."""
        return key_alterations(self.fifths) if self.kind == "melodic minor" else self.letters

    @property
    def notes(self) -> tuple[Note, ...]:
        """Its seven notes from the tonic up."""
        letters = self.letters
        return tuple(((self.tonic[0] + k) % 7, letters[(self.tonic[0] + k) % 7]) for k in range(7))

    @property
    def name(self) -> str:
        """Such as "E-flat major", "F-sharp harmonic minor"."""
        return f"{note_words(self.tonic)} {self.kind}"


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord.

    Attributes:
        root: letter and alteration of its root.
        suffix: what stands after the root in its symbol, "m7"; "" for a major triad.
        notes: its notes from the root up; a bass note of its own comes first.
        bass: the bass note, None where it is the root.
    """

    root: Note
    suffix: str
    notes: tuple[Note, ...]
    bass: Note | None = None

    @property
    def name(self) -> str:
        """Such as "B♭m7", "D7/F♯"."""
        over = f"/{note_signs(self.bass)}" if self.bass is not None else ""
        return f"{note_signs(self.root)}{self.suffix}{over}"


def scale_on(fifths: int, kind: str) -> Scale:
    """The scale of a kind that has a signature."""
    mode = "minor" if kind.endswith("minor") else kind
    return Scale(fifths_note(fifths + MODE_TONICS[mode]), kind)


def usual_scales() -> tuple[Scale, ...]:
    """Every scale of every kind whose signature has at most seven signs, flattest first."""
    return tuple(scale_on(fifths, kind) for fifths in range(-MOST_SIGNS, MOST_SIGNS + 1) for kind in KINDS)


def note_words(note: Note) -> str:
    """A note in words: "E-flat", "F-sharp", "C"."""
    letter, alter = note
    words = {-2: "-double-flat", -1: "-flat", 0: "", 1: "-sharp", 2: "-double-sharp"}
    return LETTERS[letter] + words.get(alter, f"{alter:+d}")


def note_signs(note: Note, *, ascii_only: bool = False) -> str:
    """A note with signs: "E♭", "F♯♯"; plain "Eb", "F##"."""
    sign = ACCIDENTAL_SIGNS.get(note[1], f"{note[1]:+d}")
    return LETTERS[note[0]] + (sign if ascii_only else sign.replace("b", "♭").replace("#", "♯"))


def pitch_class(note: Note) -> int:
    """Semitones above C, 0 to 11."""
    return (NATURAL_SEMITONES[note[0]] + note[1]) % 12


# Chords: the letters and semitones of each note above the root.

_THIRD, _MINOR_THIRD, _FIFTH, _SEVENTH, _MAJOR_SEVENTH = (2, 4), (2, 3), (4, 7), (6, 10), (6, 11)
_ROOT, _SECOND, _FOURTH, _SIXTH, _NINTH = (0, 0), (1, 2), (3, 5), (5, 9), (1, 2)
_LOW_FIFTH, _HIGH_FIFTH = (4, 6), (4, 8)

CHORDS: dict[str, tuple[tuple[int, int], ...]] = {
    "": (_ROOT, _THIRD, _FIFTH),
    "m": (_ROOT, _MINOR_THIRD, _FIFTH),
    "dim": (_ROOT, _MINOR_THIRD, _LOW_FIFTH),
    "aug": (_ROOT, _THIRD, _HIGH_FIFTH),
    "5": (_ROOT, _FIFTH),
    "sus2": (_ROOT, _SECOND, _FIFTH),
    "sus4": (_ROOT, _FOURTH, _FIFTH),
    "6": (_ROOT, _THIRD, _FIFTH, _SIXTH),
    "m6": (_ROOT, _MINOR_THIRD, _FIFTH, _SIXTH),
    "7": (_ROOT, _THIRD, _FIFTH, _SEVENTH),
    "7sus4": (_ROOT, _FOURTH, _FIFTH, _SEVENTH),
    "maj7": (_ROOT, _THIRD, _FIFTH, _MAJOR_SEVENTH),
    "m7": (_ROOT, _MINOR_THIRD, _FIFTH, _SEVENTH),
    "m7b5": (_ROOT, _MINOR_THIRD, _LOW_FIFTH, _SEVENTH),
    "dim7": (_ROOT, _MINOR_THIRD, _LOW_FIFTH, (6, 9)),
    "add9": (_ROOT, _THIRD, _FIFTH, _NINTH),
    "9": (_ROOT, _THIRD, _FIFTH, _SEVENTH, _NINTH),
    "maj9": (_ROOT, _THIRD, _FIFTH, _MAJOR_SEVENTH, _NINTH),
    "m9": (_ROOT, _MINOR_THIRD, _FIFTH, _SEVENTH, _NINTH),
}
"""Chords by the suffix of their symbol: letters and semitones above the root."""


def chord_on(root: Note, suffix: str, bass: Note | None = None) -> Chord:
    """A chord of a suffix in CHORDS."""
    notes = tuple(_above(root, *step) for step in CHORDS[suffix])
    if bass is not None and bass not in notes:
        notes = (bass, *notes)
    return Chord(root, suffix, notes, bass)


def _above(root: Note, letters: int, semitones: int) -> Note:
    letter = (root[0] + letters) % 7
    natural = NATURAL_SEMITONES[letter] + 12 * (root[0] + letters >= 7) - NATURAL_SEMITONES[root[0]]
    return letter, root[1] + semitones - natural

"""Spelled pitch: letters, alterations, octaves, intervals and the line of fifths.

Conventions: letters are numbered C = 0 to B = 6; a **diatonic number** is octave * 7 + letter number in
scientific pitch (middle C = C4 = 28), so neighbouring strings of a harp have neighbouring numbers; the
sounding number is MIDI's (middle C = 60). Fifths count along the line of fifths with C = 0, G = 1, F = -1.

Nothing outside this module knows letters.

References: MIDI 1.0 note numbers; Acoustical Society of America, scientific pitch notation (ANSI S1.1).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

LETTERS = "CDEFGAB"
"""The letters by number."""

NATURAL_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
"""Semitones above C of each natural letter."""

LETTER_FIFTHS = (0, 2, 4, -1, 1, 3, 5)
"""Place of each natural letter on the line of fifths."""

SHARP_ORDER = (3, 0, 4, 1, 5, 2, 6)
"""Letters in the order in which sharps join a key signature: F C G D A E B."""

ACCIDENTAL_SIGNS = {-3: "bbb", -2: "bb", -1: "b", 0: "", 1: "#", 2: "##", 3: "###"}
"""Plain-text accidental signs by alteration in semitones."""


def natural_midi(diatonic: int) -> int:
    """MIDI number of the natural note with this diatonic number."""
    octave, letter = divmod(diatonic, 7)
    return 12 * (octave + 1) + NATURAL_SEMITONES[letter]


def diatonic_name(diatonic: int) -> str:
    """Letter and octave without alteration, the name of a string: 28 gives "C4"."""
    octave, letter = divmod(diatonic, 7)
    return f"{LETTERS[letter]}{octave}"


def alteration_in_key(letter: int, fifths: int) -> int:
    """Alteration in semitones that a signature of `fifths` sharps (flats if negative) gives a letter.

    Works beyond seven signs (eight sharps make F double sharp).
    """
    # Letters in sharp order have fifths -1..5; each full turn of seven adds a semitone.
    return (fifths - LETTER_FIFTHS[letter] + 5) // 7


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch.

    Attributes:
        diatonic: octave * 7 + letter number (middle C = 28).
        alter: semitones above the natural letter; a Fraction for a microtone.
    """

    diatonic: int
    alter: int | Fraction = 0

    @property
    def letter(self) -> int:
        """Letter number, C = 0 to B = 6."""
        return self.diatonic % 7

    @property
    def octave(self) -> int:
        """Octave of the letter in scientific pitch."""
        return self.diatonic // 7

    @property
    def midi(self) -> int | Fraction:
        """Sounding MIDI number; a Fraction for a microtone."""
        return natural_midi(self.diatonic) + self.alter

    @property
    def fifths(self) -> int | Fraction:
        """Place on the line of fifths, C = 0."""
        return LETTER_FIFTHS[self.letter] + 7 * self.alter

    @property
    def string_name(self) -> str:
        """Letter and octave without alteration: the name of the string it is written on."""
        return diatonic_name(self.diatonic)

    @property
    def name(self) -> str:
        """Plain-text name such as "F#4", "Bb3" or, for a microtone, "F+0.5 4"."""
        sign = ACCIDENTAL_SIGNS.get(self.alter) if isinstance(self.alter, int) else None
        if sign is None:
            return f"{LETTERS[self.letter]}{float(self.alter):+g} {self.octave}"
        return f"{LETTERS[self.letter]}{sign}{self.octave}"

    def __str__(self) -> str:
        return self.name

"""Written pitch to sounding pitch of a transposing part, spelling kept.

MusicXML 4.0, `<transpose>`: the values are added to the written pitch to get the sounding one; `diatonic`
counts letters, `chromatic` semitones, `octave-change` octaves on top of both.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import floor

from harpkeys.pitch import NATURAL_SEMITONES, Pitch, natural_midi

LETTERS_OF_SEMITONES = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters by which 0 to 11 semitones usually move (minor, major, perfect, augmented fourth)."""


@dataclass(frozen=True, slots=True)
class Transposition:
    """From written to sounding.

    Attributes:
        letters: diatonic steps, octaves included.
        semitones: semitones, octaves included.
    """

    letters: int = 0
    semitones: int | Fraction = 0

    def pitch(self, written: Pitch) -> Pitch:
        """The sounding pitch of a written one."""
        if not self.letters and not self.semitones:
            return written
        diatonic = written.diatonic + self.letters
        alter = written.midi + self.semitones - natural_midi(diatonic)
        if isinstance(alter, Fraction) and alter.denominator == 1:
            alter = alter.numerator
        return Pitch(diatonic, alter)

    def alters(self, written: tuple[int | Fraction, ...]) -> tuple[int | Fraction, ...]:
        """The sounding key's alteration of each letter C..B, from the written key's."""
        if not self.letters and not self.semitones:
            return written
        sounding: list[int | Fraction] = [0] * 7
        for letter, alter in enumerate(written):
            pitch = self.pitch(Pitch(28 + letter, alter))
            sounding[pitch.letter] = pitch.alter
        return tuple(sounding)

    @property
    def fifths(self) -> int | None:
        """Fifths that a key signature moves by; None where it moves by a microtone."""
        fifths = self.pitch(Pitch(28)).fifths
        return fifths if isinstance(fifths, int) else None


AS_WRITTEN = Transposition()
"""A part that sounds as written."""


def transposition(diatonic: int | None, chromatic: Fraction, octaves: int) -> tuple[Transposition, bool]:
    """The transposition that a file's numbers mean.

    Where `diatonic` is missing, or would make the interval worse than diminished or augmented (some programs
    always write 0), the usual letter of that many semitones is taken.

    Args:
        diatonic: letters, None where missing.
        chromatic: semitones.
        octaves: further octaves.

    Returns:
        The transposition, and whether the letters had to be supplied.
    """
    supplied = diatonic is None or not _plausible(diatonic, chromatic)
    if supplied or diatonic is None:
        size = floor(abs(chromatic))
        diatonic = (size // 12 * 7 + LETTERS_OF_SEMITONES[size % 12]) * (1 if chromatic > 0 else -1)
    semitones = chromatic + 12 * octaves
    whole = semitones.numerator if semitones.denominator == 1 else semitones
    return Transposition(diatonic + 7 * octaves, whole), supplied


def _plausible(diatonic: int, chromatic: Fraction) -> bool:
    """Whether that many semitones is an everyday interval over that many letters."""
    if diatonic and (diatonic > 0) != (chromatic >= 0):
        return False
    octaves, letters = divmod(abs(diatonic), 7)
    return abs(abs(chromatic) - 12 * octaves - NATURAL_SEMITONES[letters]) <= 1

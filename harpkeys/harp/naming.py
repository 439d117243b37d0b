"""Names of strings, notes and keys, for people; and reading the name of a string.

A string has three names: scientific (letter and octave, middle C = C4), by harp octave (octaves run E down to
F and are counted from the top; middle C = 4C), and by number from the highest string = 1 (`Harp.number`).

Signs are ♯ ♭ where the page can show them, # b in plain text. A double sharp is written as two sharps:
its own sign is missing from many fonts.

References: scientific pitch notation (ANSI S1.1); harp octaves and string colours, customs of the harp with
two independent sources each; keys along the line of fifths, arithmetic.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from harpkeys.errors import HarpError
from harpkeys.harp.model import Harp
from harpkeys.pitch import LETTER_FIFTHS, LETTERS, Pitch, diatonic_name

SIGNS = {-3: "♭♭♭", -2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "♯♯", 3: "♯♯♯"}
"""Accidental signs by alteration in semitones."""

ALTERATION_WORDS = {-2: "double flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double sharp"}
"""Alterations in words."""

STRING_COLOURS = {0: "red", 3: "blue"}
"""Colour by letter number: C red; F blue (or black, or dark purple, by the maker). Common to all harps."""


HIGHEST_OCTAVE = 9
"""Highest octave a name of a string may have."""

_STRING = re.compile(r"([A-Ga-g])([0-9]+)")


def note_text(pitch: Pitch, *, ascii_only: bool = False, octave: bool = True) -> str:
    """A note for people, "F♯4"; in plain text "F#4"; without the octave "F♯".

    Args:
        pitch: the spelled note.
        ascii_only: use # and b for terminals that lack the signs.
        octave: whether to add the octave.
    """
    if not isinstance(pitch.alter, int) or pitch.alter not in SIGNS:
        name = pitch.name
        return name if octave else name.rsplit(" ", 1)[0]
    if ascii_only:
        name = pitch.name
        return name if octave else name[: len(name) - len(str(pitch.octave))]
    return f"{LETTERS[pitch.letter]}{SIGNS[pitch.alter]}{pitch.octave if octave else ''}"


def harp_octave(diatonic: int) -> int:
    """Harp octave of a string: 8 - scientific octave for C, D, E; 7 - scientific octave for F, G, A, B.

    Harp octaves run from E down to F and are counted from the top; strings above E7 have octave 0.
    """
    octave, letter = divmod(diatonic, 7)
    return (8 if letter < 3 else 7) - octave


def harp_octave_name(diatonic: int) -> str:
    """Name by harp octave: middle C is "4C"."""
    return f"{harp_octave(diatonic)}{LETTERS[diatonic % 7]}"


def string_text(harp: Harp, index: int) -> str:
    """A string by its scientific name and number, "F4 (string 17)"."""
    return f"{harp.strings[index].name} (string {harp.number(index)})"


def string_colour(diatonic: int) -> str:
    """ "red" for C strings, "blue" for F strings, "" for the others."""
    return STRING_COLOURS.get(diatonic % 7, "")


def register_word(harp: Harp, index: int) -> str:
    """ "low", "middle" or "high" where the word singles out one string of its letter on this harp, else "".

    With two strings of a letter they are low and high, with three low, middle and high; with one no word is
    needed, with more than three none is clear.
    """
    same = [
        k
        for k, string in enumerate(harp.strings)
        if (string.diatonic - harp.strings[index].diatonic) % 7 == 0
    ]
    words = {2: ("low", "high"), 3: ("low", "middle", "high")}.get(len(same))
    return words[same.index(index)] if words else ""


def alteration_word(alter: int) -> str:
    """ "flat", "natural", "sharp" and so on.

    Raises:
        KeyError: beyond two semitones.
    """
    return ALTERATION_WORDS[alter]


def fifths_note(fifths: int) -> tuple[int, int]:
    """Letter number and alteration of a place on the line of fifths (C = 0): -3 gives E, -1."""
    letter = next(k for k in range(7) if (fifths - LETTER_FIFTHS[k]) % 7 == 0)
    return letter, (fifths - LETTER_FIFTHS[letter]) // 7


def tonic_name(fifths: int, mode: str | None = "major") -> str:
    """Name of the tonic of a signature, "E-flat" for -3 in major.

    Args:
        fifths: sharps (positive) or flats (negative).
        mode: "major", "minor" or a church mode; None or an unknown word counts as major.
    """
    letter, alter = fifths_note(fifths + MODE_TONICS.get(mode or "major", 0))
    return LETTERS[letter] + (f"-{ALTERATION_WORDS.get(alter, f'{alter:+d}')}" if alter else "")


MODE_TONICS = {
    "major": 0,
    "ionian": 0,
    "dorian": 2,
    "phrygian": 4,
    "lydian": -1,
    "mixolydian": 1,
    "minor": 3,
    "aeolian": 3,
    "locrian": 5,
}
"""Fifths from the signature's major tonic to the mode's tonic. Arithmetic: D is two fifths above C."""


def key_name(fifths: int, mode: str | None = "major") -> str:
    """Name of a key, "E-flat major", "C minor", "D dorian"."""
    return f"{tonic_name(fifths, mode)} {mode if mode in MODE_TONICS else 'major'}"


def string_names(diatonics: Iterable[int]) -> str:
    """Several strings, given by diatonic number, in words: "C2, D2 and E2"."""
    return listed([diatonic_name(diatonic) for diatonic in diatonics])


def listed(words: list[str]) -> str:
    """Words as people list them: "a", "a and b", "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def quoted(text: str) -> str:
    """User text for an error sentence: in double quotes, on one line, cut after 40 characters."""
    line = " ".join(text.split())
    return f'"{line if len(line) <= 40 else line[:39] + "…"}"'


def parse_string(text: str) -> int:
    """Diatonic number of a string named by letter and octave, "C2".

    Raises:
        HarpError: it is no such name.
    """
    match = _STRING.fullmatch(text.strip())
    if not match:
        raise HarpError(
            f"{quoted(text)} is no string", 'name a string by letter and octave without a sign, such as "C2"'
        )
    return octave_number(match[2], text) * 7 + LETTERS.index(match[1].upper())


def octave_number(digits: str, word: str) -> int:
    """The octave that these digits of a name write.

    Raises:
        HarpError: it is beyond octave 9.
    """
    octave = int(digits) if len(digits) < 4 else 1000
    if octave > HIGHEST_OCTAVE:
        raise HarpError(
            f"{quoted(word)} is beyond octave {HIGHEST_OCTAVE}", "count octaves so that middle C is C4"
        )
    return octave

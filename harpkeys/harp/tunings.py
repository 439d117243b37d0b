"""Reading what people write of a harp's tuning and range, and making the harp.

**Tuning** (what each string sounds with its lever down), in any of these ways, signs as #, b, ♯, ♭ or words:

    E-flat              the major key that sounds with every lever down: C, F, B flat, Eb, E♭, F sharp …
    Bb Eb Ab            two letters or more: these letters tuned so, the others natural
    free: Eb            the same with "free:", for a list of one letter, which would else be a key
    E-flat with B2 natural, F4 sharp, A natural
                        after "with", exceptions by string (letter and octave) or by letter

A comma may stand for "with" before strings ("Eb, B2 natural"); a string without a sign is natural ("Eb, B2").

**Strings** are named by letter and octave, middle C = C4. Limits: 1 to 60 strings, octaves 0 to 9, tuned
flat, natural or sharp.

Source of the key names: line of fifths, arithmetic. The grammar is this project's own.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from harpkeys.errors import HarpError
from harpkeys.harp.levers import parse_levers
from harpkeys.harp.model import Harp, HarpString
from harpkeys.harp.naming import (
    ALTERATION_WORDS,
    HIGHEST_OCTAVE,
    octave_number,
    parse_string,
    quoted,
    tonic_name,
)
from harpkeys.pitch import ACCIDENTAL_SIGNS, LETTERS, SHARP_ORDER, alteration_in_key, diatonic_name

MOST_STRINGS = 60
"""Most strings a harp may have here; lever harps have 19 to 40."""

LONGEST_NAME = 100

Letters = tuple[int, int, int, int, int, int, int]
"""One alteration per letter, C to B."""

_NOTE = re.compile(r"([A-Ga-g])(#+|b+|n)?([0-9]+)?(#+|b+|n)?")
_WORDS = (("double-?flat", "bb"), ("double-?sharp", "##"), ("flat", "b"), ("sharp", "#"), ("natural", "n"))
_SEPARATORS = re.compile(r"[\s,;+]+")
_TUNING_MEND = (
    'name the major key that sounds with all levers down, such as "C" or "E-flat", '
    'or the altered letters, such as "Bb Eb"'
)


@dataclass(frozen=True, slots=True)
class Tuning:
    """A tuning as read.

    Attributes:
        name: its canonical name, which reads back as the same tuning.
        letters: alteration of each letter C..B, -1, 0 or +1.
        strings: exceptions by string, (diatonic number, alteration), lowest first.
    """

    name: str
    letters: Letters
    strings: tuple[tuple[int, int], ...] = ()

    def of(self, diatonic: int) -> int:
        """Alteration of one string."""
        for exception, alter in self.strings:
            if exception == diatonic:
                return alter
        return self.letters[diatonic % 7]


def key_alterations(fifths: int) -> Letters:
    """Alteration of each letter C..B under a signature of so many sharps (flats if negative)."""
    return tuple(alteration_in_key(letter, fifths) for letter in range(7))  # type: ignore[return-value]


KEYS: Mapping[Letters, str] = {key_alterations(fifths): tonic_name(fifths) for fifths in range(-7, 8)}
"""Name of the major key by its seven alterations, up to seven signs. Arithmetic on the line of fifths."""


def alterations(text: str) -> tuple[str, Letters]:
    """Canonical name and the seven alterations C..B of a tuning without exceptions by string.

    Raises:
        HarpError: it cannot be read, or has exceptions by string.
    """
    tuning = parse_tuning(text)
    if tuning.strings:
        raise HarpError(f"the tuning {quoted(text)} names single strings", "name only a key or letters here")
    return tuning.name, tuning.letters


def parse_tuning(text: str) -> Tuning:
    """Read a tuning as the module's docstring describes it.

    Raises:
        HarpError: it cannot be read.
    """
    plain = _plain(text)
    free, _, rest = plain.rpartition("free:")
    head, _, tail = rest.partition(" with ")
    items = [_note(word, text) for word in _SEPARATORS.split(head) if word]
    extra = [_note(word, text) for word in _SEPARATORS.split(tail) if word]
    letters = [(letter, alter) for letter, octave, alter in items if octave is None]
    if not items or free.strip():
        raise HarpError(f"the tuning {quoted(text)} cannot be read", _TUNING_MEND)
    is_key = len(letters) == 1 and "free:" not in plain
    base = _key(*letters[0], text) if is_key else _by_letter([0] * 7, letters, text)
    base = _by_letter(
        list(base), [(letter, alter) for letter, octave, alter in extra if octave is None], text
    )
    strings: dict[int, int] = {}
    for letter, octave, alter in items + extra:
        if octave is not None:
            diatonic = octave * 7 + letter
            if strings.setdefault(diatonic, alter) != alter:
                raise HarpError(
                    f"the tuning {quoted(text)} names {diatonic_name(diatonic)} twice",
                    "name each string once",
                )
    return tuning_of(base, strings)


def tuning_of(letters: Letters, strings: Mapping[int, int] | None = None) -> Tuning:
    """The tuning with these alterations by letter and exceptions by string, canonically named."""
    kept = tuple(sorted((d, a) for d, a in (strings or {}).items() if letters[d % 7] != a))
    name = KEYS.get(letters) or _free_name(letters)
    if kept:
        name += " with " + ", ".join(f"{diatonic_name(d)} {ALTERATION_WORDS[a]}" for d, a in kept)
    return Tuning(name, letters, kept)


def tuning_of_strings(strings: Iterable[HarpString]) -> Tuning:
    """The tuning of these strings, each letter's commonest alteration as its rule (at a tie the lowest)."""
    strings = tuple(strings)
    letters = [0] * 7
    for letter in range(7):
        tuned = [string.tuned for string in strings if string.diatonic % 7 == letter]
        if tuned:
            letters[letter] = max(tuned, key=tuned.count)
    return tuning_of(tuple(letters), {string.diatonic: string.tuned for string in strings})  # type: ignore[arg-type]


def _plain(text: str) -> str:
    """Lower-case "with", "free:" and signs as # b n, whatever way they were written."""
    plain = text.replace("♯", "#").replace("♭", "b").replace("♮", "n")
    plain = re.sub(r"\bwith\b", "with", plain, flags=re.IGNORECASE)
    plain = re.sub(r"^\s*free\s*:", "free:", plain, flags=re.IGNORECASE)
    plain = re.sub(r"\s+major\b", " ", plain, flags=re.IGNORECASE)
    for word, sign in _WORDS:
        # Only after a letter or octave, so that a lone "flat" is not read as the note B.
        pattern = rf"(?<![A-Za-z])([A-G][0-9]*)[\s=-]*{word}(?![A-Za-z])(?:\s+(?=[0-9]))?"
        plain = re.sub(pattern, rf"\1{sign}", plain, flags=re.IGNORECASE)
    return re.sub(r"\s+", " ", plain)


def _note(word: str, text: str) -> tuple[int, int | None, int]:
    """Letter, octave or None, and alteration of one word of a tuning."""
    match = _NOTE.fullmatch(word)
    if not match or (match[2] and match[4]) or (match[4] and not match[3]):
        raise HarpError(f"{quoted(word)} in the tuning {quoted(text)} cannot be read", _TUNING_MEND)
    sign = match[2] or match[4] or ""
    alter = {"#": 1, "b": -1}.get(sign[:1], 0) * len(sign)
    if abs(alter) > 1:
        raise HarpError(
            f"{quoted(word)} in the tuning {quoted(text)} is {abs(alter)} semitones from the natural note",
            "tune a string flat, natural or sharp",
        )
    letter = LETTERS.index(match[1].upper())
    return letter, None if match[3] is None else octave_number(match[3], word), alter


def _key(letter: int, alter: int, text: str) -> Letters:
    fifths = next((k for k in range(-7, 8) if KEYS[key_alterations(k)] == _tonic(letter, alter)), None)
    if fifths is None:
        raise HarpError(
            f"the key {_tonic(letter, alter)} of the tuning {quoted(text)} has more than seven signs",
            _TUNING_MEND,
        )
    return key_alterations(fifths)


def _tonic(letter: int, alter: int) -> str:
    return LETTERS[letter] + (f"-{ALTERATION_WORDS[alter]}" if alter else "")


def _by_letter(base: list[int], letters: Iterable[tuple[int, int]], text: str) -> Letters:
    seen: dict[int, int] = {}
    for letter, alter in letters:
        if seen.setdefault(letter, alter) != alter:
            raise HarpError(
                f"the tuning {quoted(text)} names {LETTERS[letter]} twice", "name each letter once"
            )
        base[letter] = alter
    return tuple(base)  # type: ignore[return-value]


def _free_name(letters: Letters) -> str:
    flats = [letter for letter in reversed(SHARP_ORDER) if letters[letter] < 0]
    sharps = [letter for letter in SHARP_ORDER if letters[letter] > 0]
    return "free: " + " ".join(LETTERS[k] + ACCIDENTAL_SIGNS[letters[k]] for k in flats + sharps)


def parse_range(low: str | int, count: int | None = None, high: str | int | None = None) -> tuple[int, int]:
    """Diatonic number of the lowest string, and number of strings.

    Args:
        low: lowest string, a name such as "C2" or a diatonic number.
        count: number of strings; give this or `high`.
        high: highest string.

    Raises:
        HarpError: the range is empty, too large or beyond the octaves 0 to 9.
    """
    first = parse_string(low) if isinstance(low, str) else low
    if (count is None) == (high is None):
        raise HarpError(
            "a harp needs its lowest string and either the number of strings or its highest string",
            "give one of the two",
        )
    if count is None:
        last = parse_string(high) if isinstance(high, str) else int(high or 0)
        if last < first:
            raise HarpError(
                f"the highest string {diatonic_name(last)} is below the lowest string {diatonic_name(first)}",
                "change one of them",
            )
        count = last - first + 1
    if not 1 <= count <= MOST_STRINGS:
        raise HarpError(f"a harp of {count} strings cannot be made", f"give 1 to {MOST_STRINGS} strings")
    if first < 0 or first + count > (HIGHEST_OCTAVE + 1) * 7:
        raise HarpError(
            f"{count} strings from {diatonic_name(first)} go beyond the octaves 0 to {HIGHEST_OCTAVE}",
            "count octaves so that middle C is C4",
        )
    return first, count


def make_harp(
    name: str,
    low: str | int,
    count: int | None = None,
    high: str | int | None = None,
    tuning: str | Tuning = "C",
    levers: str = "all",
) -> Harp:
    """A harp from what its owner says of it.

    Args:
        name: what the owner calls it.
        low: lowest string, a name such as "C2" or a diatonic number.
        count: number of strings; give this or `high`.
        high: highest string.
        tuning: what sounds with the levers down (see the module's docstring).
        levers: which strings have a lever (see the module's docstring).

    Returns:
        The harp; its tuning bears its canonical name.

    Raises:
        HarpError: anything of it is wrong.
    """
    name = " ".join(name.split())
    if not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise HarpError(
            f"{quoted(name)} is no name for a harp", f"give it a name of 1 to {LONGEST_NAME} characters"
        )
    first, number = parse_range(low, count, high)
    read = parse_tuning(tuning) if isinstance(tuning, str) else tuning
    _check_exceptions(read, first, number)
    with_lever = parse_levers(levers, first, number)
    strings = tuple(HarpString(d, read.of(d), d in with_lever) for d in range(first, first + number))
    return Harp(name, read.name, strings)


def retuned(harp: Harp, tuning: str | Tuning) -> Harp:
    """The same harp, same strings and levers, in another tuning.

    Raises:
        HarpError: the tuning cannot be read, or names a string that the harp does not have.
    """
    read = parse_tuning(tuning) if isinstance(tuning, str) else tuning
    _check_exceptions(read, harp.lowest, len(harp.strings))
    strings = tuple(replace(string, tuned=read.of(string.diatonic)) for string in harp.strings)
    return replace(harp, tuning=read.name, strings=strings)


def relevered(harp: Harp, levers: str) -> Harp:
    """The same harp with levers on these strings.

    Raises:
        HarpError: the levers cannot be read, or are on strings that the harp does not have.
    """
    with_lever = parse_levers(levers, harp.lowest, len(harp.strings))
    return replace(harp, strings=tuple(replace(s, lever=s.diatonic in with_lever) for s in harp.strings))


def _check_exceptions(tuning: Tuning, first: int, count: int) -> None:
    for diatonic, _ in tuning.strings:
        if not first <= diatonic < first + count:
            missing = diatonic_name(diatonic)
            raise HarpError(
                f"the tuning {quoted(tuning.name)} names {missing}, which the harp does not have",
                f"its strings are {diatonic_name(first)} to {diatonic_name(first + count - 1)}",
            )

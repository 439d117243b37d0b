"""Which strings have a lever: reading it from words, and saying it in words.

Levers are written as "all", "none", letters ("F C B"), strings ("F4 C5"), stretches of strings ("F3-E5"),
mixed, and "but" with what is left out ("all but C2 D2 E2", "F C but F2").

The grammar is this project's own.
"""

from __future__ import annotations

import re

from harpkeys.errors import HarpError
from harpkeys.harp.model import Harp
from harpkeys.harp.naming import listed, parse_string, quoted
from harpkeys.pitch import LETTERS, SHARP_ORDER, diatonic_name

_SEPARATORS = re.compile(r"[\s,;+]+")
_LEVER_MEND = 'write "all", "none", letters such as "F C", strings such as "F4 C5", or "all but C2 D2"'


def parse_levers(text: str, lowest: int, count: int) -> frozenset[int]:
    """Diatonic numbers of the strings with levers, on a harp of `count` strings from `lowest`.

    Raises:
        HarpError: it cannot be read, or names a string that the harp does not have.
    """
    strings = range(lowest, lowest + count)
    parts = re.split(r"\b(?:but|except)\b", text, flags=re.IGNORECASE)
    if len(parts) > 2:
        raise HarpError(f'the levers {quoted(text)} say "but" twice', _LEVER_MEND)
    sets = [_lever_set(part, strings, text) for part in parts]
    return sets[0] - sets[1] if len(sets) == 2 else sets[0]


def _lever_set(part: str, strings: range, text: str) -> frozenset[int]:
    plain = re.sub(r"\s*(?:-|–|\bto\b)\s*", "-", part.strip(), flags=re.IGNORECASE)
    words = [word for word in _SEPARATORS.split(plain) if word]
    if not words:
        raise HarpError(f"the levers {quoted(text)} name no string", _LEVER_MEND)
    if len(words) == 1 and words[0].lower() in ("all", "none"):
        return frozenset(strings if words[0].lower() == "all" else ())
    return frozenset(diatonic for word in words for diatonic in _lever_word(word, strings, text))


def _lever_word(word: str, strings: range, text: str) -> list[int]:
    if re.fullmatch(r"[A-G]+", word) or re.fullmatch(r"[a-g]", word):
        letters = [LETTERS.index(letter) for letter in word.upper()]
        missing = [LETTERS[k] for k in letters if not any(d % 7 == k for d in strings)]
        if missing:
            raise HarpError(
                f"the harp has no {listed(missing)} string for the levers {quoted(text)}", _LEVER_MEND
            )
        return [diatonic for diatonic in strings if diatonic % 7 in letters]
    ends = word.split("-")
    if len(ends) > 2 or not all(re.fullmatch("[A-Ga-g][0-9]+", end) for end in ends):
        raise HarpError(f"{quoted(word)} in the levers {quoted(text)} cannot be read", _LEVER_MEND)
    low, high = parse_string(ends[0]), parse_string(ends[-1])
    for diatonic in (low, high):
        if diatonic not in strings:
            raise HarpError(
                f"the levers {quoted(text)} name {diatonic_name(diatonic)}, which the harp does not have",
                f"its strings are {diatonic_name(strings[0])} to {diatonic_name(strings[-1])}",
            )
    if low > high:
        raise HarpError(f"the levers {quoted(text)} run downwards", "write the lower string first")
    return list(range(low, high + 1))


def levers_text(harp: Harp) -> str:
    """The shortest plain description of which strings have levers; `parse_levers` reads it back."""
    with_lever = frozenset(string.diatonic for string in harp.strings if string.lever)
    without = frozenset(string.diatonic for string in harp.strings) - with_lever
    if not without or not with_lever:
        return "none" if not with_lever else "all"
    found = [
        _letters_text(with_lever, without),
        _names_text(with_lever),
        "all but " + (_letters_text(without, with_lever) or _names_text(without)),
    ]
    return min((text for text in found if text), key=len)


def _names_text(chosen: frozenset[int]) -> str:
    return " ".join(diatonic_name(diatonic) for diatonic in sorted(chosen))


def _letters_text(chosen: frozenset[int], others: frozenset[int]) -> str:
    """Letters that name exactly the chosen strings, in the order of sharps; "" where letters cannot."""
    letters = {diatonic % 7 for diatonic in chosen}
    if letters & {diatonic % 7 for diatonic in others}:
        return ""
    return " ".join(LETTERS[letter] for letter in SHARP_ORDER if letter in letters)

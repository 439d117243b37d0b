"""What has to be retuned between two tunings of a harp, string by string and in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harpkeys.harp.model import Harp
from harpkeys.harp.naming import ALTERATION_WORDS, listed
from harpkeys.pitch import LETTERS

SIZES = {1: "a semitone", 2: "a whole tone"}
"""How far strings are retuned; they are tuned flat, natural or sharp."""


@dataclass(frozen=True, slots=True)
class Retuning:
    """Strings of one letter that are retuned alike.

    Attributes:
        letter: letter number, C = 0 to B = 6.
        before, after: alterations with the lever down.
        strings: their indexes, lowest 0.
        whole: whether these are all strings of that letter.
    """

    letter: int
    before: int
    after: int
    strings: tuple[int, ...]
    whole: bool

    @property
    def change(self) -> int:
        """Semitones up, or down where negative."""
        return self.after - self.before


def retunings(before: Harp, after: Harp) -> tuple[Retuning, ...]:
    """What has to be retuned, letter by letter from C up.

    Args:
        before, after: the same harp in two tunings.
    """
    groups: dict[tuple[int, int, int], list[int]] = {}
    counts = [0] * 7
    for index, (old, new) in enumerate(zip(before.strings, after.strings, strict=True)):
        letter = old.diatonic % 7
        counts[letter] += 1
        if old.tuned != new.tuned:
            groups.setdefault((letter, old.tuned, new.tuned), []).append(index)
    return tuple(
        Retuning(letter, old, new, tuple(strings), len(strings) == counts[letter])
        for (letter, old, new), strings in sorted(groups.items())
    )


def retuning_text(harp: Harp, retuning: Retuning) -> str:
    """A retuning in words: "every B string down a semitone, to B flat".

    Args:
        harp: the harp.
        retuning: the retuning.
    """
    names = [f"{harp.strings[index].name} ({harp.number(index)})" for index in reversed(retuning.strings)]
    which = f"every {LETTERS[retuning.letter]} string" if retuning.whole else listed(names)
    way = "up" if retuning.change > 0 else "down"
    note = f"{LETTERS[retuning.letter]} {ALTERATION_WORDS[retuning.after]}"
    return f"{which} {way} {SIZES[abs(retuning.change)]}, to {note}"


def raised_strings(changes: Sequence[Retuning]) -> tuple[int, ...]:
    """Indexes of the strings that are tuned up, lowest first."""
    return tuple(sorted(index for change in changes if change.change > 0 for index in change.strings))

"""A lever harp as a value: its strings from lowest to highest, and the player's three times.

Follows section 1 and 3 of the planning problem: one string per diatonic step, a tuned alteration of -1, 0 or
+1, a lever or none; lever down (disengaged) sounds the tuned note, lever up a semitone more.
"""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.pitch import Pitch, diatonic_name, natural_midi

DOWN, UP = 0, 1
"""The two states of a lever: down (disengaged) sounds the tuned note, up a semitone higher."""

STATE_NAMES = ("down", "up")


@dataclass(frozen=True, slots=True)
class HarpString:
    """One string.

    Attributes:
        diatonic: octave * 7 + letter number (middle C = 28).
        tuned: alteration in semitones with the lever down, -1, 0 or +1.
        lever: whether it has a lever.
    """

    diatonic: int
    tuned: int
    lever: bool

    @property
    def name(self) -> str:
        """Letter and octave without alteration, such as "F4"."""
        return diatonic_name(self.diatonic)

    @property
    def down(self) -> int:
        """MIDI number with the lever down."""
        return natural_midi(self.diatonic) + self.tuned

    @property
    def up(self) -> int | None:
        """MIDI number with the lever up; None without a lever."""
        return self.down + 1 if self.lever else None

    def sounding(self, state: int) -> Pitch:
        """The spelled note in a state (0 down, 1 up)."""
        return Pitch(self.diatonic, self.tuned + state)


@dataclass(frozen=True, slots=True)
class Harp:
    """A row of strings, lowest to highest, no step missing.

    Attributes:
        name: what the owner calls it.
        tuning: name of its tuning, such as "E-flat", or a spelled-out one for a free tuning.
        strings: lowest first; `strings[k].diatonic` is `lowest + k`.
    """

    name: str
    tuning: str
    strings: tuple[HarpString, ...]

    @property
    def lowest(self) -> int:
        """Diatonic number of the lowest string."""
        return self.strings[0].diatonic

    def index_of(self, diatonic: int) -> int | None:
        """Index of the string with this diatonic number, None outside the range."""
        index = diatonic - self.strings[0].diatonic
        return index if 0 <= index < len(self.strings) else None

    def number(self, index: int) -> int:
        """String number as shown to a player: the highest string is 1."""
        return len(self.strings) - index


@dataclass(frozen=True, slots=True)
class Player:
    """The three times of a player, in whole milliseconds. All are stated assumptions.

    Attributes:
        name: a named level, or "own times".
        flip: time to move one lever (F).
        leave: what a hand needs after a pluck before it can go (L).
        place: what a hand needs back on the strings before its next pluck (P).
    """

    name: str
    flip: int
    leave: int
    place: int

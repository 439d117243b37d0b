"""Which keys a harp reaches by its levers, and which notes two strings share.

Everything here is arithmetic on the strings: a lever raises its string by one semitone. A base of b fifths
with full levers reaches, without a change during the piece, the signatures b to b + 7.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from harpkeys.harp.model import DOWN, UP, Harp
from harpkeys.harp.naming import fifths_note
from harpkeys.harp.tunings import key_alterations, tuning_of_strings
from harpkeys.pitch import ACCIDENTAL_SIGNS, LETTERS, NATURAL_SEMITONES, SHARP_ORDER

SIGNATURES = range(-7, 8)
"""The usual signatures, seven flats to seven sharps."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How the levers stand for a key signature.

    Attributes:
        up: indices of the strings whose lever is raised, lowest first.
        unreachable: indices of the strings that cannot sound the signature's note, lowest first; their levers
            stay down.
    """

    up: tuple[int, ...]
    unreachable: tuple[int, ...]

    @property
    def reached(self) -> bool:
        """Whether every string sounds the signature's note."""
        return not self.unreachable


def levers_for(harp: Harp, alters: Sequence[int | Fraction] | int) -> Setting:
    """The setting of the levers for a key signature.

    Args:
        harp: the harp.
        alters: alteration of each letter C..B, or the signature's number of sharps (flats if negative).
    """
    wanted = key_alterations(alters) if isinstance(alters, int) else alters
    up: list[int] = []
    unreachable: list[int] = []
    for index, string in enumerate(harp.strings):
        state = wanted[string.diatonic % 7] - string.tuned
        if state == UP and string.lever:
            up.append(index)
        elif state != DOWN:
            unreachable.append(index)
    return Setting(tuple(up), tuple(unreachable))


def signatures_reached(harp: Harp) -> tuple[int, ...]:
    """Signatures, as fifths, that every string of the harp can sound, flattest first."""
    return tuple(fifths for fifths in SIGNATURES if levers_for(harp, fifths).reached)


def letters_up(harp: Harp, fifths: int) -> tuple[int, ...]:
    """Letters raised on at least one string for a signature, in the order in which their levers join.

    From an E-flat tuning they join in the order A E B F C G D: that of sharps, begun where the tuning stands.
    """
    raised = {harp.strings[index].diatonic % 7 for index in levers_for(harp, fifths).up}
    # The alterations of a key add up to its fifths; a free tuning stands where its alterations add up to.
    start = sum(tuning_of_strings(harp.strings).letters) % 7
    return tuple(letter for letter in SHARP_ORDER[start:] + SHARP_ORDER[:start] if letter in raised)


@dataclass(frozen=True, slots=True)
class Sharing:
    """A pitch that two strings can sound.

    Attributes:
        midi: the sounding number.
        lower, upper: indices of the strings.
    """

    midi: int
    lower: int
    upper: int


def shared_pitches(harp: Harp) -> tuple[Sharing, ...]:
    """Every pitch that two strings can sound, with every pair that can, lowest first."""
    found: list[Sharing] = []
    by_pitch: dict[int, list[int]] = {}
    for index, string in enumerate(harp.strings):
        for midi in (string.down, string.up):
            if midi is not None:
                by_pitch.setdefault(midi, []).append(index)
    for midi in sorted(by_pitch):
        indices = by_pitch[midi]
        found += [Sharing(midi, a, b) for k, a in enumerate(indices) for b in indices[k + 1 :]]
    return tuple(found)


def shared_names(alterations: Sequence[int]) -> tuple[tuple[str, str], ...]:
    """Pitch classes found on two letters when every string has a lever.

    Args:
        alterations: the tuning, alteration of each letter C..B.

    Returns:
        (spelling on the lower letter, spelling on the upper), from C up: ("B#", "C") is the pitch class of C.
    """
    spelled = _spellings(alterations)
    pairs: list[tuple[str, str]] = []
    for pitch_class in range(12):
        names = spelled.get(pitch_class, [])
        for first, second in ((a, b) for a in names for b in names):
            if (first[0] + 1) % 7 == second[0]:
                pairs.append((_spelled(*first), _spelled(*second)))
    return tuple(pairs)


def shared_leading_notes(
    alterations: Sequence[int], minor_keys: Sequence[int] = SIGNATURES
) -> tuple[str, ...]:
    """Minor keys whose leading note can only be played on the string that plays their tonic.

    Such a key needs a lever between leading note and tonic each time they meet.

    Args:
        alterations: the tuning, alteration of each letter C..B; every string has a lever.
        minor_keys: the keys asked about, as the fifths of their signatures.

    Returns:
        Names of the tonics, "F#", in the order asked.
    """
    spelled = _spellings(alterations)
    found: list[str] = []
    for fifths in minor_keys:
        letter, alter = fifths_note(fifths + 3)
        tonic = (NATURAL_SEMITONES[letter] + alter) % 12
        strings = {name[0] for name in spelled.get(tonic, [])}
        leading = {name[0] for name in spelled.get((tonic - 1) % 12, [])}
        if len(strings) == 1 and strings == leading:
            found.append(_spelled(letter, alter))
    return tuple(found)


def _spellings(alterations: Sequence[int]) -> dict[int, list[tuple[int, int]]]:
    """(letter, alteration) of every note in reach with full levers, by pitch class."""
    spelled: dict[int, list[tuple[int, int]]] = {}
    for letter, tuned in enumerate(alterations):
        for alter in (tuned, tuned + 1):
            spelled.setdefault((NATURAL_SEMITONES[letter] + alter) % 12, []).append((letter, alter))
    return spelled


def _spelled(letter: int, alter: int) -> str:
    return LETTERS[letter] + ACCIDENTAL_SIGNS[alter]

"""Every key signature of a part, and the levers it needs on a harp.

A lever raises its string by a semitone, so a signature is reached where each string is tuned to the
signature's note or a semitone below it with a lever. Arithmetic; see `harpkeys.harp.reach`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from harpkeys.harp.model import Harp
from harpkeys.harp.reach import Setting, levers_for
from harpkeys.score.model import KeySignature, Part


@dataclass(frozen=True, slots=True)
class SignatureOnHarp:
    """A key signature, and how the levers of a harp stand for it.

    Attributes:
        key: the signature as printed; its place, staff, fifths and mode.
        setting: strings to raise, and strings that cannot sound the signature's note.
    """

    key: KeySignature
    setting: Setting

    @property
    def reached(self) -> bool:
        """Whether every string of the harp sounds the signature's note."""
        return self.setting.reached

    def levers(self, harp: Harp) -> tuple[str, ...]:
        """Names of the strings whose lever is raised, lowest first."""
        return tuple(harp.strings[index].name for index in self.setting.up)

    def out_of_reach(self, harp: Harp) -> tuple[str, ...]:
        """Names of the strings that cannot sound the signature's note, lowest first."""
        return tuple(harp.strings[index].name for index in self.setting.unreachable)


def find_signatures(part: Part, harp: Harp) -> tuple[SignatureOnHarp, ...]:
    """Every key signature of a part with the levers it needs.

    Args:
        part: the part as printed.
        harp: the harp.

    Returns:
        One for each signature, in page order; signatures of single staves each on their own.
    """
    settings: dict[tuple[int | Fraction, ...], Setting] = {}
    found: list[SignatureOnHarp] = []
    for key in sorted(part.keys, key=lambda key: (key.measure, key.onset)):
        setting = settings.get(key.alters)
        if setting is None:
            setting = settings[key.alters] = levers_for(harp, key.alters)
        found.append(SignatureOnHarp(key, setting))
    return tuple(found)

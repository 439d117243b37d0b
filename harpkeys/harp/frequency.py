"""Frequencies of strings in equal temperament.

f = a4 * 2 ** ((midi - 69) / 12), with A4 = 440 Hz (ISO 16) unless told otherwise.
"""

from __future__ import annotations

import math
from fractions import Fraction

from harpkeys.errors import OptionError

A4_MIDI = 69
STANDARD_A4 = 440.0
"""Hertz. ISO 16:1975, standard tuning frequency."""


def frequency(midi: int | Fraction, a4: float = STANDARD_A4) -> float:
    """Hertz of a MIDI number (69 = A4) in equal temperament.

    Args:
        midi: sounding number; a Fraction for a microtone.
        a4: hertz of A4.

    Raises:
        OptionError: `a4` is not between 300 and 600 Hz.
    """
    if not 300 <= a4 <= 600:
        raise OptionError(f"A4 at {a4:g} Hz is out of range", "give 300 to 600 Hz; the standard is 440")
    return a4 * math.pow(2, float(midi - A4_MIDI) / 12)

"""Frequencies of strings."""

from __future__ import annotations

from fractions import Fraction

import pytest

from harpkeys.errors import OptionError
from harpkeys.harp.frequency import frequency


def test_an_octave_doubles_and_the_reference_scales() -> None:
    assert frequency(81) == 880.0
    assert frequency(69, 442) == 442.0
    assert frequency(Fraction(139, 2)) == pytest.approx(440 * 2 ** (1 / 24))


@pytest.mark.parametrize("a4", [0.0, 299.9, 601.0, float("nan")])
def test_a_wrong_reference_is_told(a4: float) -> None:
    with pytest.raises(OptionError) as caught:
        frequency(69, a4)
    assert str(caught.value) == f"A4 at {a4:g} Hz is out of range; give 300 to 600 Hz; the standard is 440."

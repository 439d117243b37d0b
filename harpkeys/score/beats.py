"""Beats as players count them: in the unit of the time signature, from 1 in every bar.

In 6/8 the unit is the eighth, as printed. Without a time signature the unit is the quarter. A pickup bar
counts as the end of a whole bar: one quarter before the first bar of 4/4 is beat 4.
"""

from __future__ import annotations

from fractions import Fraction

from harpkeys.score.model import Measure

VULGAR = {
    Fraction(1, 2): "½",
    Fraction(1, 3): "⅓",
    Fraction(2, 3): "⅔",
    Fraction(1, 4): "¼",
    Fraction(3, 4): "¾",
    Fraction(1, 6): "⅙",
    Fraction(5, 6): "⅚",
    Fraction(1, 8): "⅛",
    Fraction(3, 8): "⅜",
    Fraction(5, 8): "⅝",
    Fraction(7, 8): "⅞",
}
"""Fractions that have a character of their own."""


def beat_unit(measure: Measure, resolution: int) -> Fraction:
    """Ticks of one beat of a bar.

    Args:
        measure: the bar.
        resolution: ticks in a quarter note.
    """
    return Fraction(4 * resolution, measure.beats[1] if measure.beats else 4)


def beat_at(measure: Measure, tick: int | Fraction, resolution: int) -> Fraction:
    """The beat at a place in a bar, the first being 1.

    Args:
        measure: the bar.
        tick: ticks from its start.
        resolution: ticks in a quarter note.
    """
    unit = beat_unit(measure, resolution)
    missing = Fraction(0)
    if measure.index == 0 and measure.beats and (measure.implicit or measure.number == "0"):
        missing = max(missing, measure.beats[0] * unit - measure.length)
    return 1 + (missing + tick) / unit


def number_text(number: Fraction) -> str:
    """A number of beats for people: "3", "3½", "½", "3 2/5"."""
    whole, rest = divmod(number, 1)
    if not rest:
        return str(whole)
    part = VULGAR.get(rest) or f"{rest.numerator}/{rest.denominator}"
    if not whole:
        return part
    return f"{whole}{part}" if rest in VULGAR else f"{whole} {part}"

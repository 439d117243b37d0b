"""Small texts out of a file: without control characters, and numbers read exactly.

Numbers in MusicXML are decimals; they are read as exact fractions and never through floats.
"""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

_DECIMAL = re.compile(r"([+-]?)([0-9]{0,15})(?:\.([0-9]{0,15}))?", re.ASCII)


def plain_text(text: str | None) -> str:
    """A text on one line without control, format or unassigned characters, and without doubled spaces.

    Args:
        text: anything from a file, None for nothing.

    Returns:
        The text that is safe to show in a terminal or on a page.
    """
    if not text:
        return ""
    kept = "".join(
        " " if character.isspace() else character
        for character in text
        if character.isspace() or unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Cn")
    )
    return " ".join(kept.split())


def exact_decimal(text: str | None) -> Fraction | None:
    """The exact value of a decimal number of at most 15 digits on each side of the point.

    Args:
        text: the digits, with optional sign and surrounding white space.

    Returns:
        The number, None where the text is no such number.
    """
    if not text:
        return None
    match = _DECIMAL.fullmatch(text.strip())
    if match is None:
        return None
    sign, whole, part = match.groups()
    if not whole and not part:
        return None
    digits = part or ""
    value = Fraction(int((whole or "0") + digits), 10 ** len(digits))
    return -value if sign == "-" else value


def whole_number(text: str | None) -> int | None:
    """The integer a text stands for ("3", " +2 ", "4.0"), None where it is none.

    Args:
        text: the digits, with optional sign and surrounding white space.

    Returns:
        The integer or None.
    """
    value = exact_decimal(text)
    if value is None or value.denominator != 1:
        return None
    return value.numerator

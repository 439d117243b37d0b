"""Pieces of SVG that the drawings of this room share: numbers, lines, boxes, lettering, note names.

Conventions: an em is the size of a font; y grows downwards. Every function returns finished markup: text is
escaped, numbers have at most two decimals.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.sax.saxutils import escape

from harpkeys.pitch import LETTERS, Pitch

LETTER_FONT = "DejaVu Sans Mono, Menlo, Consolas, monospace"
"""Font of letters and digits: every glyph as wide as every other, so boxes can be computed."""

WORD_FONT = "Libertinus Serif, Times New Roman, Times, serif"
"""Font of words. typst brings this and the letter font along (SIL OFL, and the free DejaVu licence)."""

LETTER_WIDTH = 0.602
"""Advance of every glyph of DejaVu Sans Mono, in ems (the font's hmtx table: 1233 of 2048 units)."""

SIGN_WIDTH = 0.42
"""Width of an accidental as drawn here, in ems of the letter beside it."""

INK = "#000000"

_SIGNS = {
    1: "M0.13 0.06V-0.72M0.31 0V-0.78M0.03 -0.19L0.41 -0.31M0.03 -0.46L0.41 -0.58",
    -1: "M0.09 -0.86V0.02M0.09 -0.02C0.30 -0.12 0.40 -0.24 0.36 -0.36C0.32 -0.46 0.19 -0.44 0.09 -0.32",
    0: "M0.11 -0.80V-0.12M0.11 -0.155L0.33 -0.225M0.11 -0.485L0.33 -0.555M0.33 -0.60V0.08",
    2: "M0.06 -0.18L0.38 -0.50M0.06 -0.50L0.38 -0.18",
}
"""Accidentals by alteration, drawn on the letter's baseline in ems."""


def number(value: float) -> str:
    """A number with at most two decimals, never "-0"."""
    return f"{round(value, 2) + 0.0:.10g}"


def escaped(text: str) -> str:
    """Text that XML and HTML can carry: markup escaped, characters that either forbids left out."""
    return escape("".join(sign for sign in text if allowed(ord(sign))))


def allowed(code: int) -> bool:
    """Whether XML 1.0 (its production 2, Char) and HTML (no controls or noncharacters) allow it."""
    if code in (9, 10, 13):
        return True
    if code < 0xA0:
        return 0x20 <= code < 0x7F
    return not (0xD800 <= code <= 0xDFFF or 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE)


def line(x1: float, y1: float, x2: float, y2: float, ink: str, width: float) -> str:
    """A straight line."""
    return (
        f'<line x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}" stroke="{ink}" '
        f'stroke-width="{number(width)}"/>'
    )


def dotted(x: float, top: float, bottom: float, ink: str) -> str:
    """A dotted vertical line."""
    return (
        f'<line x1="{number(x)}" y1="{number(top)}" x2="{number(x)}" y2="{number(bottom)}" stroke="{ink}" '
        'stroke-width="0.6" stroke-dasharray="0 1.1" stroke-linecap="round"/>'
    )


def box(
    left: float, top: float, width: float, height: float, fill: str, *, round_: float = 0.0, rim: float = 0.0
) -> str:
    """A filled rectangle; with a rim it has a black outline of that thickness."""
    outline = f' stroke="{INK}" stroke-width="{number(rim)}"' if rim else ""
    corner = f' rx="{number(round_)}"' if round_ else ""
    return (
        f'<rect x="{number(left)}" y="{number(top)}" width="{number(width)}" height="{number(height)}"'
        f'{corner} fill="{fill}"{outline}/>'
    )


def points(ends: list[tuple[float, float]]) -> str:
    """A list of points, as polylines and polygons take it."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in ends)


def text(
    words: str, x: float, base: float, size: float, *, font: str, anchor: str, ink: str = INK, heavy: bool
) -> str:
    """Lettering that starts, is centred ("middle") or ends ("end") at x."""
    weight = ' font-weight="bold"' if heavy else ""
    return (
        f'<text x="{number(x)}" y="{number(base)}" font-family="{font}" font-size="{number(size)}"{weight} '
        f'text-anchor="{anchor}" fill="{ink}">{escaped(words)}</text>'
    )


def note_name(
    pitch: Pitch, x: float, base: float, size: float, *, signed: bool, ink: str, heavy: bool
) -> str:
    """A note name centred on x: the letter written, its accidental drawn where it is to be shown.

    Fonts draw ♯ and ♭ too lightly, or not at all in bold, to be read from a music stand.
    """
    left = x - size * (LETTER_WIDTH + (SIGN_WIDTH if signed else 0)) / 2
    middle, right = left + size * LETTER_WIDTH / 2, left + size * LETTER_WIDTH
    letter = LETTERS[pitch.letter]
    drawn = text(letter, middle, base, size, font=LETTER_FONT, anchor="middle", ink=ink, heavy=heavy)
    if signed:
        drawn += (
            f'<path transform="translate({number(right)} {number(base)}) scale({number(size)})" '
            f'd="{_SIGNS[int(pitch.alter)]}" fill="none" stroke="{ink}" stroke-width="0.085"/>'
        )
    return drawn


_SIZED = re.compile(r'<svg ([^>]*)width="([\d.]+)mm" height="([\d.]+)mm"')


def placed(drawing: str, place: Callable[[float, float], tuple[float, float]]) -> str:
    """A drawing inside another whose unit is the millimetre.

    Args:
        drawing: an SVG document of this room.
        place: from its width and height, where its left upper corner goes.
    """

    def moved(match: re.Match[str]) -> str:
        x, y = place(float(match[2]), float(match[3]))
        return f'<svg x="{number(x)}" y="{number(y)}" {match[1]}width="{match[2]}" height="{match[3]}"'

    return _SIZED.sub(moved, drawing, count=1)

"""The lever chart: one drawing of a harp's strings, what each is tuned to, which levers are up at the start.

The drawing never speaks by colour alone: C strings are red and thick with a square foot, F strings are
blue, drawn double, with a round foot; a raised lever is a black flag above the neck with its note in it, a
lever that is down a hollow tag on its string, and a string without a lever starts dotted. So it survives a
photocopier. Units and directions are those of chart_layout.

Sources: C strings red and F strings blue, by two independent sources; the shapes are this project's own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from xml.sax.saxutils import quoteattr

from harpkeys.harp.model import UP, Harp
from harpkeys.mark.words import Labels
from harpkeys.page import svg
from harpkeys.page.chart_layout import (
    GREY,
    LEGEND_SIGN,
    WHITE,
    Layout,
    chart_in_words,
    labels,
    layout,
    legend,
    octaves,
    raised_in_words,
)
from harpkeys.pitch import LETTERS

__all__ = ["chart_in_words", "lever_chart", "raised_in_words"]

RED, BLUE, PALE = "#b5121b", "#1f3d8c", "#efefef"


def lever_chart(
    harp: Harp,
    states: Sequence[int],
    *,
    width: float = 180.0,
    prefix: str = "chart",
    naming: Labels = "scientific",
) -> str:
    """Draw a harp with its levers as they stand at the start.

    Args:
        harp: the harp.
        states: 0 down or 1 up for each string, lowest first.
        width: width of the drawing in millimetres; 180 fits the text width of A4 and Letter.
        prefix: start of the ids inside the drawing, to be unique where several share a page.
        naming: how strings are named in its caption, and which octaves are shown.

    Returns:
        An SVG document. The same arguments give the same text.

    Raises:
        ValueError: not one state per string, or a raised lever where there is none.
    """
    _check(harp, states)
    place = layout(harp, width)
    title, words = f"{prefix}-title", f"{prefix}-words"
    wide, high = svg.number(place.width), svg.number(place.height)
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}mm" '
        f'height="{high}mm" role="img" aria-labelledby={quoteattr(f"{title} {words}")}>',
        f"<title id={quoteattr(title)}>{svg.escaped(f'Lever chart: {harp.name}')}</title>",
        f"<desc id={quoteattr(words)}>{svg.escaped(chart_in_words(harp, states, naming))}</desc>",
        *_octave_bands(harp, place, naming),
        *_frame(place),
    ]
    for index in range(len(harp.strings)):
        lines += _string(harp, place, index)
        lines += _lever(harp, states, place, index)
    lines += _octave_lines(harp, place, naming)
    lines += _legend_shapes(harp, states, place)
    lines += [label.drawn() for label in labels(harp, states, width, naming)]
    return "\n".join([*lines, "</svg>", ""])


def _check(harp: Harp, states: Sequence[int]) -> None:
    if len(states) != len(harp.strings):
        raise ValueError(f"{len(states)} states for {len(harp.strings)} strings")
    for string, state in zip(harp.strings, states, strict=True):
        if state == UP and not string.lever:
            raise ValueError(f"{string.name} has no lever to raise")


def _frame(place: Layout) -> Iterator[str]:
    """The neck, from which the strings hang, and the line on which they stand."""
    half = place.pitch / 2
    ends = [(place.x(k), y) for k, y in enumerate(place.neck)]
    ends = [(ends[0][0] - half, ends[0][1]), *ends, (ends[-1][0] + half, ends[-1][1])]
    yield (
        f'<polyline points="{svg.points(ends)}" fill="none" stroke="{GREY}" stroke-width="0.9" '
        'stroke-linecap="round" stroke-linejoin="round"/>'
    )
    yield svg.line(ends[0][0], place.foot, ends[-1][0], place.foot, GREY, 0.35)


def _string(harp: Harp, place: Layout, index: int) -> Iterator[str]:
    """One string from neck to foot; without a lever its upper end is dotted."""
    string, x, top = harp.strings[index], place.x(index), place.neck[index]
    letter = LETTERS[string.diatonic % 7]
    if not string.lever:
        yield svg.dotted(x, top + 0.9, top + 5.4, {"C": RED, "F": BLUE}.get(letter, GREY))
        top += 5.4
    yield from _stroke(letter, x, top, place.foot)


def _stroke(letter: str, x: float, top: float, foot: float) -> Iterator[str]:
    """A string by its letter."""
    if letter == "C":
        yield svg.line(x, top, x, foot, RED, 0.85)
        yield svg.box(x - 0.9, foot - 0.9, 1.8, 1.8, RED)
    elif letter == "F":
        yield svg.line(x - 0.36, top, x - 0.36, foot, BLUE, 0.3)
        yield svg.line(x + 0.36, top, x + 0.36, foot, BLUE, 0.3)
        at = f'cx="{svg.number(x)}" cy="{svg.number(foot)}"'
        yield f'<circle {at} r="0.95" fill="{WHITE}" stroke="{BLUE}" stroke-width="0.45"/>'
    else:
        yield svg.line(x, top, x, foot, GREY, 0.26)


def _lever(harp: Harp, states: Sequence[int], place: Layout, index: int) -> Iterator[str]:
    """A hollow tag on the string when down, a black flag above the neck when up, nothing without a lever."""
    x, top = place.x(index), place.neck[index]
    if states[index] == UP:
        wide = min(place.pitch - 0.45, place.size * (svg.LETTER_WIDTH + svg.SIGN_WIDTH) + 0.9)
        yield _tag(x, top + 1.5, svg.INK)
        yield svg.line(x, top + 1.6, x, top - 1.7, svg.INK, 0.9)
        yield svg.box(x - wide / 2, top - 1.6 - place.flag, wide, place.flag, svg.INK, round_=0.5)
    elif harp.strings[index].lever:
        yield _tag(x, top + 1.5, WHITE)


def _tag(x: float, top: float, fill: str) -> str:
    return svg.box(x - 0.8, top, 1.6, 2.6, fill, round_=0.55, rim=0.3)


def _octave_bands(harp: Harp, place: Layout, naming: Labels) -> Iterator[str]:
    """A pale ground behind every second octave, so that the eye keeps its place."""
    half, low = place.pitch / 2, place.octave_line
    for start, end in list(octaves(harp, naming))[1::2]:
        ends = [(place.x(k), place.neck[k]) for k in range(start, end + 1)]
        left, right = ends[0][0] - half, ends[-1][0] + half
        ends = [(left, low), (left, ends[0][1]), *ends, (right, ends[-1][1]), (right, low)]
        yield f'<polygon points="{svg.points(ends)}" fill="{PALE}"/>'


def _octave_lines(harp: Harp, place: Layout, naming: Labels) -> Iterator[str]:
    """A line under each octave."""
    inset, y = place.pitch / 2 - 0.5, place.octave_line
    tick, low = svg.number(y - 0.8), svg.number(y)
    for start, end in octaves(harp, naming):
        left, right = svg.number(place.x(start) - inset), svg.number(place.x(end) + inset)
        path = f"M{left} {tick}V{low}H{right}V{tick}"
        yield f'<path d="{path}" fill="none" stroke="{GREY}" stroke-width="0.3"/>'


def _legend_shapes(harp: Harp, states: Sequence[int], place: Layout) -> Iterator[str]:
    for label in legend(harp, states, place):
        yield from _SIGNS[label.words](label.x - LEGEND_SIGN, label.base)


def _sign_up(x: float, y: float) -> Iterator[str]:
    yield svg.box(x - 1.6, y - 3.2, 3.2, 2.5, svg.INK, round_=0.4)
    yield svg.line(x, y - 1, x, y + 0.9, svg.INK, 0.9)


def _sign_down(x: float, y: float) -> Iterator[str]:
    yield svg.line(x, y - 3.2, x, y + 0.9, GREY, 0.26)
    yield _tag(x, y - 2.6, WHITE)


def _sign_none(x: float, y: float) -> Iterator[str]:
    yield svg.dotted(x, y - 3, y + 0.9, GREY)


def _sign_c(x: float, y: float) -> Iterator[str]:
    yield from _stroke("C", x, y - 3.2, y + 0.2)


def _sign_f(x: float, y: float) -> Iterator[str]:
    yield from _stroke("F", x, y - 3.2, y + 0.2)


def _sign_number(x: float, y: float) -> Iterator[str]:
    yield svg.text("1", x + 1.2, y, 2.7, font=svg.LETTER_FONT, anchor="middle", ink=GREY, heavy=False)


_SIGNS: dict[str, Callable[[float, float], Iterator[str]]] = {
    "lever up, and what it sounds": _sign_up,
    "lever down": _sign_down,
    "no lever": _sign_none,
    "C string": _sign_c,
    "F string": _sign_f,
    "number from the highest string": _sign_number,
}
"""The legend's sign for each of its words."""

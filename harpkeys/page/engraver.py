"""verovio, and its drawing made ours: systems in SVG that can stand on any page, under our own ids.

Conventions: a unit inside a system is a hundredth of a millimetre at verovio's own staff of 7.2 mm. The ids
that verovio invents are taken out, so the same score gives the same drawing; those of score_copy stay.

Reference: verovio 6's options and the shape of its SVG, as measured with 6.4.
"""

from __future__ import annotations

import json
import os
import re
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import unescape

from harpkeys.errors import ScoreError
from harpkeys.page import svg
from harpkeys.page.font_face import CUE_FONT, MUSIC_FONT
from harpkeys.page.score_copy import ScoreCopy
from harpkeys.page.text_width import text_width

OWN_STAFF = 7.2
"""Height in millimetres of a staff as verovio draws it with its default unit."""

OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "auto",
    "condense": "none",
    "defaultBottomMargin": 1.0,  # twice the usual: the box of a cue is larger than the words it is placed by
    "expandNever": True,  # repeats are printed as they are, never written out
    "font": "Leipzig",
    "footer": "none",
    "header": "none",
    "mmOutput": True,  # it also writes strokes and slants into each element instead of a style sheet
    "pageHeight": 60000,
    "pageMarginBottom": 0,
    "pageMarginLeft": 0,
    "pageMarginRight": 0,
    "pageMarginTop": 0,
    "smuflTextFont": "none",  # else each drawing carries the font, or fetches it from the network
    "svgFormatRaw": True,
    "svgRemoveXlink": True,
    "svgViewBox": True,
    "xmlIdSeed": 1,
}
"""What verovio is always told."""

CHILD_SECONDS = 300
"""Processor time after which verovio is taken to be in an endless loop."""


@dataclass(frozen=True, slots=True)
class System:
    """A drawn system.

    Attributes:
        drawing: its SVG, in its own units, without document around it.
        glyphs: the outlines it uses, code point and markup.
        width, height: in hundredths of millimetres at verovio's own staff.
        measures: indices of its measures.
    """

    drawing: str
    glyphs: tuple[tuple[str, str], ...]
    width: float
    height: float
    measures: tuple[int, ...]


def drawings(copy: ScoreCopy, width: float, options: Mapping[str, Any]) -> tuple[str, ...]:
    """What verovio draws of a score: an SVG document for each of its pages, one at least.

    verovio breaks down on some faulty files, and takes its process along. Where the system allows, it works
    in a child of this process, so that only the child is lost.

    Args:
        copy: the score.
        width: of a page, in millimetres of verovio's own staff.
        options: what verovio is told beside OPTIONS.

    Raises:
        ScoreError: verovio cannot read it, sees nothing in it, or breaks down on it.
    """
    import verovio

    verovio.enableLog(verovio.LOG_OFF)  # it writes warnings about the file straight to standard error

    def draw() -> list[str] | None:
        toolkit = verovio.toolkit()
        toolkit.setOptions({**OPTIONS, "pageWidth": max(round(width * 10), 100), **options})
        if not toolkit.loadData(copy.text):
            return None
        return [toolkit.renderToSVG(number + 1) for number in range(toolkit.getPageCount())]

    drawn = in_a_child(draw) if hasattr(os, "fork") else draw()
    if drawn is None:
        raise ScoreError(
            "the score cannot be drawn, because verovio does not understand it",
            "open and save it in a notation program",
        )
    if not drawn:
        raise ScoreError(
            "the score cannot be drawn, because nothing in it can be seen",
            "see that its notes are not hidden",
        )
    return tuple(drawn)


def in_a_child(work: Callable[[], Any]) -> Any:
    """The result of some work that is done in a child of this process, where it may break down.

    Args:
        work: what to do; its result is what JSON can carry.

    Raises:
        ScoreError: it broke down, or took more than CHILD_SECONDS of processor time.
    """
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        # Python warns of children of processes with threads; this one uses nothing that a thread could hold.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if not child:
        _work_and_end(work, reading, writing)
    os.close(writing)
    try:
        with open(reading, "rb") as stream:
            told = stream.read()
    finally:
        _, status = os.waitpid(child, 0)
    if status or not told:
        raise ScoreError(
            "the score cannot be drawn, because verovio breaks down on it",
            "open and save it in a notation program",
        )
    return json.loads(told)


def _work_and_end(work: Callable[[], Any], reading: int, writing: int) -> None:
    """What the child does: the work, told to its parent, and nothing of what else ends a process."""
    code = 1
    try:
        import faulthandler
        import resource

        faulthandler.disable()
        os.close(reading)
        resource.setrlimit(resource.RLIMIT_CPU, (CHILD_SECONDS, CHILD_SECONDS))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.dup2(null, 2)
        with open(writing, "wb") as stream:
            stream.write(json.dumps(work()).encode())
        code = 0
    finally:
        os._exit(code)


# From verovio's drawing to ours.

_GLYPH = re.compile(r'<g id="([0-9A-F]{4,6})-[^"]*">(.*?)</g>')
_BODY = re.compile(
    r'<svg class="definition-scale"[^>]*viewBox="0 0 ([\d.]+) ([\d.]+)"[^>]*>(.*)</svg></svg>', re.S
)
_OWN_ID = re.compile(r'<g id="(?:note|measure)-')
_ID = re.compile(r' id="(?!(?:note|measure)-\d)[^"]*"')
_USE = re.compile(r'href="#([0-9A-F]{4,6})-[^"]*"')
_MEASURE = re.compile(r' id="measure-(\d+)"')
_FAMILY = re.compile(r'font-family="([^"]*)"')
_BOLD_WITH_SIGNS = re.compile(r"<text [^>]*>(?:(?!</text>).)*[\u2190-\u2bff](?:(?!</text>).)*</text>", re.S)
_BOLD = re.compile(r'font-weight="bold"')
_BOXED = re.compile(r'(<rect [^>]*) width="(\d+)"/><text x="(\d+)"( [^>]*>)((?:(?!</text>).)*)</text>', re.S)
_RUN = re.compile(r'<tspan font-size="(\d+)px">([^<]*)</tspan>')
_LINE_START = re.compile(r'<tspan class="text" x="\d+"')
_LINE_BREAK = '<tspan class="lb"/>'
_BOX_FONT = svg.WORD_FONT.replace(", ", f", {CUE_FONT}, ", 1)
"""The text font, and where a machine lacks it the one that goes with the page."""
_BOX_RIM = 90
_PLACE = r"[^>]*translate\((\d+), (\d+)\)"
_HEAD = re.compile(rf'<g class="notehead"><use {_PLACE}')
_ACCIDENTAL = re.compile(rf'<g class="accid"><use {_PLACE}')
_BRACKETED = re.compile(
    rf'(<g class="notehead"><use {_PLACE}[^>]*/>)'
    r'(<use href="#E26A[^>]*translate\()(\d+)([^>]*/><use href="#E26B[^>]*translate\()(\d+)'
)
_STEP = 90
_BESIDE = 290
"""So far apart at most, from left edge to left edge, are two heads of a chord that stand side by side."""
_ALSO_BESIDE = 650
"""So far to the left at most of a head are the accidentals of its chord that a bracket would touch."""
_ARROW = re.compile("([↑↓])")
_ARROW_IN_LINES = 0.85
"""Size of arrows in words of several lines: they are as tall as a line, and would join those below."""


def system_of(drawing: str) -> System:
    """Take a drawing of verovio's apart.

    Raises:
        ScoreError: it is not of the shape known here.
    """
    body = _BODY.search(drawing)
    if body is None:
        raise ScoreError("verovio's drawing has an unknown shape", "install the version of verovio listed")
    width, height, inside = body.groups()
    definitions = drawing[: body.start()]
    inside = _ID.sub("", inside)
    inside = _FAMILY.sub(_family, inside)
    inside = _BOXED.sub(_fit_box, inside)
    inside = _BOLD_WITH_SIGNS.sub(_embolden, inside)
    inside = _with_clear_brackets(inside)
    measures = tuple(int(index) for index in _MEASURE.findall(inside))
    glyphs = tuple(_GLYPH.findall(definitions))
    return System(inside, glyphs, float(width), float(height), measures)


def _family(match: re.Match[str]) -> str:
    """Words in our text font, musical signs among them in our music font."""
    music = match[1].startswith(("Leipzig", "Bravura"))
    return f'font-family="{MUSIC_FONT if music else svg.WORD_FONT}"'


def _fit_box(match: re.Match[str]) -> str:
    """Boxed words in the middle of their box, and a box as wide as they need.

    verovio measures words in Times, which our text font is not: most come out narrower, a natural sign wider.
    """
    rect, drawn_width, drawn_x, rest, inside = match.groups()
    lines = inside.split(_LINE_BREAK)
    arrow = 1.0 if len(lines) == 1 else _ARROW_IN_LINES
    widest = max(
        sum(wide for run in _RUN.finditer(line) for *_, wide in _pieces(run, arrow)) for line in lines
    )
    wide = max(int(drawn_width), widest + 2 * _BOX_RIM)
    x = int(drawn_x) + (wide - widest - 2 * _BOX_RIM) // 2
    words = _RUN.sub(
        lambda run: _squeezed(run, arrow), _LINE_START.sub(f'<tspan class="text" x="{x}"', inside)
    )
    rest = rest.replace(f'"{svg.WORD_FONT}"', f'"{_BOX_FONT}"')
    return f'{rect} width="{wide}"/><text x="{x}"{rest}{words}</text>'


def _squeezed(run: re.Match[str], arrow: float) -> str:
    """Words that a web page which sets them in another font all the same squeezes into their box."""
    return "".join(
        f'<tspan textLength="{wide}" lengthAdjust="spacingAndGlyphs" font-size="{size}px">{words}</tspan>'
        for words, size, wide in _pieces(run, arrow)
    )


def _pieces(run: re.Match[str], arrow: float) -> Iterator[tuple[str, int, int]]:
    """Boxed words, each with its size and its width in our text font; arrows by themselves, in their size."""
    for words in filter(None, _ARROW.split(run[2])):
        size = round(int(run[1]) * (arrow if _ARROW.fullmatch(words) else 1))
        yield words, size, round(text_width(unescape(words), size))


def _with_clear_brackets(drawing: str) -> str:
    """Brackets around heads that do not touch the head a step above or below, which stands right beside.

    verovio draws them close to their own head. They go outside both heads and their accidentals.
    """
    heads = [(int(x), int(y)) for x, y in _HEAD.findall(drawing)]
    accidentals = [(int(x), int(y)) for x, y in _ACCIDENTAL.findall(drawing)]

    def cleared(match: re.Match[str]) -> str:
        head, x, y, before, left, between, right = match.groups()
        beside = [hx - int(x) for hx, hy in heads if abs(hy - int(y)) == _STEP]
        shifts = [shift for shift in beside if abs(shift) <= _BESIDE]
        lower, upper = min(shifts, default=0), max(shifts, default=0)
        if lower < 0:
            near = [ax - int(x) for ax, ay in accidentals if abs(ay - int(y)) <= 2 * _STEP]
            lower = min([lower, *(shift for shift in near if -_ALSO_BESIDE < shift < 0)])
        return f"{head}{before}{int(left) + min(lower, 0)}{between}{int(right) + max(upper, 0)}"

    return _BRACKETED.sub(cleared, drawing)


def _embolden(match: re.Match[str]) -> str:
    """Bold words with ♯ or ♭ in them, drawn in the regular weight with a rim.

    The text font has those signs in its regular weight only, and typst then takes the regular weight for the
    whole line: the rim makes letters and signs equally bold, in print and on screen.
    """
    return _BOLD.sub('stroke="currentColor" stroke-width="14" stroke-linejoin="round"', match[0])


def svg_document(
    placed: Sequence[tuple[System, float, float]],
    size: tuple[float, float],
    scale: float,
    title: str,
    glyph_prefix: str,
    prefix: str,
) -> str:
    """Systems at their places (x and y in millimetres) in one SVG document of a size in millimetres."""
    glyphs = {code: outline for system, _, _ in placed for code, outline in system.glyphs}
    definitions = "".join(f'<g id="{glyph_prefix}{code}">{glyphs[code]}</g>' for code in sorted(glyphs))
    groups = []
    for system, x, y in placed:
        drawing = _USE.sub(rf'href="#{glyph_prefix}\1"', system.drawing)
        if prefix:
            drawing = _OWN_ID.sub(lambda match: match[0].replace('id="', f'id="{prefix}'), drawing)
        at = f"translate({svg.number(x)} {svg.number(y)}) scale({scale:.6f})"
        groups.append(f'<g class="system-place" transform="{at}">{drawing}</g>')
    wide, high = svg.number(size[0]), svg.number(size[1])
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}mm" '
        f'height="{high}mm" role="img" color="#000000" font-family="{svg.WORD_FONT}">'
        f"<title>{svg.escaped(title)}</title><defs>{definitions}</defs>{''.join(groups)}</svg>"
    )

"""Engraved pages: from MusicXML to SVG, one drawing a page, through verovio.

verovio breaks the music into systems and draws each; this module lays the systems on pages. That leaves
room for a title and a lever chart above the first system, fills pages evenly, keeps page turns away from
busy bars where it can, and tells which bars stand on which page.

Conventions: pages are counted from 0 in lists, from 1 in words; millimetres, y downwards; a unit inside a
system is a hundredth of a millimetre at verovio's own staff of 7.2 mm. Ids in the drawing are those of
score_copy; the ids that verovio invents are taken out, so the same score gives the same drawing.

Reference: verovio 6's options and the shape of its SVG, as measured with 6.4.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any
from xml.sax.saxutils import unescape

from harpkeys.errors import ScoreError
from harpkeys.page import svg
from harpkeys.page.font_face import MUSIC_FONT
from harpkeys.page.formats import PageFormat
from harpkeys.page.paging import Room, share_out
from harpkeys.page.score_copy import ScoreCopy, score_copy
from harpkeys.page.text_width import text_width

OWN_STAFF = 7.2
"""Height in millimetres of a staff as verovio draws it with its default unit."""

GAP_LEAST, GAP_MOST = 0.6, 1.8
"""Gap between systems, in staff heights."""

OPTIONS: dict[str, Any] = {
    "adjustPageHeight": True,
    "breaks": "auto",
    "condense": "none",
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


@dataclass(frozen=True, slots=True)
class Engraving:
    """A score on pages.

    Attributes:
        pages: one SVG document a page.
        measures: for each page the indices of the measures on it, in order.
        numbers: the printed number of each measure.
        front_alone: the first system did not fit under what was to be kept free: that needs a page before.
        staff: height of a staff in millimetres, smaller than asked for where a system would overflow a page.
    """

    pages: tuple[str, ...]
    measures: tuple[tuple[int, ...], ...]
    numbers: tuple[str, ...]
    front_alone: bool
    staff: float

    def page_of(self, measure: int) -> int:
        """Index of the page on which a measure stands.

        Raises:
            ValueError: there is no such measure.
        """
        for page, measures in enumerate(self.measures):
            if measure in measures:
                return page
        raise ValueError(f"no measure {measure}")

    @property
    def turns(self) -> tuple[tuple[int, int], ...]:
        """For each page turn the last measure before it and the first after it."""
        return tuple((before[-1], after[0]) for before, after in pairwise(filter(None, self.measures)))


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


def engrave(
    xml: str | bytes,
    page: PageFormat,
    *,
    top: float = 0.0,
    busy: Collection[int] = (),
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    prefix: str = "",
) -> Engraving:
    """Engrave a score.

    Args:
        xml: a MusicXML document, text or bytes.
        page: the page.
        top: millimetres to keep free above the first system.
        busy: indices of measures that should not stand beside a page turn (a lever moves in them).
        parts: ids of the parts to engrave; all where empty.
        tints: colours "#rrggbb" by number of the `<note>` in the document.
        prefix: start of every id in the drawings, to be unique where several scores share a web page.

    Returns:
        The pages.

    Raises:
        ScoreError: it is no MusicXML score, or verovio cannot draw it.
    """
    copy = score_copy(xml, parts=parts, tints=tints)
    staff, systems = _systems_that_fit(copy, page)
    scale = staff / OWN_STAFF / 100
    heights = [system.height * scale for system in systems]
    front_alone = top > 0 and heights[0] > page.text_height - top
    room = Room(page.text_height, 0.0 if front_alone else top, GAP_LEAST * staff, GAP_MOST * staff)
    shares = share_out(heights, room, _busy_systems(systems, busy))
    measures = _measures_of_pages(systems, shares, len(copy.numbers))
    titles = [_page_title(k, measures, copy.numbers) for k in range(len(shares))]
    pages, gap = [], 0.0
    for place, (start, end) in enumerate(shares):
        # A last page that is not full is set no looser than the one before it.
        full = room.gap(heights, start, end)
        gap = min(full, gap) if place and end == len(systems) else full
        y = page.margin + (page.text_height - room.page(start))
        placed = []
        for index in range(start, end):
            placed.append((systems[index], page.margin, y))
            y += heights[index] + gap
        glyphs = f"{prefix}page-{place + 1}-"
        pages.append(_document(placed, (page.width, page.height), scale, titles[place], glyphs, prefix))
    return Engraving(tuple(pages), measures, copy.numbers, front_alone, staff)


def _page_title(place: int, measures: Sequence[Sequence[int]], numbers: Sequence[str]) -> str:
    """What a page is called, for those who hear it read: "Page 1 of 3, bars 1 to 20"."""
    title = f"Page {place + 1} of {len(measures)}"
    on_it = measures[place]
    return f"{title}, bars {numbers[on_it[0]]} to {numbers[on_it[-1]]}" if on_it else title


def _systems_that_fit(copy: ScoreCopy, page: PageFormat) -> tuple[float, tuple[System, ...]]:
    """The systems, on a smaller staff where one would be taller than the page; and that staff."""
    staff = page.staff
    for _ in range(4):
        toolkit = _loaded(copy, page.text_width * OWN_STAFF / staff, {"systemMaxPerPage": 1})
        systems = tuple(_system(toolkit.renderToSVG(k + 1)) for k in range(toolkit.getPageCount()))
        if not systems:
            raise ScoreError("the score cannot be drawn: there is nothing in it to draw")
        excess = max(system.height for system in systems) * staff / OWN_STAFF / 100 / page.text_height
        if excess <= 1:
            break
        staff = staff / excess * 0.98
    return staff, systems


def _busy_systems(systems: Sequence[System], busy: Collection[int]) -> set[int]:
    """Systems that begin with a busy measure or follow one."""
    return {
        index + 1
        for index, (before, after) in enumerate(pairwise(systems))
        if before.measures and after.measures and (before.measures[-1] in busy or after.measures[0] in busy)
    }


def _measures_of_pages(
    systems: Sequence[System], shares: Sequence[tuple[int, int]], count: int
) -> tuple[tuple[int, ...], ...]:
    """Measures of each page; those swallowed by a multiple-bar rest go with the one before."""
    firsts: list[int] = []
    for start, end in shares:
        drawn = [measure for system in systems[start:end] for measure in system.measures]
        firsts.append(min(drawn) if drawn else (firsts[-1] if firsts else 0))
    firsts[0] = 0
    return tuple(
        tuple(range(first, after)) for first, after in zip(firsts, [*firsts[1:], count], strict=True)
    )


def excerpt(
    xml: str | bytes,
    first: int,
    last: int,
    *,
    width: float = 170.0,
    staff: float = 6.0,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    prefix: str = "excerpt-",
) -> str:
    """A few bars, engraved on their own: `excerpts` for one range of measures."""
    return excerpts(xml, [(first, last)], width=width, staff=staff, parts=parts, tints=tints, prefix=prefix)[
        0
    ]


def excerpts(
    xml: str | bytes,
    ranges: Sequence[tuple[int, int]],
    *,
    width: float = 170.0,
    staff: float = 6.0,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    prefix: str = "excerpt-",
) -> tuple[str, ...]:
    """Several short excerpts of one score, each with the clef, key and time in force.

    Args:
        xml: a MusicXML document, text or bytes.
        ranges: first and last measure of each, as indices.
        width: largest width in millimetres; a longer excerpt goes on in a further system.
        staff: height of a staff in millimetres.
        parts: ids of the parts to engrave; all where empty.
        tints: colours "#rrggbb" by number of the `<note>` in the document.
        prefix: start of every id; the excerpt's number from 1 follows it.

    Returns:
        One SVG document for each range, as large as its music.

    Raises:
        ScoreError: it is no MusicXML score, or verovio cannot draw it.
        ValueError: a range that is not in the score.
    """
    copy = score_copy(xml, parts=parts, tints=tints, single_bars=True)
    count = len(copy.numbers)
    toolkit = _loaded(copy, width * OWN_STAFF / staff, {"adjustPageWidth": True, "breaks": "auto"})
    scale = staff / OWN_STAFF / 100
    found = []
    for number, (first, last) in enumerate(ranges):
        if not 0 <= first <= last < count:
            raise ValueError(f"measures {first} to {last} are not among {count}")
        toolkit.select({"start": f"measure-{first}", "end": f"measure-{last}"})
        toolkit.redoLayout()
        system = _system(toolkit.renderToSVG(1))
        one = f"Bar {copy.numbers[first]}"
        title = one if first == last else f"Bars {copy.numbers[first]} to {copy.numbers[last]}"
        start = f"{prefix}{number + 1}-"
        size = (system.width * scale, system.height * scale)
        found.append(_document([(system, 0.0, 0.0)], size, scale, title, start, start))
    return tuple(found)


def _loaded(copy: ScoreCopy, width: float, options: Mapping[str, Any]) -> Any:
    """A verovio toolkit with the score laid out on a width in millimetres of its own staff.

    Raises:
        ScoreError: verovio cannot read it.
    """
    import verovio

    verovio.enableLog(verovio.LOG_OFF)  # it writes warnings about the file straight to standard error
    toolkit = verovio.toolkit()
    toolkit.setOptions({**OPTIONS, "pageWidth": max(round(width * 10), 100), **options})
    if not toolkit.loadData(copy.text):
        raise ScoreError("the score cannot be drawn: verovio does not understand it")
    return toolkit


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
_BOXED = re.compile(
    r'(?P<rect><rect [^>]*) width="(?P<wide>\d+)"/><text x="(?P<x>\d+)"'
    r'(?P<middle> [^>]*>(?:<tspan[^>]*>)*<tspan font-size="(?P<size>\d+)px">)(?P<words>[^<]*)'
    r"(?P<end>(?:</tspan>)+</text>)"
)
_BOX_RIM = 90


def _system(drawing: str) -> System:
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
    words = round(text_width(unescape(match["words"]), int(match["size"])))
    wide = max(int(match["wide"]), words + 2 * _BOX_RIM)
    x = int(match["x"]) + (wide - words - 2 * _BOX_RIM) // 2
    # A web page without the text font sets the words in another: they are squeezed into their box.
    text = f'<text x="{x}" textLength="{words}" lengthAdjust="spacingAndGlyphs"'
    return f'{match["rect"]} width="{wide}"/>{text}{match["middle"]}{match["words"]}{match["end"]}'


def _embolden(match: re.Match[str]) -> str:
    """Bold words with ♯ or ♭ in them, drawn in the regular weight with a rim.

    The text font has those signs in its regular weight only, and typst then takes the regular weight for the
    whole line: the rim makes letters and signs equally bold, in print and on screen.
    """
    return _BOLD.sub('stroke="currentColor" stroke-width="14" stroke-linejoin="round"', match[0])


def _document(
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

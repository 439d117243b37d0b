"""Engraved pages: from MusicXML to SVG, one drawing a page, through verovio.

verovio breaks the music into systems and draws each; this module lays the systems on pages. That leaves
room for a title and a lever chart above the first system, fills pages evenly, keeps page turns away from
busy bars where it can, and tells which bars stand on which page. For a web page the systems are given one by
one, for a cue sheet a few bars by themselves.

Conventions: pages are counted from 0 in lists, from 1 in words; millimetres, y downwards. Ids in the drawing
are those of score_copy. The same score gives the same drawing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from harpkeys.errors import located
from harpkeys.page.engraver import OWN_STAFF, System, drawings, svg_document, system_of
from harpkeys.page.formats import PageFormat
from harpkeys.page.paging import Room, share_out
from harpkeys.page.score_copy import ScoreCopy, score_copy
from harpkeys.page.score_cut import score_cuts

GAP_LEAST, GAP_MOST = 0.6, 1.8
"""Gap between systems, in staff heights."""

AROUND = 1.2
"""Millimetres around a system that is drawn by itself."""


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


def engrave(
    xml: str | bytes,
    page: PageFormat,
    *,
    top: float = 0.0,
    busy: Collection[int] = (),
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
    prefix: str = "",
) -> Engraving:
    """Engrave a score.

    Args:
        xml: a MusicXML document, text or bytes.
        page: the page.
        top: millimetres to keep free above the first system.
        busy: indices of measures that should not stand beside a page turn (a lever moves in them), and
            should not vanish in a multiple-bar rest.
        parts: ids of the parts to engrave; all where empty.
        tints: colours "#rrggbb" by number of the `<note>` in the document.
        brackets: numbers of the notes that stand in brackets.
        prefix: start of every id in the drawings, to be unique where several scores share a web page.

    Returns:
        The pages.

    Raises:
        ScoreError: it is no MusicXML score, or verovio cannot draw it.
    """
    copy = score_copy(xml, parts=parts, tints=tints, brackets=brackets, opened=busy)
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
        pages.append(svg_document(placed, (page.width, page.height), scale, titles[place], glyphs, prefix))
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
        drawn = drawings(copy, page.text_width * OWN_STAFF / staff, {"systemMaxPerPage": 1})
        systems = tuple(map(system_of, drawn))
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


@dataclass(frozen=True, slots=True)
class Row:
    """One system of a score, drawn by itself.

    Attributes:
        drawing: an SVG document, as large as the system.
        measures: indices of its measures.
    """

    drawing: str
    measures: tuple[int, ...]


def engrave_rows(
    xml: str | bytes,
    *,
    width: float = 190.0,
    staff: float = 7.0,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
    prefix: str = "",
) -> tuple[Row, ...]:
    """Engrave a score system by system, every bar drawn, for a page that flows.

    Args:
        xml: a MusicXML document, text or bytes.
        width: width of a system in millimetres.
        staff: height of a staff in millimetres.
        parts: ids of the parts to engrave; all where empty.
        tints: colours "#rrggbb" by number of the `<note>` in the document.
        brackets: numbers of the notes that stand in brackets.
        prefix: start of every id, to be unique where several scores share a web page.

    Raises:
        ScoreError: it is no MusicXML score, or verovio cannot draw it.
    """
    copy = score_copy(xml, parts=parts, tints=tints, brackets=brackets, single_bars=True)
    drawn = drawings(copy, (width - 2 * AROUND) * OWN_STAFF / staff, {"systemMaxPerPage": 1})
    systems = [system_of(drawing) for drawing in drawn]
    scale = staff / OWN_STAFF / 100
    rows = []
    for place, system in enumerate(systems):
        title = _bars_title(system.measures, copy.numbers) or f"Line {place + 1}"
        rows.append(Row(_alone(system, scale, title, f"{prefix}row-{place + 1}-", prefix), system.measures))
    return tuple(rows)


def _bars_title(measures: Sequence[int], numbers: Sequence[str]) -> str:
    """ "Bar 3", "Bars 3 to 5"; "" for none."""
    if not measures:
        return ""
    first, last = numbers[measures[0]], numbers[measures[-1]]
    return f"Bar {first}" if len(measures) == 1 else f"Bars {first} to {last}"


def excerpt(
    xml: str | bytes,
    first: int,
    last: int,
    *,
    width: float = 170.0,
    staff: float = 6.0,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
    prefix: str = "excerpt-",
) -> str:
    """A few bars, engraved on their own: `excerpts` for one range of measures."""
    return excerpts(
        xml,
        [(first, last)],
        width=width,
        staff=staff,
        parts=parts,
        tints=tints,
        brackets=brackets,
        prefix=prefix,
    )[0]


def excerpts(
    xml: str | bytes,
    ranges: Sequence[tuple[int, int]],
    *,
    width: float = 170.0,
    staff: float = 6.0,
    parts: Collection[str] = (),
    tints: Mapping[int, str] | None = None,
    brackets: Collection[int] = (),
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
        brackets: numbers of the notes that stand in brackets.
        prefix: start of every id; the excerpt's number from 1 follows it.

    Returns:
        One SVG document for each range, as large as its music.

    Raises:
        ScoreError: it is no MusicXML score, or verovio cannot draw it.
        ValueError: a range that is not in the score.
    """
    scale = staff / OWN_STAFF / 100
    found = []
    for number, copy in enumerate(score_cuts(xml, ranges, parts=parts, tints=tints, brackets=brackets)):
        with located(_measures(copy.numbers)):
            drawn = drawings(copy, (width - 2 * AROUND) * OWN_STAFF / staff, {"adjustPageWidth": True})
        start = f"{prefix}{number + 1}-"
        title = _bars_title(range(len(copy.numbers)), copy.numbers)
        found.append(_alone(system_of(drawn[0]), scale, title, start, start))
    return tuple(found)


def _measures(numbers: Sequence[str]) -> str:
    """A few bars as a place in an error."""
    return f"measure {numbers[0]}" if len(numbers) == 1 else f"measures {numbers[0]} to {numbers[-1]}"


def _alone(system: System, scale: float, title: str, glyphs: str, prefix: str) -> str:
    """A system in a drawing of its own; a little room around it for letters larger than verovio thinks."""
    size = (system.width * scale + 2 * AROUND, system.height * scale + 2 * AROUND)
    return svg_document([(system, AROUND, AROUND)], size, scale, title, glyphs, prefix)

"""The marked score on paper: title and lever chart, then the engraved pages; as PDF or as SVG pages.

Systems are laid on pages so that a page is not turned beside a cue where that can be had without another page
(`harpkeys.page.paging`); where it cannot, the foot of the page before the turn says so, and so does
`turn_warnings`. A page counts as turned after every page: who lays two side by side has fewer turns, never
more.

In SVG pages words are letters of fonts that a reader's machine may lack; each has the fonts of musical signs
and of cues with it, and boxes keep their widths. PDF carries all fonts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from harpkeys.harp.naming import listed
from harpkeys.mark.words import ARROWS, Labels, on_string
from harpkeys.page import svg, typeset
from harpkeys.page.chart import lever_chart
from harpkeys.page.cue_sheet import CueSheet
from harpkeys.page.engrave import Engraving, engrave
from harpkeys.page.font_face import font_faces
from harpkeys.page.formats import PageFormat
from harpkeys.page.score_copy import Credits, read_credits
from harpkeys.page.text_width import cut_to_width
from harpkeys.page.typeset import Block

CHART_WIDTH = 180.0
"""Width of the chart, at most that of the text."""

BELOW_FRONT = 7.0
"""Millimetres between the chart and the first system."""

FLAGGED = "Notes in brackets are lost; coloured notes are lost or cut short, as the cue sheet tells."
"""Stands under the chart where any note is flagged."""

TITLE, SUBTITLE, NAMES, FOOT = 7.0, 4.2, 3.7, 3.0
"""Em of title, subtitle, names and foot on SVG pages, in millimetres."""


@dataclass(frozen=True, slots=True)
class PrintedScore:
    """A marked score, laid out for print.

    Attributes:
        sheet: what is marked.
        page: the paper.
        credits: title and names.
        engraving: the pages.
        front: title and chart.
        top: height of the front in millimetres, with the room below it.
        turns: for each page what is to be said at its foot of the turn after it, "" where nothing is.
        labels: how strings are named.
    """

    sheet: CueSheet = field(repr=False)
    page: PageFormat
    credits: Credits
    engraving: Engraving = field(repr=False)
    front: Block = field(repr=False)
    top: float
    turns: tuple[str, ...]
    labels: Labels = "scientific"

    @property
    def count(self) -> int:
        """How many pages there are, a front of its own included."""
        return len(self.engraving.pages) + self.engraving.front_alone


def lay_out_score(
    sheet: CueSheet,
    xml: str | bytes,
    page: PageFormat,
    *,
    labels: Labels = "scientific",
    all_parts: bool = False,
) -> PrintedScore:
    """Engrave a marked score and lay it on pages.

    Args:
        sheet: what is marked.
        xml: the marked score.
        page: the paper.
        labels: how strings are named.
        all_parts: engrave every part, not only the harp's.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    credits = read_credits(xml)
    front = _front(sheet, credits, page, labels)
    top = typeset.block_height(front, page) + BELOW_FRONT
    engraving = engrave(
        xml,
        page,
        top=top,
        busy=sheet.busy,
        parts=() if all_parts else sheet.parts,
        tints=dict(sheet.tints),
        brackets=sheet.lost,
    )
    turns = tuple(_turn_note(sheet, engraving, number, labels) for number in range(len(engraving.pages)))
    return PrintedScore(sheet, page, credits, engraving, front, top, turns, labels)


def turn_warnings(printed: PrintedScore) -> tuple[str, ...]:
    """A sentence for each page turn beside which a lever moves."""
    before = 2 if printed.engraving.front_alone else 1
    return tuple(
        f"Page {number + before} to {number + before + 1}: {note}"
        for number, note in enumerate(printed.turns)
        if note
    )


def score_pdf(printed: PrintedScore) -> bytes:
    """The score as PDF; the same score gives the same bytes.

    Args:
        printed: the score as laid out.
    """
    return typeset.print_pdf(
        printed.front,
        printed.engraving.pages,
        printed.page,
        title=printed.sheet.title,
        front_alone=printed.engraving.front_alone,
        notes=[f"Turn: {note}" if note else "" for note in printed.turns],
    )


def score_svg(printed: PrintedScore) -> tuple[bytes, ...]:
    """The score as SVG, a document for each page.

    Args:
        printed: the score as laid out.
    """
    engraving, front = printed.engraving, _drawn_front(printed)
    pages = list(engraving.pages)
    notes = list(printed.turns)
    if engraving.front_alone:
        pages.insert(0, _blank(printed.page, printed.sheet.title))
        notes.insert(0, "")
    found = []
    for number, drawing in enumerate(pages):
        added = [f"<style>{font_faces()}</style>", *(front if not number else ())]
        added += _drawn_foot(printed, number, len(pages), notes[number])
        found.append(drawing.replace("</svg>", f"{''.join(added)}</svg>").encode())
    return tuple(found)


def _front(sheet: CueSheet, credits: Credits, page: PageFormat, labels: Labels) -> Block:
    """Title, names and lever chart."""
    left, right = _names(credits)
    title = typeset.title_block(sheet.title, credits.subtitle, left, right)
    chart = lever_chart(
        sheet.report.harp,
        sheet.report.plan.starting,
        width=min(CHART_WIDTH, page.text_width),
        naming=labels,
    )
    parts = [title, typeset.centred(typeset.picture(chart))]
    if sheet.tints:
        parts.append(typeset.centred(typeset.paragraph(FLAGGED, size=9)))
    return typeset.stack(parts, gap=4.0)


def _names(credits: Credits) -> tuple[str, str]:
    """What stands at the left and at the right under the title."""
    arranged = f"arr. {credits.arranger}" if credits.arranger else ""
    right = ", ".join(name for name in (credits.composer, arranged) if name)
    return (f"Words: {credits.lyricist}" if credits.lyricist else ""), right


def _turn_note(sheet: CueSheet, engraving: Engraving, number: int, labels: Labels) -> str:
    """What to say of the turn after a page: the cues in its last bar and in the first of the next."""
    if number + 1 >= len(engraving.pages):
        return ""
    last, first = engraving.measures[number][-1:], engraving.measures[number + 1][:1]
    told = []
    for measures, where in ((last, "the last bar before the turn"), (first, "the first bar after it")):
        for measure in measures:
            moves = [move for cue in sheet.cues if cue.measure == measure for move in cue.moves]
            names = dict.fromkeys(
                f"{on_string(sheet.report.harp, move.string, move.note, labels)} {ARROWS[move.to]}"
                for move in moves
            )
            if names:
                told.append(f"{listed(list(names))} in bar {engraving.numbers[measure]}, {where}")
    return f"{'; '.join(told)}." if told else ""


# SVG pages: the same front and foot, drawn.


def _drawn_front(printed: PrintedScore) -> list[str]:
    """Title, names and chart in the room kept free on the first page."""
    page, middle = printed.page, printed.page.width / 2
    y = page.margin + TITLE * 0.8
    title = cut_to_width(printed.sheet.title, TITLE, page.text_width, heavy=True)
    drawn = [svg.text(title, middle, y, TITLE, font=svg.WORD_FONT, anchor="middle", heavy=True)]
    if printed.credits.subtitle:
        y += SUBTITLE * 1.4
        line = cut_to_width(printed.credits.subtitle, SUBTITLE, page.text_width)
        drawn.append(svg.text(line, middle, y, SUBTITLE, font=svg.WORD_FONT, anchor="middle", heavy=False))
    sides = _names(printed.credits)
    if any(sides):
        y += NAMES * 1.6
        ends = (("start", page.margin), ("end", page.width - page.margin))
        for words, (anchor, x) in zip(sides, ends, strict=True):
            line = cut_to_width(words, NAMES, page.text_width / 2 - 3)
            drawn.append(svg.text(line, x, y, NAMES, font=svg.WORD_FONT, anchor=anchor, heavy=False))
    report = printed.sheet.report
    width = min(CHART_WIDTH, page.text_width)
    chart = lever_chart(report.harp, report.plan.starting, width=width, naming=printed.labels)
    # It stands on the line on which the room for the front ends, as in print.
    low = page.margin + printed.top - BELOW_FRONT
    if printed.sheet.tints:
        drawn.append(svg.text(FLAGGED, middle, low, NAMES, font=svg.WORD_FONT, anchor="middle", heavy=False))
        low -= NAMES * 1.7
    return [*drawn, svg.placed(chart, lambda wide, high: ((page.width - wide) / 2, low - high))]


def _drawn_foot(printed: PrintedScore, number: int, count: int, note: str) -> Sequence[str]:
    """Title, page number, and what is to be said of the turn."""
    page = printed.page
    base = page.height - page.margin / 2 + 1.5
    right = page.width - page.margin
    title = cut_to_width(printed.sheet.title, FOOT, page.text_width - 25)
    drawn = [
        svg.text(title, page.margin, base, FOOT, font=svg.WORD_FONT, anchor="start", heavy=False),
        svg.text(f"{number + 1} / {count}", right, base, FOOT, font=svg.WORD_FONT, anchor="end", heavy=False),
    ]
    if note:
        turn = cut_to_width(f"Turn: {note}", FOOT, page.text_width, heavy=True)
        drawn.append(svg.text(turn, right, base - 4.2, FOOT, font=svg.WORD_FONT, anchor="end", heavy=True))
    return drawn


def _blank(page: PageFormat, title: str) -> str:
    """A page without music."""
    wide, high = svg.number(page.width), svg.number(page.height)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="{wide}mm" '
        f'height="{high}mm" role="img"><title>{svg.escaped(title)}</title></svg>'
    )

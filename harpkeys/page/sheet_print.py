"""The cue sheet on paper: one page wherever it can be read on one.

The sheet is set in the loosest of a few densities that fits a page. Where none does, the flagged passages go
overleaf and everything else onto the first page; a table of flips that is longer still goes on with its head
again. No table is set smaller than eight points, which is about what can be read from a music stand (common
practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from harpkeys.harp.naming import note_text
from harpkeys.page import typeset
from harpkeys.page.chart import lever_chart
from harpkeys.page.cue_sheet import CueSheet, SheetFlip, SheetPassage, excerpt_drawings
from harpkeys.page.formats import PageFormat
from harpkeys.page.typeset import Block, Document
from harpkeys.report import words

LEGEND = (
    "A lever moves after the notes on its beat. Rest: the hand's written rest there; free: its time between "
    "plucks, since a hand is free while its notes ring on; b: beats. A clean flip cuts no ringing note."
)
"""What the columns of the flips mean."""

BETWEEN = 6.0
"""Millimetres between two columns."""

MOST_ON_ONE_PAGE = 9
"""More passages than this never fit beside everything else: it is not tried."""

BRACKETS = "In the excerpts, lost notes stand in brackets; these and notes cut short are coloured."


@dataclass(frozen=True, slots=True)
class Density:
    """How closely a sheet is set.

    Attributes:
        size: letters in points.
        chart: width of the lever chart in millimetres, at most the text's.
        inset: millimetres above and below the text of a table's cell.
        gap: millimetres between two blocks.
        excerpts: passages side by side.
        foot: columns of tempo, assumptions and cautions.
        halved: whether a long table of flips stands in two halves side by side.
        beside: whether the facts stand beside the chart.
    """

    size: float
    chart: float
    inset: float
    gap: float
    excerpts: int = 2
    foot: int = 1
    halved: bool = False
    beside: bool = False


UPRIGHT = (
    Density(10.0, 180.0, 1.3, 4.0),
    Density(9.5, 180.0, 1.1, 3.5, excerpts=3),
    Density(9.0, 165.0, 0.9, 3.0, foot=2),
    Density(9.0, 165.0, 0.9, 3.0, excerpts=3, foot=2),
    Density(8.5, 150.0, 0.7, 2.4, excerpts=3, foot=2, halved=True),
    Density(8.0, 140.0, 0.55, 1.8, excerpts=3, foot=3, halved=True),
)
"""From loose to close, on an upright page."""

LYING = (
    Density(9.5, 165.0, 1.1, 3.2, excerpts=3, foot=3, beside=True),
    Density(8.5, 150.0, 0.8, 2.4, excerpts=3, foot=3, halved=True, beside=True),
    Density(8.0, 130.0, 0.5, 1.6, excerpts=4, foot=3, halved=True, beside=True),
)
"""From loose to close, on a page that lies on its side."""


def sheet_pdf(sheet: CueSheet, xml: str | bytes, page: PageFormat) -> bytes:
    """The cue sheet as PDF.

    Args:
        sheet: the cue sheet.
        xml: the marked score, for the excerpts.
        page: the page.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    return typeset.to_pdf(printed_sheet(sheet, xml, page))


def printed_sheet(sheet: CueSheet, xml: str | bytes, page: PageFormat) -> Document:
    """The cue sheet for typst, as loosely set as a page allows.

    Args:
        sheet: the cue sheet.
        xml: the marked score, for the excerpts.
        page: the page.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    densities = LYING if page.landscape else UPRIGHT
    drawings: dict[int, tuple[str, ...]] = {}

    def passages(density: Density) -> list[Block]:
        if density.excerpts not in drawings:
            column = (page.text_width - (density.excerpts - 1) * BETWEEN) / density.excerpts
            drawings[density.excerpts] = excerpt_drawings(sheet, xml, width=column, staff=5.0)
        return list(_passages(sheet, drawings[density.excerpts], density))

    def whole(density: Density) -> list[Block]:
        return [*_head(sheet, page, density), *passages(density), _foot(sheet, density)]

    def front(density: Density) -> list[Block]:
        return [*_head(sheet, page, density), _foot(sheet, density)]

    fitting = None
    if len(sheet.passages) <= MOST_ON_ONE_PAGE:
        fitting = _loosest(densities, whole, page)
    if fitting is not None:
        density, blocks = fitting, whole(fitting)
    else:
        density = _loosest(densities, front, page) or densities[-1]
        overleaf = [typeset.page_break(), *passages(densities[0])] if sheet.passages else []
        blocks = [*front(density), *overleaf]
    return typeset.sheet_document(blocks, page, title=sheet.title, gap=density.gap)


def _loosest(
    densities: Sequence[Density], blocks: Callable[[Density], list[Block]], page: PageFormat
) -> Density | None:
    """The loosest density in which some blocks fit a page; None where they fit in none."""
    for density in densities:
        if typeset.block_height(typeset.stack(blocks(density), gap=density.gap), page) <= page.text_height:
            return density
    return None


def _head(sheet: CueSheet, page: PageFormat, density: Density) -> Iterator[Block]:
    """Title, verdict, facts, chart and flips."""

    def small(block: Block) -> Block:
        return typeset.sized(block, density.size)

    yield typeset.paragraph(sheet.title, heavy=True, size=density.size + 8)
    yield typeset.paragraph(words.verdict_sentence(sheet.report), heavy=True, size=density.size + 1)
    facts = small(typeset.entries(sheet.facts(), gap=density.inset + 0.7))
    width = min(density.chart, page.text_width)
    chart = typeset.picture(lever_chart(sheet.report.harp, sheet.report.plan.starting, width=width))
    if density.beside:
        left = page.text_width - width - BETWEEN
        yield typeset.beside([facts, chart], gap=BETWEEN, widths=(f"{left:g}mm", f"{width:g}mm"))
    else:
        yield from (facts, typeset.centred(chart))
    if sheet.flips:
        yield small(typeset.heading_block("Lever flips in playing order"))
        yield small(_flips(sheet.flips, density))
        yield typeset.paragraph(LEGEND, size=density.size - 0.5)


def _passages(sheet: CueSheet, drawings: Sequence[str], density: Density) -> Iterator[Block]:
    """Every flagged passage with its excerpt."""
    if sheet.passages:
        yield typeset.sized(typeset.heading_block(sheet.passages_heading), density.size)
        cells = [
            _passage(passage, drawing) for passage, drawing in zip(sheet.passages, drawings, strict=True)
        ]
        columns = typeset.beside(cells, gap=BETWEEN, widths=("1fr",) * density.excerpts)
        yield typeset.sized(columns, density.size)
        yield typeset.paragraph(BRACKETS, size=density.size - 0.5)


def _flips(flips: Sequence[SheetFlip], density: Density) -> Block:
    """The table of flips, in two halves side by side where it is set closely and long."""
    if not density.halved or len(flips) < 6:
        header = ("", "bar", "beat", "string", "lever", "hand", "rest before it", "free", "kind")
        rows = [_long_row(flip) for flip in flips]
        widths = ["auto", "auto", "auto", "1fr", "1.4fr", "auto", "1.2fr", "1.2fr", "1fr"]
        return typeset.table(header, rows, widths=widths, heavy=(3, 4), inset=(1.6, density.inset))
    half = (len(flips) + 1) // 2
    widths = ["auto"] * 6 + ["1fr", "auto"]
    return typeset.beside(
        [
            typeset.table(
                ("", "bar", "beat", "string", "lever", "hand", "rest", "kind"),
                [_short_row(flip) for flip in part],
                widths=widths,
                heavy=(3, 4),
                inset=(0.9, density.inset),
            )
            for part in (flips[:half], flips[half:])
        ]
    )


def _long_row(flip: SheetFlip) -> tuple[str, ...]:
    return (
        str(flip.number),
        flip.bar_text,
        flip.beat_text,
        f"{flip.string_name} ({flip.string_number})",
        f"{flip.arrow} {flip.direction} to {note_text(flip.sounds)}",
        flip.hand,
        words.beats_and_seconds(flip.rest_beats, flip.rest),
        words.beats_and_seconds(flip.free_beats, flip.free),
        flip.kind,
    )


def _short_row(flip: SheetFlip) -> tuple[str, ...]:
    return (
        str(flip.number),
        f"{flip.bar}, {flip.time}" if flip.time else flip.bar,
        flip.beat_text,
        f"{flip.string_name} ({flip.string_number})",
        f"{flip.arrow} {note_text(flip.sounds)}",
        flip.hand,
        words.beats_and_seconds(flip.rest_beats, flip.rest),
        flip.kind,
    )


def _passage(passage: SheetPassage, drawing: str) -> Block:
    """Where, the excerpt, what happens and what would mend it; kept together."""
    parts = [
        typeset.paragraph(f"{passage.where}: {passage.reason}", heavy=True),
        typeset.picture(drawing),
        typeset.paragraph(passage.say),
        typeset.paragraph(f"Mend: {passage.mend_sentence[:1].lower()}{passage.mend_sentence[1:]}"),
    ]
    return typeset.kept_together(typeset.stack(parts, gap=1.5))


def _foot(sheet: CueSheet, density: Density) -> Block:
    """Tempo, assumptions and cautions."""
    parts = []
    for title, sentences in (
        ("Tempo and player", words.tempo_sentences(sheet.report)),
        ("Taken for granted", sheet.report.assumptions),
        ("Safety", sheet.cautions),
    ):
        if sentences:
            listed = typeset.stack([typeset.heading_block(title), typeset.points(sentences)], gap=1.8)
            parts.append(typeset.kept_together(listed))
    if density.foot == 1:
        return typeset.sized(typeset.stack(parts, gap=3.0), density.size)
    widths = ("1fr",) * min(density.foot, len(parts))
    return typeset.sized(typeset.beside(parts, gap=BETWEEN, widths=widths), density.size)

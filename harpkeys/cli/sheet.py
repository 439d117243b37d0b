"""`harpkeys sheet`: the cue sheet of a piece."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import (
    EffortOption,
    HarpOption,
    LandscapeOption,
    LeversOption,
    LowestOption,
    OverwriteOption,
    PaperOption,
    PartOption,
    PlayerOption,
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    asked,
)
from harpkeys.cli.vet import AnyScoreArgument, PieceOption

if TYPE_CHECKING:
    from harpkeys.page.cue_sheet import CueSheet
    from harpkeys.page.formats import PageFormat

ENDINGS = (".pdf", ".html", ".txt", ".csv")

OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        help="File to write, .pdf, .html, .txt or .csv; plain text on the terminal where none is given.",
        metavar="FILE",
    ),
]


def command(
    score: AnyScoreArgument,
    output: OutputOption = None,
    overwrite: OverwriteOption = False,
    paper: PaperOption = "A4",
    landscape: LandscapeOption = False,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    player: PlayerOption = None,
    part: PartOption = None,
    piece: PieceOption = None,
    tempo: TempoOption = None,
    tempo_scale: TempoScaleOption = None,
    effort: EffortOption = None,
) -> str:
    """Makes the cue sheet of a score, one page for the music stand.

    Tuning and starting levers, every flip in playing order with its place in the marked score, what cannot be
    played with a small excerpt of it, how fast it goes, what was assumed, and what to mind.
    """
    from harpkeys.cli.pages import marked, page_target, said, write_all
    from harpkeys.cli.reading import told_of
    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced, rendered
    from harpkeys.mark.files import refuse_existing
    from harpkeys.page.formats import page_format

    target = None if output is None else page_target(score, output, ENDINGS)
    if target is not None:
        refuse_existing(target, overwrite=overwrite)
    page = page_format(paper, landscape=landscape)
    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, effort)
    with native_output_silenced(), SignsOfLife() as signs:
        sheet, xml = marked(score, piece, wanted, "scientific", signs.say)
        if target is not None:
            signs.say("Setting the sheet")
            with told_of(score, piece):
                view = _view(sheet, xml, target, page)
            write_all([(target, view)], overwrite=overwrite)
            return said(sheet, [target])
    from harpkeys.cli.sheet_text import sheet_lines

    return rendered(sheet_lines(sheet), styled=is_styled())


def _view(sheet: CueSheet, xml: str | bytes, target: Path, page: PageFormat) -> bytes:
    """The sheet as the bytes of a file, of the kind that its name says."""
    ending = target.suffix.lower()
    if ending == ".pdf":
        from harpkeys.page.sheet_print import sheet_pdf

        return sheet_pdf(sheet, xml, page)
    if ending == ".html":
        from harpkeys.page.sheet_html import sheet_html

        return sheet_html(sheet, xml)
    if ending == ".csv":
        from harpkeys.page.sheet_csv import sheet_csv

        return sheet_csv(sheet)
    from harpkeys.cli.sheet_text import sheet_lines
    from harpkeys.cli.terminal import rendered

    return rendered(sheet_lines(sheet), styled=False).encode()

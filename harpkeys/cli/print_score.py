"""`harpkeys print`: the marked score on paper, its lever chart in front."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harpkeys.cli.options import (
    EffortOption,
    HarpOption,
    LabelsOption,
    LandscapeOption,
    LeversOption,
    LowestOption,
    MarginOption,
    OverwriteOption,
    PaperOption,
    PartOption,
    PlayerOption,
    StaffOption,
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    asked,
    label_style,
)
from harpkeys.cli.vet import AnyScoreArgument, PieceOption

OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        help="File to write, .pdf, or .svg for one file a page; beside the score and named after it "
        "(tune.levers.pdf) where none is given.",
        metavar="FILE",
    ),
]
AllPartsOption = Annotated[bool, typer.Option("--all-parts", help="Engrave every part, not only the harp's.")]


def command(
    score: AnyScoreArgument,
    output: OutputOption = None,
    overwrite: OverwriteOption = False,
    paper: PaperOption = "A4",
    landscape: LandscapeOption = False,
    staff: StaffOption = 7.0,
    margin: MarginOption = 15.0,
    labels: LabelsOption = "scientific",
    all_parts: AllPartsOption = False,
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
    """Prints the score with its levers marked, for the music stand.

    The chart of the harp with its levers as they stand at the start comes first, then the engraved score with
    its cues. It says where a lever moves right beside a page turn.
    """
    from harpkeys.cli.pages import marked, numbered, page_target, said, write_all
    from harpkeys.cli.reading import limits_of, told_of
    from harpkeys.cli.terminal import SignsOfLife, native_output_silenced
    from harpkeys.mark.files import refuse_existing
    from harpkeys.page.formats import page_format
    from harpkeys.page.print_score import lay_out_score, score_pdf, score_svg, turn_warnings
    from harpkeys.report.words import count_text

    target = page_target(score, output, (".pdf", ".svg"))
    as_pdf = target.suffix.lower() == ".pdf"
    if as_pdf:
        refuse_existing(target, overwrite=overwrite)
    page = page_format(paper, landscape=landscape, margin=margin, staff=staff)
    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, effort)
    style = label_style(labels)
    with native_output_silenced(), SignsOfLife() as signs:
        sheet, xml = marked(score, piece, wanted, style, signs.say)
        signs.say("Engraving")
        with told_of(score, piece):
            printed = lay_out_score(sheet, xml, page, labels=style, all_parts=all_parts)
        signs.say(f"Setting {count_text(printed.count, 'page')}")
        if as_pdf:
            files = [(target, score_pdf(printed))]
        else:
            drawings = score_svg(printed)
            files = list(zip(numbered(target, len(drawings)), drawings, strict=True))
        write_all(files, overwrite=overwrite)
    lying = "on its side" if page.landscape else "upright"
    size = f"{count_text(printed.count, 'page')} on {page.paper}, {lying}."
    turns = turn_warnings(printed)
    beside = ["A lever moves beside a page turn:", *turns] if turns else []
    return said(sheet, [path for path, _ in files], [size, *beside, *limits_of(score)])

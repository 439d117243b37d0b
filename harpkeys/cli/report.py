"""`harpkeys report`: everything about a piece as one web page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harpkeys.cli.options import (
    EffortOption,
    HarpOption,
    LabelsOption,
    LeversOption,
    LowestOption,
    OverwriteOption,
    PartOption,
    PlayerOption,
    SpanOption,
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
        help="File to write, .html; beside the score and named after it (tune.levers.html) where none is "
        "given.",
        metavar="FILE",
    ),
]


def command(
    score: AnyScoreArgument,
    output: OutputOption = None,
    overwrite: OverwriteOption = False,
    labels: LabelsOption = "scientific",
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
    span: SpanOption = "tenth",
    effort: EffortOption = None,
) -> str:
    """Makes one web page about a score, whole in itself.

    It opens in any browser, with or without a network: the verdict, the chart of the harp, how every lever
    stands over time, the engraved score with its cues, keys and accidentals, and what was assumed. Every flip
    and flag leads to its bar.
    """
    from harpkeys.cli.pages import marked, page_target, said, write_all
    from harpkeys.cli.reading import told_of
    from harpkeys.cli.terminal import SignsOfLife, native_output_silenced
    from harpkeys.mark.files import refuse_existing
    from harpkeys.page.html_report import report_html

    target = page_target(score, output, (".html", ".htm"))
    refuse_existing(target, overwrite=overwrite)
    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, effort, span)
    style = label_style(labels)
    with native_output_silenced(), SignsOfLife() as signs:
        sheet, xml = marked(score, piece, wanted, style, signs.say)
        signs.say("Engraving")
        with told_of(score, piece):
            page = report_html(sheet, xml)
        write_all([(target, page)], overwrite=overwrite)
    return said(sheet, [target])

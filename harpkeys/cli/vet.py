"""`harpkeys vet`: what a score asks of a lever harp."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harpkeys.cli.options import (
    EffortOption,
    HarpOption,
    JsonOption,
    LeversOption,
    LowestOption,
    PartOption,
    PlayerOption,
    SpanOption,
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    asked,
)

AnyScoreArgument = Annotated[
    Path,
    typer.Argument(
        help="A score: MusicXML (.musicxml, .xml, .mxl), ABC (.abc), MIDI (.mid), MEI (.mei) or "
        "Humdrum (.krn).",
        metavar="SCORE",
    ),
]
PieceOption = Annotated[
    str | None,
    typer.Option(help="Which tune of an ABC file that holds several, by its X: number.", metavar="NUMBER"),
]


def command(
    score: AnyScoreArgument,
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
    as_json: JsonOption = False,
) -> str:
    """Says what a score asks of a lever harp.

    Which levers to set before it begins, when which lever moves and which hand is free to move it, what
    cannot be played and what would mend that, how fast it goes, and what was assumed.
    """
    from harpkeys.cli.reading import read_any, told_of
    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced
    from harpkeys.report.vet import vet

    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, effort, span)
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        read = read_any(score, piece)
        with told_of(score, piece):
            report = vet(read, wanted.harp, wanted.player, wanted.wishes, signs.say)
    if as_json:
        from harpkeys.cli.json_view import report_json

        return report_json(report)
    from harpkeys.cli.terminal import rendered
    from harpkeys.cli.text_view import report_lines

    return rendered(report_lines(report), styled=is_styled())

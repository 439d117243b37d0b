"""`harpkeys retune`: which strings to retune for one piece."""

from __future__ import annotations

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
    StringsOption,
    TempoOption,
    TempoScaleOption,
    asked,
)
from harpkeys.cli.vet import AnyScoreArgument, PieceOption

StrungOption = Annotated[
    str | None,
    typer.Option(
        "--strung",
        help='How the harp is strung now, where --harp does not say so: a key ("E-flat") or altered letters.',
        metavar="KEY",
    ),
]
SinglesOption = Annotated[
    int,
    typer.Option(
        "--single",
        help="Search single strings too, up to so many at once (3 at most).",
        min=0,
        metavar="NUMBER",
    ),
]


def command(
    score: AnyScoreArgument,
    harp: HarpOption = None,
    strung: StrungOption = None,
    single: SinglesOption = 0,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    player: PlayerOption = None,
    part: PartOption = None,
    piece: PieceOption = None,
    tempo: TempoOption = None,
    tempo_scale: TempoScaleOption = None,
    effort: EffortOption = None,
    as_json: JsonOption = False,
) -> str:
    """Says which strings to retune before a piece begins, to what, and what that saves.

    Tunings of whole letters are searched, and with --single those of one string or a few. Strings are only
    tuned down; what tuning them up would save is told with its caution.
    """
    from harpkeys.choose.piece_tuning import tuning_for
    from harpkeys.cli.reading import read_any, told_of
    from harpkeys.cli.retune_view import search_json, search_lines
    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced, rendered
    from harpkeys.report.performance import perform_part

    wanted = asked(harp, strung, levers, lowest, strings, player, part, tempo, tempo_scale, effort)
    wishes = wanted.wishes
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        read = read_any(score, piece)
        with told_of(score, piece):
            performance = perform_part(read, wishes.part, wishes.bpm, wishes.scale)
        search = tuning_for(performance, wanted.harp, wanted.player, single, effort, signs.say)
    if as_json:
        return search_json(search)
    lines = search_lines(search, harp_assumed=wishes.harp_assumed)
    return rendered(lines, styled=is_styled())

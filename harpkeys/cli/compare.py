"""`harpkeys compare`: one score in several tunings and keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import (
    CoresOption,
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

if TYPE_CHECKING:
    from harpkeys.harp.tunings import Tuning

TuningsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--tuning",
        help="A tuning to compare; may be given again. The five usual ones and the harp's own where none is "
        "given.",
        metavar="KEY",
    ),
]
AllOption = Annotated[
    bool, typer.Option("--all", help="Compare the tunings of every key, from seven flats to seven sharps.")
]
TransposeOption = Annotated[
    str | None,
    typer.Option(
        "--transpose",
        help='Compare transpositions too: a range of semitones ("-3..3", "-12..12") or one ("-2").',
        metavar="LOW..HIGH",
    ),
]
RowsOption = Annotated[
    int | None, typer.Option(help="How many choices to show, the easiest first.", min=1, metavar="NUMBER")
]
CsvOption = Annotated[bool, typer.Option("--csv", help="Print a CSV table of every choice instead of text.")]


def command(
    score: AnyScoreArgument,
    harp: HarpOption = None,
    tuning: TuningsOption = None,
    every: AllOption = False,
    transpose: TransposeOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    player: PlayerOption = None,
    part: PartOption = None,
    piece: PieceOption = None,
    tempo: TempoOption = None,
    tempo_scale: TempoScaleOption = None,
    effort: EffortOption = None,
    rows: RowsOption = None,
    cores: CoresOption = None,
    as_json: JsonOption = False,
    as_csv: CsvOption = False,
) -> str:
    """Compares tunings, and on request transpositions, for one score, and recommends one.

    Each choice is planned in full: what is lost, how many levers move, how many stand up at the start, and
    what has to be retuned on the harp as it is strung.
    """
    import os

    from harpkeys.choose.compare import compare
    from harpkeys.choose.recommend import recommend
    from harpkeys.cli import compare_view as view
    from harpkeys.cli.reading import read_any, told_of
    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced, rendered
    from harpkeys.errors import OptionError
    from harpkeys.report.performance import perform_part

    if as_json and as_csv:
        raise OptionError("--json and --csv both say how to print", "leave out one of them")
    wanted = asked(harp, None, levers, lowest, strings, player, part, tempo, tempo_scale, effort)
    tunings = chosen_tunings(tuning or [], every=every)
    semitones = semitone_range(transpose)
    wishes = wanted.wishes
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        read = read_any(score, piece)
        with told_of(score, piece):
            performance = perform_part(read, wishes.part, wishes.bpm, wishes.scale)
        processes = cores or os.cpu_count() or 1
        comparison = compare(
            performance, wanted.harp, wanted.player, tunings, semitones, effort, processes, signs.say
        )
    advice = recommend(comparison)
    if as_json:
        return view.comparison_json(comparison, advice)
    if as_csv:
        return view.comparison_csv(comparison)
    lines = view.comparison_lines(
        comparison, advice, view.ROWS if rows is None else rows, harp_assumed=wishes.harp_assumed
    )
    return rendered(lines, styled=is_styled())


def chosen_tunings(words: list[str], *, every: bool) -> tuple[Tuning, ...] | None:
    """The tunings that are asked for, None for the usual ones.

    Raises:
        HarpError: one cannot be read.
        OptionError: both every key and some are asked for.
    """
    from harpkeys.choose.compare import every_signature
    from harpkeys.errors import OptionError
    from harpkeys.harp.tunings import parse_tuning

    if every and words:
        raise OptionError("--all and --tuning both say which tunings", "leave out one of them")
    if every:
        return every_signature()
    return tuple(parse_tuning(word) for word in words) or None


def semitone_range(text: str | None) -> range:
    """The transpositions that are asked for.

    Raises:
        OptionError: it is no range of semitones, or goes too far.
    """
    import re

    from harpkeys.choose.transposition import FARTHEST
    from harpkeys.errors import OptionError

    if text is None:
        return range(1)
    found = re.fullmatch(r"\s*([+-]?\d{1,3})\s*(?:(?:\.\.|…|:|to)\s*([+-]?\d{1,3})\s*)?", text)
    low = int(found[1]) if found else 0
    high = int(found[2]) if found and found[2] else low
    if not found or low > high or low < -FARTHEST or high > FARTHEST:
        raise OptionError(
            f"--transpose cannot be {text!r}",
            f"give semitones from {-FARTHEST} to {FARTHEST}, the lower first, such as -3..3",
        )
    return range(low, high + 1)

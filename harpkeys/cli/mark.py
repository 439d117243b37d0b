"""`harpkeys mark`: the score with its lever cues, as MusicXML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    asked,
    label_style,
)
from harpkeys.cli.vet import AnyScoreArgument, PieceOption

if TYPE_CHECKING:
    from collections.abc import Callable

    from harpkeys.report.model import Report
    from harpkeys.score.model import Score

OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        help="File to write, .musicxml, .xml or .mxl; beside the score and named after it "
        "(tune.levers.musicxml) where none is given.",
        metavar="FILE",
    ),
]
NeighboursOption = Annotated[
    bool,
    typer.Option(
        "--neighbours/--no-neighbours",
        help="Say at notes that are played on a neighbouring string which it is.",
    ),
]
ColourOption = Annotated[bool, typer.Option("--colour", help="Colour the notes that are lost or cut short.")]
ClearOption = Annotated[bool, typer.Option("--clear", help="Take all marks off again instead.")]


def command(
    score: AnyScoreArgument,
    output: OutputOption = None,
    overwrite: OverwriteOption = False,
    labels: LabelsOption = "scientific",
    neighbours: NeighboursOption = True,
    colour: ColourOption = False,
    clear: ClearOption = False,
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
    """Writes the score with its levers marked, as MusicXML.

    The levers to set stand over the first bar, and each flip in a box between the staves where the hand makes
    it. Nothing else in the score changes; marks that it already has are replaced. A score in another notation
    (ABC, MIDI, MEI, Humdrum) becomes MusicXML.
    """
    from harpkeys.cli.reading import limits_of, told_of
    from harpkeys.cli.terminal import SignsOfLife, native_output_silenced
    from harpkeys.mark.document import marked_document
    from harpkeys.mark.files import output_path, refuse_existing, write_safely
    from harpkeys.mark.style import MarkStyle
    from harpkeys.report.vet import vet

    target = output_path(score, output, "cleared" if clear else "levers")
    refuse_existing(target, overwrite=overwrite)
    if clear:
        return _cleared(score, piece, target, overwrite=overwrite)
    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, effort)
    style = MarkStyle(label_style(labels), neighbours, colour)
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        read, pack = _opened(score, piece)
        with told_of(score, piece):
            report = vet(read, wanted.harp, wanted.player, wanted.wishes, signs.say)
        signs.say("Marking the levers")
        write_safely(target, pack(marked_document(report, style), target), overwrite=overwrite)
    return _said(report, target, limits_of(score))


def _opened(score: Path, piece: str | None) -> tuple[Score, Callable[[bytes, Path], bytes]]:
    """The score, and what packs a document in its place, as `harpkeys.mark.files.packed_like` does."""
    from functools import partial

    from harpkeys.cli.reading import read_any
    from harpkeys.errors import located
    from harpkeys.mark.files import packed, packed_like
    from harpkeys.score.container import open_score, read_tree
    from harpkeys.score.notations import is_notation
    from harpkeys.score.reader import score_from_tree
    from harpkeys.score.texts import plain_text

    if piece is not None or is_notation(score):
        return read_any(score, piece), packed
    opened = open_score(score)
    tree = read_tree(opened)
    with located(plain_text(str(score))):
        return score_from_tree(tree, score.stem), partial(packed_like, opened)


def _cleared(score: Path, piece: str | None, target: Path, *, overwrite: bool) -> str:
    """Take the marks off a score, and say so.

    Raises:
        OptionError: it is a file of another notation, which bears none.
    """
    from harpkeys.cli.terminal import Line, rendered
    from harpkeys.cli.text_layout import paragraph
    from harpkeys.errors import OptionError
    from harpkeys.mark.document import cleared_document
    from harpkeys.mark.files import packed_like, write_safely
    from harpkeys.report.words import count_text
    from harpkeys.score.container import open_score, read_tree
    from harpkeys.score.notations import is_notation

    if piece is not None or is_notation(score):
        raise OptionError("--clear takes marks off MusicXML files only", "give it the marked score")
    opened = open_score(score)
    document, count = cleared_document(read_tree(opened))
    write_safely(target, packed_like(opened, document, target), overwrite=overwrite)
    what = f"{count_text(count, 'mark')} taken off" if count else "There were no marks to take off"
    lines = [*paragraph(f"{what}."), Line(f"Written to {target}.")]
    return rendered(lines, styled=False)


def _said(report: Report, target: Path, limits: tuple[str, ...]) -> str:
    """The verdict, where the marked score is, and what its notation could not tell."""
    from harpkeys.cli.terminal import Line, is_styled, rendered
    from harpkeys.cli.text_layout import paragraph
    from harpkeys.report.words import verdict_sentence

    # The name of a file stays on one line, so that it can be copied.
    lines = [*paragraph(verdict_sentence(report), role="alarm"), Line(f"Written to {target}.")]
    for sentence in limits:
        lines += paragraph(sentence)
    return rendered(lines, styled=is_styled())

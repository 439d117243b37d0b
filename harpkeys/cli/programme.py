"""`harpkeys programme`: one tuning for several pieces, and the order in which levers move least."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import (
    CoresOption,
    EffortOption,
    JsonOption,
    LeversOption,
    PlayerOption,
    TempoScaleOption,
    positive_number,
)

if TYPE_CHECKING:
    from fractions import Fraction

    from harpkeys.choose.programme import Choice
    from harpkeys.harp.model import Harp, Player
    from harpkeys.report.performance import Performance

ScoresArgument = Annotated[
    list[Path],
    typer.Argument(help="Scores, MusicXML or .abc with all its tunes, in any order.", metavar="SCORE..."),
]
HarpsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--harp", help="A harp to choose from, as vet takes it; may be given again.", metavar="HARP"
    ),
]
TuningsOption = Annotated[
    list[str] | None,
    typer.Option(
        "--tuning",
        help="A tuning to choose from; may be given again. Where none is given, the usual ones of a single "
        "harp, else those the harps have.",
        metavar="KEY",
    ),
]
FirstOption = Annotated[
    list[str] | None,
    typer.Option(
        "--first", help="A piece that opens, by file or title; again for the next.", metavar="PIECE"
    ),
]
LastOption = Annotated[
    list[str] | None,
    typer.Option("--last", help="A piece that closes; again for the one after it.", metavar="PIECE"),
]


def command(
    scores: ScoresArgument,
    harp: HarpsOption = None,
    tuning: TuningsOption = None,
    levers: LeversOption = None,
    player: PlayerOption = None,
    first: FirstOption = None,
    last: LastOption = None,
    tempo_scale: TempoScaleOption = None,
    effort: EffortOption = None,
    cores: CoresOption = None,
    as_json: JsonOption = False,
) -> str:
    """Chooses one tuning for several pieces, and the order that needs the fewest lever changes.

    Says which levers to move between the pieces, which pieces no choice serves, and whether retuning or
    changing harps in between would serve more of them.
    """
    import os
    from fractions import Fraction

    from harpkeys.choose.programme import make_programme
    from harpkeys.cli.programme_view import programme_json, programme_lines
    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced, rendered
    from harpkeys.plan.planner import DEFAULT_EFFORT

    choices, who = chosen(harp or [], tuning or [], levers, player)
    scale = positive_number(tempo_scale, "--tempo-scale", "0.8", 100) or Fraction(1)
    with native_output_silenced(), SignsOfLife() as signs:
        pieces, places = _pieces(scores, scale)
        programme = make_programme(
            pieces,
            choices,
            who,
            openers=[_find(name, pieces, places, "--first") for name in first or []],
            closers=[_find(name, pieces, places, "--last") for name in last or []],
            effort=DEFAULT_EFFORT if effort is None else effort,
            processes=cores or os.cpu_count() or 1,
            say=signs.say,
        )
    if as_json:
        return programme_json(programme, who)
    return rendered(programme_lines(programme, who), styled=is_styled())


def chosen(
    harps: list[str], tunings: list[str], levers: str | None, player: str | None
) -> tuple[list[Choice], Player]:
    """Harps in tunings to choose from, and the player.

    Raises:
        HarpError: a harp or tuning cannot be read.
        FileError: a harp file cannot be read.
        OptionError: there is no such player.
    """
    from harpkeys.choose.programme import Choice
    from harpkeys.cli.options import chosen_harp, chosen_player
    from harpkeys.report.vet import USUAL_TUNINGS

    found: list[Choice] = []
    names: list[str | None] = [*harps] or [None]
    read = [chosen_harp(name, None, levers, None, None) for name in names]
    for instrument, choice in enumerate(read):
        base = choice.harp
        if tunings:
            each = [in_tuning(base, tuning) for tuning in tunings]
        elif len(read) == 1:
            # The tuning it has comes first: at equal merit nothing is retuned.
            each = [base, *(in_tuning(base, tuning) for tuning in USUAL_TUNINGS)]
        else:
            each = [base]
        by_tuning = {tuned.tuning: tuned for tuned in reversed(each)}
        found += [
            Choice(instrument, by_tuning[name]) for name in dict.fromkeys(tuned.tuning for tuned in each)
        ]
    return found, chosen_player(player, read[0])


def in_tuning(harp: Harp, tuning: str) -> Harp:
    """The harp in another tuning; a name that tells the tuning tells the new one."""
    from dataclasses import replace

    from harpkeys.harp.tunings import retuned

    other = retuned(harp, tuning)
    ending = f" in {harp.tuning}"
    if harp.name.endswith(ending):
        other = replace(other, name=f"{harp.name.removesuffix(ending)} in {other.tuning}")
    return other


def _pieces(scores: list[Path], scale: Fraction) -> tuple[list[tuple[str, Performance]], list[Path]]:
    """Title and performance of each piece, and the file it comes from."""
    from harpkeys.errors import located
    from harpkeys.report.performance import perform_part
    from harpkeys.score.notations import is_notation, read_notation
    from harpkeys.score.reader import read_score
    from harpkeys.score.texts import plain_text

    found: list[tuple[str, Performance]] = []
    places: list[Path] = []
    for path in scores:
        for score in read_notation(path) if is_notation(path) else (read_score(path),):
            with located(plain_text(str(path))):
                performance = perform_part(score, None, None, scale)
            title = plain_text(score.title) or path.stem
            again = sum(title == other or other.startswith(f"{title} (") for other, _ in found)
            found.append((f"{title} ({again + 1})" if again else title, performance))
            places.append(path)
    return found, places


def _find(name: str, pieces: list[tuple[str, Performance]], places: list[Path], option: str) -> int:
    """Index of a piece named by its file or its title.

    Raises:
        OptionError: no piece, or several.
    """
    from harpkeys.errors import OptionError
    from harpkeys.harp.naming import quoted

    titles = [title.casefold() for title, _ in pieces]
    by_title = [index for index, title in enumerate(titles) if title == name.strip().casefold()]
    by_file = [index for index, path in enumerate(places) if name in (str(path), path.name, path.stem)]
    found = by_title or by_file
    if len(found) != 1:
        what = "names no piece" if not found else "names several pieces"
        raise OptionError(
            f"{option} {quoted(name)} {what}", "give the title or the file of one of the scores"
        )
    return found[0]

"""What commands have in common: their options, and the values those stand for."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.errors import OptionError
from harpkeys.harp.model import Harp, Player

if TYPE_CHECKING:  # vet brings the whole planner along
    from harpkeys.mark.words import Labels
    from harpkeys.report.vet import Wishes

SPANS = {
    "octave": 7,
    "ninth": 8,
    "tenth": 9,
    "eleventh": 10,
    "twelfth": 11,
}
"""Largest spans of a hand that can be named, in scale steps. A tenth is usual, an octave for small hands."""

ScoreArgument = Annotated[
    Path, typer.Argument(help="A MusicXML file, .musicxml, .xml or .mxl.", metavar="SCORE")
]
HarpOption = Annotated[
    str | None,
    typer.Option(
        help='A built-in harp ("34"), one in a tuning ("34 in E-flat"), a range ("C2-A6") or a harp file '
        "(.toml). The 34-string harp in C where none is named.",
        metavar="HARP",
    ),
]
TuningOption = Annotated[
    str | None,
    typer.Option(
        help='What sounds with all levers down: a key ("E-flat") or altered letters ("Bb Eb").', metavar="KEY"
    ),
]
LeversOption = Annotated[
    str | None,
    typer.Option(help='Strings with levers: "all", "none", "F C", "all but C2 D2".', metavar="LETTERS"),
]
LowestOption = Annotated[
    str | None, typer.Option(help='Lowest string ("C2"), for a harp that is not built in.', metavar="STRING")
]
StringsOption = Annotated[
    int | None, typer.Option(help="Number of strings, with --lowest.", metavar="NUMBER")
]
PlayerOption = Annotated[
    str | None,
    typer.Option(
        help="unhurried, steady or nimble, or own times in seconds, flip/leave/place (0.6/0.15/0.3).",
        metavar="PLAYER",
    ),
]
PartOption = Annotated[
    str | None,
    typer.Option(
        help='Part to plan for, by name, id or number; "P1+P2" joins two one-staff parts, right hand first.',
        metavar="PART",
    ),
]
TempoOption = Annotated[
    str | None, typer.Option(help="Opening tempo, quarter notes a minute.", metavar="NUMBER")
]
TempoScaleOption = Annotated[
    str | None, typer.Option(help="Factor on all tempos, such as 0.8.", metavar="FACTOR")
]
SpanOption = Annotated[
    str,
    typer.Option(help="Largest span of one hand: octave, ninth, tenth, eleventh or twelfth.", metavar="SPAN"),
]
CoresOption = Annotated[
    int | None,
    typer.Option(help="How many processor cores to use; all where not given.", min=1, metavar="NUMBER"),
]
EffortOption = Annotated[
    int | None,
    typer.Option(
        help="Work limit of the planner; more may settle what is left unproved.", metavar="NUMBER", min=0
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object instead of text.")]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace a file that exists.")]
LabelsOption = Annotated[
    str,
    typer.Option(
        help="How strings are named: scientific (F4, middle C is C4), harp-octave (4F), number (from top) "
        "or plain (high F, where that is clear).",
        metavar="LABELS",
    ),
]
PaperOption = Annotated[str, typer.Option(help="A4 or Letter.", metavar="PAPER")]
LandscapeOption = Annotated[
    bool, typer.Option("--landscape/--portrait", help="Lay the paper on its side, or stand it upright.")
]
MarginOption = Annotated[
    float, typer.Option(help="Margin in millimetres, 5 to 50.", metavar="MILLIMETRES", show_default=True)
]
StaffOption = Annotated[
    float,
    typer.Option(help="Height of a staff in millimetres, 4 to 12.", metavar="MILLIMETRES", show_default=True),
]


@dataclass(frozen=True, slots=True)
class HarpChoice:
    """The harp that the options stand for.

    Attributes:
        harp: the harp as tuned for this piece.
        player: the player its file names, None where there is none.
        strung_for: the harp as it is, where --tuning changes it.
        assumed: whether no option named a harp.
    """

    harp: Harp
    player: Player | None = None
    strung_for: Harp | None = None
    assumed: bool = False


def chosen_harp(
    harp: str | None, tuning: str | None, levers: str | None, lowest: str | None, strings: int | None
) -> HarpChoice:
    """The harp that the options stand for.

    Raises:
        HarpError: the harp, its tuning or its levers cannot be read.
        FileError: the harp file cannot be read.
        OptionError: the options contradict each other.
    """
    from harpkeys.harp.builtin import DEFAULT_HARP, find_harp
    from harpkeys.harp.tunings import relevered, retuned

    player: Player | None = None
    if lowest is not None or strings is not None:
        if harp is not None:
            raise OptionError("--harp and --lowest both say which harp", "leave out one of them")
        return _own_harp(tuning, levers, lowest, strings)
    name = harp if harp is not None else DEFAULT_HARP
    if name.strip().lower().endswith(".toml"):
        from harpkeys.harp.files import load_harp

        read = load_harp(name.strip())
        found, player = read.harp, read.player
    else:
        found = find_harp(name)
    strung_for = None
    if levers is not None:
        found = relevered(found, levers)
    if tuning is not None:
        strung_for, found = found, retuned(found, tuning)
    return HarpChoice(found, player, strung_for, assumed=harp is None)


def _own_harp(tuning: str | None, levers: str | None, lowest: str | None, strings: int | None) -> HarpChoice:
    """A harp described by options alone."""
    from harpkeys.harp.tunings import make_harp

    if lowest is None or strings is None:
        given, missing = ("--strings", "--lowest") if lowest is None else ("--lowest", "--strings")
        raise OptionError(f"{given} alone does not describe a harp", f"give {missing} too")
    return HarpChoice(
        make_harp(f"{strings}-string harp", lowest, strings, tuning=tuning or "C", levers=levers or "all")
    )


def chosen_player(player: str | None, choice: HarpChoice) -> Player:
    """The player that is named, else the harp file's, else the default.

    Raises:
        OptionError: there is no such player.
    """
    from harpkeys.harp.players import DEFAULT_PLAYER, find_player

    if player is not None:
        return find_player(player)
    return choice.player or DEFAULT_PLAYER


def positive_number(text: str | None, option: str, example: str, largest: int) -> Fraction | None:
    """The exact value of an option that takes a decimal number above 0.

    Args:
        text: what was typed, None where the option is not used.
        option: its name, for the error.
        example: a value that can be used.
        largest: the largest value.

    Raises:
        OptionError: it is no such number.
    """
    from harpkeys.score.texts import exact_decimal

    if text is None:
        return None
    value = exact_decimal(text)
    if value is None or not 0 < value <= largest:
        raise OptionError(
            f"{option} cannot be {text!r}", f"give a number above 0 and up to {largest}, such as {example}"
        )
    return value


def span_steps(text: str) -> int:
    """Scale steps of a span.

    Raises:
        OptionError: the span cannot be named so.
    """
    word = text.strip().lower()
    if word not in SPANS:
        raise OptionError(f"--span cannot be {text!r}", f"it is one of {', '.join(SPANS)}")
    return SPANS[word]


def label_style(text: str) -> Labels:
    """The way to name strings that is asked for.

    Raises:
        OptionError: there is no such way.
    """
    from harpkeys.mark.words import LABELS

    word = text.strip().lower()
    for labels in LABELS:
        if word == labels:
            return labels
    raise OptionError(f"--labels cannot be {text!r}", f"it is one of {', '.join(LABELS)}")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options common to all commands that plan levers stand for.

    Attributes:
        harp, player: whom it is for.
        wishes: everything else that vet wants to know.
    """

    harp: Harp
    player: Player
    wishes: Wishes


def asked(
    harp: str | None,
    tuning: str | None,
    levers: str | None,
    lowest: str | None,
    strings: int | None,
    player: str | None,
    part: str | None,
    tempo: str | None,
    tempo_scale: str | None,
    effort: int | None,
    span: str = "tenth",
) -> Asked:
    """What these options stand for.

    Raises:
        HarpError: the harp, its tuning or its levers cannot be read.
        FileError: the harp file cannot be read.
        OptionError: a value cannot be used, or options contradict each other.
    """
    from harpkeys.plan.planner import DEFAULT_EFFORT
    from harpkeys.report.vet import Wishes

    choice = chosen_harp(harp, tuning, levers, lowest, strings)
    wishes = Wishes(
        part=part,
        bpm=positive_number(tempo, "--tempo", "96", 1000),
        scale=positive_number(tempo_scale, "--tempo-scale", "0.8", 100) or Fraction(1),
        widest_span=span_steps(span),
        effort=DEFAULT_EFFORT if effort is None else effort,
        harp_assumed=choice.assumed,
        strung_for=choice.strung_for,
    )
    return Asked(choice.harp, chosen_player(player, choice), wishes)

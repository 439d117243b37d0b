"""`harpkeys keys`: what a harp can play, and the setting for a key or chord that is called out."""

from __future__ import annotations

from typing import Annotated

import typer

from harpkeys.cli.options import (
    HarpOption,
    JsonOption,
    LeversOption,
    LowestOption,
    StringsOption,
    TuningOption,
    chosen_harp,
)
from harpkeys.harp.model import Harp

CalledArgument = Annotated[
    str | None,
    typer.Argument(
        help='A key or chord as it is called out: "Bb minor", "D7", "capo 3, shapes of G", '
        '"A major, down a tone". Everything the harp plays where none is given.',
        metavar="CALLED",
    ),
]
TuningsOption = Annotated[bool, typer.Option("--tunings", help="The usual tunings of the harp side by side.")]
ExplainOption = Annotated[
    bool, typer.Option("--explain", help="Say for a beginner why the harp has the keys it has.")
]
CsvOption = Annotated[bool, typer.Option("--csv", help="Print a CSV table instead of text.")]


def command(
    called: CalledArgument = None,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    tunings: TuningsOption = False,
    explain: ExplainOption = False,
    as_json: JsonOption = False,
    as_csv: CsvOption = False,
) -> str:
    """Says which keys a harp plays, with which levers, and why others are out of reach.

    With a key or chord that somebody calls out it gives the sounding key, its levers, and what is one lever
    away.
    """
    from harpkeys.choose.explained import explain as explained
    from harpkeys.choose.key_reach import reach_all
    from harpkeys.choose.scales import usual_scales
    from harpkeys.cli import keys_view as view
    from harpkeys.cli.terminal import is_styled, rendered
    from harpkeys.errors import OptionError
    from harpkeys.harp.tunings import retuned
    from harpkeys.report.vet import USUAL_TUNINGS

    if as_json and as_csv:
        raise OptionError("--json and --csv both say how to print", "leave out one of them")
    choice = chosen_harp(harp, tuning, levers, lowest, strings).harp
    if called is not None:
        if as_csv:
            raise OptionError("--csv is for whole tables", "use --json for one key")
        return _called(called, choice, as_json)
    harps = [retuned(choice, usual) for usual in USUAL_TUNINGS] if tunings else [choice]
    if tunings and not as_csv and not as_json:
        majors = [scale for scale in usual_scales() if scale.kind == "major"]
        return rendered(view.side_by_side_lines(harps, majors), styled=is_styled())
    reaches = [(each, reach_all(each)) for each in harps]
    explanation = explained(choice, reach_all(choice)) if explain else ()
    if as_csv:
        return view.keys_csv(reaches)
    if as_json:
        return view.keys_json(reaches, explanation)
    return rendered(view.keys_lines(*reaches[0], explanation), styled=is_styled())


def _called(text: str, harp: Harp, as_json: bool) -> str:
    """The answer to a key or chord."""
    from harpkeys.choose.called_out import parse_called, reach_called
    from harpkeys.choose.key_reach import one_lever_away, reach_all
    from harpkeys.cli import keys_view as view
    from harpkeys.cli.terminal import is_styled, rendered
    from harpkeys.harp.tunings import retuned
    from harpkeys.report.vet import USUAL_TUNINGS

    answer = reach_called(harp, parse_called(text))
    setting = answer.key.setting if answer.key is not None else None
    near = one_lever_away(harp, setting, reach_all(harp)) if setting is not None else ()
    elsewhere = [retuned(harp, usual) for usual in USUAL_TUNINGS]
    elsewhere = [other for other in elsewhere if other.tuning != harp.tuning]
    if as_json:
        return view.called_json(harp, answer, near, elsewhere)
    return rendered(view.called_lines(harp, answer, near, elsewhere), styled=is_styled())

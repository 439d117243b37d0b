"""`harpkeys vet`: what a score asks of a lever harp."""

from __future__ import annotations

from harpkeys.cli.options import (
    EffortOption,
    HarpOption,
    JsonOption,
    LeversOption,
    LowestOption,
    PartOption,
    PlayerOption,
    ScoreArgument,
    SpanOption,
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    chosen_harp,
    chosen_player,
    positive_number,
    span_steps,
)


def command(
    score: ScoreArgument,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    player: PlayerOption = None,
    part: PartOption = None,
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
    from fractions import Fraction

    from harpkeys.cli.terminal import SignsOfLife, is_styled, native_output_silenced
    from harpkeys.plan.planner import DEFAULT_EFFORT
    from harpkeys.report.vet import Wishes, vet
    from harpkeys.score.reader import read_score

    choice = chosen_harp(harp, tuning, levers, lowest, strings)
    who = chosen_player(player, choice)
    wishes = Wishes(
        part=part,
        bpm=positive_number(tempo, "--tempo", "96", 1000),
        scale=positive_number(tempo_scale, "--tempo-scale", "0.8", 100) or Fraction(1),
        widest_span=span_steps(span),
        effort=DEFAULT_EFFORT if effort is None else effort,
        harp_assumed=choice.assumed,
        strung_for=choice.strung_for,
    )
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        report = vet(read_score(score), choice.harp, who, wishes, signs.say)
    if as_json:
        from harpkeys.cli.json_view import report_json

        return report_json(report)
    from harpkeys.cli.terminal import rendered
    from harpkeys.cli.text_view import report_lines

    return rendered(report_lines(report), styled=is_styled())

"""What tempo does to a plan: the three questions of section 7 of the planning problem.

Most tempos and players are judged without a plan, since whether a piece goes as written is often easily told;
where it is not, a plan within a small work limit tells. Without flips, cuts or notes lost for lack of time no
tempo and no player changes anything.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from harpkeys.harp.model import Player
from harpkeys.harp.players import PLAYERS
from harpkeys.plan.as_written import AsWritten
from harpkeys.plan.model import Plan
from harpkeys.plan.tempo import goes_as_written, player_needed, playing_tempo, tempo_ceiling
from harpkeys.report.model import TempoAnswers
from harpkeys.report.performance import Performance

PlanAt = Callable[[Fraction, Player, int], Plan]
"""The best plan at a tempo factor for a player, within a work limit."""

QUESTION_EFFORT = 1
"""Work limit of a plan that only answers whether a piece goes as written."""

HOPELESS = 8
"""So many notes lost for lack of time or cut in a quick plan are enough: no better plan is sought."""


def answer_tempo(performance: Performance, plan: Plan, plan_at: PlanAt) -> TempoAnswers:
    """The tempo ceiling of a plan, the playing tempo of its score, and the player it needs.

    Args:
        performance: what is played.
        plan: its plan.
        plan_at: makes other plans of the same performance on the same harp.
    """
    slowest = max(PLAYERS, key=lambda player: player.flip + player.leave + player.place)
    if not plan.flips and goes_as_written(plan):
        return TempoAnswers(None, 1.0, slowest)
    own = (plan.player.flip, plan.player.leave, plan.player.place)
    proofs: list[bool] = []
    as_written = AsWritten(performance.plucks, plan.harp)

    def best(factor: Fraction, player: Player) -> Plan:
        if factor == 1 and (player.flip, player.leave, player.place) == own:
            return plan
        quick = plan_at(factor, player, 0)
        if quick.proved or quick.criteria.cuts + quick.lost.count("no time") >= HOPELESS:
            return quick
        return plan_at(factor, player, QUESTION_EFFORT)

    def goes(factor: Fraction, player: Player) -> bool:
        sure = as_written.goes(performance.at_factor(factor), player)
        if sure is not None:
            return sure
        told = best(factor, player)
        proofs.append(told.proved)
        return goes_as_written(told)

    return TempoAnswers(
        ceiling=tempo_ceiling(plan, performance.plucks, performance.at_factor),
        playing=playing_tempo(lambda factor: goes(factor, plan.player)),
        player_needed=player_needed(PLAYERS, lambda player: goes(Fraction(1), player)),
        proved=all(proofs),
    )

"""What tempo does to a plan: the three questions of section 7 of the planning problem.

Plans that would only repeat what is known are not made again: without flips, cuts or notes lost for lack of
time no tempo and no player changes anything.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from harpkeys.harp.model import Player
from harpkeys.harp.players import PLAYERS
from harpkeys.plan.model import Plan
from harpkeys.plan.tempo import goes_as_written, player_needed, playing_tempo, tempo_ceiling
from harpkeys.report.model import TempoAnswers
from harpkeys.report.performance import Performance

PlanAt = Callable[[Fraction, Player], Plan]
"""The best plan at a tempo factor for a player."""


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

    def plan_for(player: Player) -> Plan:
        times = (player.flip, player.leave, player.place)
        own = (plan.player.flip, plan.player.leave, plan.player.place)
        return plan if times == own else plan_at(Fraction(1), player)

    def plan_slower(factor: Fraction) -> Plan:
        return plan if factor == 1 else plan_at(factor, plan.player)

    return TempoAnswers(
        ceiling=tempo_ceiling(plan, performance.plucks, performance.at_factor),
        playing=playing_tempo(plan_slower),
        player_needed=player_needed(PLAYERS, plan_for),
    )

"""How much time each flip's hand has: its free stretch and its written rest, both in milliseconds and beats.

A hand on a harp is free while its notes ring on, so the free time is what counts; the written rest is what a
player sees on the page. Section 3 of the planning problem.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from math import floor

from harpkeys.plan.hand_time import free_stretches, stretch_of
from harpkeys.plan.model import Plan
from harpkeys.report.model import FlipTime
from harpkeys.report.performance import Performance, moment_at
from harpkeys.score.beats import beat_unit


def flip_times(performance: Performance, plan: Plan) -> tuple[FlipTime, ...]:
    """Place and time of each flip of a plan, in its order.

    Free time is measured within the performance, from its first moment to its last.

    Args:
        performance: what is played.
        plan: its plan.
    """
    if not plan.flips:
        return ()
    clock, score = performance.clock, performance.score
    stretches = free_stretches(performance.plucks, plan.player)
    rests = performance.rests()
    whole = (0, max(clock.at(performance.timeline.length), performance.plucks[-1].end))
    found = []
    for flip in plan.flips:
        moment = moment_at(performance, flip.start)
        unit = beat_unit(score.measures[moment.measure], score.resolution)
        stretch = stretch_of(stretches[flip.hand], flip.start) or (flip.start, flip.start)
        start, end = max(stretch[0], whole[0]), min(stretch[1], whole[1])
        rest = _longest_overlap(
            rests[flip.hand], clock.tick_at(flip.start), clock.tick_at(flip.start + plan.player.flip)
        )
        found.append(
            FlipTime(
                flip=flip.id,
                moment=moment,
                free=end - start,
                free_beats=(clock.tick_at(end) - clock.tick_at(start)) / unit,
                rest=clock.at(rest[1]) - clock.at(rest[0]),
                rest_beats=(rest[1] - rest[0]) / unit,
            )
        )
    return tuple(found)


def _longest_overlap(rests: Sequence[tuple[int, int]], start: Fraction, end: Fraction) -> tuple[int, int]:
    """The longest rest that meets the open interval; (0, 0) where none does."""
    # Ends are whole ticks, so the first end after the moment is the first after its whole part.
    index = bisect_right(rests, floor(start), key=lambda rest: rest[1])
    best = (0, 0)
    while index < len(rests) and rests[index][0] < end:
        if rests[index][1] - rests[index][0] > best[1] - best[0]:
            best = rests[index]
        index += 1
    return best

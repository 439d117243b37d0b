"""Questions of tempo: how fast a plan still goes, how slowly a score must be taken, whose hands it needs.

A tempo factor multiplies every tempo: musical times are divided by it, the player's three times stay what
they are. Factors lie on grids: thousandths for the ceiling (`harpkeys.plan.ceiling`), hundredths for the
playing tempo. Whether a factor fits is decided exactly.

References: the planning problem, section 7.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from harpkeys.harp.model import Player
from harpkeys.plan.ceiling import Ceiling, tempo_ceiling
from harpkeys.plan.model import Plan

__all__ = ["Ceiling", "goes_as_written", "player_needed", "playing_tempo", "tempo_ceiling"]

GRID = 100
LOWEST = 10


def goes_as_written(plan: Plan) -> bool:
    """Whether a plan loses nothing for lack of time and cuts nothing; what no tempo can mend is no matter."""
    return plan.criteria.cuts == 0 and "no time" not in plan.lost


def playing_tempo(goes_at: Callable[[Fraction], bool]) -> float | None:
    """The fastest tempo factor, up to 1, at which the best plan loses nothing for `no time` and cuts nothing.

    The search goes down from 1 in growing steps to the first factor that will do, then bisects between it and
    the one before. It trusts that slower is easier between the factors it tries. That is true of whatever
    fits (stretching a schedule only makes room), but not quite of best plans: a slower tempo may let a pluck
    be played for the price of a cut where before it was lost for `clash`.

    Args:
        goes_at: whether the best plan at a tempo factor does so (see `goes_as_written`).

    Returns:
        The factor in hundredths, at least 0.1; None where not even a tenth of the tempo is slow enough.

    Raises:
        Only what `goes_at` raises.
    """

    def goes(grid: int) -> bool:
        return goes_at(Fraction(grid, GRID))

    low, high, step = GRID, GRID + 1, 1
    while not goes(low):
        if low == LOWEST:
            return None
        low, high, step = max(LOWEST, low - step), low, 2 * step
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if goes(middle) else (low, middle)
    return low / GRID


def player_needed(levels: Sequence[Player], goes_for: Callable[[Player], bool]) -> Player | None:
    """The least of some players who loses nothing for `no time` and cuts nothing.

    Args:
        levels: players, in any order; the least is the slowest, by the sum of the three times.
        goes_for: whether a player's best plan does so (see `goes_as_written`).

    Returns:
        The player; None where none of them will do.

    Raises:
        Only what `goes_for` raises.
    """
    slowest_first = sorted(levels, key=lambda p: (p.flip + p.leave + p.place, p.flip), reverse=True)
    return next((player for player in slowest_first if goes_for(player)), None)

"""Whether a piece goes as written: nothing lost for lack of time, nothing cut.

The tempo questions ask this of many tempos and players, and the answer needs no best plan. A chain loses no
more than its clashes exactly when some path through its layers takes everywhere one of the ways that lose
least, and changes by clean tiers only; the first chain without such a path says no. Where all have one and
the flips fit the hands, the answer is yes. What is left needs the best plan.
"""

from __future__ import annotations

from collections.abc import Sequence

from harpkeys.harp.model import Harp, Player
from harpkeys.plan.alone import path_within
from harpkeys.plan.candidates import sort_plucks
from harpkeys.plan.clusters import Table, conflicts, unrolled_chain
from harpkeys.plan.cost import CUT
from harpkeys.plan.hand_time import free_stretches
from harpkeys.plan.windows import fits_of
from harpkeys.score.pluck import Pluck


def goes_surely(plucks: Sequence[Pluck], harp: Harp, player: Player) -> bool | None:
    """Whether the best plan loses nothing for lack of time and cuts nothing, if that is easily told.

    Args:
        plucks: in performed order, timed at the tempo asked about.
        harp: strings and levers.
        player: the three times.

    Returns:
        The answer; None where only the best plan can tell.
    """
    fits = fits_of(free_stretches(plucks, player), player.flip)
    chains, paths = [], {}
    for index, chain in enumerate(sort_plucks(plucks, harp).chains):
        unrolled = unrolled_chain(chain, fits, player.flip)
        least = unrolled.skeleton.unavoidable
        path = path_within(unrolled.layers, unrolled.strings, least + CUT - 1)
        if path is None:
            # With clashes in the chain a plan may lose more, and all of it for clashes.
            return False if least == 0 else None
        chains.append(unrolled)
        paths[index] = path
    if next(conflicts(paths, Table(chains, fits, player.flip)), None) is None:
        return True
    return None

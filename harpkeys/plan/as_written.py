"""Whether a piece goes as written: nothing lost for lack of time, nothing cut.

The tempo questions ask this of many tempos and players, and the answer needs no best plan. A chain loses no
more than its clashes exactly when some path through its layers takes everywhere one of the ways that lose
least, and changes by clean tiers only; the first chain without such a path says no. Where all have one and
the flips fit the hands, the answer is yes. What is left needs the best plan.
"""

from __future__ import annotations

from collections.abc import Sequence

from harpkeys.harp.model import Harp, Player
from harpkeys.plan.alone import Path, path_within
from harpkeys.plan.candidates import Chain, Choice, sort_plucks
from harpkeys.plan.clusters import Table, Unrolled, conflicts, unrolled_chain
from harpkeys.plan.cost import CUT
from harpkeys.plan.hand_time import free_stretches
from harpkeys.plan.windows import fits_of
from harpkeys.score.pluck import Pluck


class AsWritten:
    """The question, asked of one piece on one harp at many tempos and for many players.

    Args:
        plucks: in performed order, at any tempo.
        harp: strings and levers.
    """

    def __init__(self, plucks: Sequence[Pluck], harp: Harp) -> None:
        self._chains = list(sort_plucks(plucks, harp).chains)

    def goes(self, plucks: Sequence[Pluck], player: Player) -> bool | None:
        """Whether the best plan loses nothing for lack of time and cuts nothing, if that is easily told.

        Args:
            plucks: the same, timed at the tempo asked about.
            player: the three times.

        Returns:
            The answer; None where only the best plan can tell.
        """
        fits = fits_of(free_stretches(plucks, player), player.flip)
        chains: list[Unrolled] = []
        paths: dict[int, Path] = {}
        for place, chain in enumerate(self._chains):
            unrolled = unrolled_chain(_retimed(chain, plucks), fits, player.flip)
            least = unrolled.skeleton.unavoidable
            path = path_within(unrolled.layers, unrolled.strings, least + CUT - 1)
            if path is not None:
                paths[len(chains)] = path
                chains.append(unrolled)
            elif least == 0:
                # What fails at one tempo mostly fails at the next: ask it first.
                self._chains.insert(0, self._chains.pop(place))
                return False
        all_go = len(chains) == len(self._chains)
        if all_go and next(conflicts(paths, Table(chains, fits, player.flip)), None) is None:
            return True
        # With clashes in a chain a plan may lose more, and all of it for clashes.
        return None


def _retimed(chain: Chain, plucks: Sequence[Pluck]) -> Chain:
    """A chain at the tempo of some plucks."""
    return Chain(
        chain.strings,
        tuple(
            Choice(c.pluck, plucks[c.pluck].onset, plucks[c.pluck].end, c.candidates, c.own, c.price)
            for c in chain.choices
        ),
    )

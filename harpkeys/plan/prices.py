"""What a hand's time is worth: prices for moments at which many flips compete.

A plan can make at most one flip of a hand in any span as long as a flip. Put a price, whatever it may be, on
such spans and let every flip pay for those it begins in: a plan that fits pays no more than the sum of all
prices. So the chains, each planned alone against the prices, cost together at least the best plan plus that
sum: **the cheapest priced paths less the sum of the prices are a lower bound** for any plan (Lagrangian
relaxation). And a chain's part of a plan no dearer than a known one exceeds its cheapest priced path by no
more than what lies between that bound and the known plan, which is little if the prices are good.

References: A. M. Geoffrion, "Lagrangean relaxation for integer programming", Mathematical Programming Study 2
(1974).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from itertools import accumulate

from harpkeys.plan.cost import TIERS
from harpkeys.plan.layers import Node
from harpkeys.plan.windows import Fits


class Prices:
    """Prices of one player's hands in one piece.

    Args:
        by_hand: for the left and the right hand, the packed price of each span by its last millisecond: a
            flip begun there or less than a flip before pays it.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.

    Attributes:
        by_hand: the prices.
        total: sum of all prices.
        most: no flip pays more.
    """

    __slots__ = ("_cheapest", "_fits", "_flip", "_sums", "_times", "by_hand", "most", "total")

    def __init__(
        self, by_hand: tuple[Mapping[int, int], Mapping[int, int]], fits: tuple[Fits, Fits], flip: int
    ) -> None:
        self.by_hand = by_hand
        self._fits, self._flip = fits, flip
        self._times = [sorted(prices) for prices in by_hand]
        self._sums = [
            [0, *accumulate(prices[time] for time in times)]
            for prices, times in zip(by_hand, self._times, strict=True)
        ]
        self._cheapest: dict[tuple[int, int, int], int | None] = {}
        self.total = sum(sums[-1] for sums in self._sums)
        self.most = max((self.at(hand, time) for hand in (0, 1) for time in self._times[hand]), default=0)

    def joined(self, other: Prices) -> Prices:
        """The prices of both together."""
        both = tuple(dict(prices) for prices in self.by_hand)
        for own, more in zip(both, other.by_hand, strict=True):
            for time, price in more.items():
                own[time] = own.get(time, 0) + price
        return Prices((both[0], both[1]), self._fits, self._flip)

    def at(self, hand: int, start: int) -> int:
        """What a flip that begins at a moment pays."""
        times, sums = self._times[hand], self._sums[hand]
        return sums[bisect_left(times, start + self._flip)] - sums[bisect_left(times, start)]

    def least(self, hand: int, first: int, latest: int) -> int | None:
        """What a flip that begins between two moments pays at least; None where none can begin."""
        key = (hand, first, latest)
        if key not in self._cheapest:
            self._cheapest[key] = self._least(*key)
        return self._cheapest[key]

    def _least(self, hand: int, first: int, latest: int) -> int | None:
        fits, times = self._fits[hand], self._times[hand]
        best: int | None = None
        for index in range(bisect_left(fits.lasts, first), bisect_right(fits.starts, latest)):
            low, high = max(first, fits.starts[index]), min(latest, fits.lasts[index])
            # The price falls only just after a span has ended.
            after = range(bisect_left(times, low), bisect_left(times, high))
            for start in (low, *(times[k] + 1 for k in after)):
                price = self.at(hand, start)
                if best is None or price < best:
                    best = price
            if best == 0:
                break
        return best

    def flip_from(self, node: Node, latest: int) -> tuple[int, int] | None:
        """The cheapest tier for a change from a node by a moment, and what it costs with its price.

        None where no flip is possible.
        """
        best: tuple[int, int] | None = None
        for tier in (0, 1, 2, 3):
            if node.fits[tier] > latest:
                continue
            price = self.least(tier & 1, node.fits[tier], latest)
            if price is not None and (best is None or TIERS[tier] + price < best[1]):
                best = (tier, TIERS[tier] + price)
        return best

"""What the layers of a chain have in common, whatever free time its strings may use.

At one onset each string of a chain stands in one state, so each way to play its plucks gives every string at
most one state; of the ways that leave the strings alike (same states, same latest ends) only the
cheapest is kept. Losing the longer of two plucks that share a string, a state and an onset is a way of its
own, since the string may then change earlier.

Onsets that follow each other without a moment between them in which any flip could begin or matter are taken
together as one **run**: no string can change inside it, and whichever of its plucks a string plays, the same
flips are in time before it and the same are open after it. So only the state of each string in the whole run
counts. In fast music, where the hands are hardly ever free, thousands of onsets become a few runs.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

from harpkeys.plan.candidates import Candidate, Chain, Choice
from harpkeys.plan.cost import LOST_AUXILIARY, OFF_STRING, TIERS
from harpkeys.plan.windows import Fits, release_of

Effect = tuple[int, int, int] | None
"""What a way to play does to a string: the state it needs, the latest end and the release; or nothing."""

Plays = tuple[tuple[int, Candidate], ...]
"""Plucks with what they are played on."""

Shape = tuple[tuple[Effect, ...], tuple[int, Plays]]
"""A way to play: what it does to each string, its packed cost, and its plays."""

MOST_SHAPES = 100
"""A run ends where its ways to play would grow beyond this number."""


class Ransoms:
    """Prices of what a string plays from run to run, by string and state.

    Args:
        runs: the plucks of each run.
        latests: last moment at which a flip that prepares each run can start.
        positions: position in the chain by string.
    """

    def __init__(
        self, runs: Sequence[Sequence[Choice]], latests: Sequence[int], positions: dict[int, int]
    ) -> None:
        self.latests = latests
        self.sums: list[list[int]] = [[0] for _ in range(2 * len(positions))]
        for run in runs:
            prices = [0] * (2 * len(positions))
            for choice in run:
                for string, state in choice.candidates:
                    prices[2 * positions[string] + state] += choice.price
            for total, price in zip(self.sums, prices, strict=True):
                total.append(total[-1] + price)

    def of(self, position: int, state: int, layer: int, first_fit: int) -> int:
        """The ransom of a node whose string can be flipped from `first_fit` on."""
        sums = self.sums[2 * position + 1 - state]
        until = max(bisect_left(self.latests, first_fit), layer + 1)
        return sums[until] - sums[layer + 1] + TIERS[3]


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """A chain cut into runs.

    Attributes:
        shapes: for each run the ways to play it, as (effect on each string, (cost, plays)).
        latests: for each run the last moment at which a flip that prepares it can start, milliseconds.
        ransoms: prices of what a string plays.
        clashing: plucks of onsets at which something is lost however much time there is.
        unavoidable: packed cost of what is lost there.
    """

    shapes: tuple[Sequence[Shape], ...]
    latests: tuple[int, ...]
    ransoms: Ransoms
    clashing: frozenset[int]
    unavoidable: int


def skeleton_of(chain: Chain, fits: tuple[Fits, Fits], flip: int) -> Skeleton:
    """The runs of a chain.

    Args:
        chain: the chain.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """
    positions = {string: place for place, string in enumerate(chain.strings)}
    runs: list[list[Choice]] = []
    shapes: list[Sequence[Shape]] = []
    clashing: set[int] = set()
    unavoidable = 0
    known: _Sight | None = None
    for _, grouped in groupby(chain.choices, key=attrgetter("onset")):
        group = tuple(grouped)
        sight = _sight(group, fits, flip)
        ways = _ways(group, positions, alike=sight is not None)
        least = ways[0][1][0]
        if least >= LOST_AUXILIARY:
            clashing.update(choice.pluck for choice in group)
            unavoidable += least - least % LOST_AUXILIARY
        both = _together(shapes[-1], ways, group[0]) if sight is not None and sight == known else None
        if both is None:
            runs.append(list(group))
            shapes.append(ways)
        else:
            runs[-1].extend(group)
            shapes[-1] = both
        known = sight
    latests = tuple(run[0].onset - flip for run in runs)
    return Skeleton(
        tuple(shapes), latests, Ransoms(runs, latests, positions), frozenset(clashing), unavoidable
    )


_Sight = tuple[int, ...]
"""The flips nearest to an onset: first starts after it (clean and cut, by each hand), last ones before it."""


def _sight(group: Sequence[Choice], fits: tuple[Fits, Fits], flip: int) -> _Sight | None:
    """What an onset sees of the hands' free time; None where its plucks see different flips after it."""
    left, right = fits
    after: _Sight | None = None
    for choice in group:
        end = choice.end
        release = release_of(choice.onset, end)
        here = (left.earliest(end), right.earliest(end), left.earliest(release), right.earliest(release))
        if after is not None and here != after:
            return None
        after = here
    latest = group[0].onset - flip
    return None if after is None else (*after, left.last(latest), right.last(latest))


def _together(before: Sequence[Shape], after: Sequence[Shape], last: Choice) -> list[Shape] | None:
    """The ways to play two parts of a run, its last choice given; None where they are too many."""
    ending = (last.end, release_of(last.onset, last.end))
    table: dict[tuple[int | None, ...], Shape] = {}
    for effects, (cost, plays) in before:
        for more, (price, others) in after:
            joined = _joined(effects, more, ending)
            if joined is None:
                continue
            states = tuple(None if effect is None else effect[0] for effect in joined)
            known = table.get(states)
            if known is None or cost + price < known[1][0]:
                table[states] = (joined, (cost + price, plays + others))
    return sorted(table.values(), key=_cost_of) if len(table) <= MOST_SHAPES else None


def _joined(
    before: tuple[Effect, ...], after: tuple[Effect, ...], ending: tuple[int, int]
) -> tuple[Effect, ...] | None:
    """What two parts of a run do to the strings; None where a string would have to change between them.

    All ends in a run are equally good, so every string is given the same.
    """
    joined: list[Effect] = []
    for one, other in zip(before, after, strict=True):
        if one is None or (other is not None and one[0] == other[0]):
            joined.append(other)
        elif other is None:
            joined.append((one[0], *ending))
        else:
            return None
    return tuple(joined)


def _ways(group: tuple[Choice, ...], positions: dict[int, int], alike: bool) -> list[Shape]:
    """The cheapest way for each effect on the strings, without those that another beats outright.

    Args:
        group: plucks of one onset.
        positions: position in the chain by string.
        alike: whether all ends are equally good; the first stands for them.
    """
    table: dict[tuple[Effect, ...], tuple[int, Plays]] = {(None,) * len(positions): (0, ())}
    for choice in group:
        ending = group[0].end if alike else choice.end
        grown: dict[tuple[Effect, ...], tuple[int, Plays]] = {}
        for effects, (cost, plays) in table.items():
            _offer(grown, effects, cost + choice.price, plays)
            for candidate in choice.candidates:
                string, state = candidate
                place = positions[string]
                effect = effects[place]
                if effect is None or (effect[0] == state and effect[1] < ending):
                    effect = (state, ending, release_of(choice.onset, ending))
                elif effect[0] != state:
                    continue
                after = (*effects[:place], effect, *effects[place + 1 :])
                price = cost if string == choice.own else cost + OFF_STRING
                _offer(grown, after, price, (*plays, (choice.pluck, candidate)))
        table = grown
    ranked = sorted(table.items(), key=_cost_of)
    kept: list[Shape] = []
    for effects, value in ranked:
        if not any(_no_worse(other, effects) for other, _ in kept):
            kept.append((effects, value))
    return kept


def _offer(
    table: dict[tuple[Effect, ...], tuple[int, Plays]], effects: tuple[Effect, ...], cost: int, plays: Plays
) -> None:
    known = table.get(effects)
    if known is None or cost < known[0]:
        table[effects] = (cost, plays)


def _no_worse(one: tuple[Effect, ...], other: tuple[Effect, ...]) -> bool:
    """Whether `one` leaves every string in the same state and free at least as early as `other`."""
    for mine, theirs in zip(one, other, strict=True):
        if mine is None or theirs is None:
            if mine is not theirs:
                return False
        elif mine[0] != theirs[0] or mine[1] > theirs[1]:
            return False
    return True


def _cost_of(shape: Shape) -> int:
    return shape[1][0]

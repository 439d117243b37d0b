"""A chain unrolled in time: one layer per onset, with the sensible ways to play it.

At one onset each string of a chain stands in one state, so each way to play a layer gives every string at
most one state; of the ways that leave the strings alike (same states, same latest ends) only the cheapest is
kept. Losing the longer of two plucks that share a string, a state and an onset is a way of its own, since the
string may then change earlier.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

from harpkeys.plan.candidates import Candidate, Chain, Choice
from harpkeys.plan.cost import OFF_STRING, TIERS
from harpkeys.plan.windows import Fits, release_of

Effect = tuple[int, int] | None
"""What a way to play does to a string: the state it needs and the latest end, or nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A string played at a layer in a state: all that later changes of that string depend on.

    Attributes:
        position: the string's position in its chain.
        state: 0 down, 1 up.
        layer: index of the layer.
        end: latest end of the plucks played there, milliseconds.
        release: first moment the string may change.
        fits: earliest start of a flip by each tier: clean left, clean right, cut left, cut right.
        ransom: upper limit of what it costs to follow any other label on this string from here: to lose all
            plucks of the other state until a flip fits, and then the dearest flip.
    """

    position: int
    state: int
    layer: int
    end: int
    release: int
    fits: tuple[int, int, int, int]
    ransom: int


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way to play a layer.

    Attributes:
        cost: packed cost of what is lost or played off its string.
        nodes: the strings it plays.
        plays: (pluck id, candidate) of each pluck played.
    """

    cost: int
    nodes: tuple[Node, ...]
    plays: tuple[tuple[int, Candidate], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """All plucks of a chain at one onset.

    Attributes:
        index: its place in the chain.
        onset: milliseconds.
        latest: last moment at which a flip that prepares it can start.
        ways: how it can be played, cheapest first.
        choices: its plucks.
        skip: packed cost of losing all of it.
    """

    index: int
    onset: int
    latest: int
    ways: tuple[Way, ...]
    choices: tuple[Choice, ...]
    skip: int


_Plays = tuple[tuple[int, Candidate], ...]

Shape = tuple[tuple[Effect, ...], tuple[int, _Plays]]
"""A way to play a layer: what it does to each string, its packed cost, and its plays."""


class Ransoms:
    """Prices of runs of plucks, by string and state.

    Args:
        groups: the plucks of each layer.
        positions: position in the chain by string.
        flip: time to move a lever, milliseconds.
    """

    def __init__(self, groups: Sequence[tuple[Choice, ...]], positions: dict[int, int], flip: int) -> None:
        self.latests = [group[0].onset - flip for group in groups]
        self.sums: list[list[int]] = [[0] for _ in range(2 * len(positions))]
        for group in groups:
            prices = [0] * (2 * len(positions))
            for choice in group:
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
    """What the layers of a chain have in common whatever free time its strings may use.

    Attributes:
        groups: the plucks of each layer.
        shapes: for each layer the ways to play it, as (effect on each string, (cost, plays)).
        ransoms: prices of runs of plucks.
        flip: time to move a lever, milliseconds.
    """

    groups: tuple[tuple[Choice, ...], ...]
    shapes: tuple[list[Shape], ...]
    ransoms: Ransoms
    flip: int


def skeleton_of(chain: Chain, flip: int) -> Skeleton:
    """The layers of a chain without its strings' free time.

    Args:
        chain: the chain.
        flip: time to move a lever, milliseconds.
    """
    positions = {string: place for place, string in enumerate(chain.strings)}
    groups = tuple(tuple(group) for _, group in groupby(chain.choices, key=attrgetter("onset")))
    shapes = tuple(_ways(group, positions) for group in groups)
    return Skeleton(groups, shapes, Ransoms(groups, positions, flip), flip)


def unroll(chain: Chain, fits: Sequence[tuple[Fits, Fits]], flip: int) -> tuple[Layer, ...]:
    """The layers of a chain, by onset.

    Args:
        chain: the chain.
        fits: for each string of the chain, the usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """
    return flesh_out(skeleton_of(chain, flip), fits)


def flesh_out(skeleton: Skeleton, fits: Sequence[tuple[Fits, Fits]]) -> tuple[Layer, ...]:
    """The layers of a skeleton, with the free time that each string may use."""
    layers: list[Layer] = []
    for index, (group, shapes) in enumerate(zip(skeleton.groups, skeleton.shapes, strict=True)):
        onset = group[0].onset
        nodes: dict[tuple[int, int, int], Node] = {}
        ways = []
        for effects, (cost, plays) in shapes:
            played = [
                _node(nodes, place, effect, onset, index, fits, skeleton.ransoms)
                for place, effect in enumerate(effects)
                if effect
            ]
            ways.append(Way(cost, tuple(played), plays))
        skip = sum(choice.price for choice in group)
        layers.append(Layer(index, onset, onset - skeleton.flip, tuple(ways), group, skip))
    return tuple(layers)


def _node(
    nodes: dict[tuple[int, int, int], Node],
    position: int,
    effect: tuple[int, int],
    onset: int,
    layer: int,
    fits: Sequence[tuple[Fits, Fits]],
    ransoms: Ransoms,
) -> Node:
    state, end = effect
    key = (position, state, end)
    node = nodes.get(key)
    if node is None:
        left, right = fits[position]
        release = release_of(onset, end)
        four = (left.earliest(end), right.earliest(end), left.earliest(release), right.earliest(release))
        ransom = ransoms.of(position, state, layer, min(four[2], four[3]))
        node = nodes[key] = Node(position, state, layer, end, release, four, ransom)
    return node


def _ways(group: tuple[Choice, ...], positions: dict[int, int]) -> list[Shape]:
    """The cheapest way for each effect on the strings, without those that another beats outright."""
    table: dict[tuple[Effect, ...], tuple[int, _Plays]] = {(None,) * len(positions): (0, ())}
    for choice in group:
        grown: dict[tuple[Effect, ...], tuple[int, _Plays]] = {}
        for effects, (cost, plays) in table.items():
            _offer(grown, effects, cost + choice.price, plays)
            for candidate in choice.candidates:
                string, state = candidate
                place = positions[string]
                effect = effects[place]
                if effect is not None and effect[0] != state:
                    continue
                end = choice.end if effect is None or effect[1] < choice.end else effect[1]
                after = (*effects[:place], (state, end), *effects[place + 1 :])
                price = cost if string == choice.own else cost + OFF_STRING
                _offer(grown, after, price, (*plays, (choice.pluck, candidate)))
        table = grown
    ranked = sorted(table.items(), key=lambda item: item[1][0])
    kept: list[Shape] = []
    for effects, value in ranked:
        if not any(_no_worse(other, effects) for other, _ in kept):
            kept.append((effects, value))
    return kept


def _offer(
    table: dict[tuple[Effect, ...], tuple[int, _Plays]], effects: tuple[Effect, ...], cost: int, plays: _Plays
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

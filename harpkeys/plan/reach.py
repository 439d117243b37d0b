"""How cheaply a chain can come to each of its nodes, and go on from it.

Used to leave out of the solver's model what no plan better than a known one can use: a change from node i to
node j costs at least (cheapest way to i) + (what is lost on its string between) + (the flip) + (cheapest way
on from j). Both sides are the relaxation of `alone`: one chain with both hands to itself.

The way on from a node mirrors the recurrence of `alone` in time: a label holds for each string the state it
is next needed in and the last moment at which a flip that prepares this could start in either hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harpkeys.plan.alone import MOST_LABELS, Label, Rules, extend, least_costs, undominated
from harpkeys.plan.cost import TIERS
from harpkeys.plan.layers import Layer, Node, Way
from harpkeys.plan.prices import Prices
from harpkeys.plan.windows import Fits

_Next = tuple[int, int, int]
"""The state a string is next needed in, and the last starts by the left and the right hand."""

_Onward = tuple[int, tuple[_Next | None, ...]]


_Standing = dict[tuple[int, int], int]
"""Packed cost by (position of a string, state)."""


@dataclass(frozen=True, slots=True)
class NodeCosts:
    """Packed lower bounds; a node that is missing is out of reach within the limit.

    Attributes:
        to: cost of everything up to and including the node's layer, played at the node.
        onward: cost of everything from the node's layer on, played at the node.
        standing_to: for each layer the cost of everything up to and including it, where a string last played
            in a state (or never).
        standing_on: for each layer the cost of everything from it on, where a string is next played in a
            state (or never again).
    """

    to: dict[Node, int]
    onward: dict[Node, int]
    standing_to: tuple[_Standing, ...]
    standing_on: tuple[_Standing, ...]


def node_costs(
    layers: Sequence[Layer], strings: int, fits: tuple[Fits, Fits], limit: int, prices: Prices | None = None
) -> NodeCosts | None:
    """Lower bounds for every node of a chain.

    A quick sweep forward says how cheaply each layer can be reached, the sweep back drops what this puts
    beyond the limit, and so does the sweep forward with what the sweep back found.

    Args:
        layers: the chain unrolled.
        strings: how many strings it has.
        fits: usable stretches of the left and right hand.
        limit: plans of this chain that cost more, prices included, are of no interest.
        prices: what flips pay for the hands' time, counted as cost; None for nothing.

    Returns:
        The bounds; None where too many labels would be needed.
    """
    rules = Rules(prices=prices)
    behind = least_costs(layers, strings, rules)
    onward: dict[Node, int] = {}
    standing_on: list[_Standing] = []
    rest: list[int] = [0]
    ahead: list[_Onward] = [(0, (None,) * strings)]
    for layer in reversed(layers):
        earlier: list[_Onward] = []
        after = _next(layer, fits)
        most = limit - behind[layer.index]
        for cost, nexts in ahead:
            for way in layer.ways:
                total = _join(way, nexts, cost, prices)
                if total is not None and total <= most:
                    changed = list(nexts)
                    for node in way.nodes:
                        changed[node.position] = after[node.state]
                    earlier.append((total, tuple(changed)))
                    _lower(onward, way.nodes, total)
        ahead = _best_onward(earlier)
        if len(ahead) > MOST_LABELS:
            return None
        rest.append(ahead[0][0] if ahead else limit + 1)
        standing_on.append(
            _standing((cost, (None if n is None else n[0] for n in nexts)) for cost, nexts in ahead)
        )
    rest.reverse()
    standing_on.reverse()
    to: dict[Node, int] = {}
    standing_to: list[_Standing] = []
    labels: list[Label] = [(0, (None,) * strings, None, None, ())]
    for layer in layers:
        grown: list[Label] = []
        most = limit - rest[layer.index + 1]
        for label in labels:
            for way in layer.ways:
                extended = extend(label, way, layer, rules)
                if extended is not None and extended[0] <= most:
                    grown.append((extended[0], extended[1], None, None, ()))
                    _lower(to, way.nodes, extended[0])
        labels = undominated(grown, rules)
        if len(labels) > MOST_LABELS:
            return None
        standing_to.append(
            _standing((label[0], (None if n is None else n.state for n in label[1])) for label in labels)
        )
    return NodeCosts(to, onward, tuple(standing_to), tuple(standing_on))


def _standing(labels: Iterable[tuple[int, Iterable[int | None]]]) -> _Standing:
    """The cheapest label for each state of each string; a string without a state may stand in either."""
    table: _Standing = {}
    for cost, states in labels:
        for position, state in enumerate(states):
            for each in (0, 1) if state is None else (state,):
                known = table.get((position, each))
                if known is None or cost < known:
                    table[position, each] = cost
    return table


def _lower(table: dict[Node, int], nodes: tuple[Node, ...], cost: int) -> None:
    for node in nodes:
        known = table.get(node)
        if known is None or cost < known:
            table[node] = cost


def _next(layer: Layer, fits: tuple[Fits, Fits]) -> tuple[_Next, _Next]:
    left, right = fits[0].last(layer.latest), fits[1].last(layer.latest)
    return (0, left, right), (1, left, right)


def _join(way: Way, nexts: tuple[_Next | None, ...], cost: int, prices: Prices | None) -> int | None:
    """Cost from a layer on, if it is played this way; None where a string cannot change in time."""
    total = cost + way.cost
    for node in way.nodes:
        coming = nexts[node.position]
        if coming is None or coming[0] == node.state:
            continue
        _, left, right = coming
        if prices is not None:
            flip = prices.flip_from(node, max(left, right))
            if flip is None:
                return None
            total += flip[1]
            continue
        if node.end <= left:
            total += TIERS[0]
        elif node.end <= right:
            total += TIERS[1]
        elif node.release <= left:
            total += TIERS[2]
        elif node.release <= right:
            total += TIERS[3]
        else:
            return None
    return total


def _best_onward(labels: list[_Onward]) -> list[_Onward]:
    labels.sort(key=lambda label: label[0])
    kept: list[_Onward] = []
    for label in labels:
        if not any(_no_worse(other[1], label[1]) for other in kept):
            kept.append(label)
    return kept


def _no_worse(one: tuple[_Next | None, ...], other: tuple[_Next | None, ...]) -> bool:
    for mine, theirs in zip(one, other, strict=True):
        if mine is None or mine is theirs:
            continue
        if theirs is None or mine[0] != theirs[0] or mine[1] < theirs[1] or mine[2] < theirs[2]:
            return False
    return True

"""How cheaply a chain can come to each of its nodes, and go on from it.

Used to leave out of the solver's model what no plan better than a known one can use: a change from node i to
node j costs at least (cheapest way to i) + (what is lost on its string between) + (the flip) + (cheapest way
on from j). Both sides are the relaxation of `alone`: one chain with both hands to itself.

The way on from a node mirrors the recurrence of `alone` in time: a label holds for each string the state it
is next needed in and the last moment at which a flip that prepares this could start in either hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harpkeys.plan.alone import MOST_LABELS, Label, extend, undominated
from harpkeys.plan.cost import TIERS
from harpkeys.plan.layers import Layer, Node, Way
from harpkeys.plan.windows import Fits

_Next = tuple[int, int, int]
"""The state a string is next needed in, and the last starts by the left and the right hand."""

_Onward = tuple[int, tuple[_Next | None, ...]]


@dataclass(frozen=True, slots=True)
class NodeCosts:
    """Packed lower bounds by node; a node that is missing is out of reach within the limit.

    Attributes:
        to: cost of everything up to and including the node's layer, played at the node.
        onward: cost of everything from the node's layer on, played at the node.
    """

    to: dict[Node, int]
    onward: dict[Node, int]


def node_costs(
    layers: Sequence[Layer], strings: int, fits: tuple[Fits, Fits], limit: int
) -> NodeCosts | None:
    """Lower bounds for every node of a chain.

    Args:
        layers: the chain unrolled.
        strings: how many strings it has.
        fits: usable stretches of the left and right hand.
        limit: plans of this chain that cost more are of no interest.

    Returns:
        The bounds; None where too many labels would be needed.
    """
    to: dict[Node, int] = {}
    labels: list[Label] = [(0, (None,) * strings, None, None, ())]
    for layer in layers:
        grown: list[Label] = []
        for label in labels:
            for way in layer.ways:
                extended = extend(label, way, layer, None)
                if extended is not None and extended[0] <= limit:
                    grown.append((extended[0], extended[1], None, None, ()))
                    _lower(to, way.nodes, extended[0])
        labels = undominated(grown)
        if len(labels) > MOST_LABELS:
            return None
    onward: dict[Node, int] = {}
    ahead: list[_Onward] = [(0, (None,) * strings)]
    for layer in reversed(layers):
        earlier: list[_Onward] = []
        after = _next(layer, fits)
        for cost, nexts in ahead:
            for way in layer.ways:
                total = _join(way, nexts, cost)
                if total is not None and total <= limit:
                    changed = list(nexts)
                    for node in way.nodes:
                        changed[node.position] = after[node.state]
                    earlier.append((total, tuple(changed)))
                    _lower(onward, way.nodes, total)
        ahead = _best_onward(earlier)
        if len(ahead) > MOST_LABELS:
            return None
    return NodeCosts(to, onward)


def _lower(table: dict[Node, int], nodes: tuple[Node, ...], cost: int) -> None:
    for node in nodes:
        known = table.get(node)
        if known is None or cost < known:
            table[node] = cost


def _next(layer: Layer, fits: tuple[Fits, Fits]) -> tuple[_Next, _Next]:
    left, right = fits[0].last(layer.latest), fits[1].last(layer.latest)
    return (0, left, right), (1, left, right)


def _join(way: Way, nexts: tuple[_Next | None, ...], cost: int) -> int | None:
    """Cost from a layer on, if it is played this way; None where a string cannot change in time."""
    total = cost + way.cost
    for node in way.nodes:
        coming = nexts[node.position]
        if coming is None or coming[0] == node.state:
            continue
        _, left, right = coming
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

"""The cheapest order of some items, each taken at one of its nodes, on one or several harps.

A **node** is an item on a harp in a certain state (a piece in a tuning). Going from a node to the next one on
the same harp costs what the table says; the first on each harp costs the same whichever it is, for it is set
before the programme begins, and changing harps costs nothing. Every node has a cost of its own besides. Items
may be bound to the beginning or the end by their **rank**: nowhere does a lower rank come after a higher one.

Up to MOST_EXACT items the order is exact. The state of the dynamic programme is (items played on this harp,
last node), the recurrence extends it by one node (M. Held and R. M. Karp, "A dynamic programming approach to
sequencing problems", 1962); since the cost of a harp depends on its own items alone, harps are then combined
over all ways to deal the items out. Beyond that the order is improved by moving single items, reversing
stretches and choosing nodes anew until nothing helps, and a lower bound tells how far from the best it can be
at most.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

MOST_EXACT = 12
"""Most items that are ordered exactly."""

_MOST_STARTS = 20
"""Items that an order which is improved step by step is begun with in turn."""

_FAR = 1 << 200
"""More than any cost."""


@dataclass(frozen=True, slots=True)
class Node:
    """An item as it may be taken.

    Attributes:
        item: its item, from 0.
        harp: the harp it is played on, from 0.
        cost: its own cost.
    """

    item: int
    harp: int
    cost: int


@dataclass(frozen=True, slots=True)
class Ordering:
    """An order.

    Attributes:
        nodes: indices of the nodes, in order, one for each item.
        cost: what it costs in all.
        exact: whether no order costs less.
        bound: a cost that no order is below; equals `cost` where the order is exact.
    """

    nodes: tuple[int, ...]
    cost: int
    exact: bool
    bound: int


def best_order(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], opening: int = 0
) -> Ordering:
    """The cheapest order.

    Args:
        nodes: the nodes; every item has at least one.
        steps: `steps[a][b]` is the cost of node b right after node a on its harp.
        ranks: rank of each item.
        opening: cost of every harp that is used.

    Returns:
        The order; exact up to MOST_EXACT items.
    """
    if len(ranks) <= MOST_EXACT:
        return _exact(nodes, steps, ranks, opening)
    return _improved(nodes, steps, ranks, opening)


def order_cost(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], order: Sequence[int], opening: int = 0
) -> int:
    """What an order of nodes costs."""
    last: dict[int, int] = {}
    total = 0
    for index in order:
        node = nodes[index]
        total += node.cost
        total += steps[last[node.harp]][index] if node.harp in last else opening
        last[node.harp] = index
    return total


# Exact.


@dataclass(frozen=True, slots=True)
class _Paths:
    """Cheapest ways through subsets of items on one harp.

    Attributes:
        members: indices of the harp's nodes.
        best: by subset of items (as bits) and position in `members`, cost of the cheapest way ending there.
        total: by subset, cost of its cheapest way with that of using the harp; 0 for none.
    """

    members: tuple[int, ...]
    best: list[list[int] | None]
    total: list[int]


def _exact(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], opening: int
) -> Ordering:
    size = 1 << len(ranks)
    harps = sorted({node.harp for node in nodes})
    paths = [_paths(nodes, steps, ranks, harp, opening) for harp in harps]
    # dealt[h][subset]: cheapest way to play a subset on the first h + 1 harps.
    dealt = [paths[0].total]
    for path in paths[1:]:
        before, merged = dealt[-1], [_FAR] * size
        for subset in range(size):
            part, cheapest = subset, _FAR
            while True:
                cheapest = min(cheapest, before[subset ^ part] + path.total[part])
                if part == 0:
                    break
                part = (part - 1) & subset
            merged[subset] = cheapest
        dealt.append(merged)
    ways: list[list[int]] = []
    left = size - 1
    for level in range(len(paths) - 1, -1, -1):
        part = left if level == 0 else _part(dealt[level - 1], paths[level].total, left, dealt[level][left])
        ways.append(_way(nodes, steps, paths[level], part))
        left ^= part
    order = _interleaved(nodes, ranks, list(reversed(ways)))
    cost = dealt[-1][size - 1]
    return Ordering(tuple(order), cost, True, cost)


def _part(before: Sequence[int], total: Sequence[int], subset: int, cost: int) -> int:
    """The largest part of a subset that this harp takes in a cheapest deal."""
    part = subset
    while before[subset ^ part] + total[part] != cost:
        part = (part - 1) & subset
    return part


def _paths(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], harp: int, opening: int
) -> _Paths:
    members = tuple(index for index, node in enumerate(nodes) if node.harp == harp)
    count, size = len(members), 1 << len(ranks)
    bits = [1 << nodes[index].item for index in members]
    higher = [
        sum(1 << item for item, rank in enumerate(ranks) if rank > ranks[nodes[index].item])
        for index in members
    ]
    own = [nodes[index].cost for index in members]
    # Into node k from node j: the step and the node's own cost.
    into = [[steps[j][k] + nodes[k].cost for j in members] for k in members]
    best: list[list[int] | None] = [None] * size
    for k in range(count):
        row = best[bits[k]] or [_FAR] * count
        row[k] = own[k]
        best[bits[k]] = row
    for subset in range(1, size):
        reached = best[subset]
        if reached is None:
            continue
        ends = [(j, cost) for j, cost in enumerate(reached) if cost < _FAR]
        for k in range(count):
            if subset & bits[k] or subset & higher[k]:
                continue
            costs = into[k]
            cheapest = min(cost + costs[j] for j, cost in ends)
            target = best[subset | bits[k]]
            if target is None:
                target = best[subset | bits[k]] = [_FAR] * count
            target[k] = min(target[k], cheapest)
    total = [_FAR if row is None else min(row) + opening for row in best]
    total[0] = 0
    return _Paths(members, best, total)


def _way(nodes: Sequence[Node], steps: Sequence[Sequence[int]], paths: _Paths, subset: int) -> list[int]:
    """The nodes of a cheapest way through a subset, in order."""
    way: list[int] = []
    row = paths.best[subset]
    wanted = min(row) if row is not None else 0
    while subset and row is not None:
        after = way[-1] if way else None
        for position, cost in enumerate(row):
            index = paths.members[position]
            if cost < _FAR and cost + (0 if after is None else steps[index][after]) == wanted:
                break
        way.append(index)
        wanted = row[position] - nodes[index].cost
        subset ^= 1 << nodes[index].item
        row = paths.best[subset]
    return list(reversed(way))


def _interleaved(nodes: Sequence[Node], ranks: Sequence[int], ways: Sequence[Sequence[int]]) -> list[int]:
    """The ways of all harps as one order: by rank, and within a rank one harp after another."""
    return sorted((index for way in ways for index in way), key=lambda index: ranks[nodes[index].item])


# Improved step by step.


def _improved(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], opening: int
) -> Ordering:
    options: list[list[int]] = [[] for _ in ranks]
    for index, node in enumerate(nodes):
        options[node.item].append(index)
    best: list[int] = []
    cost = _FAR
    for first in range(min(len(ranks), _MOST_STARTS)):
        order = _nearest(nodes, steps, ranks, options, first, opening)
        order = _better(nodes, steps, ranks, options, order, opening)
        found = order_cost(nodes, steps, order, opening)
        if found < cost:
            best, cost = order, found
    bound = _lower_bound(nodes, steps, options) + opening  # one harp at least is used
    return Ordering(tuple(best), cost, cost == bound, bound)


def _nearest(
    nodes: Sequence[Node],
    steps: Sequence[Sequence[int]],
    ranks: Sequence[int],
    options: Sequence[Sequence[int]],
    first: int,
    opening: int,
) -> list[int]:
    """An order in which each item is the nearest of those whose turn it may be, from a first item."""
    left = set(range(len(ranks)))
    order: list[int] = []
    last: dict[int, int] = {}
    while left:
        rank = min(ranks[item] for item in left)
        turn = [item for item in sorted(left) if ranks[item] == rank]
        if first in turn:
            turn = [first]

        def price(index: int) -> int:
            step = steps[last[nodes[index].harp]][index] if nodes[index].harp in last else opening
            return nodes[index].cost + step

        index = min((index for item in turn for index in options[item]), key=price)
        order.append(index)
        last[nodes[index].harp] = index
        left.discard(nodes[index].item)
    return order


def _better(
    nodes: Sequence[Node],
    steps: Sequence[Sequence[int]],
    ranks: Sequence[int],
    options: Sequence[Sequence[int]],
    order: list[int],
    opening: int,
) -> list[int]:
    """Improve an order by single changes until none helps."""
    cost = order_cost(nodes, steps, order, opening)
    improving = True
    while improving:
        improving = False
        for changed in _changes(nodes, ranks, options, order):
            found = order_cost(nodes, steps, changed, opening)
            if found < cost:
                order, cost, improving = changed, found, True
                break
    return order


def _changes(
    nodes: Sequence[Node], ranks: Sequence[int], options: Sequence[Sequence[int]], order: Sequence[int]
) -> Iterator[list[int]]:
    """Every order that is one change away: another node, an item moved, a stretch reversed."""
    count = len(order)
    row = [ranks[nodes[index].item] for index in order]
    for place, index in enumerate(order):
        for other in options[nodes[index].item]:
            if other != index:
                yield [*order[:place], other, *order[place + 1 :]]
    for start in range(count):
        for end in range(start + 1, count):
            if row[start] == row[end]:
                yield [*order[:start], *reversed(order[start : end + 1]), *order[end + 1 :]]
                yield [*order[:start], *order[start + 1 : end + 1], order[start], *order[end + 1 :]]
                yield [*order[:start], order[end], *order[start:end], *order[end + 1 :]]


def _lower_bound(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], options: Sequence[Sequence[int]]
) -> int:
    """Every item costs its cheapest node and, but for the first on each harp, its cheapest way in."""
    harps = len({node.harp for node in nodes})
    own = sum(min(nodes[index].cost for index in option) for option in options)
    ways = []
    for item, option in enumerate(options):
        into = [
            steps[other][index]
            for index in option
            for other, node in enumerate(nodes)
            if node.item != item and node.harp == nodes[index].harp
        ]
        ways.append(min(into, default=0))
    return own + sum(sorted(ways)[: max(0, len(ways) - harps)])

"""The changes a cluster may make, as a network small enough for a solver, and what they ask of the hands.

For each string of each chain of a cluster: the nodes where it may be played, and **links** between them.
A link keeps the state (to the next layer with a node of that state, losing what lies between) or changes it
(to any later node of the other state that a flip can reach). Links that no plan better than the known one can
use are left out, by the bounds of `reach`.

A change may be made by several tiers. Stretches in which everything that could want them fits at once are
**roomy**: a change whose cheapest tier fits a roomy stretch is simply made there. In the others, **crowded**
ones, flips compete; shifting all flips of a stretch as early as they go shows that only a few starts need be
considered: those at a release, or at a release plus a whole number of flips.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice

from harpkeys.plan.alone import Change
from harpkeys.plan.clusters import Table, Unrolled
from harpkeys.plan.cost import TIERS
from harpkeys.plan.layers import Layer, Node
from harpkeys.plan.prices import Prices
from harpkeys.plan.reach import NodeCosts
from harpkeys.plan.schedule import fit_starts

MOST_STARTS = 50_000
"""So many starts are considered at most in all stretches."""

FEWER_WAITS = (4, 2, 1, 0)
"""For how many flips a flip may wait, where there would be too many starts otherwise."""

FINE_CELLS = tuple((parts, MOST_STARTS) for parts in (4, 3, 2, 1))
COARSE_CELLS = ((1, 30), (1, 10), (1, 4))
"""Into how many cells the time of a flip is cut, and how many of them a change is asked to choose from at
most; the first that do not give too many. A change that has more to choose from is taken to find room."""


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """A step of one string from node to node; None stands for the start and the end of the piece.

    Attributes:
        chain: index of the chain.
        position: the string's position in it.
        source, target: the nodes.
        change: the flip it makes by its cheapest tier, None where the state is kept.
        spare: packed cost, price included, that its flip may have at most.
    """

    chain: int
    position: int
    source: Node | None
    target: Node | None
    change: Change | None = None
    spare: int = 0


@dataclass(frozen=True, slots=True)
class Option:
    """One way to make a change.

    Attributes:
        tier: the tier.
        slot: (hand, start) where it is made in a crowded stretch, None where there is room.
    """

    tier: int
    slot: tuple[int, int] | None


@dataclass(slots=True)
class _Demand:
    """Who may want one stretch: the tightest window of each string, and whether it could want it twice."""

    windows: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    spans: dict[tuple[int, int], tuple[int, int]] = field(default_factory=dict)
    twice: bool = False


def links_of(
    chain: int, unrolled: Unrolled, costs: NodeCosts, limit: int, prices: Prices | None
) -> Iterator[Link]:
    """Every link of a chain that a plan within the limit can use.

    Args:
        chain: index of the chain.
        unrolled: its layers.
        costs: bounds by node.
        limit: packed cost that a useful plan of this chain does not exceed, prices included.
        prices: what flips pay for the hands' time; None for nothing.
    """
    layers = unrolled.layers
    for position in range(unrolled.strings):
        skips = [_skip(layer, position) for layer in layers]
        by_layer = [_nodes(layer, position, costs) for layer in layers]
        ahead: int | None = 0
        total = 0
        for nodes, skip in zip(by_layer, skips, strict=True):
            for node in nodes:
                if total + costs.onward[node] <= limit:
                    yield Link(chain, position, None, node)
            total += skip
            if total > limit:
                ahead = None
                break
        if ahead is not None:
            yield Link(chain, position, None, None)
        for index, nodes in enumerate(by_layer):
            for node in nodes:
                yield from _links_from(chain, node, index, layers, by_layer, skips, costs, limit, prices)


def _skip(layer: Layer, position: int) -> int:
    """The least cost of a layer in which a string is not played."""
    return min(way.cost for way in layer.ways if all(node.position != position for node in way.nodes))


def _nodes(layer: Layer, position: int, costs: NodeCosts) -> list[Node]:
    nodes = {node: None for way in layer.ways for node in way.nodes if node.position == position}
    return [node for node in nodes if node in costs.to and node in costs.onward]


def _links_from(
    chain: int,
    node: Node,
    index: int,
    layers: Sequence[Layer],
    by_layer: Sequence[Sequence[Node]],
    skips: Sequence[int],
    costs: NodeCosts,
    limit: int,
    prices: Prices | None,
) -> Iterator[Link]:
    so_far = costs.to[node]
    # A string that keeps its state may pass through nodes without being played there.
    key = (node.position, node.state)
    standing = costs.standing_to[index].get(key, limit + 1)
    kept = False
    for later in range(index + 1, len(layers)):
        if standing > limit:
            return
        same = False
        for target in by_layer[later]:
            if target.state == node.state:
                same = True
                if not kept and standing + costs.standing_on[later].get(key, limit + 1) <= limit:
                    yield Link(chain, node.position, node, target)
                continue
            latest = layers[later].latest
            tier = next((t for t in (0, 1, 2, 3) if node.fits[t] <= latest), None)
            if tier is None:
                continue
            spare = limit - so_far - costs.onward[target]
            flip = prices.flip_from(node, latest) if prices is not None else (tier, TIERS[tier])
            if flip is not None and flip[1] <= spare:
                change = Change(node, later, latest, tier)
                yield Link(chain, node.position, node, target, change, spare)
        kept = kept or same
        so_far += skips[later]
        standing += skips[later]
    if so_far <= limit:
        yield Link(chain, node.position, node, None)


@dataclass(frozen=True, slots=True)
class Options:
    """How the changes among some links can be made.

    Attributes:
        of: the options of each link that changes a state.
        complete: whether nothing is left out that a best plan may need.
        binding: whether what uses them is a plan; else flips of a hand may still overlap.
        coarse: whether they ask so little that some flips are not asked to find a place at all.
    """

    of: Mapping[Link, Sequence[Option]]
    complete: bool
    binding: bool
    coarse: bool = False


def options_of(links: Sequence[Link], table: Table, prices: Prices | None, most: int) -> Iterator[Options]:
    """How each change among the links can be made: by which tier, and at which starts where it is crowded.

    Where a hand is free for long and much wants it, the starts are too many. Then come two makeshifts, as far
    as they are small enough: starts at which flips wait for few others, which may cost a plan its best place;
    and cells of time instead of starts, which ask too little of a plan.

    Args:
        links: the steps the strings may take.
        table: what every cluster needs.
        prices: what flips pay for the hands' time; None for nothing.
        most: how many options there may be.
    """
    exact = _at_starts(links, table, prices, most, (None,))
    if exact is not None:
        yield exact
        return
    few = _at_starts(links, table, prices, most, FEWER_WAITS)
    if few is not None:
        yield few
    cells = _in_cells(links, table, prices, most, FINE_CELLS)
    if cells is None and few is None:
        cells = _in_cells(links, table, prices, most, COARSE_CELLS)
    if cells is not None:
        yield cells


def _at_starts(
    links: Sequence[Link],
    table: Table,
    prices: Prices | None,
    most: int,
    choices: Sequence[int | None],
) -> Options | None:
    """The options at starts, with the first of some limits on waiting that does not give too many."""
    changing = [link for link in links if link.change is not None]
    settled: dict[Link, Sequence[Option]] = {}
    roomy: set[tuple[int, int]] = set()
    while True:
        pending = [link for link in changing if link not in settled]
        demands = _demands(pending, table)
        roomy = {key for key, demand in demands.items() if _is_roomy(demand, key, table)}
        found = False
        for link in pending:
            change = link.change
            if change is not None and any(key in roomy for key, _ in _stretches(change, change.tier, table)):
                settled[link] = [Option(change.tier, None)]
                found = True
        if not found:
            break
    for waits in choices:
        slots = _slots(pending, table, roomy, waits)
        crowded: dict[Link, Sequence[Option]] = {}
        count = 0
        for link in pending if slots is not None else ():
            options = crowded[link] = _crowded_options(link, table, roomy, slots or {}, prices)
            count += len(options)
            if count > most:
                break
        if slots is not None and count <= most:
            return Options({**settled, **crowded}, waits is None, True)
    return None


def _stretches(change: Change, tier: int, table: Table) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """The stretches in which a tier of a change can start, as ((hand, stretch), (first, last start))."""
    fits = table.fits[tier & 1]
    first = change.before.end if tier < 2 else change.before.release
    for index in range(bisect_left(fits.lasts, first), bisect_right(fits.starts, change.latest)):
        low, high = max(first, fits.starts[index]), min(change.latest, fits.lasts[index])
        if low <= high:
            yield (tier & 1, index), (low, high)


def _demands(links: Sequence[Link], table: Table) -> dict[tuple[int, int], _Demand]:
    demands: dict[tuple[int, int], _Demand] = {}
    for link in links:
        change = link.change
        if change is None:
            continue
        who = (link.chain, link.position)
        for tier in (0, 1, 2, 3):
            for key, (low, high) in _stretches(change, tier, table):
                demand = demands.setdefault(key, _Demand())
                known = demand.windows.get(who)
                if known is None:
                    demand.windows[who] = (low, high)
                    demand.spans[who] = (change.before.layer, change.layer)
                    continue
                demand.windows[who] = (max(low, known[0]), min(high, known[1]))
                span = demand.spans[who]
                # Two changes of one string exclude each other where all pairs overlap in layers.
                if change.layer <= span[0] or change.before.layer >= span[1]:
                    demand.twice = True
                demand.spans[who] = (max(span[0], change.before.layer), min(span[1], change.layer))
    return demands


def _is_roomy(demand: _Demand, key: tuple[int, int], table: Table) -> bool:
    windows = list(demand.windows.values())
    if demand.twice or any(low > high for low, high in windows):
        return False
    stretch = table.fits[key[0]].stretches[key[1]]
    return fit_starts(windows, table.flip, [stretch]) is not None


def _slots(
    links: Sequence[Link], table: Table, roomy: set[tuple[int, int]], waits: int | None
) -> dict[tuple[int, int], list[int]] | None:
    """The starts to be considered in each crowded stretch; None where they are too many.

    Args:
        links: what is to be made there.
        table: what every cluster needs.
        roomy: stretches that are not crowded.
        waits: for how many flips one after the other a flip may wait; None for any number.
    """
    releases: dict[tuple[int, int], set[int]] = {}
    limits: dict[tuple[int, int], int] = {}
    for link in links:
        if link.change is None:
            continue
        for tier in (0, 1, 2, 3):
            for key, (low, high) in _stretches(link.change, tier, table):
                if key not in roomy:
                    releases.setdefault(key, set()).add(low)
                    limits[key] = max(limits.get(key, high), high)
    slots = {}
    total = 0
    for key, firsts in releases.items():
        starts: set[int] = set()
        for first in firsts:
            last = limits[key] if waits is None else min(limits[key], first + waits * table.flip)
            total += (last - first) // table.flip + 1
            if total > MOST_STARTS:
                return None
            starts.update(range(first, last + 1, table.flip))
        slots[key] = sorted(starts)
    return slots


def _crowded_options(
    link: Link,
    table: Table,
    roomy: set[tuple[int, int]],
    slots: dict[tuple[int, int], list[int]],
    prices: Prices | None,
) -> list[Option]:
    options: list[Option] = []
    taken: set[tuple[int, int]] = set()
    change = link.change
    if change is None:
        return options
    for tier in (0, 1, 2, 3):
        for key, (low, high) in _stretches(change, tier, table):
            if key in roomy:
                options.append(Option(tier, None))
                return options
            starts = slots[key]
            for start in starts[bisect_left(starts, low) : bisect_right(starts, high)]:
                price = prices.at(key[0], start) if prices is not None else 0
                if (key[0], start) not in taken and TIERS[tier] + price <= link.spare:
                    taken.add((key[0], start))
                    options.append(Option(tier, (key[0], start)))
    return options


def _in_cells(
    links: Sequence[Link],
    table: Table,
    prices: Prices | None,
    most: int,
    choices: Sequence[tuple[int, int]],
) -> Options | None:
    """In which cells of the hands' time each change among the links can begin; their starts are the options'.

    Of the flips that begin in cells which together are as long as a flip, only one can be made.
    """
    for parts, most_cells in choices:
        if table.flip % parts:
            continue
        count = 0
        found: dict[Link, Sequence[Option]] = {}
        for link in links:
            change = link.change
            if change is not None:
                cells = list(islice(_cells(link, change, table, table.flip // parts, prices), most_cells + 1))
                found[link] = cells if len(cells) <= most_cells else [Option(change.tier, None)]
                count += len(found[link])
                if count > most:
                    break
        if count <= most:
            return Options(found, True, False, most_cells < MOST_STARTS)
    return None


def _cells(link: Link, change: Change, table: Table, length: int, prices: Prices | None) -> Iterator[Option]:
    taken: set[tuple[int, int]] = set()
    for tier in (0, 1, 2, 3):
        for (hand, index), (low, high) in _stretches(change, tier, table):
            begin = table.fits[hand].starts[index]
            for start in range(low - (low - begin) % length, high + 1, length):
                if (hand, start) in taken:
                    continue
                if prices is not None:
                    price = prices.least(hand, max(low, start), min(high, start + length - 1))
                    if price is None or TIERS[tier] + price > link.spare:
                        continue
                taken.add((hand, start))
                yield Option(tier, (hand, start))

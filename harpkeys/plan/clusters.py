"""Chains whose flips want the same hand at the same time, planned together.

Each chain is first planned alone. Where the flips they then want do not all fit one hand, the chains in
conflict are joined into a **cluster** and planned together; where the new flips meet other chains, the
clusters grow, until everything fits. What a cluster costs at its best is a lower bound for its chains in any
plan, so when everything fits, the sum is the optimum.

Inside a cluster (`settle_cluster`): first a **dive**, which settles one conflict after another: whichever
string gives way most cheaply does without that free time of the hand from then on. This always ends in a
plan, not always the best. If it costs no more than the chains alone, it is the best. Else a best-first
**search** over conflicts: of the flips that cannot all be made by one hand, at least one must do without its
tier in any plan, so each gives one child with that tier forbidden; the first node without conflict is the
best. The search is exact and quick for a few conflicts, and grows exponentially with their number; beyond a
limit the `solver` takes over, with the dive's plan as its upper limit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count

from harpkeys.plan.alone import ArcKey, Change, Path, best_path
from harpkeys.plan.candidates import Chain
from harpkeys.plan.layers import Layer, flesh_out
from harpkeys.plan.prices import Prices
from harpkeys.plan.schedule import fit_starts
from harpkeys.plan.skeleton import Skeleton, skeleton_of
from harpkeys.plan.windows import Fits

Request = tuple[int, Change]
"""A flip that a chain (by index) wants."""


@dataclass(frozen=True, slots=True)
class Unrolled:
    """A chain ready for planning: its strings, its runs, and its layers with both hands to itself."""

    chain: Chain
    skeleton: Skeleton
    layers: tuple[Layer, ...]

    @property
    def strings(self) -> int:
        """How many strings it has."""
        return len(self.chain.strings)


def unrolled_chain(chain: Chain, fits: tuple[Fits, Fits], flip: int) -> Unrolled:
    """A chain made ready.

    Args:
        chain: the chain.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """
    skeleton = skeleton_of(chain, fits, flip)
    return Unrolled(chain, skeleton, flesh_out(skeleton, [fits] * len(chain.strings)))


@dataclass(frozen=True, slots=True)
class Settled:
    """A cluster planned.

    Attributes:
        paths: the path of each chain, by chain index.
        cost: packed cost of all of them.
        bound: packed cost that no plan undercuts.
        layer: "alone", "search" or "solver".
        prices: what the hands' time is worth to it, if the solver found out; a start for larger clusters.
        work: what the solver spent on it and on the clusters it grew from (counted, see `solver`).
    """

    paths: Mapping[int, Path]
    cost: int
    bound: int
    layer: str
    prices: Prices | None = None
    work: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """What every cluster needs to know.

    Attributes:
        chains: all chains of the piece.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """

    chains: Sequence[Unrolled]
    fits: tuple[Fits, Fits]
    flip: int


def conflicts(paths: Mapping[int, Path], table: Table) -> Iterator[tuple[Request, ...]]:
    """Sets of flips that one hand cannot all make, each without a member to spare; disjoint.

    Yields nothing exactly when all flips fit.
    """
    wanted: tuple[list[Request], list[Request]] = ([], [])
    for chain, path in paths.items():
        for change in path.changes:
            wanted[change.tier & 1].append((chain, change))
    for hand in (0, 1):
        requests = wanted[hand]
        if len(requests) < 2:
            continue
        requests.sort(key=_by_release)
        block: list[Request] = []
        over = 0
        for request in requests:
            change = request[1]
            if block and change.earliest >= over:
                yield from _conflicts_in(block, table, hand)
                block = []
                over = 0
            block.append(request)
            over = max(over, change.latest + table.flip)
        yield from _conflicts_in(block, table, hand)


def _by_release(request: Request) -> tuple[int, int, int, ArcKey]:
    return (request[1].earliest, request[1].latest, request[0], request[1].key)


def _by_deadline(request: Request) -> tuple[int, int, int, ArcKey]:
    return (request[1].latest, request[1].earliest, request[0], request[1].key)


def _conflicts_in(block: list[Request], table: Table, hand: int) -> Iterator[tuple[Request, ...]]:
    while len(block) > 1 and not _fit(block, table, hand):
        found = _least_conflict(block, table, hand)
        yield found
        block = [request for request in block if request not in found]


def _fit(requests: Sequence[Request], table: Table, hand: int) -> bool:
    windows = [(change.earliest, change.latest) for _, change in requests]
    return fit_starts(windows, table.flip, table.fits[hand].stretches) is not None


def _least_conflict(block: list[Request], table: Table, hand: int) -> tuple[Request, ...]:
    """A set of flips that do not fit, from which none can be spared."""
    requests = sorted(block, key=_by_deadline)
    low, high = 1, len(requests)
    while high - low > 1:
        middle = (low + high) // 2
        if _fit(requests[:middle], table, hand):
            low = middle
        else:
            high = middle
    # The last of them must be among them; of the others, those released late are most likely to be.
    last = requests[high - 1]
    others = sorted(requests[: high - 1], key=_by_release)
    first, beyond = 0, len(others)
    while beyond - first > 1:
        middle = (first + beyond) // 2
        if _fit([*others[middle:], last], table, hand):
            beyond = middle
        else:
            first = middle
    kept = [*others[first:], last]
    for request in others[first:]:
        fewer = [other for other in kept if other is not request]
        if not _fit(fewer, table, hand):
            kept = fewer
    return tuple(kept)


class _Forbids:
    """Persistent map from chain to forbidden tiers of its changes."""

    __slots__ = ("by_chain",)

    def __init__(self, by_chain: Mapping[int, Mapping[ArcKey, frozenset[int]]]) -> None:
        self.by_chain = by_chain

    def adding(self, request: Request) -> _Forbids:
        chain, change = request
        arcs = dict(self.by_chain.get(chain, {}))
        arcs[change.key] = arcs.get(change.key, frozenset()) | {change.tier}
        return _Forbids({**self.by_chain, chain: arcs})

    def replanned(self, request: Request, paths: Mapping[int, Path], table: Table) -> dict[int, Path]:
        """The paths with the chain of a request planned anew."""
        chain = request[0]
        unrolled = table.chains[chain]
        return {**paths, chain: best_path(unrolled.layers, unrolled.strings, self.by_chain[chain])}


def _total(paths: Mapping[int, Path]) -> int:
    return sum(path.cost for path in paths.values())


def dive(paths: Mapping[int, Path], table: Table) -> Mapping[int, Path]:
    """Paths that fit together, found by letting the cheapest string of each conflict give way."""
    closed: dict[int, tuple[tuple[Fits, Fits], ...]] = {}
    while True:
        conflict = next(conflicts(paths, table), None)
        if conflict is None:
            return paths
        best: tuple[int, int, tuple[tuple[Fits, Fits], ...], Path] | None = None
        for chain, change in conflict:
            unrolled = table.chains[chain]
            fits = list(closed.get(chain, (table.fits,) * unrolled.strings))
            both = list(fits[change.before.position])
            hand = change.tier & 1
            both[hand] = both[hand].without(change.earliest, change.latest)
            fits[change.before.position] = (both[0], both[1])
            path = best_path(flesh_out(unrolled.skeleton, fits), unrolled.strings)
            rise = path.cost - paths[chain].cost
            if best is None or rise < best[0]:
                best = (rise, chain, tuple(fits), path)
            if rise == 0:
                break
        if best is None:
            return paths
        _, chain, closed[chain], path = best
        paths = {**paths, chain: path}


def search(
    paths: Mapping[int, Path], table: Table, upper: Mapping[int, Path], most_nodes: int
) -> tuple[Mapping[int, Path], int, bool]:
    """Best-first search over conflicts.

    Args:
        paths: the chains alone.
        table: what every cluster needs.
        upper: a plan that fits, to be beaten.
        most_nodes: how many nodes may be opened.

    Returns:
        The best plan known, a packed lower bound, and whether the search finished.
    """
    best, best_cost = upper, _total(upper)
    order = count()
    heap: list[tuple[int, int, int, _Forbids, Mapping[int, Path]]] = []
    heappush(heap, (_total(paths), 0, next(order), _Forbids({}), paths))
    opened = 0
    while heap and heap[0][0] < best_cost:
        if opened >= most_nodes:
            return best, heap[0][0], False
        cost, depth, _, forbids, here = heappop(heap)
        opened += 1
        conflict = next(conflicts(here, table), None)
        if conflict is None:
            return here, cost, True
        for request in conflict:
            tighter = forbids.adding(request)
            changed = tighter.replanned(request, here, table)
            total = _total(changed)
            if total < best_cost:
                heappush(heap, (total, depth - 1, next(order), tighter, changed))
    return best, best_cost, True


def settle_cluster(parts: Sequence[Settled], alone: Mapping[int, Path], table: Table, effort: int) -> Settled:
    """Plan some chains together, the others left out of account.

    Args:
        parts: the clusters to be joined, or chains alone, each planned by itself.
        alone: the path of every chain alone.
        table: what every cluster needs.
        effort: work limit; 0 means the dive only.
    """
    from harpkeys.plan.solver import solve_together

    paths = {chain: alone[chain] for chain in sorted(chain for part in parts for chain in part.paths)}
    floor = sum(part.bound for part in parts)
    found = _beside(parts, table) if any(part.layer != "alone" for part in parts) else dive(paths, table)
    prices, work = _joined_prices(parts), sum(part.work for part in parts)
    cost = _total(found)
    if cost == floor or effort <= 0:
        return Settled(found, cost, floor, "search", prices, work)
    exact = all(path.bound == path.cost for path in paths.values())
    if len(list(conflicts(paths, table))) <= 3:
        found, bound, finished = search(paths, table, found, 12 + 4 * effort)
        cost = _total(found)
        bound = max(bound, floor) if exact else floor
        if (finished and exact) or bound == cost:
            return Settled(found, cost, cost, "search", prices, work)
        floor = bound
    return solve_together(alone, Settled(found, cost, floor, "search", prices, work), table, effort)


def _beside(parts: Sequence[Settled], table: Table) -> Mapping[int, Path]:
    """Paths that fit together: the dearer parts keep theirs, the others make do with the time left over."""
    kept: dict[int, Path] = {}
    left = table
    for part in sorted(parts, key=lambda part: part.cost, reverse=True):
        paths = dict(part.paths)
        if next(conflicts({**kept, **paths}, table), None) is not None:
            for chain in paths:
                unrolled = table.chains[chain]
                layers = flesh_out(unrolled.skeleton, [left.fits] * unrolled.strings)
                paths[chain] = best_path(layers, unrolled.strings)
            paths = dict(dive(paths, left))
        kept.update(paths)
        left = _left_over(kept, table)
    return kept


def _left_over(paths: Mapping[int, Path], table: Table) -> Table:
    """The table with only the time that the flips of some paths leave to the hands."""
    fits = []
    for hand in (0, 1):
        changes = [change for path in paths.values() for change in path.changes if change.tier & 1 == hand]
        windows = [(change.earliest, change.latest) for change in changes]
        starts = fit_starts(windows, table.flip, table.fits[hand].stretches) or ()
        fits.append(table.fits[hand].around(starts, table.flip))
    return Table(table.chains, (fits[0], fits[1]), table.flip)


def _joined_prices(parts: Sequence[Settled]) -> Prices | None:
    joined: Prices | None = None
    for part in parts:
        if part.prices is not None:
            joined = part.prices if joined is None else joined.joined(part.prices)
    return joined


def settle(alone: Mapping[int, Path], table: Table, effort: int) -> list[Settled]:
    """Clusters that fit together: a plan for all chains, in parts.

    Args:
        alone: the path of every chain alone, by chain index.
        table: what every cluster needs.
        effort: work limit.
    """
    group = {chain: chain for chain in alone}
    settled: dict[int, Settled] = {
        chain: Settled({chain: path}, path.cost, path.bound, "alone") for chain, path in alone.items()
    }
    while True:
        paths = {chain: path for cluster in settled.values() for chain, path in cluster.paths.items()}
        stirred: set[int] = set()
        for conflict in conflicts(paths, table):
            names = sorted({group[chain] for chain, _ in conflict})
            for chain, name in group.items():
                if name in names:
                    group[chain] = names[0]
            stirred = {name for name in stirred if name not in names} | {names[0]}
        if not stirred:
            return list(settled.values())
        for name in sorted(stirred):
            parts = [value for key, value in settled.items() if group[key] == name]
            settled = {key: value for key, value in settled.items() if group[key] != name}
            settled[name] = settle_cluster(parts, alone, table, effort)

"""Contested clusters as mixed-integer models (`columns`), solved by HiGHS (`highs`).

A chain that costs `spare` more than at its cheapest can only be part of a better plan if the known plan costs
at least that much more than all chains at their cheapest. So the first model allows each chain a little more,
which is small and mostly gives a good plan; the next ones allow twice as much each time, until one covers
what the best plan found leaves open, and proves it. From each model's relaxation come `prices` of the hands'
time, against which the chains' cheapest paths come so close to the best plan that little is left open. Where
a hand is free for so long that the exact starts are too many for a model, cells of its time give the first
prices; a cluster that grew from others begins with theirs, and with their plans beside each other.

Criteria are minimised in order, two at a time where the numbers stay small enough for exact arithmetic in
doubles (objectives below 10**6 with whole coefficients, gap below one), each pair fixed before the next.

Limits: `effort` bounds the size of the models, the branching nodes and the columns handed to the solver in
all its runs, and what a cluster spent counts for those that it grows into. All is counted, so results do not
depend on the clock. Where a stage stops early, the bound it reached is returned and later criteria are
bounded by nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from harpkeys.plan.alone import Path, best_path
from harpkeys.plan.clusters import Settled, Table, dive
from harpkeys.plan.columns import Model, build, read_plan
from harpkeys.plan.cost import DIGIT, LOST, least_whole, pack, unpack
from harpkeys.plan.highs import Solver
from harpkeys.plan.network import Link, links_of, options_of
from harpkeys.plan.prices import Prices
from harpkeys.plan.reach import node_costs

COLUMNS_PER_EFFORT = 5_000
"""So many columns a model may have."""
NODES_PER_EFFORT = 60
"""So many branching nodes one objective may take, less where the model is large."""
WORK_PER_EFFORT = 50_000
"""So many open columns may be handed to the solver in all runs for a cluster and for those it grew from."""
LARGEST_OBJECTIVE = 1_000_000
FIRST_SPARE = 2 * LOST
SMALLEST_SPARE = LOST // 16
DIRECT = 3
"""Priced models are not grown step by step where so many times what they allow covers all that is open."""
WORTHWHILE = 0.9
"""A model that leaves starts out is made anew if better prices leave this much of what was open, or less."""


@dataclass(frozen=True, slots=True)
class _Ground:
    """What the chains of a cluster cost at least.

    Attributes:
        lower: packed cost of each chain's cheapest path, prices included.
        prices: what flips pay; None for nothing.
    """

    lower: Mapping[int, int]
    prices: Prices | None = None

    @property
    def bound(self) -> int:
        """Packed cost that no plan undercuts."""
        return sum(self.lower.values()) - (self.prices.total if self.prices is not None else 0)


def solve_together(alone: Mapping[int, Path], known: Settled, table: Table, effort: int) -> Settled:
    """Plan the chains of a cluster together, at least as well as a known plan.

    Args:
        alone: the path of every chain alone.
        known: a plan that fits, and what is known of the best one.
        table: what every cluster needs.
        effort: work limit.

    Returns:
        The best plan found and its bound.
    """
    members = sorted(known.paths)
    ground = _Ground({chain: alone[chain].bound for chain in members})
    if known.prices is not None:
        ground = _better(ground, known.prices, table)
    paths, upper, floor, work = known.paths, known.cost, known.bound, known.work

    def settled(bound: int, prices: Prices | None) -> Settled:
        return Settled(paths, upper, min(bound, upper), "solver", prices, work)

    most_columns, most_work = COLUMNS_PER_EFFORT * effort, WORK_PER_EFFORT * effort
    allowed = FIRST_SPARE if ground.prices is None else LOST
    solved = False
    while True:
        floor = max(floor, least_whole(ground.bound))
        open_gap = upper - ground.bound
        if floor >= upper or work >= most_work:
            return settled(floor, ground.prices)
        if ground.prices is not None and open_gap <= DIRECT * allowed:
            allowed = open_gap
        allowed = min(allowed, open_gap)
        promising = allowed == open_gap or ground.prices is not None
        links = _links({chain: ground.lower[chain] + allowed for chain in members}, ground, table, effort)
        better: _Ground | None = None
        covered = coarse = False
        for options in options_of(links, table, ground.prices, most_columns) if links is not None else ():
            if better is not None and not (covered and work < most_work):
                break
            model = build(members, links or (), options.of, table)
            outcome = _minimise(model, floor, upper, effort, most_work - work, whole=promising)
            work += outcome.work
            coarse = options.coarse
            if outcome.values is not None:
                read = read_plan(model, outcome.values, members, table)
                found = read if options.binding else dive(read, table)
                cost = sum(path.cost for path in found.values())
                if cost < upper:
                    paths, upper = found, cost
            covered = upper - ground.bound <= allowed and not outcome.misled
            if covered and options.complete:
                floor = max(floor, min(outcome.bound, upper))
                if options.binding or floor == upper:
                    return settled(floor, ground.prices)
            better = _better(better or ground, _prices(model, outcome, table), table)
        gained = better is not None and upper - least_whole(better.bound) <= WORTHWHILE * open_gap
        if better is None or (coarse and not gained):
            if solved or allowed <= SMALLEST_SPARE:
                # No larger cluster will fare better.
                work = most_work
                return settled(floor, ground.prices)
            allowed //= 4
            continue
        solved = solved or not coarse
        if covered and not gained:
            return settled(max(floor, least_whole(better.bound)), better.prices)
        allowed = LOST if ground.prices is None and better is not ground else 2 * allowed
        ground = better


def _better(ground: _Ground, prices: Prices, table: Table) -> _Ground:
    """The ground, or a higher one if these prices give it."""
    lower = {}
    for chain in ground.lower:
        unrolled = table.chains[chain]
        lower[chain] = best_path(unrolled.layers, unrolled.strings, prices=prices).bound
    other = _Ground(lower, prices)
    return other if other.bound > ground.bound else ground


def _links(limits: Mapping[int, int], ground: _Ground, table: Table, effort: int) -> list[Link] | None:
    """The steps of all plans in which no chain costs more than its limit; None where they are too many."""
    links: list[Link] = []
    most = COLUMNS_PER_EFFORT * effort
    for chain, limit in limits.items():
        unrolled = table.chains[chain]
        costs = node_costs(unrolled.layers, unrolled.strings, table.fits, limit, ground.prices)
        if costs is None:
            return None
        links.extend(islice(links_of(chain, unrolled, costs, limit, ground.prices), most + 1 - len(links)))
        if len(links) > most:
            return None
    return links


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What came of a model.

    Attributes:
        values: the best columns found, if any.
        bound: packed cost that no plan in the model undercuts.
        duals: of each row in the relaxation of the first objective; empty without.
        unit: packed cost of one unit of the first objective.
        work: what it took, counted in open columns handed to the solver.
        misled: whether trust was misplaced, so that no solution stands for the bound.
    """

    values: Sequence[float] | None
    bound: int
    duals: Sequence[float]
    unit: int
    work: int
    misled: bool = False


def _prices(model: Model, outcome: _Outcome, table: Table) -> Prices:
    """What the relaxation of a model would pay for each span of a hand's time."""
    by_hand: tuple[dict[int, int], dict[int, int]] = ({}, {})
    for row, dual in zip(model.rows, outcome.duals, strict=False):
        if row.span is not None and dual < 0:
            hand, last = row.span
            by_hand[hand][last] = by_hand[hand].get(last, 0) + int(-dual * (1 << DIGIT)) * (
                outcome.unit >> DIGIT
            )
    return Prices(by_hand, table.fits, table.flip)


def _minimise(model: Model, floor: int, upper: int, effort: int, most_work: int, *, whole: bool) -> _Outcome:
    """Minimise the criteria in order, between a packed bound and what a known plan costs.

    Values are taken on trust as long as that goes well; where it does not, and `whole` is asked for, the
    criteria since are minimised again without trust.
    """
    solver = Solver(model, NODES_PER_EFFORT * effort, most_work)
    most = _totals(model)
    low, known = unpack(floor), unpack(upper)
    reached: list[int] = []
    settled = 0
    unit = 0
    misled = False
    while len(reached) < 6 and solver.work < most_work:
        level = len(reached)
        if not solver.owing:
            settled = level
        weights, scale, pair = _objective(model, most, level)
        second = level + pair
        unit = unit or LOST // scale
        least = low[second] * pair + low[level] * scale if reached == list(low[:level]) else 0
        ceiling = known[second] * pair + known[level] * scale
        tied = reached == list(known[:level])
        stage = solver.minimise(weights, least, ceiling if tied else None, last=second == 5)
        if solver.owing and (stage is None or not stage[1]):
            # On trust no solution was found.
            if not whole:
                misled = True
                break
            solver.retract()
            del reached[settled:]
            continue
        if stage is None:
            return _Outcome(None, upper, solver.first_duals, unit, solver.work)
        value, done = stage
        reached += [value // scale, value % scale] if pair else [value]
        if not done:
            break
    bound = pack([*reached, 0, 0, 0, 0, 0, 0][:6])
    return _Outcome(solver.best, bound, solver.first_duals, unit, solver.work, misled)


def _totals(model: Model) -> list[int]:
    """The most that each criterion could come to."""
    return [sum(cost[k] for cost in model.costs) for k in range(6)]


def _objective(model: Model, most: Sequence[int], level: int) -> tuple[list[int], int, bool]:
    """Weights of a criterion and, if there is room, the next; what multiplies the first; whether there is."""
    pair = level + 1 < 6 and (most[level] + 1) * (most[level + 1] + 1) < LARGEST_OBJECTIVE
    scale = most[level + 1] + 1 if pair else 1
    return [cost[level] * scale + cost[level + pair] * pair for cost in model.costs], scale, pair

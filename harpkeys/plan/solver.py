"""Contested clusters as mixed-integer models (`columns`), solved by HiGHS (`highs`).

A chain that costs `spare` more than at its cheapest can only be part of a better plan if the known plan costs
at least that much more than all chains at their cheapest. So the first model allows each chain a little more,
which is small and mostly gives a good plan; the next ones allow twice as much each time, until one covers
what the best plan found leaves open, and proves it. From each model's relaxation come `prices` of the hands'
time, against which the chains' cheapest paths come so close to the best plan that little is left open.

Criteria are minimised in order, two at a time where the numbers stay small enough for exact arithmetic in
doubles (objectives below 10**6 with whole coefficients, gap below one), each pair fixed before the next.

Limits: `effort` bounds the size of the model and the number of branching nodes, both counted, so results do
not depend on the clock. Where a stage stops early, the bound it reached is returned and later criteria are
bounded by nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harpkeys.plan.alone import Path, best_path
from harpkeys.plan.clusters import Settled, Table
from harpkeys.plan.columns import Model, build, read_plan
from harpkeys.plan.cost import DIGIT, LOST, least_whole, pack, unpack
from harpkeys.plan.highs import Solver
from harpkeys.plan.network import Link, links_of, options_of
from harpkeys.plan.prices import Prices
from harpkeys.plan.reach import node_costs

COLUMNS_PER_EFFORT = 5_000
NODES_PER_EFFORT = 60
LARGEST_OBJECTIVE = 1_000_000
FIRST_SPARE = 2 * LOST
SMALLEST_SPARE = LOST // 16
MOST_ROUNDS = 6
"""Models that leave starts out are made anew, at better prices, so many times."""


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


def solve_together(
    members: Sequence[int],
    alone: Mapping[int, Path],
    known: Mapping[int, Path],
    floor: int,
    table: Table,
    effort: int,
) -> Settled:
    """Plan the chains of a cluster together, at least as well as a known plan.

    Args:
        members: indexes of the chains.
        alone: the path of every chain alone.
        known: a plan that fits.
        floor: packed lower bound known so far.
        table: what every cluster needs.
        effort: work limit.

    Returns:
        The best plan found and its bound.
    """
    ground = _Ground({chain: alone[chain].bound for chain in members})
    paths = known
    upper = sum(path.cost for path in known.values())
    allowed = FIRST_SPARE
    rounds = 0
    while True:
        floor = max(floor, least_whole(ground.bound))
        open_gap = upper - ground.bound
        if floor >= upper:
            return Settled(paths, upper, upper, "solver")
        allowed = min(allowed, open_gap)
        built = _model({chain: ground.lower[chain] + allowed for chain in members}, ground, table, effort)
        if built is None and rounds == 0 and allowed > SMALLEST_SPARE:
            allowed //= 4
            continue
        if built is None:
            return Settled(paths, upper, min(floor, upper), "solver")
        model, complete = built
        rounds += 1
        promising = allowed == open_gap or ground.prices is not None
        outcome = _minimise(model, upper, effort, whole=promising)
        if outcome.values is not None:
            found, cost = read_plan(model, outcome.values, members, table)
            if cost < upper:
                paths, upper = found, cost
        covered = upper - ground.bound <= allowed
        if covered and complete:
            return Settled(paths, upper, max(floor, min(outcome.bound, upper)), "solver")
        better = _better(ground, _prices(model, outcome, table), table)
        if covered and (better is ground or rounds >= MOST_ROUNDS):
            return Settled(paths, upper, min(max(floor, least_whole(better.bound)), upper), "solver")
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


def _model(
    limits: Mapping[int, int], ground: _Ground, table: Table, effort: int
) -> tuple[Model, bool] | None:
    """The model of plans in which no chain costs more than its limit, and whether it holds all of them.

    None where it grows too large.
    """
    links: list[Link] = []
    most = COLUMNS_PER_EFFORT * effort
    for chain, limit in limits.items():
        unrolled = table.chains[chain]
        costs = node_costs(unrolled.layers, unrolled.strings, table.fits, limit, ground.prices)
        if costs is None:
            return None
        for link in links_of(chain, unrolled, costs, limit, ground.prices):
            links.append(link)
            if len(links) > most:
                return None
    options = options_of(links, table, ground.prices, most)
    return None if options is None else (build(list(limits), links, options.of, table), options.complete)


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What came of a model.

    Attributes:
        values: the best columns found, if any.
        bound: packed cost that no plan in the model undercuts.
        duals: of each row in the relaxation of the first objective; empty without.
        unit: packed cost of one unit of the first objective.
        misled: whether trust was misplaced, so that nothing is known but the duals.
    """

    values: Sequence[float] | None
    bound: int
    duals: Sequence[float]
    unit: int
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


def _minimise(model: Model, upper: int, effort: int, *, whole: bool) -> _Outcome:
    """Minimise the criteria in order.

    First trusting the relaxation wherever it gives a whole value, which leaves one small model to branch in
    at the end; where that has no whole solution, again without trust if `whole` is asked for.
    """
    outcome = _in_order(model, upper, effort, trusting=True)
    if outcome.misled and whole:
        return _in_order(model, upper, effort, trusting=False)
    return outcome


def _in_order(model: Model, upper: int, effort: int, *, trusting: bool) -> _Outcome:
    """One pass over the criteria."""
    solver = Solver(model, NODES_PER_EFFORT * effort, trusting)
    most = [sum(cost[k] for cost in model.costs) for k in range(6)]
    reached: list[int] = []
    known, tied = unpack(upper), True
    unit = 0
    level = 0
    while level < 6:
        pair = level + 1 < 6 and (most[level] + 1) * (most[level + 1] + 1) < LARGEST_OBJECTIVE
        scale = most[level + 1] + 1 if pair else 1
        unit = unit or LOST // scale
        second = level + 1 if pair else level
        weights = [cost[level] * scale + cost[second] * pair for cost in model.costs]
        level += 2 if pair else 1
        ceiling = known[second] + (known[second - 1] * scale if pair else 0) if tied else None
        stage = solver.minimise(weights, ceiling, last=level == 6)
        if stage is None:
            return _Outcome(None, upper, solver.first_duals, unit, misled=trusting and bool(reached))
        value, done = stage
        if not done and solver.owing:
            return _Outcome(None, upper, solver.first_duals, unit, misled=True)
        reached += [value // scale, value % scale] if pair else [value]
        tied = tied and value == ceiling
        if not done:
            break
    return _Outcome(solver.best, pack([*reached, 0, 0, 0, 0, 0, 0][:6]), solver.first_duals, unit)

"""Contested clusters as a mixed-integer model, solved by HiGHS.

Columns: a way for each layer, a link (and for a change one column for each option) for each string. Rows: one
way a layer; each string's links form one path from start to end; a way that plays a node needs the string's
path to pass through it (passing without playing does no harm: it only binds the string more); two flips of
one hand do not overlap, checked at each slot that a crowded stretch offers. That is a time-indexed model,
whose linear relaxation is close to its integer optimum.

Criteria are minimised in order, two at a time where the numbers stay small enough for exact arithmetic in
doubles (objectives below 10**6 with whole coefficients, gap below one), each pair fixed before the next.

Limits: `effort` bounds the size of the model and the number of branching nodes, both counted, so results do
not depend on the clock. Where a stage stops early, the bound it reached is returned and later criteria are
bounded by nothing.

References: Q. Huangfu and J. A. J. Hall, "Parallelizing the dual revised simplex method", Mathematical
Programming Computation 10 (2018) (HiGHS).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from harpkeys.plan.alone import Change, Path
from harpkeys.plan.clusters import Settled, Table
from harpkeys.plan.cost import LOST, TIERS, Vector, pack, unpack
from harpkeys.plan.layers import Node, Way
from harpkeys.plan.network import Link, Option, links_of, options_of
from harpkeys.plan.reach import node_costs

COLUMNS_PER_EFFORT = 12_000
NODES_PER_EFFORT = 60
LARGEST_OBJECTIVE = 1_000_000
FIRST_SPARE = 2 * LOST
WHOLE = 1e-6
"""How far from a whole number a value may be to count as one."""
SOLUTION_FEASIBLE = 2
"""HiGHS's code for a feasible primal solution."""


@dataclass(slots=True)
class _Model:
    """Columns and rows as they are gathered."""

    costs: list[Vector]
    rows: list[tuple[float, float, list[int], list[float]]]
    ways: list[tuple[int, int, Way, int]]
    steps: list[tuple[Link, Option | None, int]]


def solve_together(
    members: Sequence[int],
    alone: Mapping[int, Path],
    known: Mapping[int, Path],
    floor: int,
    table: Table,
    effort: int,
) -> Settled:
    """Plan the chains of a cluster together, at least as well as a known plan.

    A chain that costs `spare` more than alone can only be part of a better plan if the known plan costs at
    least that much more than all chains alone. The first model allows each chain a little more than alone,
    which is small and mostly gives a good plan; the next ones allow twice as much each time, until one covers
    what the best plan found leaves open, and proves it.

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
    lower = {chain: alone[chain].bound for chain in members}
    paths = known
    upper = sum(path.cost for path in known.values())
    tried = -1
    while True:
        spare = upper - sum(lower.values())
        allowed = min(spare, FIRST_SPARE if tried < 0 else 2 * tried)
        if allowed <= tried:
            return Settled(paths, upper, min(floor, upper), "solver")
        model = _model({chain: lower[chain] + allowed for chain in members}, table, effort)
        if model is None:
            return Settled(paths, upper, floor, "solver")
        values, bound = _minimise(model, upper, effort)
        if values is not None:
            found, cost = _read(model, values, members, table)
            if cost < upper:
                paths, upper = found, cost
        if upper - sum(lower.values()) <= allowed:
            return Settled(paths, upper, max(floor, min(bound, upper)), "solver")
        tried = allowed


def _model(limits: Mapping[int, int], table: Table, effort: int) -> _Model | None:
    """The model of plans in which no chain costs more than its limit; None where it grows too large."""
    links: list[Link] = []
    most = COLUMNS_PER_EFFORT * effort
    for chain, limit in limits.items():
        unrolled = table.chains[chain]
        costs = node_costs(unrolled.layers, unrolled.strings, table.fits, limit)
        if costs is None:
            return None
        for link in links_of(chain, unrolled, costs, limit):
            links.append(link)
            if len(links) > most:
                return None
    options = options_of(links, table)
    if sum(map(len, options.values())) > most:
        return None
    return _build(list(limits), links, options, table)


def _build(
    members: Sequence[int], links: Sequence[Link], options: Mapping[Link, Sequence[Option]], table: Table
) -> _Model:
    model = _Model([], [], [], [])
    through: dict[Node, list[int]] = {}
    out_of: dict[Node, list[int]] = {}
    opening: dict[tuple[int, int], list[int]] = {}
    slots: dict[int, dict[int, list[int]]] = {0: {}, 1: {}}
    for link in links:
        for option in options.get(link, (None,)):
            column = len(model.costs)
            model.costs.append(unpack(TIERS[option.tier]) if option is not None else (0, 0, 0, 0, 0, 0))
            model.steps.append((link, option, column))
            if link.source is None:
                opening.setdefault((link.chain, link.position), []).append(column)
            else:
                out_of.setdefault(link.source, []).append(column)
            if link.target is not None:
                through.setdefault(link.target, []).append(column)
            if option is not None and option.slot is not None:
                hand, start = option.slot
                slots[hand].setdefault(start, []).append(column)
    for columns in opening.values():
        model.rows.append((1.0, 1.0, columns, [1.0] * len(columns)))
    for node in through.keys() | out_of.keys():
        inward, outward = through.get(node, []), out_of.get(node, [])
        model.rows.append((0.0, 0.0, inward + outward, [1.0] * len(inward) + [-1.0] * len(outward)))
    _hand_rows(model, slots, table.flip)
    _way_rows(model, members, through, table)
    model.rows.sort(key=lambda row: row[2])
    return model


def _hand_rows(model: _Model, slots: Mapping[int, Mapping[int, list[int]]], flip: int) -> None:
    """At each slot, at most one flip of the hand is under way."""
    for by_start in slots.values():
        starts = sorted(by_start)
        first = 0
        for index, start in enumerate(starts):
            while starts[first] <= start - flip:
                first += 1
            columns = [column for s in starts[first : index + 1] for column in by_start[s]]
            if len(columns) > 1:
                model.rows.append((0.0, 1.0, columns, [1.0] * len(columns)))


def _way_rows(model: _Model, members: Sequence[int], through: Mapping[Node, list[int]], table: Table) -> None:
    """One way a layer, and paths that pass through what it plays."""
    for chain in members:
        for layer in table.chains[chain].layers:
            chosen: list[int] = []
            playing: dict[Node, list[int]] = {}
            for way in layer.ways:
                if any(node not in through for node in way.nodes):
                    continue
                column = len(model.costs)
                model.costs.append(unpack(way.cost))
                model.ways.append((chain, layer.index, way, column))
                chosen.append(column)
                for node in way.nodes:
                    playing.setdefault(node, []).append(column)
            model.rows.append((1.0, 1.0, chosen, [1.0] * len(chosen)))
            for node, columns in playing.items():
                inward = through[node]
                weights = [1.0] * len(inward) + [-1.0] * len(columns)
                model.rows.append((0.0, float("inf"), inward + columns, weights))


def _minimise(model: _Model, upper: int, effort: int) -> tuple[list[float] | None, int]:
    """Minimise the criteria in order; the best columns found (if any) and a packed bound.

    First trusting the relaxation wherever it gives a whole value, which leaves one small model to branch in
    at the end; where that has no whole solution, again without trust.
    """
    outcome = _in_order(model, upper, effort, trusting=True)
    return (
        outcome if outcome is not None else _in_order(model, upper, effort, trusting=False) or (None, upper)
    )


def _in_order(
    model: _Model, upper: int, effort: int, *, trusting: bool
) -> tuple[list[float] | None, int] | None:
    """One pass over the criteria; None where trust was misplaced."""
    solver = _Solver(model, NODES_PER_EFFORT * effort, trusting)
    most = [sum(cost[k] for cost in model.costs) for k in range(6)]
    reached: list[int] = []
    known, tied = unpack(upper), True
    level = 0
    while level < 6:
        pair = level + 1 < 6 and (most[level] + 1) * (most[level + 1] + 1) < LARGEST_OBJECTIVE
        scale = most[level + 1] + 1 if pair else 1
        second = level + 1 if pair else level
        weights = [cost[level] * scale + cost[second] * pair for cost in model.costs]
        level += 2 if pair else 1
        ceiling = known[second] + (known[second - 1] * scale if pair else 0) if tied else None
        stage = solver.minimise(weights, ceiling, last=level == 6)
        if stage is None:
            return None if trusting and reached else (None, upper)
        value, done = stage
        if not done and solver.owing:
            return None
        reached += [value // scale, value % scale] if pair else [value]
        tied = tied and value == ceiling
        if not done:
            break
    return solver.best, pack([*reached, 0, 0, 0, 0, 0, 0][:6])


class _Solver:
    """HiGHS with one model, minimising one objective after another.

    Attributes:
        best: columns of the last solution in whole numbers.
        owing: whether a value was taken from the relaxation since, so that no solution stands for it yet.


    After each objective the model is cut down to that objective's best solutions. Where the linear relaxation
    reaches the whole optimum, complementary slackness says what those are: columns of positive reduced cost
    are 0, of negative 1, rows with a price are tight. Where it does not, columns whose reduced cost exceeds
    what is left between the two are 0, and a row keeps the objective.
    """

    def __init__(self, model: _Model, most_nodes: int, trusting: bool) -> None:
        import highspy
        import numpy

        self.highspy: Any = highspy
        self.numpy: Any = numpy
        self.highs = _loaded(model, highspy, numpy)
        self.highs.setOptionValue("mip_max_nodes", most_nodes)
        self.rows = [(row[0], row[1]) for row in model.rows]
        self.columns = numpy.arange(len(model.costs), dtype=numpy.int32)
        self.open = set(range(len(model.costs)))
        self.best: list[float] | None = None
        self.trusting = trusting
        self.owing = False

    def minimise(self, weights: Sequence[int], ceiling: int | None, *, last: bool) -> tuple[int, bool] | None:
        """The least value (or a bound of it) and whether it was reached; None if impossible."""
        highs, numpy = self.highs, self.numpy
        highs.changeColsCost(len(weights), self.columns, numpy.array(weights, dtype=float))
        highs.setOptionValue("solve_relaxation", True)
        highs.run()
        if highs.getModelStatus() != self.highspy.HighsModelStatus.kOptimal:
            return None
        relaxed = highs.getInfo().objective_function_value
        solution = highs.getSolution()
        values = list(solution.col_value)
        prices, duals = list(solution.col_dual), list(solution.row_dual)
        if max((abs(value - round(value)) for value in values), default=0.0) < WHOLE:
            self.best = values
            self.owing = False
            value = round(relaxed)
        elif self.trusting and not last and abs(relaxed - round(relaxed)) < WHOLE:
            self.owing = True
            value = round(relaxed)
        else:
            if ceiling is not None:
                # A plan of this value is known: what only dearer ones use is of no interest.
                most = ceiling - relaxed + WHOLE
                self._hold_columns([k for k in self.open if prices[k] > most], 0.0)
            outcome = self._branch(weights)
            if outcome is None or not outcome[1]:
                return outcome
            value = outcome[0]
        self._keep_best(value, relaxed, weights, prices, duals)
        return value, True

    def _branch(self, weights: Sequence[int]) -> tuple[int, bool] | None:
        highs = self.highs
        status = self.highspy.HighsModelStatus
        highs.setOptionValue("solve_relaxation", False)
        if self.best is not None and not self.owing:
            start = self.highspy.HighsSolution()
            start.col_value = self.best
            highs.setSolution(start)
        highs.run()
        outcome = highs.getModelStatus()
        info = highs.getInfo()
        if outcome == status.kInfeasible:
            return None
        found = info.primal_solution_status == SOLUTION_FEASIBLE
        if found:
            self.best = list(highs.getSolution().col_value)
            self.owing = False
        if outcome == status.kOptimal and found and self.best is not None:
            return round(sum(weight * value for weight, value in zip(weights, self.best, strict=True))), True
        return _whole_bound(info.mip_dual_bound), False

    def _keep_best(
        self,
        value: int,
        relaxed: float,
        weights: Sequence[int],
        prices: Sequence[float],
        duals: Sequence[float],
    ) -> None:
        left = value - relaxed
        tight = left < WHOLE
        shut = [k for k in self.open if prices[k] > left + WHOLE]
        held = [k for k in self.open if prices[k] < -WHOLE] if tight else []
        self._hold_columns(shut, 0.0)
        self._hold_columns(held, 1.0)
        if tight:
            for index, dual in enumerate(duals):
                if abs(dual) > WHOLE and index < len(self.rows):
                    low, high = self.rows[index]
                    side = low if dual > 0 else high
                    self.rows[index] = (side, side)
                    self.highs.changeRowBounds(index, side, side)
            return
        numpy = self.numpy
        used = [k for k, weight in enumerate(weights) if weight]
        self.highs.addRow(
            -self.highspy.kHighsInf,
            float(value),
            len(used),
            numpy.array(used, dtype=numpy.int32),
            numpy.array([weights[k] for k in used], dtype=float),
        )

    def _hold_columns(self, columns: Sequence[int], value: float) -> None:
        numpy = self.numpy
        if columns:
            self.open.difference_update(columns)
            both = numpy.full(len(columns), value)
            self.highs.changeColsBounds(len(columns), numpy.array(columns, dtype=numpy.int32), both, both)


def _whole_bound(value: float) -> int:
    """The whole number that a bound of a whole objective amounts to."""
    if not value > 0:
        return 0
    return int(-(-(value - 1e-6) // 1))


def _loaded(model: _Model, highspy: Any, numpy: Any) -> Any:
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.setOptionValue("mip_abs_gap", 0.5)
    solver.setOptionValue("random_seed", 1)
    lp = highspy.HighsLp()
    lp.num_col_ = len(model.costs)
    lp.num_row_ = len(model.rows)
    lp.col_cost_ = numpy.zeros(len(model.costs))
    lp.col_lower_ = numpy.zeros(len(model.costs))
    lp.col_upper_ = numpy.ones(len(model.costs))
    lp.row_lower_ = numpy.array([row[0] for row in model.rows])
    lp.row_upper_ = numpy.array([row[1] for row in model.rows])
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.costs)
    starts = [0]
    for row in model.rows:
        starts.append(starts[-1] + len(row[2]))
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = numpy.array(starts, dtype=numpy.int32)
    lp.a_matrix_.index_ = numpy.array([c for row in model.rows for c in row[2]], dtype=numpy.int32)
    lp.a_matrix_.value_ = numpy.array([v for row in model.rows for v in row[3]], dtype=float)
    solver.passModel(lp)
    return solver


def _read(
    model: _Model, values: Sequence[float], members: Sequence[int], table: Table
) -> tuple[dict[int, Path], int]:
    """The paths that a solution stands for, and what they cost."""
    ways: dict[int, dict[int, Way]] = {chain: {} for chain in members}
    changes: dict[int, list[Change]] = {chain: [] for chain in members}
    costs = dict.fromkeys(members, 0)
    for chain, layer, way, column in model.ways:
        if values[column] > 0.5:
            ways[chain][layer] = way
            costs[chain] += way.cost
    for link, option, column in model.steps:
        if option is not None and link.change is not None and values[column] > 0.5:
            change = link.change
            changes[link.chain].append(Change(change.before, change.layer, change.latest, option.tier))
            costs[link.chain] += TIERS[option.tier]
    paths = {}
    for chain in members:
        order = sorted(changes[chain], key=lambda change: (change.layer, change.before.position))
        taken = tuple(ways[chain][layer.index] for layer in table.chains[chain].layers)
        paths[chain] = Path(costs[chain], costs[chain], taken, tuple(order))
    return paths, sum(costs.values())

"""HiGHS with one model, minimising one objective after another.

References: Q. Huangfu and J. A. J. Hall, "Parallelizing the dual revised simplex method", Mathematical
Programming Computation 10 (2018) (HiGHS).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from harpkeys.plan.columns import Model

WHOLE = 1e-6
"""How far from a whole number a value may be to count as one."""
LARGE = 4_000
"""Larger relaxations are solved by interior points: quicker, and the duals make better prices."""
NODES_TO_A_RUN = 2
"""So many nodes count as much as solving the model once."""
SOLUTION_FEASIBLE = 2
"""HiGHS's code for a feasible primal solution."""
WITHOUT_RULES = 1 << 15 | 1 << 16
"""Presolve rules left out (probing and enumeration): they take a minute on large models and find little."""


class Solver:
    """HiGHS with one model, minimising one objective after another.

    Attributes:
        best: columns of the last solution in whole numbers.
        owing: whether a value was taken on trust since, so that no solution stands for it yet.
        trusting: whether values are taken on trust.
        work: open columns of all runs so far.
        first_duals: what the relaxation of the first objective would gain by easing each row, negated.

    After each objective the model is cut down to that objective's best solutions. Where the linear relaxation
    reaches the whole optimum, complementary slackness says what those are: columns of positive reduced cost
    are 0, of negative 1, rows with a price are tight. Where it does not, columns whose reduced cost exceeds
    what is left between the two are 0, and a row keeps the objective.

    A whole value of the relaxation is taken on trust (`trusting`), which leaves one small model to branch in
    at the end. So is a value that nothing can undercut and a known plan has. Where no solution turns out to
    have them all, `retract` goes back to where that began.
    """

    def __init__(self, model: Model, most_nodes: int, most_work: int) -> None:
        import highspy
        import numpy

        self.highspy: Any = highspy
        self.numpy: Any = numpy
        self.highs = _loaded(model, highspy, numpy)
        self.most_nodes, self.most_work = most_nodes, most_work
        self.work = 0
        self.rows = [(row.low, row.high) for row in model.rows]
        self.columns = numpy.arange(len(model.costs), dtype=numpy.int32)
        self.open = set(range(len(model.costs)))
        self.best: list[float] | None = None
        self.trusting = True
        self.owing = False
        self.settled = self._state()
        self.first_duals: Sequence[float] = ()

    def minimise(
        self, weights: Sequence[int], floor: int, ceiling: int | None, *, last: bool
    ) -> tuple[int, bool] | None:
        """The least value (or a bound of it) and whether it was reached; None if impossible.

        Args:
            weights: the objective.
            floor: no solution has less.
            ceiling: what a known plan has; None where it does not count.
            last: whether no other objective follows.
        """
        highs = self.highs
        if not self.relax(weights):
            return None if self._impossible() else (floor, False)
        relaxed = highs.getInfo().objective_function_value
        solution = highs.getSolution()
        values = list(solution.col_value)
        prices, duals = list(solution.col_dual), list(solution.row_dual)
        least = max(floor, _whole_bound(relaxed))
        if max((abs(value - round(value)) for value in values), default=0.0) < WHOLE:
            self.best = values
            self.owing = False
            value = round(relaxed)
        elif self.trusting and not last and (abs(relaxed - least) < WHOLE or least == ceiling):
            if not self.owing:
                self.settled = self._state()
            self.owing = True
            value = least
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

    def relax(self, weights: Sequence[int]) -> bool:
        """Solve the relaxation; False if it has no optimum."""
        highs, numpy = self.highs, self.numpy
        highs.changeColsCost(len(weights), self.columns, numpy.array(weights, dtype=float))
        highs.setOptionValue("solve_relaxation", True)
        self.work += len(self.open)
        highs.run()
        solved: bool = highs.getModelStatus() == self.highspy.HighsModelStatus.kOptimal
        if solved and not self.first_duals:
            self.first_duals = list(highs.getSolution().row_dual)
        return solved

    def retract(self) -> None:
        """Go back to the last state that a solution stood for, and take nothing on trust from now on."""
        self.trusting = self.owing = False
        rows, columns, count = self.settled
        for index, (low, high) in enumerate(rows):
            if self.rows[index] != (low, high):
                self.highs.changeRowBounds(index, low, high)
        added = range(count, self.highs.getNumRow())
        self.highs.deleteRows(len(added), self.numpy.array(added, dtype=self.numpy.int32))
        opened = sorted(columns - self.open)
        ends = self.numpy.zeros(len(opened)), self.numpy.ones(len(opened))
        self.highs.changeColsBounds(len(opened), self.numpy.array(opened, dtype=self.numpy.int32), *ends)
        self.rows, self.open = list(rows), set(columns)

    def _state(self) -> tuple[list[tuple[float, float]], set[int], int]:
        """Bounds of the rows, columns not held, and how many rows there are."""
        return list(self.rows), set(self.open), self.highs.getNumRow()

    def _branch(self, weights: Sequence[int]) -> tuple[int, bool] | None:
        highs = self.highs
        status = self.highspy.HighsModelStatus
        highs.setOptionValue("solve_relaxation", False)
        # A node of a large model takes long: no more of them than the rest of the work would pay for.
        nodes = max(1, (self.most_work - self.work) // (NODES_TO_A_RUN * max(1, len(self.open))))
        highs.setOptionValue("mip_max_nodes", min(self.most_nodes, nodes))
        if self.best is not None and not self.owing:
            start = self.highspy.HighsSolution()
            start.col_value = self.best
            highs.setSolution(start)
        highs.run()
        outcome = highs.getModelStatus()
        info = highs.getInfo()
        self.work += len(self.open) * (1 + max(0, info.mip_node_count) // NODES_TO_A_RUN)
        if self._impossible():
            return None
        found = info.primal_solution_status == SOLUTION_FEASIBLE
        if found:
            self.best = list(highs.getSolution().col_value)
            self.owing = False
        if outcome == status.kOptimal and found and self.best is not None:
            return round(sum(weight * value for weight, value in zip(weights, self.best, strict=True))), True
        return _whole_bound(info.mip_dual_bound), False

    def _impossible(self) -> bool:
        status = self.highspy.HighsModelStatus
        return self.highs.getModelStatus() in (status.kInfeasible, status.kUnboundedOrInfeasible)

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
    if not 0 < value < float("inf"):
        return 0
    return int(-(-(value - 1e-6) // 1))


def _loaded(model: Model, highspy: Any, numpy: Any) -> Any:
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("mip_rel_gap", 0.0)
    solver.setOptionValue("mip_abs_gap", 0.5)
    solver.setOptionValue("random_seed", 1)
    solver.setOptionValue("presolve_rule_off", WITHOUT_RULES)
    if len(model.costs) > LARGE:
        solver.setOptionValue("solver", "ipm")
    lp = highspy.HighsLp()
    lp.num_col_ = len(model.costs)
    lp.num_row_ = len(model.rows)
    lp.col_cost_ = numpy.zeros(len(model.costs))
    lp.col_lower_ = numpy.zeros(len(model.costs))
    lp.col_upper_ = numpy.ones(len(model.costs))
    lp.row_lower_ = numpy.array([row.low for row in model.rows])
    lp.row_upper_ = numpy.array([row.high for row in model.rows])
    lp.integrality_ = [highspy.HighsVarType.kInteger] * len(model.costs)
    starts = [0]
    for row in model.rows:
        starts.append(starts[-1] + len(row.columns))
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = numpy.array(starts, dtype=numpy.int32)
    lp.a_matrix_.index_ = numpy.array([c for row in model.rows for c in row.columns], dtype=numpy.int32)
    lp.a_matrix_.value_ = numpy.array([v for row in model.rows for v in row.weights], dtype=float)
    solver.passModel(lp)
    return solver

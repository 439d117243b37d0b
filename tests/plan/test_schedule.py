"""Start times of equal-length jobs: hand-worked cases and CP-SAT (OR-tools) as the outside judge."""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from harpkeys.plan.schedule import fit_starts

Window = tuple[int, int]


def judge(jobs: list[Window], length: int, stretches: list[Window]) -> int | None:
    """The least possible latest start by CP-SAT, None where there is no schedule."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    allowed = cp_model.Domain.from_intervals([[a, b - length] for a, b in stretches if b - length >= a])
    last = model.new_int_var(-1000, 10_000, "last")
    intervals = []
    for release, latest in jobs:
        domain = allowed.intersection_with(cp_model.Domain(release, latest))
        if domain.is_empty():
            return None
        start = model.new_int_var_from_domain(domain, "start")
        intervals.append(model.new_fixed_size_interval_var(start, length, "job"))
        model.add(last >= start)
    model.add_no_overlap(intervals)
    model.minimize(last)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return solver.value(last) if status == cp_model.OPTIMAL else None


def check(jobs: list[Window], length: int, stretches: list[Window], starts: list[int]) -> None:
    for (release, latest), start in zip(jobs, starts, strict=True):
        assert release <= start <= latest
        assert any(a <= start and start + length <= b for a, b in stretches)
    ordered = sorted(starts)
    assert all(b - a >= length for a, b in pairwise(ordered))


def random_case(seed: int) -> tuple[list[Window], int, list[Window]]:
    """Crowded jobs, with windows long and short, and now and then stretches that touch or are too short."""
    rng = random.Random(seed)
    length = rng.choice([1, 3, 7, 10, 10, 25])
    count = rng.randint(1, 9)
    span = max(2, int(length * count * rng.uniform(0.8, 2.5)))
    jobs = []
    for _ in range(count):
        release = rng.randint(0, span)
        jobs.append((release, release + rng.choice([0, length // 2, length, 3 * length, span, span])))
    stretches: list[Window] = []
    time = rng.randint(-5, 5)
    while time < 2 * span + 60:
        end = time + rng.choice([0, length, 2 * length + 1, 4 * length, rng.randint(1, span)])
        stretches.append((time, end))
        time = end + rng.choice([0, 1, length, length // 2 + 1])
    return jobs, length, stretches


@pytest.mark.parametrize("chunk", range(8))
def test_agrees_with_cp_sat(chunk: int) -> None:
    fits = 0
    for seed in range(chunk * 100, chunk * 100 + 100):
        jobs, length, stretches = random_case(seed)
        starts = fit_starts(jobs, length, stretches)
        least = judge(jobs, length, stretches)
        assert (starts is None) == (least is None), (seed, jobs, length, stretches, starts, least)
        if starts is not None and least is not None:
            fits += 1
            check(jobs, length, stretches, starts)
            assert max(starts) == least, seed
    assert 20 < fits < 90  # both answers must occur, or the comparison says nothing


def test_waits_for_the_urgent_job() -> None:
    # Begun at once, the patient job would run until 10 and make the urgent one (5 to 5) late.
    assert fit_starts([(0, 100), (5, 5)], 10, [(0, 200)]) == [15, 5]


def test_waiting_can_be_forced_two_jobs_ahead() -> None:
    # Both urgent jobs must begin by 25, so one of them by 15: nothing may begin in (5, 10).
    assert fit_starts([(6, 100), (10, 25), (10, 25)], 10, [(0, 200)]) == [30, 10, 20]


def test_touching_is_no_collision() -> None:
    assert fit_starts([(0, 10), (0, 10)], 10, [(0, 20)]) == [0, 10]
    assert fit_starts([(0, 10), (0, 10)], 10, [(0, 19)]) is None


def test_no_job_lies_across_two_stretches_that_touch() -> None:
    assert fit_starts([(0, 20)], 10, [(0, 9), (9, 18)]) is None
    assert fit_starts([(0, 20)], 10, [(0, 9), (9, 19)]) == [9]
    assert fit_starts([(0, 9), (0, 9)], 5, [(0, 9), (9, 19)]) == [0, 9]


def test_a_stretch_before_and_none_after() -> None:
    assert fit_starts([(50, 60)], 10, [(0, 55)]) is None
    assert fit_starts([(50, 60)], 10, []) is None
    assert fit_starts([], 10, []) == []


def test_jobs_without_length_may_share_a_moment() -> None:
    assert fit_starts([(5, 5), (5, 5), (0, 9)], 0, [(0, 9)]) == [5, 5, 0]


def test_the_unfree_time_counts_in_packing() -> None:
    # Due by 40 with the hand away in (20, 30): the first of the two urgent jobs must begin by 10.
    jobs = [(4, 100), (8, 30), (8, 30)]
    assert fit_starts(jobs, 10, [(0, 20), (30, 60)]) == [40, 8, 30]

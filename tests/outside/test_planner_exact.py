"""The planner against the exact model: the same six criteria, proved, on made-up and on real music.

The model (CP-SAT of OR-tools, in `exact_model`) is itself held against plain enumeration first. Everything is
repeatable by seed. With HARPKEYS_LONG=1 in the environment there are twenty times as many problems and longer
windows.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from functools import cache

import pytest
from exact_model import Key, exact_plan, solve_by_enumeration, solve_exactly
from instances import KINDS, Instance, cut_outs, hard_instance, random_instance

from harpkeys.plan.checker import violations
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import make_plan

LONG = os.environ.get("HARPKEYS_LONG") == "1"
TINY, RANDOM, HARD, CUT = (12_000, 6_000, 800, 1_000) if LONG else (600, 300, 40, 60)
LONGEST_CUT = 90 if LONG else 55
TIME_LIMIT = 120.0
CHUNKS = 10


def chunk(count: int, number: int) -> range:
    """Seeds of one of ten equal shares, so that the work can be spread over processes."""
    return range(count * number // CHUNKS, count * (number + 1) // CHUNKS)


@cache
def windows() -> tuple[Instance, ...]:
    return tuple(cut_outs(CUT, longest=LONGEST_CUT))


def weighted_key(plan: Plan, instance: Instance) -> Key:
    """What a plan costs with the instance's loss weights."""
    weights = instance.weights or (1,) * len(instance.plucks)
    lost = [p for p in instance.plucks if plan.plays[p.id] is None]
    return (
        sum(weights[p.id] for p in lost if p.kind != "auxiliary"),
        sum(weights[p.id] for p in lost if p.kind == "auxiliary"),
        *plan.criteria.key[2:],
    )


def differences(instance: Instance) -> list[str]:
    """Everything in which the planner departs from the exact model on one problem."""
    exact = solve_exactly(
        instance.plucks, instance.harp, instance.player, instance.weights, time_limit=TIME_LIMIT
    )
    plan = make_plan(instance.plucks, instance.harp, instance.player, weights=instance.weights)
    found = [*violations(plan, instance.plucks, weights=instance.weights)]
    if exact is None:
        return [*found, "the exact model ran out of time"]
    if weighted_key(plan, instance) != exact:
        found.append(f"costs {weighted_key(plan, instance)}, not {exact}")
    if not plan.proved:
        found.append("is not proved")
    if tuple(plan.bound) != exact:
        found.append(f"has the bound {plan.bound}, not {exact}")
    return [f"{instance.name}: {what}" for what in found]


def all_differences(instances: Sequence[Instance]) -> list[str]:
    return [what for instance in instances for what in differences(instance)]


# --- the judge is judged ------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("number", range(CHUNKS))
def test_the_exact_model_agrees_with_enumeration(number: int) -> None:
    for seed in chunk(TINY, number):
        tiny = random_instance(seed, tiny=True)
        exact = solve_exactly(tiny.plucks, tiny.harp, tiny.player, tiny.weights)
        assert exact == solve_by_enumeration(tiny.plucks, tiny.harp, tiny.player, tiny.weights), tiny.name


def test_tiny_problems_are_not_all_easy() -> None:
    """Every criterion is above nothing often enough for the comparison to mean something."""
    keys = []
    for seed in range(600):
        tiny = random_instance(seed, tiny=True)
        keys.append(solve_by_enumeration(tiny.plucks, tiny.harp, tiny.player, tiny.weights))
    above = [sum(key[level] > 0 for key in keys) for level in range(6)]
    assert all(count >= least for count, least in zip(above, (60, 4, 15, 60, 60, 8), strict=True)), above
    assert sum(not any(key[:3]) for key in keys) > 200


def test_plans_of_the_exact_model_keep_the_rules() -> None:
    """What the model calls a plan is one by the checker's reading of the rules as well."""
    for instance in [*map(random_instance, range(40)), *windows()[:10]]:
        plan = exact_plan(instance.plucks, instance.harp, instance.player, instance.weights)
        assert plan is not None, instance.name
        assert violations(plan, instance.plucks, weights=instance.weights) == (), instance.name
        assert weighted_key(plan, instance) == plan.bound, instance.name


# --- the planner --------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("number", range(CHUNKS))
def test_made_up_problems(number: int) -> None:
    assert all_differences([random_instance(seed) for seed in chunk(RANDOM, number)]) == []


@pytest.mark.slow
@pytest.mark.parametrize("number", range(CHUNKS))
def test_problems_in_which_many_flips_compete(number: int) -> None:
    assert all_differences([hard_instance(seed) for seed in chunk(HARD, number)]) == []


@pytest.mark.slow
@pytest.mark.parametrize("number", range(CHUNKS))
def test_windows_of_real_scores(number: int) -> None:
    instances = [windows()[place] for place in chunk(CUT, number)]
    assert instances
    assert all_differences(instances) == []


def test_made_up_problems_are_of_all_kinds_and_contested() -> None:
    """Among the problems above every kind occurs, every criterion is at stake, and clusters are searched."""
    kinds: Counter[str] = Counter()
    above: Counter[int] = Counter()
    contested = 0
    for instance in [*map(random_instance, range(300)), *map(hard_instance, range(40))]:
        kinds[instance.name.rsplit(" ", 1)[0]] += 1
        plan = make_plan(instance.plucks, instance.harp, instance.player, weights=instance.weights)
        above.update(level for level in range(6) if plan.criteria.key[level] > 0)
        contested += plan.layers.clusters > 0
    assert set(kinds) == {*KINDS, "hard contest"}
    assert min(kinds.values()) == 25
    assert all(above[level] >= least for level, least in enumerate((60, 5, 40, 200, 120, 20))), above
    assert contested >= 15

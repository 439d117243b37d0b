"""The quick answer to "does it go as written" against the best plan's own answer."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from instances import hard_instance, random_instance

from harpkeys.plan.as_written import AsWritten
from harpkeys.plan.planner import make_plan
from harpkeys.plan.tempo import goes_as_written


def test_what_is_sure_is_what_the_best_plan_says() -> None:
    answers: Counter[tuple[bool | None, bool]] = Counter()
    problems = [random_instance(seed) for seed in range(4000, 5200)]
    problems += [hard_instance(seed) for seed in range(500, 560)]
    for problem in problems:
        sure = AsWritten(problem.plucks, problem.harp).goes(problem.plucks, problem.player)
        plan = make_plan(problem.plucks, problem.harp, problem.player)
        assert plan.proved
        answers[sure, goes_as_written(plan)] += 1
    assert answers[True, False] == answers[False, True] == 0
    assert answers[True, True] > 100
    assert answers[False, False] > 100
    assert answers[None, True] + answers[None, False] < 300


def test_the_order_of_the_questions_does_not_matter() -> None:
    told: Counter[bool | None] = Counter()
    for seed in range(4000, 4150):
        problem = random_instance(seed)
        asked = AsWritten(problem.plucks, problem.harp)
        for slower in (1, 3, 1, 8, 2, 1):
            plucks = [replace(p, onset=p.onset * slower, end=p.end * slower) for p in problem.plucks]
            answer = asked.goes(plucks, problem.player)
            assert answer == AsWritten(plucks, problem.harp).goes(plucks, problem.player)
            told[answer] += 1
    assert min(told[True], told[False]) > 50

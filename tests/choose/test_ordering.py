"""Orders against every order tried in turn; beyond twelve items that what is claimed of them holds."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, permutations, product
from random import Random

import pytest

from harpkeys.choose.ordering import MOST_EXACT, Node, Ordering, _improved, best_order, order_cost


def problem(
    seed: int, items: int, harps: int = 1, nodes: int = 3, fixed: bool = False
) -> tuple[list[Node], list[list[int]], list[int]]:
    """A made-up problem with several nodes to some items and, on request, items bound to the ends."""
    chance = Random(seed)
    found = [
        Node(item, chance.randrange(harps), chance.randint(0, 5))
        for item in range(items)
        for _ in range(chance.randint(1, nodes))
    ]
    steps = [[chance.randint(0, 20) for _ in found] for _ in found]
    ranks = [chance.choice([0, 1, 1, 1, 2, 3]) if fixed else 1 for _ in range(items)]
    return found, steps, ranks


def exhaustive(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], opening: int = 0
) -> int:
    """The least cost of any order of any choice of nodes that keeps the ranks."""
    options = [[k for k, node in enumerate(nodes) if node.item == item] for item in range(len(ranks))]
    return min(
        order_cost(nodes, steps, choice, opening)
        for order in permutations(range(len(ranks)))
        if all(ranks[one] <= ranks[other] for one, other in pairwise(order))
        for choice in product(*(options[item] for item in order))
    )


def check_shape(
    nodes: Sequence[Node], steps: Sequence[Sequence[int]], ranks: Sequence[int], found: Ordering
) -> None:
    items = [nodes[index].item for index in found.nodes]
    assert sorted(items) == list(range(len(ranks)))
    assert [ranks[item] for item in items] == sorted(ranks)
    assert order_cost(nodes, steps, found.nodes) == found.cost
    assert found.bound <= found.cost
    assert found.exact == (found.bound == found.cost)


@pytest.mark.parametrize("fixed", [False, True])
@pytest.mark.parametrize("harps", [1, 2, 3])
@pytest.mark.parametrize("items", [1, 2, 4, 5])
def test_exact_orders_equal_exhaustive_search(items: int, harps: int, fixed: bool) -> None:
    for seed in range(12):
        nodes, steps, ranks = problem(seed, items, harps, 3 if items < 5 else 2, fixed)
        found = best_order(nodes, steps, ranks)
        assert found.exact
        assert found.cost == exhaustive(nodes, steps, ranks)
        check_shape(nodes, steps, ranks, found)


@pytest.mark.parametrize("opening", [3, 1000])
def test_harps_may_cost_something(opening: int) -> None:
    used = set()
    for seed in range(20):
        nodes, steps, ranks = problem(seed, 4, harps=3, fixed=seed % 2 == 0)
        found = best_order(nodes, steps, ranks, opening)
        assert found.cost == exhaustive(nodes, steps, ranks, opening)
        assert found.cost == order_cost(nodes, steps, found.nodes, opening)
        used.add(len({nodes[index].harp for index in found.nodes}))
        improved = _improved(nodes, steps, ranks, opening)
        assert improved.bound <= found.cost <= improved.cost
        assert improved.cost == order_cost(nodes, steps, improved.nodes, opening)
    assert len(used) > 1


def test_what_an_order_costs_counted_by_hand() -> None:
    nodes = [Node(0, 0, 1), Node(1, 1, 2), Node(2, 0, 4)]
    steps = [[0, 50, 10], [60, 0, 70], [20, 80, 0]]
    # Own costs 1 + 2 + 4, the step from node 0 to node 2 on the first harp 10, and two harps.
    assert order_cost(nodes, steps, (0, 1, 2), 100) == 217


def test_seven_items_equal_exhaustive_search() -> None:
    for seed in range(4):
        nodes, steps, ranks = problem(seed, 7, nodes=1)
        assert best_order(nodes, steps, ranks).cost == exhaustive(nodes, steps, ranks)


def test_twelve_items_are_exact_and_no_neighbour_is_better() -> None:
    nodes, steps, ranks = problem(5, MOST_EXACT, nodes=1)
    found = best_order(nodes, steps, ranks)
    assert found.exact
    check_shape(nodes, steps, ranks, found)
    for one in range(MOST_EXACT):
        for other in range(one):
            swapped = list(found.nodes)
            swapped[one], swapped[other] = swapped[other], swapped[one]
            assert order_cost(nodes, steps, swapped) >= found.cost


@pytest.mark.parametrize("harps", [1, 2])
def test_beyond_twelve_items_the_claims_hold(harps: int) -> None:
    for seed in range(3):
        nodes, steps, ranks = problem(seed, MOST_EXACT + 3, harps, 2, fixed=True)
        check_shape(nodes, steps, ranks, best_order(nodes, steps, ranks))


def test_the_bound_of_improved_orders_is_no_higher_than_the_exact_cost() -> None:
    for seed in range(20):
        nodes, steps, ranks = problem(seed, 5, harps=2)
        improved, exact = _improved(nodes, steps, ranks, 0), best_order(nodes, steps, ranks)
        assert improved.bound <= exact.cost <= improved.cost
        check_shape(nodes, steps, ranks, improved)


def test_a_chain_is_found_by_both() -> None:
    # Items in a row, each one step from the next: the order is plain to see, whatever its length.
    for items in (MOST_EXACT, MOST_EXACT + 4):
        nodes = [Node(item, 0, 0) for item in range(items)]
        steps = [[1 if after == before + 1 else 9 for after in range(items)] for before in range(items)]
        found = best_order(nodes, steps, [0] * items)
        assert found.nodes == tuple(range(items))
        assert (found.cost, found.exact) == (items - 1, True)

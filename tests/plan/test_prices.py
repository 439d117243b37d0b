"""Prices of the hands' time: what they charge, and that no prices lift the bound above the best plan."""

from __future__ import annotations

import random

import pytest

from harpkeys.plan import alone
from harpkeys.plan.alone import best_path
from harpkeys.plan.candidates import sort_plucks
from harpkeys.plan.clusters import Table
from harpkeys.plan.cost import LOST, TIERS, Vector, least_whole, pack, unpack
from harpkeys.plan.layers import Node
from harpkeys.plan.planner import make_plan
from harpkeys.plan.prices import Prices
from harpkeys.plan.reach import node_costs
from tests.plan.test_layers_agree import LETTERS, STEADY, harp_of, music, table_of


def some_prices(table: Table, rng: random.Random, count: int) -> Prices:
    """Prices at random moments of the free time."""
    by_hand: tuple[dict[int, int], dict[int, int]] = ({}, {})
    for hand in (0, 1):
        spans = [
            (max(low, -2000), min(max(low, -2000) + 3000, high)) for low, high in table.fits[hand].stretches
        ]
        for _ in range(count):
            low, high = rng.choice(spans)
            by_hand[hand][rng.randint(low, high)] = rng.randrange(3 * LOST)
    return Prices(by_hand, table.fits, table.flip)


def test_a_flip_pays_for_the_spans_it_begins_in() -> None:
    table = table_of(music(3, 60, 0.3), harp_of(LETTERS[0]))
    prices = Prices(({1000: 5, 1500: 7}, {}), table.fits, 600)
    assert [prices.at(0, start) for start in (400, 401, 900, 901, 1000, 1001, 1500, 1501)] == [
        0, 5, 5, 12, 12, 7, 7, 0,
    ]  # fmt: skip
    assert prices.at(1, 1000) == 0
    assert (prices.total, prices.most) == (12, 12)


@pytest.mark.parametrize("seed", range(6))
def test_the_least_price_is_the_least_of_all_moments(seed: int) -> None:
    rng = random.Random(seed)
    table = table_of(music(seed, 60, 0.3), harp_of(LETTERS[seed % 3]))
    prices = some_prices(table, rng, 12)
    for _ in range(60):
        hand, first = rng.randrange(2), rng.randrange(-500, 20_000)
        latest = first + rng.randrange(4000)
        fits = table.fits[hand]
        open_to = [
            start
            for start in range(first, latest + 1)
            if any(low <= start <= last for low, last in zip(fits.starts, fits.lasts, strict=True))
        ]
        paid = [prices.at(hand, start) for start in open_to]
        assert prices.least(hand, first, latest) == (min(paid) if paid else None)
        assert not paid or max(paid) <= prices.most


@pytest.mark.parametrize("seed", range(8))
def test_no_prices_lift_the_bound_above_the_best_plan(seed: int) -> None:
    plucks, harp = music(300 + seed, 100, 0.3), harp_of(LETTERS[seed % 3])
    table = table_of(plucks, harp)
    plan = make_plan(plucks, harp, STEADY, effort=20)
    assert plan.proved
    elsewhere = sort_plucks(plucks, harp).cost
    for round_ in range(6):
        prices = some_prices(table, random.Random(1000 * seed + round_), 4 * round_)
        priced = sum(best_path(chain.layers, chain.strings, prices=prices).bound for chain in table.chains)
        assert elsewhere + priced - prices.total <= pack(plan.criteria.key)


def beats_outright(one: tuple[Node | None, ...], other: tuple[Node | None, ...], *_: object) -> bool:
    """Whether every string of one label is at least as free as that of another, in the same state."""
    return all(
        mine is None
        or (
            theirs is not None
            and mine.state == theirs.state
            and all(a <= b for a, b in zip(mine.fits, theirs.fits, strict=True))
        )
        for mine, theirs in zip(one, other, strict=True)
    )


@pytest.mark.parametrize("seed", range(30))
def test_pruning_against_prices_loses_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    table = table_of(music(seed, 110, 0.3), harp_of(LETTERS[seed % 3]))
    prices = some_prices(table, random.Random(seed), 40)
    chains = [chain for chain in table.chains if len(chain.layers) <= 40]
    assert chains
    pruned = [best_path(chain.layers, chain.strings, prices=prices) for chain in chains]
    monkeypatch.setattr(alone, "_follows", beats_outright)
    whole = [best_path(chain.layers, chain.strings, prices=prices, most_labels=10**6) for chain in chains]
    assert [path.cost for path in pruned] == [path.cost for path in whole]
    assert all(path.bound == path.cost for path in whole)


@pytest.mark.parametrize("seed", range(10))
def test_a_priced_path_costs_what_its_parts_do(seed: int) -> None:
    table = table_of(music(seed, 110, 0.3), harp_of(LETTERS[seed % 3]))
    prices = some_prices(table, random.Random(seed), 40)
    flips = 0
    for chain in table.chains:
        path = best_path(chain.layers, chain.strings, prices=prices)
        paid = 0
        for change in path.changes:
            flips += 1
            starts = change.before.fits[change.tier]
            price = prices.least(change.tier & 1, starts, change.latest)
            assert price is not None
            paid += TIERS[change.tier] + price
        assert path.cost == sum(way.cost for way in path.ways) + paid
    assert flips


@pytest.mark.parametrize("seed", range(10))
def test_what_costs_nothing_changes_nothing(seed: int) -> None:
    table = table_of(music(seed, 110, 0.3), harp_of(LETTERS[seed % 3]))
    free = Prices(({}, {}), table.fits, table.flip)
    for chain in table.chains:
        plain = best_path(chain.layers, chain.strings)
        priced = best_path(chain.layers, chain.strings, prices=free)
        assert (priced.cost, priced.changes) == (plain.cost, plain.changes)
        limit = plain.cost + 2 * LOST
        costs = node_costs(chain.layers, chain.strings, table.fits, limit)
        assert node_costs(chain.layers, chain.strings, table.fits, limit, free) == costs


@pytest.mark.parametrize("seed", range(10))
def test_what_a_node_costs_is_on_no_cheaper_way(seed: int) -> None:
    """The cheapest path itself passes its nodes at what they are said to cost at least, prices included."""
    table = table_of(music(seed, 110, 0.3), harp_of(LETTERS[seed % 3]))
    prices = some_prices(table, random.Random(seed), 20)
    for chain in table.chains:
        path = best_path(chain.layers, chain.strings, prices=prices)
        costs = node_costs(chain.layers, chain.strings, table.fits, path.cost, prices)
        assert costs is not None
        so_far, rest = 0, path.cost
        flips = {change.layer: 0 for change in path.changes}
        for change in path.changes:
            price = prices.least(change.tier & 1, change.before.fits[change.tier], change.latest)
            flips[change.layer] += TIERS[change.tier] + (price or 0)
        for index, way in enumerate(path.ways):
            so_far += way.cost + flips.get(index, 0)
            rest -= flips.get(index, 0)
            for node in way.nodes:
                # No cheaper path than the cheapest: both sides meet exactly.
                assert costs.to[node] + costs.onward[node] - way.cost <= path.cost
                assert costs.to[node] <= so_far
                assert costs.onward[node] <= rest
            rest -= way.cost


@pytest.mark.parametrize(
    ("bound", "least"),
    [
        ((18, 0, 2, 30, 4, 1), (18, 0, 2, 30, 4, 1)),
        ((18, 1 << 38, 2, 30, 4, 1), (19, 0, 0, 0, 0, 0)),
        ((18, 0, 2, (1 << 40) - 5, 1 << 39, 7), (18, 0, 3, 0, 0, 0)),
        ((0, 0, 0, 0, 0, 1 << 33), (0, 0, 0, 0, 1, 0)),
    ],
)
def test_a_bound_is_raised_to_what_a_plan_can_cost(bound: Vector, least: Vector) -> None:
    assert unpack(least_whole(pack(bound))) == least

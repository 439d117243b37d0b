"""The planner's layers against each other, on problems larger than the exact model can take.

Pruned search = unpruned search, search over conflicts = solver, small model = whole model.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace

import pytest
from instances import corpus_plucks

from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.pitch import Pitch
from harpkeys.plan import alone, clusters, columns, highs, network, skeleton, solver
from harpkeys.plan.alone import Path, best_path
from harpkeys.plan.candidates import sort_plucks
from harpkeys.plan.checker import violations
from harpkeys.plan.clusters import Settled, Table, conflicts, dive, search, unrolled_chain
from harpkeys.plan.hand_time import free_stretches
from harpkeys.plan.planner import make_plan
from harpkeys.plan.windows import fits_of
from harpkeys.score.pluck import Hand, Pluck

STEADY = Player("steady", 600, 150, 300)
LETTERS = ((0,) * 7, (0, 0, -1, 0, 0, -1, -1), (0, -1, 0, 0, 1, 0, 0))


def harp_of(letters: tuple[int, ...]) -> Harp:
    return Harp("test", "test", tuple(HarpString(21 + k, letters[(21 + k) % 7], True) for k in range(22)))


def music(seed: int, count: int, chromatic: float) -> tuple[Pluck, ...]:
    rng = random.Random(seed)
    plucks = []
    onset = 0
    hands: tuple[Hand, Hand] = ("left", "right")
    for number in range(count):
        onset += rng.choice((0, 250, 250, 500, 1000))
        pitch = Pitch(rng.randrange(24, 40), rng.choice((-1, 1)) if rng.random() < chromatic else 0)
        length = rng.choice((250, 500, 2000))
        plucks.append(Pluck(number, onset, onset + length, pitch, rng.choice(hands)))
    return tuple(plucks)


def table_of(plucks: tuple[Pluck, ...], harp: Harp) -> Table:
    fits = fits_of(free_stretches(plucks, STEADY), STEADY.flip)
    chains = sort_plucks(plucks, harp).chains
    unrolled = tuple(unrolled_chain(c, fits, STEADY.flip) for c in chains)
    return Table(unrolled, fits, STEADY.flip)


@pytest.mark.parametrize("seed", range(12))
def test_pruning_a_chain_loses_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    table = table_of(music(seed, 120, 0.3), harp_of(LETTERS[seed % 3]))
    chains = [chain for chain in table.chains if len(chain.layers) <= 40]
    assert chains
    pruned = [best_path(chain.layers, chain.strings).cost for chain in chains]
    monkeypatch.setattr(alone, "MOST_LABELS", 10**6)
    plain = alone.undominated
    # Labels that are beaten outright go, but none is ransomed.
    monkeypatch.setattr(alone, "undominated", lambda labels, tainted, layer: plain(labels, tainted))
    whole = [best_path(chain.layers, chain.strings, most_labels=10**6) for chain in chains]
    assert all(path.bound == path.cost for path in whole)
    assert pruned == [path.cost for path in whole]


def fast_music(seed: int, count: int) -> tuple[Pluck, ...]:
    """Hands that are seldom free, strings that ring into the next gap, and plucks a moment apart."""
    rng = random.Random(seed)
    plucks = []
    onset = 0
    for number in range(count):
        onset += rng.choice((0, 50, 100, 100, 150, 300, rng.choice((300, 900, 1500))))
        pitch = Pitch(rng.randrange(26, 33), rng.choice((-1, 1)) if rng.random() < 0.5 else 0)
        hand: Hand = "right" if rng.random() < 0.3 else "left"
        plucks.append(Pluck(number, onset, onset + rng.choice((50, 100, 100, 400, 2500)), pitch, hand))
    return tuple(plucks)


def test_fast_music_has_fewer_runs_than_onsets(monkeypatch: pytest.MonkeyPatch) -> None:
    def layers() -> int:
        tables = [table_of(fast_music(seed, 60), harp_of(LETTERS[seed % 3])) for seed in range(12)]
        return sum(len(chain.layers) for table in tables for chain in table.chains)

    in_runs = layers()
    monkeypatch.setattr(skeleton, "_sight", lambda group, fits, flip: None)
    assert in_runs < 0.8 * layers()


@pytest.mark.parametrize("seed", range(60))
def test_runs_of_onsets_lose_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    plucks, harp = fast_music(seed, 60), harp_of(LETTERS[seed % 3])
    in_runs = table_of(plucks, harp)
    monkeypatch.setattr(skeleton, "_sight", lambda group, fits, flip: None)
    one_by_one = table_of(plucks, harp)
    for short, long in zip(in_runs.chains, one_by_one.chains, strict=True):
        assert short.skeleton.clashing == long.skeleton.clashing
        assert short.skeleton.unavoidable == long.skeleton.unavoidable
        assert best_path(short.layers, short.strings).cost == best_path(long.layers, long.strings).cost


def total(paths: Mapping[int, Path]) -> int:
    return sum(path.cost for path in paths.values())


@pytest.mark.parametrize("seed", range(10))
def test_search_and_solver_agree(seed: int) -> None:
    table = table_of(music(100 + seed, 90, 0.25), harp_of(LETTERS[seed % 3]))
    paths = {index: best_path(chain.layers, chain.strings) for index, chain in enumerate(table.chains)}
    known = dive(paths, table)
    assert next(conflicts(known, table), None) is None
    found, bound, finished = search(paths, table, known, 3000)
    cost = total(found)
    assert finished
    assert bound == cost
    floor = sum(path.bound for path in paths.values())
    solved = solver.solve_together(paths, Settled(known, total(known), floor, "search"), table, 20)
    assert (solved.cost, solved.bound) == (cost, cost)
    assert next(conflicts(solved.paths, table), None) is None


@pytest.mark.parametrize("seed", range(4))
def test_the_small_model_finds_what_the_whole_one_does(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    table = table_of(music(200 + seed, 110, 0.3), harp_of(LETTERS[seed % 3]))
    paths = {index: best_path(chain.layers, chain.strings) for index, chain in enumerate(table.chains)}
    known = dive(paths, table)
    floor = sum(path.bound for path in paths.values())
    arguments = (paths, Settled(known, total(known), floor, "search"), table, 20)
    small = solver.solve_together(*arguments)
    monkeypatch.setattr(solver, "FIRST_SPARE", 1 << 240)
    whole = solver.solve_together(*arguments)
    assert small.cost == small.bound == whole.cost == whole.bound


@pytest.mark.parametrize("effort", [0, 1, 10])
def test_less_effort_is_never_wrong(effort: int) -> None:
    plucks, harp = music(7, 160, 0.3), harp_of(LETTERS[0])
    plan = make_plan(plucks, harp, STEADY, effort=effort)
    assert violations(plan, plucks) == ()
    assert plan.bound <= plan.criteria.key
    assert plan.proved == (plan.bound == plan.criteria.key)
    assert plan == make_plan(plucks, harp, STEADY, effort=effort)


def test_layers_are_counted() -> None:
    plucks = music(7, 160, 0.3)
    plan = make_plan(plucks, harp_of(LETTERS[0]), STEADY)
    assert plan.layers.clusters == plan.layers.searched + plan.layers.solved > 0
    easy = tuple(replace(pluck, pitch=Pitch(pluck.pitch.diatonic)) for pluck in plucks)
    assert make_plan(easy, harp_of(LETTERS[0]), STEADY).layers.clusters == 0


def test_weights_steer_what_is_lost() -> None:
    pair = (
        Pluck(0, 0, 500, Pitch(29), "right"),
        Pluck(1, 0, 500, Pitch(29, 1), "right"),
    )
    harp = harp_of(LETTERS[0])
    assert make_plan(pair, harp, STEADY, weights=(1, 2)).plays[0] is None
    assert make_plan(pair, harp, STEADY, weights=(2, 1)).plays[1] is None


def test_clusters_module_has_no_clock() -> None:
    """Work limits are counted, so nothing in the planner may ask what time it is."""
    for module in (alone, clusters, solver):
        assert "time" not in vars(module)


def test_leaving_starts_out_is_never_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    """A chromatic tune in one hand, the other free all the time, so that every flip may wait for many."""
    slots, dearer = network._slots, 0
    for seed in range(40):
        plucks = tuple(replace(pluck, hand="right") for pluck in fast_music(seed, 90))
        harp = harp_of(LETTERS[seed % 3])
        best = make_plan(plucks, harp, STEADY, effort=20)
        assert best.proved
        with monkeypatch.context() as patch:
            patch.setattr(clusters, "search", lambda paths, table, upper, most: (upper, 0, False))
            patch.setattr(network, "_slots", lambda *most: slots(*most[:3], 0) if most[3] == 0 else None)
            fewer = make_plan(plucks, harp, STEADY, effort=4)
        assert violations(fewer, plucks) == ()
        assert fewer.bound <= best.criteria.key <= fewer.criteria.key
        dearer += fewer.criteria.key > best.criteria.key
    assert dearer


@pytest.mark.parametrize("letters", LETTERS[:2])
@pytest.mark.parametrize("name", ["polonaise_op1n1", "polonaise_op1n4"])
def test_prices_prove_what_the_whole_model_proves(
    name: str, letters: tuple[int, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    plucks = corpus_plucks(f"schumann_clara/{name}.mxl")[:700]
    harp = Harp("test", "test", tuple(HarpString(14 + k, letters[k % 7], True) for k in range(34)))
    grounds: list[bool] = []
    better = solver._better

    def spied(ground: solver._Ground, *rest: object) -> solver._Ground:
        found = better(ground, *rest)  # type: ignore[arg-type]
        grounds.append(found is not ground)
        return found

    with monkeypatch.context() as patch:
        patch.setattr(solver, "_better", spied)
        priced = make_plan(plucks, harp, STEADY, effort=20)
    assert any(grounds)
    monkeypatch.setattr(solver, "FIRST_SPARE", 1 << 240)
    whole = make_plan(plucks, harp, STEADY, effort=20)
    assert priced.proved
    assert whole.proved
    assert priced.criteria == whole.criteria
    assert violations(priced, plucks) == ()


def contested(seed: int) -> tuple[Table, dict[int, Path], Settled]:
    """Chains that get in each other's way, each alone, and what the dive makes of them."""
    table = table_of(fast_music(seed, 130), harp_of(LETTERS[seed % 3]))
    paths = {index: best_path(chain.layers, chain.strings) for index, chain in enumerate(table.chains)}
    known = dive(paths, table)
    return table, paths, Settled(known, total(known), sum(path.bound for path in paths.values()), "search")


def best_of(seed: int) -> Settled:
    table, paths, start = contested(seed)
    best = solver.solve_together(paths, start, table, 20)
    assert best.cost == best.bound
    return best


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("cells", [network.FINE_CELLS, ((1, 3),)])
def test_cells_of_time_ask_less_than_a_plan(
    seed: int, cells: tuple[tuple[int, int], ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there are only cells, what they claim is never more than the best plan costs."""
    best = best_of(seed)
    table, paths, start = contested(seed)
    monkeypatch.setattr(network, "_at_starts", lambda links, table, prices, most, choices: None)
    monkeypatch.setattr(network, "FINE_CELLS", cells)
    bounded = solver.solve_together(paths, start, table, 20)
    assert start.bound <= bounded.bound <= best.cost <= bounded.cost <= start.cost
    assert next(conflicts(bounded.paths, table), None) is None


def test_cells_of_time_prove_most_plans(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = network._at_starts
    proved = gained = 0
    for seed in range(12):
        best = best_of(seed)
        table, paths, start = contested(seed)
        monkeypatch.setattr(network, "_at_starts", lambda links, table, prices, most, choices: None)
        bounded = solver.solve_together(paths, start, table, 20)
        monkeypatch.setattr(network, "_at_starts", plain)
        proved += bounded.bound == best.cost == bounded.cost
        gained += bounded.bound > start.bound
    assert proved >= 6
    assert gained >= 8


@pytest.mark.parametrize("seed", range(6))
def test_prices_of_cells_are_a_start_like_any_other(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    best = best_of(seed)
    table, paths, start = contested(seed)
    plain = network._at_starts
    monkeypatch.setattr(network, "_at_starts", lambda links, table, prices, most, choices: None)
    prices = solver.solve_together(paths, start, table, 20).prices
    monkeypatch.setattr(network, "_at_starts", plain)
    again = solver.solve_together(paths, replace(start, prices=prices), table, 20)
    assert (again.cost, again.bound) == (best.cost, best.bound)


@pytest.mark.parametrize("share", [0, 1, 3, 8, 20, 50])
def test_plans_cut_short_keep_all_rules(share: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands when the work runs out may be any solution, with flips that serve nothing."""
    for seed in range(12):
        plucks, harp = fast_music(seed, 130), harp_of(LETTERS[seed % 3])
        best = make_plan(plucks, harp, STEADY, effort=20)
        monkeypatch.setattr(solver, "WORK_PER_EFFORT", 1 + 10 * share)
        plan = make_plan(plucks, harp, STEADY, effort=20)
        monkeypatch.undo()
        assert violations(plan, plucks) == ()
        assert plan.bound <= best.criteria.key <= plan.criteria.key


def test_flips_that_serve_nothing_are_left_out() -> None:
    """A solution that is any, not the best: the objective turned round, so it flips as often as it can."""
    wasted = 0
    for seed in range(12):
        table, paths, _ = contested(seed)
        ground = solver._Ground({chain: path.bound for chain, path in paths.items()})
        limits = {chain: cost + solver.FIRST_SPARE for chain, cost in ground.lower.items()}
        links = solver._links(limits, ground, table, 20)
        assert links is not None
        options = next(iter(network.options_of(links, table, None, 10**6)))
        model = columns.build(sorted(paths), links, options.of, table)
        greedy = highs.Solver(model, 100, 10**9)
        greedy.minimise([-cost[4] for cost in model.costs], -(10**9), None, last=True)
        assert greedy.best is not None
        read = columns.read_plan(model, greedy.best, sorted(paths), table)
        made = sum(
            greedy.best[column] > 0.5 and option is not None and link.change is not None
            for link, option, column in model.steps
        )
        kept = sum(len(path.changes) for path in read.values())
        wasted += made - kept
        assert next(conflicts(read, table), None) is None
        for chain, path in read.items():
            state: dict[int, int] = {}
            flips = {(change.before.position, change.layer): change for change in path.changes}
            for layer, way in zip(table.chains[chain].layers, path.ways, strict=True):
                for node in way.nodes:
                    flip = flips.pop((node.position, layer.index), None)
                    assert (flip is not None) == (state.get(node.position, node.state) != node.state)
                    state[node.position] = node.state
            assert not flips
    assert wasted > 0


@pytest.mark.parametrize("seed", range(6))
def test_values_taken_on_trust_change_nothing(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    table, paths, start = contested(seed)
    trusting = solver.solve_together(paths, start, table, 20)
    plain = highs.Solver.__init__

    def distrusting(self: highs.Solver, *arguments: object) -> None:
        plain(self, *arguments)  # type: ignore[arg-type]
        self.trusting = False

    monkeypatch.setattr(highs.Solver, "__init__", distrusting)
    strict = solver.solve_together(paths, start, table, 20)
    assert trusting.cost == trusting.bound == strict.cost == strict.bound


def test_trust_is_taken_back_where_no_solution_bears_it_out(monkeypatch: pytest.MonkeyPatch) -> None:
    taken_back = []
    plain = highs.Solver.retract

    def retract(self: highs.Solver) -> None:
        before = len(self.open)
        plain(self)
        taken_back.append((before, len(self.open)))

    monkeypatch.setattr(highs.Solver, "retract", retract)
    for seed in range(40):
        plan = make_plan(fast_music(seed, 130), harp_of(LETTERS[seed % 3]), STEADY, effort=20)
        if taken_back:
            assert plan.proved
            break
    assert taken_back
    assert all(before <= after for before, after in taken_back)


@pytest.mark.parametrize("seed", range(8))
def test_a_cluster_that_grows_keeps_its_plan_beside_the_others(seed: int) -> None:
    table, paths, _ = contested(seed)
    half = {chain: path for chain, path in paths.items() if chain % 2}
    solved = clusters.settle_cluster(
        [Settled({chain: path}, path.cost, path.bound, "alone") for chain, path in half.items()],
        paths,
        table,
        20,
    )
    rest = [
        Settled({chain: path}, path.cost, path.bound, "alone")
        for chain, path in paths.items()
        if not chain % 2
    ]
    joined = clusters._beside([solved, *rest], table)
    assert set(joined) == set(paths)
    assert next(conflicts(joined, table), None) is None
    grown = clusters.settle_cluster([solved, *rest], paths, table, 20)
    at_once = clusters.settle_cluster(
        [Settled({chain: path}, path.cost, path.bound, "alone") for chain, path in paths.items()],
        paths,
        table,
        20,
    )
    assert grown.cost == grown.bound == at_once.cost == at_once.bound
    assert grown.work >= solved.work


def test_work_is_counted_and_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    table, paths, start = contested(5)
    best = solver.solve_together(paths, start, table, 20)
    assert best.work > 0
    for share in (0, 1, 5, 20):
        monkeypatch.setattr(solver, "WORK_PER_EFFORT", best.work * share // 400)
        cut = solver.solve_together(paths, start, table, 20)
        assert start.bound <= cut.bound <= best.cost <= cut.cost <= start.cost
        assert next(conflicts(cut.paths, table), None) is None

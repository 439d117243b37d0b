"""Programmes of the demo scores against every order and choice tried in turn, and replayed lever by lever."""

from __future__ import annotations

import re
from functools import cache
from itertools import permutations, product
from pathlib import Path

import pytest

from harpkeys.choose.processes import LocalProcesses
from harpkeys.choose.programme import Choice, Fit, Programme, Running, make_programme, order_ranks
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.harp.tunings import retuned
from harpkeys.report.performance import Performance, perform_part
from harpkeys.report.vet import USUAL_TUNINGS, vet
from harpkeys.score.reader import read_score

CORPUS = Path(__file__).resolve().parents[2] / "corpus"

SMALL_SETS = [
    ("five-bridges", "heron-standing", "crossing-lane", "lantern-waltz"),
    ("the-mill-turns", "heron-standing", "down-the-quay-steps", "crossing-lane", "owl-light-lullaby"),
    ("twice-round-the-well", "the-loom", "fog-on-the-cut"),
    ("doorstep-jig",),
]


@cache
def piece(name: str) -> tuple[str, Performance]:
    (path,) = CORPUS.glob(f"{name}.m*l")
    return name, perform_part(read_score(path))


def tunings_of_one_harp() -> list[Choice]:
    harp = find_harp("34")
    return [Choice(0, retuned(harp, tuning)) for tuning in USUAL_TUNINGS]


def two_harps() -> list[Choice]:
    return [Choice(0, find_harp("34")), Choice(1, find_harp("34 in E-flat"))]


def two_harps_and_tunings() -> list[Choice]:
    return [*two_harps(), Choice(1, find_harp("34"))]


@cache
def programme(
    names: tuple[str, ...], harps: str, first: tuple[int, ...] = (), last: tuple[int, ...] = ()
) -> Programme:
    choices = {"one": tunings_of_one_harp, "two": two_harps, "both": two_harps_and_tunings}[harps]()
    return make_programme(
        [piece(name) for name in names], choices, DEFAULT_PLAYER, openers=first, closers=last
    )


def cost_of(found: Programme, order: tuple[tuple[int, int], ...]) -> tuple[int, int, int, int]:
    """Strings retuned, flips within the pieces, harps and levers moved between pieces, counted one by one."""
    strung: dict[int, int] = {}
    levers: dict[int, list[int]] = {}
    retuned_strings = flips = moved = 0
    for number, choice in order:
        fit, harp = found.fits[number][choice], found.choices[choice].harp
        instrument = found.choices[choice].instrument
        if instrument in strung:
            before = found.choices[strung[instrument]].harp
            for one, other in zip(before.strings, harp.strings, strict=True):
                retuned_strings += one.tuned != other.tuned
            for old, new in zip(levers[instrument], fit.plan.starting, strict=True):
                moved += old != new
        states = list(fit.plan.starting)
        for flip in fit.plan.flips:
            assert states[flip.string] != flip.to
            states[flip.string] = flip.to
            flips += 1
        flips += fit.plan.criteria.off_string
        strung[instrument], levers[instrument] = choice, states
    return retuned_strings, flips, len(strung), moved


def amounts(running: Running) -> tuple[int, int, int, int]:
    return running.retuned, running.flips, running.harps, running.moved


def losses(fits: list[Fit]) -> tuple[int, ...]:
    return tuple(sum(fit.plan.criteria.key[k] for fit in fits) for k in range(3))


def kept(order: tuple[int, ...], first: tuple[int, ...], last: tuple[int, ...]) -> bool:
    return order[: len(first)] == first and (not last or order[-len(last) :] == last)


Case = tuple[tuple[str, ...], str, tuple[int, ...], tuple[int, ...]]

CASES: list[Case] = [(names, harps, (), ()) for names in SMALL_SETS for harps in ("one", "two", "both")]
CASES += [
    (SMALL_SETS[1], "one", (2,), (0,)),
    (SMALL_SETS[1], "two", (4, 3), ()),
    (SMALL_SETS[0], "both", (), (1, 0)),
]


@pytest.mark.parametrize(("names", "harps", "first", "last"), CASES)
def test_the_single_answer_equals_exhaustive_search(
    names: tuple[str, ...], harps: str, first: tuple[int, ...], last: tuple[int, ...]
) -> None:
    found = programme(names, harps, first, last)
    orders = [order for order in permutations(range(len(names))) if kept(order, first, last)]
    merits = {}
    for choice in range(len(found.choices)):
        column = [row[choice] for row in found.fits]
        unserved = sum(fit.plan.criteria.lost + fit.plan.criteria.lost_auxiliaries > 0 for fit in column)
        merits[choice] = min(
            (unserved, losses(column), *cost_of(found, tuple((k, choice) for k in order))) for order in orders
        )
    best = min(merits.values())
    assert merits[found.best] == best
    assert amounts(found.single) == best[2:]
    assert found.single.exact
    assert kept(tuple(step.piece for step in found.single.steps), first, last)


@pytest.mark.parametrize(("names", "harps", "first", "last"), CASES)
def test_the_mixed_answer_equals_exhaustive_search(
    names: tuple[str, ...], harps: str, first: tuple[int, ...], last: tuple[int, ...]
) -> None:
    found = programme(names, harps, first, last)
    allowed = []
    for row in found.fits:
        least = min(fit.plan.criteria.key[:3] for fit in row)
        allowed.append([k for k, fit in enumerate(row) if fit.plan.criteria.key[:3] == least])
    best = min(
        cost_of(found, tuple((number, choices[number]) for number in order))
        for order in permutations(range(len(names)))
        if kept(order, first, last)
        for choices in product(*allowed)
    )
    lost = losses([row[options[0]] for row, options in zip(found.fits, allowed, strict=True)])
    single = losses([row[found.best] for row in found.fits])
    if found.mixed is None:
        assert (single, *amounts(found.single)) <= (lost, *best)
        return
    assert amounts(found.mixed) == best
    assert found.mixed.exact
    assert (lost, *best) < (single, *amounts(found.single))
    assert kept(tuple(step.piece for step in found.mixed.steps), first, last)


def check_replay(found: Programme, running: Running) -> None:
    """Doing what the steps say, from all levers down, brings every piece to its start."""
    tuned: dict[int, list[int]] = {}
    levers: dict[int, list[int]] = {}
    retuned_strings = flips = moved = 0
    for step in running.steps:
        choice, fit = found.choices[step.choice], found.fits[step.piece][step.choice]
        assert step.opens == (choice.instrument not in levers)
        strings = [string.tuned for string in choice.harp.strings]
        if step.opens:
            tuned[choice.instrument], levers[choice.instrument] = list(strings), [0] * len(strings)
            assert step.retuned == ()
        here, states = tuned[choice.instrument], levers[choice.instrument]
        for index, semitones in step.retuned:
            here[index] += semitones
        assert here == strings
        for index in step.raised:
            assert states[index] == 0
            states[index] = 1
        for index in step.lowered:
            assert states[index] == 1
            states[index] = 0
        assert tuple(states) == fit.plan.starting
        if not step.opens:
            retuned_strings += len(step.retuned)
            moved += len(step.raised) + len(step.lowered)
        for flip in fit.plan.flips:
            states[flip.string] = flip.to
        flips += len(fit.plan.flips) + fit.plan.criteria.off_string
    assert amounts(running) == (retuned_strings, flips, len(levers), moved)
    assert sorted(step.piece for step in running.steps) == list(range(len(found.titles)))


@pytest.mark.parametrize(("names", "harps", "first", "last"), CASES)
def test_steps_replay(
    names: tuple[str, ...], harps: str, first: tuple[int, ...], last: tuple[int, ...]
) -> None:
    found = programme(names, harps, first, last)
    check_replay(found, found.single)
    if found.mixed is not None:
        check_replay(found, found.mixed)


def test_some_case_needs_a_mixed_answer_and_some_none() -> None:
    mixed = [programme(*case).mixed for case in CASES]
    assert any(running is not None for running in mixed)
    assert any(running is None for running in mixed)


def test_fits_are_what_vet_says() -> None:
    found = programme(SMALL_SETS[0], "two")
    for name, row in zip(SMALL_SETS[0], found.fits, strict=True):
        (path,) = CORPUS.glob(f"{name}.m*l")
        for choice, fit in zip(found.choices, row, strict=True):
            report = vet(read_score(path), choice.harp, DEFAULT_PLAYER)
            assert (fit.plan.criteria, fit.plan.starting, fit.verdict) == (
                report.plan.criteria,
                report.plan.starting,
                report.verdict,
            )


def test_several_processes_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever makes a plan; and that they are started at all is seen by what is asked of them."""
    asked: list[int] = []

    class Counting(LocalProcesses):
        def __init__(self, processes: int, *words: object) -> None:
            asked.append(processes)
            super().__init__(processes, *words)  # type: ignore[arg-type]

    monkeypatch.setattr("harpkeys.choose.processes.LocalProcesses", Counting)
    monkeypatch.setattr("harpkeys.choose.side_by_side.PATIENCE", -1)
    pieces = [piece(name) for name in SMALL_SETS[1]]
    said: list[str] = []
    found = make_programme(pieces, tunings_of_one_harp(), DEFAULT_PLAYER, processes=2, say=said.append)
    assert asked == [2]
    assert found == programme(SMALL_SETS[1], "one")
    assert list(dict.fromkeys(said)) == [f"Planning {title}" for title, _ in pieces]


def test_few_plans_are_made_without_further_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harpkeys.choose.side_by_side.PATIENCE", -1)
    monkeypatch.setattr("harpkeys.choose.processes.LocalProcesses", None)
    found = make_programme([piece("doorstep-jig")], two_harps(), DEFAULT_PLAYER, processes=2)
    assert found == make_programme([piece("doorstep-jig")], two_harps(), DEFAULT_PLAYER)


def test_pieces_that_no_choice_serves_are_named() -> None:
    assert programme(SMALL_SETS[2], "one").unserved == (2,)
    assert programme(SMALL_SETS[0], "two").unserved == ()


def test_ranks_bind_openers_and_closers() -> None:
    assert order_ranks(5, (3, 0), (1,)) == [1, 3, 2, 0, 2]
    with pytest.raises(
        OptionError, match=re.escape("a piece is to open or to close twice; name each piece once.")
    ):
        order_ranks(3, (0,), (0,))

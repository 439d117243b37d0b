"""Questions of tempo: numbers worked by hand, and every ceiling held against a plain search."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import permutations
from typing import Any

import pytest
from exact_model import HANDS, busy_times, exact_plan, release_of, stands
from instances import random_instance

from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.pitch import Pitch
from harpkeys.plan.model import Criteria, Flip, Plan
from harpkeys.plan.tempo import Ceiling, goes_as_written, player_needed, playing_tempo, tempo_ceiling
from harpkeys.score.pluck import Hand, Pluck

HARP = Harp("four strings", "C", tuple(HarpString(diatonic, 0, True) for diatonic in range(28, 32)))
PLAYER = Player("by hand", flip=600, leave=150, place=300)


def half_up(time: Fraction) -> int:
    return (2 * time.numerator + time.denominator) // (2 * time.denominator)


def retimer(plucks: Sequence[Pluck]) -> Callable[[Fraction], Sequence[Pluck]]:
    def retime(factor: Fraction) -> Sequence[Pluck]:
        return [replace(p, onset=half_up(p.onset / factor), end=half_up(p.end / factor)) for p in plucks]

    return retime


def pluck(
    number: int, onset: int, end: int, diatonic: int, alter: int, hand: Hand, held: bool = False
) -> Pluck:
    return Pluck(number, onset, end, Pitch(diatonic, alter), hand, sustained=held)


def made(plucks: Sequence[Pluck], flips: Iterable[tuple[Any, ...]]) -> Plan:
    """A plan for plucks on their own strings; flips as (string, to, hand, start, after, before, is_cut)."""
    plays = tuple((p.pitch.diatonic - 28, int(p.pitch.alter)) for p in plucks)
    out = tuple(
        Flip(i, string, to, hand, start, after, before, 0, is_cut, 0)
        for i, (string, to, hand, start, after, before, is_cut) in enumerate(flips)
    )
    criteria = Criteria(0, 0, sum(f.is_cut for f in out), len(out), 0, sum(f.hand == "right" for f in out))
    return Plan(HARP, PLAYER, plays, (None,) * len(plucks), (0,) * 4, out, criteria, criteria.key, True)


def test_one_clean_flip_by_an_idle_hand() -> None:
    # C4 rings until 1000 and C#4 comes at 3000: 2000 ms at the tempo, and 600 are needed: k is about 10 / 3.
    # 3.335: 899.55 - 299.85 is 900 - 300 = 600. 3.336: 899.28 - 299.76 is 899 - 300 = 599, and so it stays.
    plucks = [pluck(0, 0, 1000, 28, 0, "right"), pluck(1, 3000, 3500, 28, 1, "right")]
    plan = made(plucks, [(0, 1, "left", 1000, 0, 1, False)])
    assert tempo_ceiling(plan, plucks, retimer(plucks)) == Ceiling(3.335, 0)


def test_the_hand_must_be_back_in_place() -> None:
    # The right hand may leave at 150 after pluck 0 and is placed 300 before pluck 1: with the note ending at
    # once, k leaves 3000 / k - 450 for 600 ms: k = 3000 / 1050 = 2.857 (1050.05 -> 1050); 2.858 gives 1049.7,
    # which rounds to 1050 as well; 2.859 gives 1049.3 -> 1049.
    plucks = [pluck(0, 0, 0, 28, 0, "right"), pluck(1, 3000, 3500, 28, 1, "right")]
    plan = made(plucks, [(0, 1, "right", 150, 0, 1, False)])
    assert tempo_ceiling(plan, plucks, retimer(plucks)) == Ceiling(2.858, 0)


def test_two_flips_in_one_hand_share_the_time() -> None:
    # Two strings change between 0 and 6000 with the left hand idle: 1200 ms are needed, so k = 5 leaves just
    # enough; 5.002 is 1199.52 -> 1200, 5.003 is 1199.28 -> 1199. The second has no room beside the first.
    plucks = [
        pluck(0, 0, 0, 28, 0, "right"),
        pluck(1, 0, 0, 29, 0, "right"),
        pluck(2, 6000, 6500, 28, 1, "right"),
        pluck(3, 6000, 6500, 29, 1, "right"),
    ]
    both = made(plucks, [(0, 1, "left", 0, 0, 2, False), (1, 1, "left", 600, 1, 3, False)])
    assert tempo_ceiling(both, plucks, retimer(plucks)) == Ceiling(5.002, 1)
    # One each: the right hand needs 150 + 600 + 300 = 1050 ms; 5.717 is 1049.501 -> 1050, 5.718 is 1049.3.
    shared = made(plucks, [(0, 1, "left", 0, 0, 2, False), (1, 1, "right", 150, 1, 3, False)])
    assert tempo_ceiling(shared, plucks, retimer(plucks)) == Ceiling(5.717, 1)


def test_the_order_of_flips_may_change() -> None:
    # At the tempo flip 0 goes first; faster, only the order 1, 0 fits, for pluck 2 comes first.
    plucks = [
        pluck(0, 0, 0, 28, 0, "right"),
        pluck(1, 0, 0, 29, 0, "right"),
        pluck(2, 2400, 2500, 29, 1, "right"),
        pluck(3, 3600, 3700, 28, 1, "right"),
    ]
    plan = made(plucks, [(0, 1, "left", 0, 0, 3, False), (1, 1, "left", 600, 1, 2, False)])
    # 3600 / k >= 1200 until 3.001 (1199.6); then 2400 / k = 799.7 leaves room for flip 1 alone.
    assert tempo_ceiling(plan, plucks, retimer(plucks)) == Ceiling(3.001, 1)


def test_a_cut_stays_a_cut() -> None:
    # C4 rings to 4000 and is wanted raised at 3500: the flip may start from 2000, at the latest at 2900.
    # 1500 / k >= 600: k = 2.5 (800 + 600 = 1400). 2.501: half of 1599 is 799.5 -> 800, but 1399.4 -> 1399.
    plucks = [pluck(0, 0, 4000, 28, 0, "right"), pluck(1, 3500, 3600, 28, 1, "right")]
    plan = made(plucks, [(0, 1, "left", 2000, 0, 1, True)])
    assert tempo_ceiling(plan, plucks, retimer(plucks)) == Ceiling(2.5, 0)


def test_a_cut_that_would_have_to_turn_clean() -> None:
    # C4 rings 0 to 2000; the left hand plays until 900 and can go at 1050, so the cut starts in 1050..1999.
    # Faster, the hand's 150 ms do not shrink: 900 / k + 150 <= 2000 / k - 1 holds to k = 1100 / 151 = 7.28.
    # There 2000 / k is 274.5 and the next pluck, at 20 000 / k = 2747, is still far.
    plucks = [
        pluck(0, 0, 2000, 28, 0, "right"),
        pluck(1, 900, 1000, 30, 0, "left"),
        pluck(2, 20_000, 20_500, 28, 1, "right"),
    ]
    plan = made(plucks, [(0, 1, "left", 1050, 0, 2, True)])
    found = tempo_ceiling(plan, plucks, retimer(plucks))
    assert found is not None
    # 7.285: 900 -> 123.5 -> 124 + 150 = 274 and 2000 -> 274.54 -> 275 - 1 = 274: fits. Above, 124 + 150 = 274
    # until 7.287 (123.508), but 2000 / 7.286 = 274.499 -> 274 - 1 = 273; from 7.288 (123.49 -> 123) 273 fits
    # again, until 2000 / k < 273.5, at 7.313 (273.486).
    assert found == Ceiling(7.312, 0)


def test_a_held_tremolo_far_before_counts() -> None:
    # The left hand's tremolo starts before pluck 1 and lasts until 2000; the flip of C4 is between 1 and 2.
    plucks = [
        pluck(0, 0, 2000, 30, 0, "left", held=True),
        pluck(1, 500, 500, 28, 0, "right"),
        pluck(2, 4000, 4100, 28, 1, "right"),
    ]
    plan = made(plucks, [(0, 1, "left", 2150, 1, 2, False)])
    # (4000 - 2000) / k >= 150 + 600: k is about 2.667. 2.669: 1498.7 - 749.3 is 1499 - 749 = 750; 2.670:
    # 1498.1 - 749.1 is 1498 - 749 = 749.
    assert tempo_ceiling(plan, plucks, retimer(plucks)) == Ceiling(2.669, 0)


def test_nothing_to_limit() -> None:
    plucks = [pluck(0, 0, 0, 28, 0, "right"), pluck(1, 2_000_000, 2_000_100, 28, 1, "right")]
    assert tempo_ceiling(made(plucks, []), plucks, retimer(plucks)) is None
    endless = made(plucks, [(0, 1, "left", 0, 0, 1, False)])
    assert tempo_ceiling(endless, plucks, retimer(plucks)) is None


def test_the_tightest_sets_it() -> None:
    # The same turn three times, as in a repeated bar; the middle one is a little tighter.
    plucks = []
    for turn, gap in enumerate((2000, 1900, 2000)):
        start = turn * 10_000
        plucks += [
            pluck(2 * turn, start, start + 500, 28, turn % 2, "right"),
            pluck(2 * turn + 1, start + 500 + gap, start + 3000, 28, 1 - turn % 2, "right"),
        ]
    flips = [(0, 1 - k % 2, "left", k * 10_000 + 500, 2 * k, 2 * k + 1, False) for k in range(3)]
    plan = made(plucks, flips)
    found = tempo_ceiling(plan, plucks, retimer(plucks))
    assert found is not None
    assert found.flip == 1
    assert abs(found.factor - 1900 / 600) < 0.005


# --- against a plain search ---------------------------------------------------------------------------------


def fits_plainly(plan: Plan, plucks: Sequence[Pluck], own: Sequence[Pluck]) -> bool:
    """Whether the flips fit at these times: every order of a hand's flips, each as early as can be."""
    length = plan.player.flip
    for hand in HANDS:
        busy = busy_times(plucks, hand, plan.player)
        possible = []
        for flip in (f for f in plan.flips if f.hand == hand):
            last = [
                p
                for p in plucks
                if own[p.id].onset == own[flip.after].onset and plan.plays[p.id] == (flip.string, 1 - flip.to)
            ]
            ringing, due = max(p.end for p in last), plucks[flip.before].onset
            first = max(release_of(p) for p in last) if flip.is_cut else ringing
            stop = min(due - length, ringing - 1) if flip.is_cut else due - length
            possible.append([t for t in range(first, stop + 1) if stands(t, length, due, busy, [])])
        if not any(in_this_order(order, length) for order in permutations(possible)):
            return False
    return True


def in_this_order(order: Sequence[Sequence[int]], length: int) -> bool:
    time = -1
    for starts in order:
        start = next((t for t in starts if t >= time), None)
        if start is None:
            return False
        time = start + length
    return True


def test_against_a_plain_search() -> None:
    """Fits at the ceiling, and neither at any of the next thousandths nor at coarse steps far above."""
    compared = 0
    for seed in range(60):
        instance = random_instance(seed)
        plan = exact_plan(instance.plucks, instance.harp, instance.player, instance.weights)
        assert plan is not None
        if not plan.flips or len(plan.flips) > 5:
            continue
        retime = retimer(instance.plucks)
        found = tempo_ceiling(plan, instance.plucks, retime)
        assert found is not None, instance.name
        grid = round(found.factor * 1000)
        assert fits_plainly(plan, retime(Fraction(grid, 1000)), instance.plucks), (instance.name, found)
        for above in [*range(grid + 1, grid + 20), *(grid * (100 + 7 * k) // 100 + 20 for k in range(12))]:
            now = retime(Fraction(above, 1000))
            assert not fits_plainly(plan, now, instance.plucks), (instance.name, found, above)
        compared += 1
    assert compared >= 25


def test_a_lazy_sequence_will_do() -> None:
    asked = []

    class Lazy(Sequence[Pluck]):
        def __init__(self, factor: Fraction) -> None:
            self.factor = factor

        def __len__(self) -> int:
            return len(plucks)

        def __getitem__(self, place: Any) -> Any:
            asked.append(place)
            own = plucks[place]
            return replace(own, onset=half_up(own.onset / self.factor), end=half_up(own.end / self.factor))

    plucks = [pluck(k, k * 1000, k * 1000 + 400, 30, 0, "right") for k in range(500)]
    plucks[250] = pluck(250, 250_000, 250_400, 28, 0, "right")
    plucks[252] = pluck(252, 252_000, 252_400, 28, 1, "right")
    plan = made(plucks, [(0, 1, "left", 250_400, 250, 252, False)])
    found = tempo_ceiling(plan, plucks, Lazy)
    assert found == tempo_ceiling(plan, plucks, retimer(plucks))
    assert found is not None
    assert 2.66 < found.factor < 2.68  # 1600 ms for 600
    assert set(asked) == {250, 252}


# --- playing tempo and the player needed --------------------------------------------------------------------


def outcome(*, cuts: int = 0, lost: str | None = None) -> Plan:
    criteria = Criteria(int(lost is not None), 0, cuts, cuts, 0, 0)
    return Plan(HARP, PLAYER, (None,), (lost,), (0,) * 4, (), criteria, criteria.key, True)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("plan", "goes"),
    [
        (outcome(), True),
        (outcome(lost="no time"), False),
        (outcome(cuts=1), False),
        (outcome(lost="clash"), True),  # no tempo mends these
        (outcome(lost="below"), True),
        (outcome(lost="no lever", cuts=1), False),
    ],
)
def test_what_goes_as_written(plan: Plan, goes: bool) -> None:
    assert goes_as_written(plan) is goes


@pytest.mark.parametrize("limit", [*range(10, 101, 3), 11, 98, 99, 100])
def test_the_fastest_hundredth_is_found(limit: int) -> None:
    asked = []

    def plan_at(factor: Fraction) -> Plan:
        asked.append(factor)
        return outcome() if factor <= Fraction(limit, 100) else outcome(lost="no time")

    assert playing_tempo(lambda factor: goes_as_written(plan_at(factor))) == limit / 100
    assert len(asked) <= 14
    assert len(asked) == len(set(asked))


def test_no_tempo_is_slow_enough() -> None:
    assert playing_tempo(lambda factor: goes_as_written(outcome(cuts=1))) is None
    assert playing_tempo(lambda factor: goes_as_written(outcome(lost="clash"))) == 1.0
    assert (
        playing_tempo(lambda factor: goes_as_written(outcome(cuts=int(factor > Fraction(99, 1000))))) is None
    )


def test_the_least_player() -> None:
    slow, steady, quick = Player("slow", 900, 250, 450), PLAYER, Player("quick", 300, 60, 120)

    def plan_for(player: Player) -> Plan:
        return outcome(cuts=int(player.flip > 600))

    assert player_needed([quick, steady, slow], lambda player: goes_as_written(plan_for(player))) == steady
    assert player_needed([slow, quick], lambda player: goes_as_written(plan_for(player))) == quick
    assert player_needed([slow], lambda player: goes_as_written(plan_for(player))) is None
    assert player_needed([slow, steady], lambda player: goes_as_written(outcome(lost="below"))) == slow
    assert player_needed([], lambda player: goes_as_written(plan_for(player))) is None

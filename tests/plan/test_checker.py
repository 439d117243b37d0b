"""The checker: a plan worked by hand passes, and every fault planted in it is found and named.

The problem below is worked out by hand from the planning problem, sections 3 to 6.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from exact_model import exact_plan
from instances import Instance, random_instance

from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.pitch import Pitch
from harpkeys.plan.checker import violations
from harpkeys.plan.model import Criteria, Flip, Plan
from harpkeys.score.pluck import Hand, Pluck, PluckKind

C, D, E, F, G, A, B = range(7)

HARP = Harp("seven strings", "C", tuple(HarpString(28 + letter, 0, letter != G) for letter in range(7)))
"""C4 to B4, all natural with the lever down, G4 without a lever."""

PLAYER = Player("by hand", flip=100, leave=50, place=50)


def row(
    onset: int,
    end: int,
    diatonic: int,
    alter: int,
    hand: Hand,
    kind: PluckKind = "note",
    sustained: bool = False,
) -> tuple[Any, ...]:
    return onset, end, Pitch(diatonic, alter), hand, kind, sustained


ROWS = (
    row(0, 400, 28, 0, "right"),  # 0  C4 down
    row(0, 1000, 31, 0, "left"),  # 1  F4 down
    row(0, 700, 31, 0, "right"),  # 2  the same string at once, shorter
    row(1000, 1400, 28, 1, "right"),  # 3  C#4: C4 up
    row(2000, 3000, 31, 1, "left"),  # 4  F#4: F4 up
    row(2000, 3000, 28, 1, "right"),  # 5  C#4: C4 stays up
    row(2600, 2900, 28, 0, "right"),  # 6  C4 again: down
    row(3000, 3200, 26, 0, "right"),  # 7  A3: below
    row(3000, 3200, 36, 0, "right"),  # 8  D5: above
    row(3000, 3200, 32, 1, "right"),  # 9  G#4: no lever
    row(3000, 3300, 31, 0, "right"),  # 10 F4, while F4 is up: E4 up, off its string
    row(3400, 3700, 29, 0, "right"),  # 11 D4 down
    row(3400, 3700, 29, 1, "right"),  # 12 D#4 at the same moment: clash
    row(3420, 3700, 29, 1, "right"),  # 13 D#4 at once after it: no time
    row(3700, 3700, 32, 0, "right", "grace"),  # 14 a grace note on G4
    row(3700, 5000, 33, 0, "left", "note", True),  # 15 a trill on A4 down, held by the left hand
    row(3700, 5000, 33, 1, "left", "auxiliary", True),  # 16 its auxiliary A#4 would need A4 up: clash
    row(5000, 5200, 29, 1, "right"),  # 17 D#4: D4 up
)

PLUCKS = tuple(
    Pluck(i, onset, end, pitch, hand, kind, sustained)
    for i, (onset, end, pitch, hand, kind, sustained) in enumerate(ROWS)
)

PLAYS = (
    (C, 0),
    (F, 0),
    (F, 0),
    (C, 1),
    (F, 1),
    (C, 1),
    (C, 0),
    None,
    None,
    None,
    (E, 1),
    (D, 0),
    None,
    None,
    (G, 0),
    (A, 0),
    None,
    (D, 1),
)

LOST = tuple(
    {7: "below", 8: "above", 9: "no lever", 12: "clash", 13: "no time", 16: "clash"}.get(i) for i in range(18)
)

# The left hand is busy at -50..50, 1950..2050 and 3650..5050, the right at -50..50, 950..1050, 1950..2050,
# 2550..2650, 2950..3050, 3350..3470, 3650..3750 and from 4950.
FLIPS = (
    # C4 up: after pluck 0 ends at 400, over before 1000; the hand's next flip is at 1200: 500 spare.
    Flip(0, C, 1, "left", 400, 0, 3, 0, False, 500),
    # F4 up: after 1000 (pluck 1 outlasts 2); the hand is back at 1950: 1950 - 1300 = 650 spare.
    Flip(1, F, 1, "left", 1200, 1, 4, 0, False, 650),
    # C4 down: pluck 5 rings to 3000, half of it at 2500; over at 2600 just in time. It cuts 2600 - 2500.
    Flip(2, C, 0, "left", 2500, 5, 6, 100, True, 0),
    # D4 up: the left hand holds its trill until 5050, so by the right, at 3800 of 3750..4950: 1050 spare.
    Flip(3, D, 1, "right", 3800, 11, 17, 0, False, 1050),
)

STARTING = (0, 0, 1, 0, 0, 0, 1)
"""E4 up for pluck 10; B4 is never plucked and stands up."""

CRITERIA = Criteria(lost=5, lost_auxiliaries=1, cuts=1, flips=4, off_string=1, right_hand=1)

PLAN = Plan(HARP, PLAYER, PLAYS, LOST, STARTING, FLIPS, CRITERIA, (5, 1, 1, 5, 4, 1), True)  # type: ignore[arg-type]


def with_flip(number: int, **changes: Any) -> Plan:
    flips = tuple(replace(flip, **changes) if flip.id == number else flip for flip in FLIPS)
    return replace(PLAN, flips=flips)


def put(values: tuple[Any, ...], place: int, value: Any) -> tuple[Any, ...]:
    return (*values[:place], value, *values[place + 1 :])


def faults(plan: Plan, plucks: tuple[Pluck, ...] = PLUCKS) -> tuple[str, ...]:
    return violations(plan, plucks)


def test_the_plan_worked_by_hand_is_right() -> None:
    assert faults(PLAN) == ()


# --- plays, losses and starting levers: every position ------------------------------------------------------


@pytest.mark.parametrize("place", [i for i, play in enumerate(PLAYS) if play is not None])
def test_a_pluck_on_a_string_that_does_not_sound_it(place: int) -> None:
    moved = B if PLAYS[place] != (B, 0) else A
    found = faults(replace(PLAN, plays=put(PLAYS, place, (moved, 0))))
    assert f"Pluck {place} is {PLUCKS[place].pitch}, but string B4 down sounds B4." in found


@pytest.mark.parametrize("place", range(len(PLAYS)))
def test_a_pluck_both_played_and_lost_or_neither(place: int) -> None:
    if PLAYS[place] is None:
        assert f"Pluck {place} is neither played nor lost." in faults(
            replace(PLAN, lost=put(LOST, place, None))
        )
    else:
        found = faults(replace(PLAN, lost=put(LOST, place, "clash")))
        assert found == (f"Pluck {place} is played, but also lost for 'clash'.",)


REASONS = ("below", "above", "no lever", "clash", "no time")


@pytest.mark.parametrize("reason", [*REASONS, "bad luck"])
@pytest.mark.parametrize("place", [i for i, why in enumerate(LOST) if why is not None])
def test_a_loss_for_a_reason_that_does_not_hold(place: int, reason: str) -> None:
    found = faults(replace(PLAN, lost=put(LOST, place, reason)))
    if reason == LOST[place]:
        assert found == ()
    elif reason in REASONS:
        assert found == (f"Pluck {place} is lost for '{reason}', which does not hold.",)
    else:
        assert found == (f"Pluck {place} is lost for 'bad luck', which is no reason.",)


def test_a_lever_where_there_is_none() -> None:
    found = faults(replace(PLAN, plays=put(PLAYS, 9, (G, 1)), lost=put(LOST, 9, None)))
    assert "Pluck 9 is played on string G4 up, which has no lever." in found
    assert "The plan has 4 lost plucks, not 5." in found


def test_a_microtone_is_never_played() -> None:
    plucks = put(PLUCKS, 9, replace(PLUCKS[9], pitch=Pitch(32, Fraction(1, 2))))
    assert faults(PLAN, plucks) == ()
    found = faults(replace(PLAN, plays=put(PLAYS, 9, (G, 0)), lost=put(LOST, 9, None)), plucks)
    assert "Pluck 9 is G+0.5 4, but string G4 down sounds G4." in found


@pytest.mark.parametrize("place", range(7))
def test_a_string_that_starts_in_the_wrong_state(place: int) -> None:
    found = faults(replace(PLAN, starting=put(STARTING, place, 1 - STARTING[place])))
    name = HARP.strings[place].name
    first = {C: 0, D: 11, E: 10, F: 1, G: 14, A: 15}.get(place)
    if first is None:  # B4 is never plucked: without a key signature it may stand either way
        assert found == ()
        return
    state = "down" if STARTING[place] else "up"
    assert f"String {name} starts {state}, but its first pluck, {first}, needs the other state." in found
    assert (f"String {name} starts up, but has no lever." in found) == (place == G)


def test_a_string_never_plucked_stands_as_the_first_key_has_it() -> None:
    in_key = (0, 0, 0, 0, 0, 0, 1)
    assert violations(PLAN, PLUCKS, first_key_alters=in_key) == ()
    # Only what is never plucked is bound by the key: all other letters may differ.
    assert violations(PLAN, PLUCKS, first_key_alters=(1, 1, 1, 1, 1, 1, 1)) == ()
    assert violations(PLAN, PLUCKS, first_key_alters=(0, 0, 0, 0, 0, 0, 0)) == (
        "String B4 is never plucked and starts up, not as the first key signature has it.",
    )
    # A flat is out of the lever's reach, so the key claims nothing.
    assert violations(PLAN, PLUCKS, first_key_alters=(0, 0, 0, 0, 0, 0, -1)) == ()


def test_both_states_at_one_moment() -> None:
    found = faults(replace(PLAN, plays=put(PLAYS, 12, (D, 1)), lost=put(LOST, 12, None)))
    assert "Plucks 11 and 12 are plucked together and need string D4 in both states." in found
    found = faults(replace(PLAN, plays=put(PLAYS, 16, (A, 1)), lost=put(LOST, 16, None)))
    assert "Plucks 15 and 16 are plucked together and need string A4 in both states." in found


# --- flips: every one, every kind ---------------------------------------------------------------------------

every_flip = pytest.mark.parametrize("number", range(4))


@every_flip
def test_a_flip_left_out(number: int) -> None:
    flip = FLIPS[number]
    kept = [f for f in FLIPS if f.id != number]
    found = faults(replace(PLAN, flips=tuple(replace(f, id=i) for i, f in enumerate(kept))))
    before, after = {0: (0, 3), 1: (2, 4), 2: (5, 6), 3: (11, 17)}[number]
    name = HARP.strings[flip.string].name
    assert f"Between plucks {before} and {after} string {name} is flipped 0 times, not 1." in found
    assert "The plan has 3 flips, not 4." in found


@every_flip
def test_a_flip_too_many(number: int) -> None:
    flip = FLIPS[number]
    doubled = (*FLIPS[: number + 1], *(replace(f, id=f.id + 1) for f in FLIPS[number:]))
    found = faults(replace(PLAN, flips=doubled))
    name = HARP.strings[flip.string].name
    assert any(f"string {name} is flipped 2 times, not 1." in sentence for sentence in found)
    assert f"Flip {number} overlaps a flip of the {flip.hand} hand that starts at {flip.start}." in found
    assert f"Flip {number + 1} overlaps a flip of the {flip.hand} hand that starts at {flip.start}." in found


def test_a_flip_where_the_state_stays() -> None:
    extra = Flip(2, C, 0, "left", 1400, 3, 5, 0, False, 400)
    later = (replace(f, id=f.id + 1) for f in FLIPS[2:])
    found = faults(replace(PLAN, flips=(FLIPS[0], FLIPS[1], extra, *later)))
    assert "Flip 2 is said to prepare pluck 5, which is not played on string C4 down." in found
    assert "Between plucks 3 and 5 string C4 is flipped 1 times, not 0." in found


@every_flip
def test_a_flip_of_another_string(number: int) -> None:
    found = faults(with_flip(number, string=B))
    flip = FLIPS[number]
    old, new = ("down", "up") if flip.to else ("up", "down")
    assert (
        f"Flip {number} is said to follow pluck {flip.after}, which is not played on string B4 {old}."
        in found
    )
    assert (
        f"Flip {number} is said to prepare pluck {flip.before}, which is not played on string B4 {new}."
        in found
    )


@every_flip
def test_a_flip_the_wrong_way(number: int) -> None:
    flip = FLIPS[number]
    name, state = HARP.strings[flip.string].name, "up" if flip.to else "down"
    found = faults(with_flip(number, to=1 - flip.to))
    assert (
        f"Flip {number} is said to follow pluck {flip.after}, which is not played on string {name} {state}."
        in found
    )


@pytest.mark.parametrize(
    ("number", "hand", "sentence"),
    [
        (0, "right", None),  # 400..500 is free for the right hand too
        (1, "right", None),
        (2, "right", "Flip 2 needs the right hand, which is busy from 2550 to 2650."),
        (3, "left", "Flip 3 needs the left hand, which is busy from 3650 to 5050."),
    ],
)
def test_a_flip_by_the_other_hand(number: int, hand: str, sentence: str | None) -> None:
    found = faults(with_flip(number, hand=hand))
    assert f"The plan has {2 if hand == 'right' else 0} flips by the right hand, not 1." in found
    if sentence is None:
        assert not any("needs the" in other for other in found)
    else:
        assert sentence in found


@pytest.mark.parametrize(
    ("number", "start", "sentence"),
    [
        (0, 199, "Flip 0 starts at 199, before half of pluck 0 has rung at 200."),
        (1, 499, "Flip 1 starts at 499, before half of pluck 1 has rung at 500."),
        (2, 2499, "Flip 2 starts at 2499, before half of pluck 5 has rung at 2500."),
        (3, 3549, "Flip 3 starts at 3549, before half of pluck 11 has rung at 3550."),
        (0, 901, "Flip 0 is over at 1001, after pluck 3 at 1000."),
        (1, 1901, "Flip 1 is over at 2001, after pluck 4 at 2000."),
        (2, 2501, "Flip 2 is over at 2601, after pluck 6 at 2600."),
        (3, 4901, "Flip 3 is over at 5001, after pluck 17 at 5000."),
        (1, 1851, "Flip 1 needs the left hand, which is busy from 1950 to 2050."),
        (3, 4851, "Flip 3 needs the right hand, which is busy from 4950 to 5050."),
        (3, 3749, "Flip 3 needs the right hand, which is busy from 3650 to 3750."),
        (3, 3551, "Flip 3 needs the right hand, which is busy from 3650 to 3750."),
    ],
)
def test_a_flip_out_of_its_place(number: int, start: int, sentence: str) -> None:
    assert sentence in faults(with_flip(number, start=start))


@pytest.mark.parametrize(
    ("number", "start", "slack", "is_cut", "cut"),
    [
        (0, 200, 700, True, 200),  # at half of pluck 0
        (0, 399, 501, True, 1),
        (0, 900, 0, False, 0),
        (1, 500, 1350, True, 500),  # right after flip 0, which is over at 500
        (1, 999, 851, True, 1),
        (1, 1850, 0, False, 0),
        (3, 3750, 1100, False, 0),  # as soon as the right hand has left pluck 14
        (3, 4850, 0, False, 0),
    ],
)
def test_bounds_may_be_touched(number: int, start: int, slack: int, is_cut: bool, cut: int) -> None:
    """At its first and last possible start a flip is right, once everything that follows is set right."""
    plan = with_flip(number, start=start, slack=slack, is_cut=is_cut, cut=cut)
    if (number, start) == (1, 500):
        plan = replace(plan, flips=put(plan.flips, 0, replace(FLIPS[0], slack=0)))
    elif (number, start) == (1, 999):
        plan = replace(plan, flips=put(plan.flips, 0, replace(FLIPS[0], slack=499)))
    cuts = 1 + is_cut
    plan = replace(plan, criteria=replace(CRITERIA, cuts=cuts), bound=(5, 1, cuts, 5, 4, 1))
    assert faults(plan) == ()


def test_two_flips_at_once_with_one_hand() -> None:
    found = faults(with_flip(1, start=499))
    assert "Flip 1 overlaps a flip of the left hand that starts at 400." in found


def test_half_of_an_odd_length_is_rounded_up() -> None:
    plucks = put(PLUCKS, 5, replace(PLUCKS[5], end=3001))  # half of it has rung at 2500.5
    assert "Flip 2 starts at 2500, before half of pluck 5 has rung at 2501." in faults(PLAN, plucks)


@every_flip
@pytest.mark.parametrize("by", [-1, 1])
def test_numbers_of_a_flip_that_are_off(number: int, by: int) -> None:
    flip = FLIPS[number]
    assert faults(with_flip(number, slack=flip.slack + by)) == (
        f"Flip {number} could start {flip.slack} ms later, not {flip.slack + by}.",
    )
    assert faults(with_flip(number, cut=flip.cut + by)) == (
        f"Flip {number} cuts off {flip.cut} ms, not {flip.cut + by}.",
    )


@every_flip
def test_a_cut_called_clean_and_the_reverse(number: int) -> None:
    flip = FLIPS[number]
    truth = "a cut" if flip.is_cut else "clean"
    assert faults(with_flip(number, is_cut=not flip.is_cut)) == (
        f"Flip {number} is {truth}, but the plan has it otherwise.",
    )


@every_flip
def test_ids_and_order(number: int) -> None:
    assert f"The flip at place {number} has the id 7." in faults(with_flip(number, id=7))
    if number < 3:
        flips = list(FLIPS)
        flips[number], flips[number + 1] = flips[number + 1], flips[number]
        found = faults(replace(PLAN, flips=tuple(replace(f, id=i) for i, f in enumerate(flips))))
        assert f"Flip {number + 1} starts before flip {number}, which stands in front of it." in found


def test_neighbours_of_a_flip() -> None:
    # Pluck 2 is played with pluck 1, but ends first.
    assert faults(with_flip(1, after=2)) == ("Flip 1 names pluck 2, but a pluck beside it rings longer.",)
    # From pluck 3 on, the string stays up until pluck 6: pluck 5 is the last before it.
    found = faults(with_flip(2, after=3))
    assert "Flip 2 passes over pluck 5, which is played on string C4 in between." in found
    assert "Between plucks 5 and 6 string C4 is flipped 0 times, not 1." in found
    # The first flip may not wait for pluck 5, though that needs the same state as pluck 3.
    assert "Flip 0 passes over pluck 3, which is played on string C4 in between." in faults(
        with_flip(0, before=5)
    )
    assert "Flip 2 prepares pluck 3, which is not after pluck 5." in faults(with_flip(2, before=3))
    assert "Flip 3 is said to prepare pluck 13, which is not played on string D4 up." in faults(
        with_flip(3, before=13)
    )
    assert "Flip 0 is said to follow pluck 1, which is not played on string C4 down." in faults(
        with_flip(0, after=1)
    )


def test_losing_the_longer_of_two_lets_the_string_go() -> None:
    plan = replace(PLAN, plays=put(PLAYS, 1, None), lost=put(LOST, 1, "no time"))
    plan = replace(plan, criteria=replace(CRITERIA, lost=6), bound=(6, 1, 1, 5, 4, 1))
    assert "Flip 1 is said to follow pluck 1, which is not played on string F4 down." in faults(plan)
    flips = put(FLIPS, 1, replace(FLIPS[1], after=2))
    assert faults(replace(plan, flips=flips)) == ()
    # From 700, where the longer pluck would have made it a cut until 1000.
    flips = put(
        put(FLIPS, 1, replace(FLIPS[1], after=2, start=700, slack=1150)), 0, replace(FLIPS[0], slack=200)
    )
    assert faults(replace(plan, flips=flips)) == ()


def test_a_lost_pluck_keeps_its_hand_busy() -> None:
    plucks = list(PLUCKS)
    plucks[13] = replace(plucks[13], hand="left", onset=3500)  # the lost D#4, now in the left hand
    assert faults(PLAN, tuple(plucks)) == ()
    moved = (replace(FLIPS[3], hand="left", start=3551, slack=0, is_cut=True, cut=149),)
    found = faults(replace(PLAN, flips=(*FLIPS[:3], *moved)), tuple(plucks))
    assert "Flip 3 needs the left hand, which is busy from 3650 to 5050." in found
    moved = (replace(moved[0], start=3549),)
    found = faults(replace(PLAN, flips=(*FLIPS[:3], *moved)), tuple(plucks))
    assert "Flip 3 needs the left hand, which is busy from 3450 to 3550." in found


# --- counts, claims and shapes ------------------------------------------------------------------------------


@pytest.mark.parametrize("by", [-1, 1])
@pytest.mark.parametrize(
    ("field", "sentence"),
    [
        ("lost", "The plan has 5 lost plucks, not {}."),
        ("lost_auxiliaries", "The plan has 1 lost auxiliaries, not {}."),
        ("cuts", "The plan has 1 cuts, not {}."),
        ("flips", "The plan has 4 flips, not {}."),
        ("off_string", "The plan has 1 off-string plucks, not {}."),
        ("right_hand", "The plan has 1 flips by the right hand, not {}."),
    ],
)
def test_a_criterion_miscounted(field: str, sentence: str, by: int) -> None:
    wrong = getattr(CRITERIA, field) + by
    found = faults(replace(PLAN, criteria=replace(CRITERIA, **{field: wrong})))
    assert sentence.format(wrong) in found


def test_claims_of_proof() -> None:
    assert faults(replace(PLAN, proved=False)) == (
        "The plan is not called proved, but its bound says otherwise.",
    )
    assert faults(replace(PLAN, bound=(5, 1, 1, 5, 4, 0))) == (
        "The plan is called proved, but its bound says otherwise.",
    )
    assert faults(replace(PLAN, bound=(5, 1, 1, 5, 4, 0), proved=False)) == ()
    assert faults(replace(PLAN, bound=(5, 1, 2, 0, 0, 0), proved=False)) == (
        "The bound (5, 1, 2, 0, 0, 0) is above what the plan costs, (5, 1, 1, 5, 4, 1).",
    )


def test_the_bound_of_a_plan_made_with_weights_is_weighted() -> None:
    weights = tuple(3 if i == 7 else 2 if i == 16 else 1 for i in range(18))
    weighted = replace(PLAN, bound=(7, 2, 1, 5, 4, 1))
    assert violations(weighted, PLUCKS, weights=weights) == ()
    assert violations(PLAN, PLUCKS, weights=weights) == (
        "The plan is called proved, but its bound says otherwise.",
    )
    assert len(violations(weighted, PLUCKS)) == 2


@pytest.mark.parametrize(
    ("plan", "sentence"),
    [
        (replace(PLAN, plays=PLAYS[:-1]), "The plan's plays has 17 entries, not 18."),
        (replace(PLAN, lost=(*LOST, None)), "The plan's lost has 19 entries, not 18."),  # type: ignore[arg-type]
        (replace(PLAN, starting=STARTING[1:]), "The plan's starting has 6 entries, not 7."),
        (
            replace(PLAN, plays=put(PLAYS, 17, (7, 0))),
            "Pluck 17 is played on (7, 0), which is no string and state of this harp.",
        ),
        (
            replace(PLAN, plays=put(PLAYS, 0, (0, 2))),
            "Pluck 0 is played on (0, 2), which is no string and state of this harp.",
        ),
        (
            replace(PLAN, starting=put(STARTING, 6, 2)),
            "String 6 starts in the state 2, which is neither down nor up.",
        ),
        (with_flip(0, string=-1), "The flip at place 0 names a string, state or hand that does not exist."),
        (with_flip(3, hand="both"), "The flip at place 3 names a string, state or hand that does not exist."),
        (with_flip(3, before=18), "The flip at place 3 names a pluck that does not exist."),
    ],
)
def test_a_plan_that_does_not_fit_the_plucks(plan: Plan, sentence: str) -> None:
    assert faults(plan) == (sentence,)


def test_plucks_out_of_order() -> None:
    assert faults(PLAN, put(PLUCKS, 3, replace(PLUCKS[3], id=9))) == ("The pluck at place 3 has the id 9.",)


def test_an_empty_plan() -> None:
    criteria = Criteria(0, 0, 0, 0, 0, 0)
    plan = Plan(HARP, PLAYER, (), (), (0,) * 7, (), criteria, criteria.key, True)
    assert violations(plan, ()) == ()


# --- plans of an outside solver -----------------------------------------------------------------------------


def spoiled(plan: Plan, plucks: tuple[Pluck, ...]) -> Iterator[tuple[str, Plan]]:
    """A right plan with one fault in it, for every kind of fault and every place it can sit in."""
    wrong = [(s, 1 - x) for play in plan.plays if play is not None for s, x in [play]]
    for i, play in enumerate(plan.plays):
        if play is not None:
            yield (
                f"pluck {i} in the other state",
                replace(plan, plays=put(plan.plays, i, (play[0], 1 - play[1]))),
            )
            yield f"pluck {i} silently lost", replace(plan, plays=put(plan.plays, i, None))
        elif wrong:
            yield f"lost pluck {i} played", replace(plan, plays=put(plan.plays, i, wrong[0]))
        else:
            yield f"lost pluck {i} without a reason", replace(plan, lost=put(plan.lost, i, None))
    for k, flip in enumerate(plan.flips):
        ringing = plucks[flip.after].end - plucks[flip.after].onset
        early = plucks[flip.after].onset + (ringing + 1) // 2 - 1
        late = plucks[flip.before].onset - plan.player.flip + 1
        for what, changes in (
            ("too early", {"start": early}),
            ("too late", {"start": late}),
            ("too slack", {"slack": flip.slack + 1}),
            ("in the other hand", {"hand": "left" if flip.hand == "right" else "right"}),
            ("the other way", {"to": 1 - flip.to}),
            ("no cut or one", {"is_cut": not flip.is_cut}),
        ):
            yield f"flip {k} {what}", replace(plan, flips=put(plan.flips, k, replace(flip, **changes)))
        rest = [f for f in plan.flips if f.id != k]
        yield f"flip {k} missing", replace(plan, flips=tuple(replace(f, id=i) for i, f in enumerate(rest)))
    for s in {play[0] for play in plan.plays if play is not None}:
        yield (
            f"string {s} starts otherwise",
            replace(plan, starting=put(plan.starting, s, 1 - plan.starting[s])),
        )


def test_plans_of_an_outside_solver() -> None:
    """CP-SAT's plans pass, and every fault planted anywhere in them is found."""
    planted = flips = 0
    for seed in range(60):
        instance: Instance = random_instance(seed)
        plan = exact_plan(instance.plucks, instance.harp, instance.player, instance.weights)
        assert plan is not None, instance.name
        flips += len(plan.flips)
        assert violations(plan, instance.plucks, weights=instance.weights) == (), instance.name
        for what, wrong in spoiled(plan, instance.plucks):
            planted += 1
            assert violations(wrong, instance.plucks, weights=instance.weights), (instance.name, what)
    assert flips > 50
    assert planted > 1000

"""Free time of hands, checked against brute force over every half millisecond and over scaled times.

The brute force knows only section 3 of the planning problem: a hand is busy in [onset - place,
onset + leave], or to end + leave where it is sustained, and what only touches does not collide.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from harpkeys.harp.model import Player
from harpkeys.pitch import Pitch
from harpkeys.plan.hand_time import (
    LONG_AFTER,
    LONG_BEFORE,
    free_stretches,
    gaps_of,
    most_room,
    stretch_of,
)
from harpkeys.score.pluck import Pluck

C4 = Pitch(28)
STEADY = Player("steady", 600, 150, 300)


def pluck(number: int, onset: int, end: int, hand: str = "left", sustained: bool = False) -> Pluck:
    return Pluck(number, onset, end, C4, hand, sustained=sustained)  # type: ignore[arg-type]


@st.composite
def performances(draw: st.DrawFn) -> list[Pluck]:
    onsets = sorted(draw(st.lists(st.integers(0, 60), max_size=8)))
    return [
        pluck(
            number,
            onset,
            onset + draw(st.integers(0, 20)),
            draw(st.sampled_from(["left", "right"])),
            draw(st.booleans()),
        )
        for number, onset in enumerate(onsets)
    ]


players = st.builds(Player, st.just("own times"), st.integers(1, 12), st.integers(0, 6), st.integers(0, 6))


def fits_at(
    plucks: list[Pluck], player: Player, hand: str, release: Fraction, latest: Fraction, factor: Fraction
) -> bool:
    """Whether a flip fits the window when all musical times are divided by a factor, by trying every start
    at which one can begin as early as possible: the window's start and each end of a busy time."""
    busy = [
        (one.onset / factor - player.place, (one.end if one.sustained else one.onset) / factor + player.leave)
        for one in plucks
        if one.hand == hand
    ]
    starts = [release / factor, *(end for _, end in busy)]
    return any(
        release / factor <= start
        and start + player.flip <= latest / factor
        and all(start + player.flip <= begin or start >= end for begin, end in busy)
        for start in starts
    )


@given(performances(), players)
def test_free_time_is_what_no_pluck_keeps_busy(plucks: list[Pluck], player: Player) -> None:
    for hand, stretches in free_stretches(plucks, player).items():
        assert stretches[0][0] == LONG_BEFORE
        assert stretches[-1][1] == LONG_AFTER
        for half in range(-20, 200):
            moment = Fraction(half, 2)
            busy = any(
                one.onset - player.place < moment < (one.end if one.sustained else one.onset) + player.leave
                for one in plucks
                if one.hand == hand
            )
            # Where two busy times only touch there is no stretch: it would have no length.
            touches = any(
                moment == (one.end if one.sustained else one.onset) + player.leave
                for one in plucks
                if one.hand == hand
            )
            inside = any(start <= moment <= end for start, end in stretches)
            assert inside == (not busy) or (touches and not inside)


@given(performances(), players)
def test_stretches_are_in_order_and_apart(plucks: list[Pluck], player: Player) -> None:
    for stretches in free_stretches(plucks, player).values():
        assert all(start < end for start, end in stretches)
        assert all(one[1] <= other[0] for one, other in pairwise(stretches))


@settings(max_examples=300)
@given(performances(), players, st.integers(0, 60), st.integers(1, 40))
def test_most_room_is_the_tempo_at_which_a_flip_just_fits(
    plucks: list[Pluck], player: Player, release: int, length: int
) -> None:
    latest = release + length
    room = most_room(gaps_of(plucks), player, release, latest)

    def fits(factor: Fraction) -> bool:
        return any(
            fits_at(plucks, player, hand, Fraction(release), Fraction(latest), factor)
            for hand in ("left", "right")
        )

    if room.factor:
        assert fits(room.factor)
    assert not fits(max(room.factor, Fraction(1, 1000)) * Fraction(1001, 1000))
    assert (room.free >= player.flip) == (room.factor >= 1)


def test_a_hand_without_plucks_is_always_free() -> None:
    assert free_stretches([], STEADY) == {
        "left": ((LONG_BEFORE, LONG_AFTER),),
        "right": ((LONG_BEFORE, LONG_AFTER),),
    }


def test_a_sustained_pluck_keeps_the_hand_to_its_end() -> None:
    plucks = [pluck(0, 1000, 3000, sustained=True), pluck(1, 5000, 5500)]
    assert free_stretches(plucks, STEADY)["left"] == (
        (LONG_BEFORE, 700),
        (3150, 4700),
        (5150, LONG_AFTER),
    )


def test_stretch_of_holds_its_ends() -> None:
    stretches = ((0, 10), (20, 30))
    assert [stretch_of(stretches, moment) for moment in (-1, 0, 10, 11, 20, 31)] == [
        None,
        (0, 10),
        (0, 10),
        None,
        (20, 30),
        None,
    ]

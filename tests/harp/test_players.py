"""Player levels and times of one's own."""

from __future__ import annotations

import itertools
from decimal import Decimal

import pytest

from harpkeys.errors import OptionError
from harpkeys.harp.model import Player
from harpkeys.harp.players import ASSUMPTION, DEFAULT_PLAYER, PLAYERS, find_player, own_times, player_text


def test_the_levels_run_from_slow_to_quick() -> None:
    assert [player.name for player in PLAYERS] == ["unhurried", "steady", "nimble"]
    for slower, quicker in itertools.pairwise(PLAYERS):
        assert (slower.flip, slower.leave, slower.place) > (quicker.flip, quicker.leave, quicker.place)
    assert (DEFAULT_PLAYER.name, DEFAULT_PLAYER) == ("steady", PLAYERS[1])
    assert ASSUMPTION == "stated assumption, no published figure"


@pytest.mark.parametrize(
    ("text", "player"),
    [
        ("Steady ", Player("steady", 600, 150, 300)),
        ("0.5/0.1/0.25", Player("own times", 500, 100, 250)),
        (" .5 / 0 / 60 ", Player("own times", 500, 0, 60000)),
        ("0.0005/0/0", Player("own times", 1, 0, 0)),
        ("0.4/0.1/0.2", Player("nimble", 400, 100, 200)),
    ],
)
def test_a_player_by_name_or_times(text: str, player: Player) -> None:
    assert find_player(text) == player


THREE = (
    "the named ones are unhurried, steady and nimble, "
    "or give flip/leave/place in seconds, such as 0.5/0.1/0.25"
)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("quick", f'there is no player "quick"; {THREE}.'),
        ("", f'there is no player ""; {THREE}.'),
        ("1/2", f'there is no player "1/2"; {THREE}.'),
        ("1/2/x", f'there is no player "1/2/x"; {THREE}.'),
        ("1/2/-1", f'there is no player "1/2/-1"; {THREE}.'),
        ("1/2/nan", f'there is no player "1/2/nan"; {THREE}.'),
        ("1/./1", f'there is no player "1/./1"; {THREE}.'),
        (
            "0/0/0",
            "a flip of less than a millisecond takes no time; give the flip time in seconds, such as 0.6.",
        ),
        ("61/0/0", "a flip time of 61 seconds is out of range; give 0 to 60 seconds, such as 0.3."),
        ("1/0/60.1", "a place time of 60.1 seconds is out of range; give 0 to 60 seconds, such as 0.3."),
    ],
)
def test_wrong_times_are_told(text: str, sentence: str) -> None:
    with pytest.raises(OptionError) as caught:
        find_player(text)
    assert str(caught.value) == sentence


@pytest.mark.parametrize("seconds", [float("nan"), float("inf"), -0.1, Decimal("NaN")])
def test_times_that_are_no_times(seconds: float) -> None:
    with pytest.raises(OptionError, match=r"^a leave time of .* is out of range; give 0 to 60 seconds"):
        own_times(0.5, seconds, 0.5)


def test_times_in_words() -> None:
    assert player_text(DEFAULT_PLAYER) == "steady: flip 0.6 s, leave 0.15 s, place 0.3 s"

"""The three times of a player: named levels, and times of one's own.

No figure has been published for the seconds a lever takes; every time here is a stated assumption that the
user can set. A learner's drill gives one beat to flip and one to return (common practice, no source).
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from harpkeys.errors import OptionError
from harpkeys.harp.model import Player
from harpkeys.harp.naming import listed, quoted

ASSUMPTION = "stated assumption, no published figure"
"""What has to be said beside every player time."""

MOST_SECONDS = 60
OWN_TIMES = "own times"

PLAYERS = (
    Player("unhurried", flip=1000, leave=300, place=500),
    Player("steady", flip=600, leave=150, place=300),
    Player("nimble", flip=400, leave=100, place=200),
)
"""The named levels, slowest first, in milliseconds. All stated assumptions, no published figure."""

DEFAULT_PLAYER = PLAYERS[1]

_TIME = re.compile(r"[0-9]{0,6}(?:\.[0-9]{0,12})?")


def find_player(text: str) -> Player:
    """A player by level name, or by three times in seconds, flip/leave/place, "0.5/0.1/0.25".

    Args:
        text: the name or the times.

    Returns:
        The player; times are rounded to whole milliseconds, half up.

    Raises:
        OptionError: no such level, or the times are out of their limits.
    """
    word = text.strip().lower()
    for player in PLAYERS:
        if player.name == word:
            return player
    times = [time.strip() for time in word.split("/")]
    if len(times) != 3 or not all(_TIME.fullmatch(time) and time.strip(".") for time in times):
        names = listed([player.name for player in PLAYERS])
        raise OptionError(
            f"there is no player {quoted(word)}",
            f"the named ones are {names}, or give flip/leave/place in seconds, such as 0.5/0.1/0.25",
        )
    return own_times(*(Decimal(time) for time in times))


def own_times(flip: Decimal | float, leave: Decimal | float, place: Decimal | float) -> Player:
    """A player with times of one's own, in seconds, rounded to whole milliseconds, half up.

    Raises:
        OptionError: a time is out of range: flip above 0, leave and place 0 or more, none above 60 s.
    """
    flip_time, leave_time, place_time = (
        _milliseconds(name, seconds) for name, seconds in (("flip", flip), ("leave", leave), ("place", place))
    )
    if flip_time == 0:
        raise OptionError(
            "a flip of less than a millisecond takes no time", "give the flip time in seconds, such as 0.6"
        )
    for player in PLAYERS:
        if (player.flip, player.leave, player.place) == (flip_time, leave_time, place_time):
            return player
    return Player(OWN_TIMES, flip_time, leave_time, place_time)


def _milliseconds(name: str, seconds: Decimal | float) -> int:
    exact = Decimal(str(seconds))
    if not exact.is_finite() or not 0 <= exact <= MOST_SECONDS:
        raise OptionError(
            f"a {name} time of {seconds} seconds is out of range",
            f"give 0 to {MOST_SECONDS} seconds, such as 0.3",
        )
    return int((exact * 1000).quantize(Decimal(1), ROUND_HALF_UP))


def player_text(player: Player) -> str:
    """The times in words: "steady: flip 0.6 s, leave 0.15 s, place 0.3 s"."""
    flip, leave, place = (f"{time / 1000:g}" for time in (player.flip, player.leave, player.place))
    return f"{player.name}: flip {flip} s, leave {leave} s, place {place} s"

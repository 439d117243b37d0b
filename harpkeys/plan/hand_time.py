"""When each hand is free to move a lever.

A hand is **busy** from `place` before each of its plucks to `leave` after it (after its end, where the pluck
belongs to a tremolo, trill or glissando); it is **free** otherwise. Lost plucks keep a hand busy too, so the
free time depends on the plucks and the player alone, not on the plan. Times are whole milliseconds. Section 3
of the planning problem; the player's times are stated assumptions.
"""

from __future__ import annotations

from collections.abc import Sequence

from harpkeys.harp.model import Player
from harpkeys.score.pluck import Hand, Pluck

LONG_BEFORE = -(10**12)
"""Start of the free time before a hand's first pluck: about thirty years before the piece."""

LONG_AFTER = 10**12
"""End of the free time after a hand's last pluck."""

Stretch = tuple[int, int]
"""A closed interval in which a hand is free; what only touches its ends does not collide."""


def free_stretches(plucks: Sequence[Pluck], player: Player) -> dict[Hand, tuple[Stretch, ...]]:
    """Every free stretch of each hand, in order, disjoint and none empty.

    Linear in the number of plucks.

    Args:
        plucks: in performed order (onsets never fall).
        player: whose times they are.

    Returns:
        For "left" and "right" the stretches (start, end); the first starts at `LONG_BEFORE` and the last ends
        at `LONG_AFTER`.
    """
    leave, place = player.leave, player.place
    left: list[Stretch] = []
    right: list[Stretch] = []
    left_until = right_until = LONG_BEFORE
    for pluck in plucks:
        begin = pluck.onset - place
        until = (pluck.end if pluck.sustained else pluck.onset) + leave
        if pluck.hand == "left":
            if begin > left_until:
                left.append((left_until, begin))
            if until > left_until:
                left_until = until
        else:
            if begin > right_until:
                right.append((right_until, begin))
            if until > right_until:
                right_until = until
    left.append((left_until, LONG_AFTER))
    right.append((right_until, LONG_AFTER))
    return {"left": tuple(left), "right": tuple(right)}

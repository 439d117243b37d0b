"""When each hand is free to move a lever.

A hand is **busy** from `place` before each of its plucks to `leave` after it (after its end, where the pluck
belongs to a tremolo, trill or glissando); it is **free** otherwise. Lost plucks keep a hand busy too, so the
free time depends on the plucks and the player alone, not on the plan. Times are whole milliseconds. Section 3
of the planning problem; the player's times are stated assumptions.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

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


@dataclass(frozen=True, slots=True)
class Room:
    """The most room that a hand has for one flip between two moments, nothing else in its way.

    Attributes:
        hand: the hand that has it.
        free: milliseconds; 0 where no hand is free at all.
        factor: the largest factor on all tempi at which one flip fits there, whatever hand makes it (musical
            times scale, the player's times do not); at least 1 where it fits as it is.
    """

    hand: Hand
    free: int
    factor: Fraction


@dataclass(frozen=True, slots=True)
class Gaps:
    """What lies between the plucks of one hand, whoever the player is.

    Attributes:
        starts: for each gap when the last pluck before it lets the hand go: its onset, or its end where it is
            sustained; `LONG_BEFORE` for the first gap.
        ends: for each gap the onset of the next pluck; `LONG_AFTER` for the last gap.
    """

    starts: tuple[int, ...]
    ends: tuple[int, ...]


def gaps_of(plucks: Sequence[Pluck]) -> dict[Hand, Gaps]:
    """The gaps between the plucks of each hand, in order.

    Args:
        plucks: in performed order.
    """
    found: dict[Hand, tuple[list[int], list[int]]] = {
        "left": ([LONG_BEFORE], []),
        "right": ([LONG_BEFORE], []),
    }
    for pluck in plucks:
        starts, ends = found[pluck.hand]
        let_go = pluck.end if pluck.sustained else pluck.onset
        if pluck.onset > starts[-1]:
            ends.append(pluck.onset)
            starts.append(let_go)
        elif let_go > starts[-1]:
            starts[-1] = let_go
    return {hand: Gaps(tuple(starts), (*ends, LONG_AFTER)) for hand, (starts, ends) in found.items()}


def most_room(gaps: Mapping[Hand, Gaps], player: Player, release: int, latest: int) -> Room:
    """The most room for a flip that may start at `release` and must be done by `latest`.

    A flip fits a gap from one pluck to the next at tempo factor f if the window, the gap less both of the
    player's margins, and each end of one with each end of the other leave it time; each gives the largest f
    directly, since everything musical shrinks as 1/f.

    Args:
        gaps: the gaps of both hands.
        player: whose times they are.
        release, latest: the window, musical times in milliseconds, release before latest.
    """
    flip, leave, place = player.flip, player.leave, player.place
    best = Room("left", 0, Fraction(0))
    for hand in ("left", "right"):
        starts, ends = gaps[hand].starts, gaps[hand].ends
        for index in range(bisect_right(ends, release), len(ends)):
            start, end = starts[index], ends[index]
            if start >= latest:
                break
            factor = Fraction(latest - release, flip)
            if start > LONG_BEFORE:
                factor = min(factor, Fraction(latest - start, flip + leave))
            if end < LONG_AFTER:
                factor = min(factor, Fraction(end - release, flip + place))
                if start > LONG_BEFORE:
                    factor = min(factor, Fraction(end - start, flip + leave + place))
            free = max(0, min(latest, end - place) - max(release, start + leave))
            better = free > best.free
            best = Room(hand if better else best.hand, max(free, best.free), max(factor, best.factor))
    return best


def stretch_of(stretches: Sequence[Stretch], moment: int) -> Stretch | None:
    """The free stretch that holds a moment, None where the hand is busy.

    Args:
        stretches: free stretches of one hand, in order.
        moment: milliseconds.
    """
    index = bisect_right(stretches, (moment, LONG_AFTER)) - 1
    return stretches[index] if index >= 0 and stretches[index][1] >= moment else None

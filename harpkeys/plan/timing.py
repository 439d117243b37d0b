"""Start times for flips whose strings, hands and neighbours are settled.

Preferences, without a claim (section 5 of the planning problem, last paragraph): first the most room. A
flip's **slack** is how much later it could start with everything else in place, so asking every flip of a
hand for a slack of at least w is the same as fitting jobs that last w longer; the largest such w is found by
bisection for each set of flips that compete, then each flip starts as early as that allows. Then a start on a
beat: a flip moves later to the next beat where its slack stays at least that of the hand's tightest.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from harpkeys.plan.schedule import fit_starts
from harpkeys.plan.windows import Fits

MOST_ROOM = 4000
"""Slack beyond this many milliseconds is not sought: it is rest enough for anybody (stated assumption)."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A flip's window and its start.

    Attributes:
        release, latest: first and last start that its plucks and its kind allow, milliseconds.
        start: the start chosen.
        slack: how much later it could start with everything else in place.
    """

    release: int
    latest: int
    start: int
    slack: int


def time_flips(
    windows: Sequence[tuple[int, int]], fits: Fits, flip: int, beats: Sequence[int] = ()
) -> list[Timed]:
    """Start times for the flips of one hand.

    Args:
        windows: (release, latest start) of each flip; they must fit.
        fits: the hand's usable stretches.
        flip: time to move a lever, milliseconds.
        beats: moments of the beats, ascending, milliseconds.

    Returns:
        One entry for each window, in its order.
    """
    order = sorted(range(len(windows)), key=lambda k: windows[k])
    blocks: list[list[int]] = []
    over = 0
    for k in order:
        if not blocks or windows[k][0] >= over:
            blocks.append([])
            over = 0
        blocks[-1].append(k)
        over = max(over, windows[k][1] + flip)
    roomy = [_roomiest([windows[k] for k in block], fits, flip) for block in blocks]
    least = min((room for room, _ in roomy), default=0)
    result: dict[int, Timed] = {}
    for block, (_, starts) in zip(blocks, roomy, strict=True):
        own = [windows[k] for k in block]
        result.update(zip(block, _on_beats(own, starts, fits, flip, beats, least), strict=True))
    return [result[k] for k in range(len(windows))]


def _roomiest(windows: Sequence[tuple[int, int]], fits: Fits, flip: int) -> tuple[int, list[int]]:
    """The largest slack that every flip of a block can have, and the earliest starts that give it."""
    room = 0
    starts = _with_room(windows, fits, flip, 0)
    high = MOST_ROOM + 1
    while starts is not None and high - room > 1:
        middle = (room + high) // 2
        found = _with_room(windows, fits, flip, middle)
        if found is None:
            high = middle
        else:
            starts, room = found, middle
    if starts is None:
        raise ValueError("flips that do not fit were handed over to be timed")
    return room, starts


def _on_beats(
    windows: Sequence[tuple[int, int]],
    starts: Sequence[int],
    fits: Fits,
    flip: int,
    beats: Sequence[int],
    room: int,
) -> list[Timed]:
    """Starts moved later to a beat where every slack stays at least `room`, the last of them first."""
    limit = None
    timed: dict[int, Timed] = {}
    for k in sorted(range(len(windows)), key=lambda k: starts[k], reverse=True):
        release, latest = windows[k]
        start = starts[k]
        last = min(latest, fits.lasts[bisect_left(fits.lasts, start)])
        if limit is not None:
            last = min(last, limit - flip)
        beat = bisect_left(beats, start)
        if beat < len(beats) and beats[beat] <= last - room:
            start = beats[beat]
        timed[k] = Timed(release, latest, start, last - start)
        limit = start
    return [timed[k] for k in range(len(windows))]


def _with_room(windows: Sequence[tuple[int, int]], fits: Fits, flip: int, room: int) -> list[int] | None:
    """Earliest starts that leave every flip a slack of at least `room`; None where there are none."""
    if any(latest - room < release for release, latest in windows):
        return None
    return fit_starts([(release, latest - room) for release, latest in windows], flip + room, fits.stretches)

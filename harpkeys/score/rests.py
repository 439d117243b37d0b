"""The written rest of each hand: where nothing it plays is written to sound.

On a harp a hand may be free while its notes ring on, so this is reported beside the free time, never used
in its place. Times are performed ticks.
"""

from __future__ import annotations

from collections.abc import Sequence

from harpkeys.score.model import Score
from harpkeys.score.pluck import Hand
from harpkeys.score.plucks import staff_hands
from harpkeys.score.route import Timeline

_Intervals = list[tuple[int, int]]


def hand_rests(
    score: Score, part_indexes: Sequence[int], timeline: Timeline
) -> dict[Hand, tuple[tuple[int, int], ...]]:
    """Where each hand has written rest.

    Cue notes, hidden notes and grace notes do not interrupt a rest; unpitched notes do, since a hand makes
    them.

    Args:
        score: as printed.
        part_indexes: the parts the harp plays.
        timeline: the performed order.

    Returns:
        For "left" and "right" the intervals of performed ticks without a note, disjoint, in order, none
        empty.
    """
    hand_of = staff_hands(score, part_indexes)
    written: dict[Hand, list[_Intervals]] = {
        "left": [[] for _ in score.measures],
        "right": [[] for _ in score.measures],
    }
    for index in part_indexes:
        for note in score.parts[index].notes:
            if note.duration and not (note.rest or note.hidden or note.cue):
                bar = written[hand_of(index, note.staff)][note.measure]
                bar.append((note.onset, note.onset + note.duration))
    return {hand: tuple(_gaps(bars, timeline)) for hand, bars in written.items()}


def _gaps(bars: list[_Intervals], timeline: Timeline) -> _Intervals:
    """What the performed intervals of the bars leave free."""
    for bar in bars:
        bar.sort()
    gaps: _Intervals = []
    reached = 0
    for visit in timeline.visits:
        for onset, end in bars[visit.measure]:
            if visit.start + onset > reached:
                gaps.append((reached, visit.start + onset))
            reached = max(reached, visit.start + end)
    if reached < timeline.length:
        gaps.append((reached, timeline.length))
    return gaps

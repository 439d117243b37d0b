"""What fingers start, in performed order: the values that the planner works on.

A **pluck** is one sounding note that a finger starts. Times are whole milliseconds of the performance; ticks
count performed musical time (`Score.resolution` ticks to a quarter). See section 2 of the planning problem.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from harpkeys.pitch import Pitch
from harpkeys.score.model import Note

Hand = Literal["left", "right"]
PluckKind = Literal["note", "grace", "auxiliary", "tremolo", "harmonic"]


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the performance, as a player names it.

    Attributes:
        measure: index of the printed measure.
        tick: ticks from the start of that measure.
        visit: index of the bar in performed order.
        number: the bar's pass, counted from 1.
    """

    measure: int
    tick: int
    visit: int
    number: int


@dataclass(frozen=True, slots=True)
class Pluck:
    """One pluck.

    Attributes:
        id: its index in performed order.
        onset, end: milliseconds, ties merged.
        pitch: spelled pitch of its string (its MIDI number is m(i)); an octave under what sounds for a
            harmonic.
        hand: the hand that plays it.
        kind: what it is.
        sustained: whether the hand stays until `end` (tremolo, trill, glissando).
        place: where it stands.
        onset_tick, end_tick: performed ticks.
        staff: staff within the part, from 1.
        note: the note it comes from; None in made-up problems.
    """

    id: int
    onset: int
    end: int
    pitch: Pitch
    hand: Hand
    kind: PluckKind = "note"
    sustained: bool = False
    place: Place = Place(0, 0, 0, 1)
    onset_tick: int = 0
    end_tick: int = 0
    staff: int = 1
    note: Note | None = field(default=None, compare=False, repr=False)

"""Making a `Pluck` quickly.

A frozen dataclass sets each of its fields through `object.__setattr__`, which costs more than all the rest
of finding a pluck, and tempo searches make every pluck anew for each tempo they try. `PluckInMaking` has
the same slots and sets them plainly; giving it the class `Pluck` afterwards makes it the very value that
`Pluck(...)` would be. A test holds the two together.
"""

from __future__ import annotations

from typing import cast

from harpkeys.pitch import Pitch
from harpkeys.score.model import Note
from harpkeys.score.pluck import Hand, Place, Pluck, PluckKind


class PluckInMaking:
    """A pluck before it is frozen: the fields of `Pluck`, in its order."""

    __slots__ = tuple(Pluck.__slots__)

    def __init__(
        self,
        id: int,
        onset: int,
        end: int,
        pitch: Pitch,
        hand: Hand,
        kind: PluckKind,
        sustained: bool,
        place: Place,
        onset_tick: int,
        end_tick: int,
        staff: int,
        note: Note | None,
    ) -> None:
        self.id = id
        self.onset = onset
        self.end = end
        self.pitch = pitch
        self.hand = hand
        self.kind = kind
        self.sustained = sustained
        self.place = place
        self.onset_tick = onset_tick
        self.end_tick = end_tick
        self.staff = staff
        self.note = note


def frozen(plucks: list[PluckInMaking]) -> tuple[Pluck, ...]:
    """Give every pluck in making the class `Pluck`."""
    for pluck in plucks:
        pluck.__class__ = Pluck  # type: ignore[assignment]
    return cast(tuple[Pluck, ...], tuple(plucks))

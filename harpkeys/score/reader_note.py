"""Making a `Note` quickly.

A frozen dataclass sets each of its sixteen fields through `object.__setattr__`, which costs nearly as much as
all the rest of reading a note. `NoteInMaking` has the same slots and sets them plainly; giving it the class
`Note` afterwards makes it the very value that `Note(...)` would be. A test holds the two together.
"""

from __future__ import annotations

from typing import Any

from harpkeys.pitch import Pitch
from harpkeys.score.model import Note, Signs


class NoteInMaking:
    """A note before it is frozen: the fields of `Note`, in its order."""

    __slots__ = tuple(Note.__slots__)

    def __init__(
        self,
        measure: int,
        onset: int,
        duration: int,
        pitch: Pitch | None,
        staff: int,
        voice: str,
        rest: bool,
        grace: bool,
        cue: bool,
        hidden: bool,
        chord: bool,
        tie_start: bool,
        tie_stop: bool,
        accidental: str | None,
        signs: Signs | None,
        node: Any,
    ) -> None:
        self.measure = measure
        self.onset = onset
        self.duration = duration
        self.pitch = pitch
        self.staff = staff
        self.voice = voice
        self.rest = rest
        self.grace = grace
        self.cue = cue
        self.hidden = hidden
        self.chord = chord
        self.tie_start = tie_start
        self.tie_stop = tie_stop
        self.accidental = accidental
        self.signs = signs
        self.node = node

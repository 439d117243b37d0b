"""The sheet to tune a harp by: every string, its note as its lever stands meanwhile, and its frequency.

A harp is tuned with all levers down, or with its levers set for a key: many E-flat harps are tuned with B, E
and A up, so that every string sounds a natural. The sheet says which. Where the harp comes from another
tuning it says which strings go up or down, and what to mind.

References: equal temperament on A4 = 440 Hz (ISO 16) or another reference; safety as graded in the trade
notes (raising: two sources and one; a technician's job: one).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from harpkeys.choose.key_reach import obstacles_text, reach_scale
from harpkeys.choose.scales import Scale
from harpkeys.errors import OptionError
from harpkeys.harp.frequency import STANDARD_A4, frequency
from harpkeys.harp.model import UP, Harp
from harpkeys.harp.naming import string_names
from harpkeys.pitch import Pitch
from harpkeys.report.vet import RAISING

BUZZING = "A string that buzzes or is out of tune with its lever up is a technician's job."
"""One credible source."""


@dataclass(frozen=True, slots=True)
class StringToTune:
    """A line of the sheet.

    Attributes:
        index: the string, lowest 0.
        number: its number from the top.
        lever: how its lever stands while it is tuned, 0 down or 1 up; None without a lever.
        note: what it is tuned to sound so.
        hertz: the frequency of that note.
        change: semitones up (negative: down) from the tuning before; 0 without one.
    """

    index: int
    number: int
    lever: int | None
    note: Pitch
    hertz: float
    change: int


@dataclass(frozen=True, slots=True)
class TuningSheet:
    """What one needs to tune a harp.

    Attributes:
        harp: the harp in the tuning it is to have.
        a4: hertz of A4.
        standing: the key the levers are set for meanwhile, None for all levers down.
        up: strings whose lever is up meanwhile, lowest first.
        before: the harp in the tuning it comes from, None where that does not matter.
        lines: the strings, the highest first.
        raised: strings that go up, lowest first.
        lowered: strings that go down.
        cautions: what to mind, in sentences.
    """

    harp: Harp
    a4: float
    standing: Scale | None
    up: tuple[int, ...]
    before: Harp | None
    lines: tuple[StringToTune, ...]
    raised: tuple[int, ...]
    lowered: tuple[int, ...]
    cautions: tuple[str, ...]


def tuning_sheet(
    harp: Harp, *, a4: float = STANDARD_A4, standing: Scale | None = None, before: Harp | None = None
) -> TuningSheet:
    """The sheet for a harp.

    Args:
        harp: the harp in the tuning it is to have.
        a4: hertz of A4, 300 to 600.
        standing: the key that its levers are set for while it is tuned; None for all levers down.
        before: the same harp in the tuning it comes from.

    Raises:
        OptionError: the reference is out of range, or the levers cannot stand in that key.
    """
    up = _levers_up(harp, standing)
    old = before.strings if before is not None else harp.strings
    lines = []
    for index in reversed(range(len(harp.strings))):
        string = harp.strings[index]
        state = UP if index in up else 0
        note = string.sounding(state)
        lever = state if string.lever else None
        change = string.tuned - old[index].tuned
        lines.append(StringToTune(index, harp.number(index), lever, note, frequency(note.midi, a4), change))
    raised = tuple(sorted(line.index for line in lines if line.change > 0))
    lowered = tuple(sorted(line.index for line in lines if line.change < 0))
    cautions = tuple(_cautions(harp, before, raised, lowered, a4))
    return TuningSheet(harp, a4, standing, up, before, tuple(lines), raised, lowered, cautions)


def _levers_up(harp: Harp, standing: Scale | None) -> tuple[int, ...]:
    if standing is None:
        return ()
    reach = reach_scale(harp, standing)
    if not reach.reached:
        reason = obstacles_text(harp, reach.obstacles)
        why = f" ({reason})" if reason else ""
        raise OptionError(
            f"the levers of a harp tuned in {harp.tuning} cannot be set for {standing.name}{why}",
            "name a key that it reaches, or tune with all levers down",
        )
    return reach.up


def _cautions(
    harp: Harp, before: Harp | None, raised: tuple[int, ...], lowered: tuple[int, ...], a4: float
) -> Iterator[str]:
    if before is not None and raised:
        names = string_names(harp.strings[index].diatonic for index in raised)
        go = "1 string goes" if len(raised) == 1 else f"{len(raised)} strings go"
        yield (
            f"{go} up from {before.tuning} ({names}). That is safe where it brings them back to where they "
            "were made to stand, and not above it."
        )
    if before is not None and lowered and not raised:
        yield f"All changes go down; the way back to {before.tuning} raises these strings to where they were."
    yield RAISING
    if a4 > STANDARD_A4:
        cents = 1200 * math.log2(a4 / STANDARD_A4)
        yield (
            f"A at {a4:g} Hz is {cents:.0f} cents above the standard 440 Hz, so every string is tighter than "
            "it would be there."
        )
    yield BUZZING

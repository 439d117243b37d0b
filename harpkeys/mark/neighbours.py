"""Notes that are played on a string of another letter, and how few words will say so.

A written note that is played on one and the same other string all through the piece is named once, in the
setting at the first bar, if it occurs at several places. Every other is named where it stands; like an
accidental the words hold to the end of the bar, for that note on that staff, unless others follow. A bar
that is played more than once may need other words on another pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from harpkeys.pitch import Pitch
from harpkeys.plan.model import Plan
from harpkeys.report.performance import Performance
from harpkeys.score.pluck import Pluck

ENOUGH = 3
"""A note at so many places is named in the setting; at fewer the words are better where the note is."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """What is said at one place.

    Attributes:
        pluck: id of a pluck that stands there, for its staff and part.
        measure: index of the printed bar.
        tick: ticks from its start.
        passes: passes that the words name; empty where they hold for all.
        strings: indexes of the strings, lowest first.
    """

    pluck: int
    measure: int
    tick: int
    passes: tuple[int, ...]
    strings: tuple[int, ...]


def moved_notes(performance: Performance, plan: Plan) -> dict[Pitch, int]:
    """The written notes that the setting names, with their strings, lowest first.

    Args:
        performance: what is played.
        plan: its plan.
    """
    strings: dict[Pitch, set[int]] = {}
    places: dict[Pitch, set[tuple[int, int]]] = {}
    for pluck, play in zip(performance.plucks, plan.plays, strict=True):
        if play is not None:
            strings.setdefault(pluck.pitch, set()).add(play[0])
            places.setdefault(pluck.pitch, set()).add((pluck.place.measure, pluck.place.tick))
    found = {
        pitch: next(iter(used))
        for pitch, used in strings.items()
        if len(used) == 1 and len(places[pitch]) >= ENOUGH
    }
    return {
        pitch: found[pitch]
        for pitch in sorted(found, key=lambda one: (one.diatonic, one.alter))
        if plan.harp.strings[found[pitch]].diatonic != pitch.diatonic
    }


def neighbours_of(performance: Performance, plan: Plan, moved: Mapping[Pitch, int]) -> tuple[Neighbours, ...]:
    """What is said at single notes, in page order.

    Args:
        performance: what is played.
        plan: its plan.
        moved: notes that the setting names.
    """
    groups: dict[tuple[int, int, str, int, tuple[int, ...]], tuple[int, set[int]]] = {}
    for plucks in _notes_of_bars(performance, plan).values():
        for neighbours in _said_in_bar(plucks, plan, moved):
            first = performance.plucks[neighbours.pluck]
            key = (neighbours.measure, neighbours.tick, first.hand, first.staff, neighbours.passes)
            groups.setdefault(key, (neighbours.pluck, set()))[1].update(neighbours.strings)
    return tuple(
        Neighbours(pluck, measure, tick, passes, tuple(sorted(strings)))
        for (measure, tick, _, _, passes), (pluck, strings) in sorted(groups.items())
    )


def _notes_of_bars(performance: Performance, plan: Plan) -> dict[tuple[int, str, int, Pitch], list[Pluck]]:
    """For each bar, staff and written note that some pass plays on another string: all its plucks."""
    harp = plan.harp
    wanted = {
        (pluck.place.measure, pluck.hand, pluck.staff, pluck.pitch)
        for pluck, play in zip(performance.plucks, plan.plays, strict=True)
        if play is not None and harp.strings[play[0]].diatonic != pluck.pitch.diatonic
    }
    found: dict[tuple[int, str, int, Pitch], list[Pluck]] = {}
    for pluck in performance.plucks if wanted else ():
        key = (pluck.place.measure, pluck.hand, pluck.staff, pluck.pitch)
        if key in wanted:
            found.setdefault(key, []).append(pluck)
    return found


def _said_in_bar(plucks: list[Pluck], plan: Plan, moved: Mapping[Pitch, int]) -> Iterator[Neighbours]:
    """The words that one written note needs in one bar, on all passes."""
    pitch, measure = plucks[0].pitch, plucks[0].place.measure
    own = moved.get(pitch, plan.harp.index_of(pitch.diatonic))
    passes = {pluck.place.number for pluck in plucks}
    current: dict[int, int | None] = dict.fromkeys(passes, own)
    for tick in sorted({pluck.place.tick for pluck in plucks}):
        here = [pluck for pluck in plucks if pluck.place.tick == tick]
        needed: dict[int, set[int]] = {}
        kept: dict[int, set[int]] = {}
        for pluck in here:
            play = plan.plays[pluck.id]
            if play is not None:
                target = needed if current[pluck.place.number] != play[0] else kept
                target.setdefault(play[0], set()).add(pluck.place.number)
        for string, numbers in sorted(needed.items()):
            other = {k for s, used in (*needed.items(), *kept.items()) if s != string for k in used}
            named = tuple(sorted(numbers)) if other else ()
            yield Neighbours(here[0].id, measure, tick, named, (string,))
            current.update(dict.fromkeys(numbers if named else passes, string))

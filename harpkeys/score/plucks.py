"""From the printed score to plucks: what fingers start, in performed order.

Rests, cue notes, hidden notes, unpitched notes and tied continuations are no plucks; ornaments and tremolos
add the notes that their signs stand for. A note that is tied to continues a pluck of the same part whose
pitch sounds the same and that ends at its onset in performed order (hidden and cue notes are not there to
be tied to); where there is none it is a pluck of its own. Among several such plucks it continues one that
is not continued yet, then one that has a tie itself, then one of its own voice. Section 2 of the planning
problem.

Plucks are in order of their onsets; at one onset grace notes come first, then all in file order, the parts
in the order the user joined them; what an ornament or tremolo adds follows the note it stands on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from operator import attrgetter, itemgetter
from typing import NamedTuple, cast

from harpkeys.pitch import Pitch
from harpkeys.score.clock import Clock
from harpkeys.score.key_map import AccidentalMap, accidental_map
from harpkeys.score.model import Note, Part, Score
from harpkeys.score.ornaments import auxiliary_pitches, tremolo_partners
from harpkeys.score.pluck import Hand, Place, Pluck, PluckKind
from harpkeys.score.pluck_making import PluckInMaking, frozen
from harpkeys.score.route import Timeline, Visit

_TieKey = tuple[int, int | Fraction]
"""Index of the part and sounding number."""


class _Special(NamedTuple):
    """What the signs of a note change."""

    pitch: Pitch
    kind: PluckKind
    sustained: bool
    auxiliaries: tuple[Pitch, ...]


_Entry = tuple[int, int, _TieKey | None, bool, Hand, Note, _Special | None]
"""A note of a bar as it is written, ready to be performed on every pass: order, duration, tie key, whether it
continues another, hand, note, specials.

The order is twice the onset, and one more for all but grace notes, so that sorting by it puts grace notes
first. The note always has a pitch. The tie key is None where no note of the part with that pitch is tied
to. A plain tuple, because most of the time of this module goes into making values."""


class _Chain:
    """A pluck while ties may still lengthen it; `later` are the continuations."""

    __slots__ = ("end", "entry", "later", "onset", "order", "visit")

    def __init__(self, order: int, onset: int, end: int, visit: int, entry: _Entry) -> None:
        self.order = order
        self.onset = onset
        self.end = end
        self.visit = visit
        self.entry = entry
        self.later: list[_Entry] | None = None


def find_plucks(
    score: Score, part_indexes: Sequence[int], timeline: Timeline, clock: Clock
) -> tuple[Pluck, ...]:
    """Every pluck of the chosen parts in performed order.

    Args:
        score: as printed.
        part_indexes: which parts the harp plays; two one-staff parts are the right and the left hand.
        timeline: the performed order of the score's bars.
        clock: its tempo map.

    Returns:
        The plucks; their ids are their indexes.
    """
    bars: list[list[_Entry]] = [[] for _ in score.measures]
    hand_of = staff_hands(score, part_indexes)
    for index in part_indexes:
        for bar, entries in zip(bars, _entries(score, index, hand_of), strict=True):
            bar += entries
    for bar in bars:
        bar.sort(key=itemgetter(0))
    return _finish(_chains(bars, timeline.visits), timeline.visits, clock)


def retimed(plucks: Iterable[Pluck], clock: Clock) -> tuple[Pluck, ...]:
    """The same plucks under another clock of the same performance.

    Args:
        plucks: as `find_plucks` gave them.
        clock: another tempo map along the same timeline.

    Returns:
        The plucks with new onsets and ends.
    """
    plucks = tuple(plucks)
    ticks = {pluck.onset_tick for pluck in plucks}
    ticks.update(pluck.end_tick for pluck in plucks)
    time = clock.at_all(ticks)
    return frozen(
        [
            PluckInMaking(
                pluck.id,
                time[pluck.onset_tick],
                time[pluck.end_tick],
                pluck.pitch,
                pluck.hand,
                pluck.kind,
                pluck.sustained,
                pluck.place,
                pluck.onset_tick,
                pluck.end_tick,
                pluck.staff,
                pluck.note,
            )
            for pluck in plucks
        ]
    )


def staff_hands(score: Score, part_indexes: Sequence[int]) -> Callable[[int, int], Hand]:
    """Which hand plays which staff.

    One staff in all is for the right hand; of several the lowest is for the left and all others for the
    right.

    Args:
        score: as printed.
        part_indexes: the parts played, upper first.

    Returns:
        A function of part index and staff number.
    """
    above: dict[int, int] = {}
    total = 0
    for index in part_indexes:
        above[index] = total
        total += max(1, score.parts[index].staves)

    def hand(part: int, staff: int) -> Hand:
        return "left" if total > 1 and above[part] + staff >= total else "right"

    return hand


def _entries(score: Score, index: int, hand_of: Callable[[int, int], Hand]) -> list[list[_Entry]]:
    """The notes of a part that fingers start or ties prolong, by bar and in file order."""
    part = score.parts[index]
    keys = _tie_keys(part, index)
    hands = [hand_of(index, staff) for staff in range(_most_staves(part) + 1)]
    accidentals: AccidentalMap | None = None
    bars: list[list[_Entry]] = [[] for _ in score.measures]
    tremolos: set[int] = set()
    for note in part.notes:
        pitch = note.pitch
        if pitch is None or note.hidden or note.cue:
            continue
        key = keys.get((pitch.diatonic, pitch.alter)) if keys else None
        special = None
        signs = note.signs
        if signs is not None:
            if signs.ornaments and accidentals is None:
                accidentals = accidental_map(part)
            special = _special(note, pitch, accidentals)
            if signs.tremolo is not None:
                tremolos.add(note.measure)
        order = 2 * note.onset if note.grace else 2 * note.onset + 1
        bars[note.measure].append(
            (order, note.duration, key, note.tie_stop, hands[note.staff], note, special)
        )
    for measure in tremolos:
        bars[measure] = _with_tremolos(bars[measure], keys)
    return bars


def _most_staves(part: Part) -> int:
    """The number of staves, or a larger staff number that a note of a faulty file bears."""
    return max(part.staves, max((note.staff for note in part.notes), default=1))


def _tie_keys(part: Part, index: int) -> dict[tuple[int, int | Fraction], _TieKey]:
    """Tie keys by spelled pitch, for the pitches that sound like one that is tied to."""
    spelled = {}
    tied_to = set()
    if not any(note.tie_stop for note in part.notes):
        return {}
    for note in part.notes:
        if note.pitch is not None:
            spelled[note.pitch.diatonic, note.pitch.alter] = note.pitch
            if note.tie_stop:
                tied_to.add(note.pitch.midi)
    return {spelling: (index, pitch.midi) for spelling, pitch in spelled.items() if pitch.midi in tied_to}


def _special(note: Note, pitch: Pitch, accidentals: AccidentalMap | None) -> _Special | None:
    """What the signs of a note change, tremolos left out; None for nothing."""
    signs = note.signs
    if signs is None:
        return None
    kind: PluckKind = "grace" if note.grace else "note"
    if signs.harmonic is not None and not note.grace:
        kind = "harmonic"
    if signs.harmonic == "sounding":
        pitch = Pitch(pitch.diatonic - 7, pitch.alter)
    auxiliaries: tuple[Pitch, ...] = ()
    if signs.ornaments and accidentals is not None:
        auxiliaries = auxiliary_pitches(note, pitch, accidentals)
    sustained = signs.glissando or any(ornament.kind == "trill" for ornament in signs.ornaments)
    if signs.harmonic is None and not auxiliaries and not sustained:
        return None
    return _Special(pitch, kind, sustained, auxiliaries)


def _with_tremolos(bar: list[_Entry], keys: dict[tuple[int, int | Fraction], _TieKey]) -> list[_Entry]:
    """A bar with its tremolos marked and the pitches they add to a note written after it."""
    carried = tremolo_partners([entry[5] for entry in bar])
    entries: list[_Entry] = []
    for index, entry in enumerate(bar):
        if index not in carried:
            entries.append(entry)
            continue
        order, duration, key, tied, hand, note, special = entry
        pitch = special.pitch if special is not None else cast(Pitch, note.pitch)
        kind = special.kind if special is not None else "grace" if note.grace else "note"
        auxiliaries = special.auxiliaries if special is not None else ()
        special = _Special(pitch, "tremolo" if kind == "note" else kind, True, auxiliaries)
        entries.append((order, duration, key, tied, hand, note, special))
        for other in carried[index]:
            pitch = cast(Pitch, other.pitch)
            key = keys.get((pitch.diatonic, pitch.alter))
            special = _Special(pitch, "tremolo", True, ())
            entries.append((order, duration, key, False, hand, note, special))
    return entries


def _chains(bars: list[list[_Entry]], visits: tuple[Visit, ...]) -> list[_Chain]:
    """Perform the bars: one chain for each pluck, ties merged."""
    chains: list[_Chain] = []
    ending: dict[tuple[_TieKey, int], list[tuple[_Chain, Note]]] = {}
    for number, visit in enumerate(visits):
        start = visit.start
        for entry in bars[visit.measure]:
            order, duration, key, tied, _, note, _ = entry
            onset = start + (order >> 1)
            end = onset + duration
            if key is None:
                chains.append(_Chain(order + 2 * start, onset, end, number, entry))
                continue
            before = ending.get((key, onset)) if tied else None
            if before:
                chain = min(before, key=lambda one: _reluctance(one, note, onset))[0]
                chain.end = max(chain.end, end)
                if entry[6] is not None:
                    chain.later = [*(chain.later or ()), entry]
            else:
                chain = _Chain(order + 2 * start, onset, end, number, entry)
                chains.append(chain)
            ending.setdefault((key, end), []).append((chain, note))
    chains.sort(key=attrgetter("order"))
    return chains


def _reluctance(candidate: tuple[_Chain, Note], note: Note, onset: int) -> tuple[bool, bool, bool]:
    """How unfit a pluck is to be continued by a note: the smallest is taken."""
    chain, last = candidate
    return chain.end > onset, not last.tie_start, last.voice != note.voice


def _finish(chains: list[_Chain], visits: tuple[Visit, ...], clock: Clock) -> tuple[Pluck, ...]:
    """Turn chains into plucks with times, auxiliaries after their principals."""
    ticks = {chain.onset for chain in chains}
    ticks.update([chain.end for chain in chains])
    time = clock.at_all(ticks)
    plucks: list[PluckInMaking] = []
    place = Place(-1, -1, -1, 0)
    for chain in chains:
        order, _, _, _, hand, note, special = chain.entry
        number, tick, onset, end = chain.visit, order >> 1, chain.onset, chain.end
        if place.tick != tick or place.visit != number:
            visit = visits[number]
            place = Place(visit.measure, tick, number, visit.number)
        starts, ends, staff = time[onset], time[end], note.staff
        if special is None and chain.later is None:
            kind: PluckKind = "grace" if note.grace else "note"
            pitch = cast(Pitch, note.pitch)
            plucks.append(
                PluckInMaking(
                    len(plucks), starts, ends, pitch, hand, kind, False, place, onset, end, staff, note
                )
            )
            continue
        for one, pitch, kind, sustained in _sounding(chain):
            plucks.append(
                PluckInMaking(
                    len(plucks), starts, ends, pitch, hand, kind, sustained, place, onset, end, staff, one
                )
            )
    return frozen(plucks)


def _sounding(chain: _Chain) -> list[tuple[Note, Pitch, PluckKind, bool]]:
    """The note, pitch, kind and sustained flag of a chain's pluck and of each auxiliary it needs."""
    note, special = chain.entry[5], chain.entry[6]
    pitch = special.pitch if special is not None else cast(Pitch, note.pitch)
    kind: PluckKind = special.kind if special is not None else "grace" if note.grace else "note"
    bearers = [chain.entry, *(chain.later or ())]
    specials = [(entry[5], entry[6]) for entry in bearers if entry[6] is not None]
    sustained = any(one.sustained for _, one in specials)
    if kind == "note" and any(one.kind == "tremolo" for _, one in specials):
        kind = "tremolo"
    found: list[tuple[Note, Pitch, PluckKind, bool]] = [(note, pitch, kind, sustained)]
    seen: set[Pitch] = set()
    for bearer, one in specials:
        for auxiliary in one.auxiliaries:
            if auxiliary not in seen:
                seen.add(auxiliary)
                found.append((bearer, auxiliary, "auxiliary", sustained))
    return found

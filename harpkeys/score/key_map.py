"""Which key signature and which accidental is in force at a place on the page.

Places are printed ones: measure index and ticks from its start. Pitches and keys are sounding ones (after the
part's transposition), so the printed accidental of a note is read as the alteration of its pitch.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from fractions import Fraction

from harpkeys.score.model import KeySignature, Part

_Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class StaffKeys:
    """The key signatures that hold on one staff, in page order.

    Attributes:
        staff: number of the staff, 0 for every staff that has no signature of its own.
        places: (measure, onset) of each.
        keys: the signatures.
    """

    staff: int
    places: tuple[_Place, ...]
    keys: tuple[KeySignature, ...]


@dataclass(frozen=True, slots=True)
class KeyMap:
    """The key signatures of one part along the page; `key_map` makes it."""

    staves: tuple[StaffKeys, ...]

    def at(self, measure: int, onset: int, staff: int) -> KeySignature | None:
        """The key signature in force at a place on a staff.

        Args:
            measure: index of the printed measure.
            onset: ticks from its start; a signature at this very place is in force.
            staff: number of the staff.

        Returns:
            The signature, None before the first.
        """
        found = self.staves[0]
        for one in self.staves:
            if one.staff == staff:
                found = one
        index = bisect_right(found.places, (measure, onset)) - 1
        return found.keys[index] if index >= 0 else None

    def alteration(self, measure: int, onset: int, staff: int, diatonic: int) -> int | Fraction:
        """What the key in force makes of a letter, in semitones; 0 without a key."""
        key = self.at(measure, onset, staff)
        return key.alters[diatonic % 7] if key is not None else 0


@dataclass(frozen=True, slots=True)
class AccidentalMap:
    """The printed accidentals of one part and its keys; `accidental_map` makes it.

    Attributes:
        keys: the keys.
        printed: for (measure, staff, diatonic number) the onsets of printed accidentals, rising, and the
            alterations they give.
    """

    keys: KeyMap
    printed: dict[tuple[int, int, int], tuple[tuple[int, ...], tuple[int | Fraction, ...]]] = field(
        hash=False
    )

    def in_force(self, measure: int, onset: int, staff: int, diatonic: int) -> int | Fraction:
        """The alteration of a letter and octave just before a place.

        Args:
            measure: index of the printed measure.
            onset: ticks from its start; accidentals printed at this very onset do not count.
            staff: number of the staff.
            diatonic: diatonic number of the letter and octave.

        Returns:
            The alteration of the last accidental printed for it at an earlier onset in the bar on that staff,
            else the key's.
        """
        found = self.printed.get((measure, staff, diatonic))
        if found is not None:
            index = bisect_left(found[0], onset) - 1
            if index >= 0:
                return found[1][index]
        return self.keys.alteration(measure, onset, staff, diatonic)


def key_map(part: Part) -> KeyMap:
    """Sort the key signatures of a part by staff.

    A signature for all staves replaces earlier ones of single staves; at one place the last in the file
    counts.
    """
    ordered = sorted(part.keys, key=lambda key: (key.measure, key.onset))
    staves = [0, *sorted({key.staff for key in ordered if key.staff is not None})]
    rows: list[StaffKeys] = []
    for staff in staves:
        keys = tuple(key for key in ordered if key.staff is None or key.staff == staff)
        rows.append(StaffKeys(staff, tuple((key.measure, key.onset) for key in keys), keys))
    return KeyMap(tuple(rows))


def key_at(part: Part, measure: int, onset: int, staff: int) -> KeySignature | None:
    """The key signature in force at one place; for many places keep a `key_map`."""
    return key_map(part).at(measure, onset, staff)


def accidental_map(part: Part) -> AccidentalMap:
    """Collect the printed accidentals of a part: those of every visible note, grace and cue notes
    included."""
    found: dict[tuple[int, int, int], list[tuple[int, int | Fraction]]] = {}
    for note in part.notes:
        if note.accidental is not None and note.pitch is not None and not note.hidden:
            place = (note.measure, note.staff, note.pitch.diatonic)
            found.setdefault(place, []).append((note.onset, note.pitch.alter))
    printed = {}
    for place, entries in found.items():
        entries.sort(key=lambda entry: entry[0])
        printed[place] = (tuple(onset for onset, _ in entries), tuple(alter for _, alter in entries))
    return AccidentalMap(key_map(part), printed)

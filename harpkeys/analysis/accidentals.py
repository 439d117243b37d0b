"""Notes that contradict the key signature, on the printed page.

For a lever harp these are what may need a lever during the piece: the levers are set for the signature before
it begins. A note counts where its sounding alteration differs from what the signature in force on its staff
makes of its letter, whether or not a sign is printed at it. Cue notes, hidden notes, rests, unpitched notes
and tied continuations do not count; grace notes do. Before the first signature every letter is natural.

The **census** compares the octaves: each string has a lever of its own, so a G♯ in one octave says nothing of
the G strings in the others.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from harpkeys.harp.model import Harp
from harpkeys.harp.naming import note_text
from harpkeys.pitch import Pitch
from harpkeys.score.key_map import key_map
from harpkeys.score.model import Note, Part

Alters = tuple[int | Fraction, ...]

NATURAL: Alters = (0,) * 7
"""Alterations before the first key signature."""

_TIMES = ("never", "once", "twice", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Accidental:
    """A note that contradicts its key signature.

    Attributes:
        measure, onset: place on the page; ticks from the start of the measure.
        staff: staff within the part, from 1.
        written: the note; as it sounds, so without the part's transposition.
        against: the note of the same letter and octave in the signature.
        diatonic: diatonic number of the string it belongs to (an octave lower for a harmonic written as it
            sounds).
        index: index of that string on the harp, None where the harp has no such string or none was given.
        note: the printed note.
    """

    measure: int
    onset: int
    staff: int
    written: Pitch
    against: Pitch
    diatonic: int
    index: int | None = None
    note: Note | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class OctaveCount:
    """How often an accidental stands in one octave.

    Attributes:
        diatonic: diatonic number of the string.
        times: notes with this accidental.
        others: other notes of this letter and octave, in whatever alteration.
    """

    diatonic: int
    times: int
    others: int


@dataclass(frozen=True, slots=True)
class CensusEntry:
    """One accidental over all octaves in which its letter occurs.

    Attributes:
        letter: letter number, C = 0.
        alter: its alteration in semitones.
        octaves: one count for each octave in which the letter occurs in the part, lowest first.
    """

    letter: int
    alter: int | Fraction
    octaves: tuple[OctaveCount, ...]

    @property
    def times(self) -> int:
        """Notes with this accidental in all octaves."""
        return sum(octave.times for octave in self.octaves)

    def text(self, *, ascii_only: bool = False) -> str:
        """The counts in words, the most frequent first: "G♯4 six times, G♯5 never"."""
        ordered = sorted(self.octaves, key=lambda octave: -octave.times)
        pitches = [Pitch(octave.diatonic, self.alter) for octave in ordered]
        return ", ".join(
            f"{note_text(pitch, ascii_only=ascii_only)} {times_word(octave.times)}"
            for pitch, octave in zip(pitches, ordered, strict=True)
        )


@dataclass(frozen=True, slots=True)
class AccidentalsFound:
    """The accidentals of a part.

    Attributes:
        notes: each one, in page order (measure, onset, staff).
        census: by letter and alteration, the most frequent first.
    """

    notes: tuple[Accidental, ...]
    census: tuple[CensusEntry, ...]


def times_word(times: int) -> str:
    """A number of times in words: "never", "once", "twice", "six times", "12 times"."""
    word = _TIMES[times] if times < len(_TIMES) else str(times)
    return word if times < 3 else f"{word} times"


def find_accidentals(part: Part, harp: Harp | None = None) -> AccidentalsFound:
    """Every note of a part that contradicts the signature in force on its staff.

    Args:
        part: the part as printed.
        harp: the harp, to name the strings by index.
    """
    keys = key_map(part)
    # Most bars have no change of key inside, so a bar's alterations serve all its notes.
    changing = {place[0] for row in keys.staves for place in row.places if place[1] > 0}
    found: list[Accidental] = []
    sounded: dict[int, int] = {}
    measure = staff = -1
    alters = NATURAL
    for note in part.notes:
        pitch = note.pitch
        if pitch is None or note.tie_stop or note.cue or note.hidden:
            continue
        if note.measure != measure or note.staff != staff or measure in changing:
            measure, staff = note.measure, note.staff
            key = keys.at(measure, note.onset, staff)
            alters = key.alters if key is not None else NATURAL
        diatonic = pitch.diatonic
        sounded[diatonic] = sounded.get(diatonic, 0) + 1
        key_alter = alters[diatonic % 7]
        if pitch.alter != key_alter:
            found.append(_accidental(note, pitch, key_alter, harp))
    found.sort(key=lambda one: (one.measure, one.onset, one.staff))
    return AccidentalsFound(tuple(found), _census(found, sounded))


def _accidental(note: Note, pitch: Pitch, key_alter: int | Fraction, harp: Harp | None) -> Accidental:
    sounding_harmonic = note.signs is not None and note.signs.harmonic == "sounding"
    diatonic = pitch.diatonic - 7 if sounding_harmonic else pitch.diatonic
    return Accidental(
        note.measure,
        note.onset,
        note.staff,
        pitch,
        Pitch(pitch.diatonic, key_alter),
        diatonic,
        harp.index_of(diatonic) if harp is not None else None,
        note,
    )


def _census(found: list[Accidental], sounded: dict[int, int]) -> tuple[CensusEntry, ...]:
    """Counts by letter and alteration over the octaves in which the letter occurs."""
    times: dict[tuple[int, int | Fraction], dict[int, int]] = {}
    for one in found:
        counts = times.setdefault((one.written.letter, one.written.alter), {})
        counts[one.written.diatonic] = counts.get(one.written.diatonic, 0) + 1
    entries = [
        CensusEntry(
            letter,
            alter,
            tuple(
                OctaveCount(diatonic, counts.get(diatonic, 0), total - counts.get(diatonic, 0))
                for diatonic, total in sorted(sounded.items())
                if diatonic % 7 == letter
            ),
        )
        for (letter, alter), counts in times.items()
    ]
    return tuple(sorted(entries, key=lambda entry: (-entry.times, entry.letter, entry.alter)))

"""What is printed in a score, as values that remember the XML nodes they came from.

Musical time on the page is in whole **ticks**; `Score.resolution` ticks make one quarter note (the resolution
is the least common multiple of every divisions value in the file, so ticks are exact). Onsets are ticks from
the start of their measure. Nodes ride outside equality.

References: MusicXML 4.0 (W3C Music Notation Community Group, final report).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from harpkeys.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Ornament:
    """A sign whose auxiliary notes sound though only the principal is written.

    Attributes:
        kind: "trill", "mordent" (note below), "inverted-mordent" (note above), "turn", "inverted-turn",
            and MusicXML's other trill-like signs under the kind that names their auxiliaries.
        above: alteration given by an accidental-mark for the note above, None where there is none.
        below: the same for the note below.
    """

    kind: str
    above: int | None = None
    below: int | None = None


@dataclass(frozen=True, slots=True)
class Signs:
    """The uncommon signs on a note that change what fingers do; most notes have none.

    Attributes:
        ornaments: trills, mordents and turns.
        tremolo: "single", "start" or "stop" (of a tremolo between two notes), None without.
        tremolo_marks: number of beams.
        harmonic: "string" (the written note is the string, also where the file says only that it is a
            harmonic), "sounding" (the written note is what sounds: the string is an octave lower), None for
            an ordinary note.
        glissando: whether a glissando or slide starts here.
        arpeggiate: whether the chord is rolled.
        fermata: whether it carries a fermata.
    """

    ornaments: tuple[Ornament, ...] = ()
    tremolo: str | None = None
    tremolo_marks: int = 0
    harmonic: str | None = None
    glissando: bool = False
    arpeggiate: bool = False
    fermata: bool = False


@dataclass(frozen=True, slots=True)
class Note:
    """One note or rest on the page.

    Attributes:
        measure: index of the printed measure (0-based).
        onset: ticks from the start of the measure.
        duration: ticks; 0 for a grace note.
        pitch: sounding pitch (after the part's transposition); None for a rest or an unpitched note.
        staff: staff within the part, from 1 (upper).
        voice: voice name as in the file.
        rest: whether it is a rest.
        grace, cue, hidden: as printed (hidden means print-object="no").
        chord: whether it shares the onset of the note before it in the file.
        tie_start, tie_stop: sounding ties (the tied notation counts only where the sound element is missing).
        accidental: the printed accidental as MusicXML names it, None without.
        signs: uncommon signs, None for most notes.
        node: the XML element.
    """

    measure: int
    onset: int
    duration: int
    pitch: Pitch | None
    staff: int
    voice: str
    rest: bool = False
    grace: bool = False
    cue: bool = False
    hidden: bool = False
    chord: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    accidental: str | None = None
    signs: Signs | None = None
    node: Any = field(default=None, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class KeySignature:
    """A key signature as printed, after transposition to sounding pitch.

    Attributes:
        measure, onset: place.
        staff: the staff it is for, None for all staves of the part.
        fifths: sharps (positive) or flats (negative); for a non-traditional key None.
        mode: "major", "minor", a church mode, or None where the file does not say.
        alters: alteration of each letter C..B, seven numbers (Fractions for microtonal keys).
        written: fifths as printed where the part sounds in another key than it is written; else None.
    """

    measure: int
    onset: int
    staff: int | None
    fifths: int | None
    mode: str | None
    alters: tuple[int | Fraction, ...]
    written: int | None = None

    @property
    def printed_fifths(self) -> int | None:
        """Sharps (positive) or flats (negative) as printed; None for a non-traditional key."""
        return self.fifths if self.written is None else self.written


@dataclass(frozen=True, slots=True)
class TempoMark:
    """A tempo, in quarter notes a minute.

    Attributes:
        measure, onset: place (ticks; a direction's offset applied).
        bpm: exact quarter notes a minute.
        sound: True for a sound element's tempo, False for a metronome mark.
        order: order in the file, over all parts.
    """

    measure: int
    onset: int
    bpm: Fraction
    sound: bool
    order: int


@dataclass(frozen=True, slots=True)
class Jump:
    """A jump or its target in a bar.

    Attributes:
        kind: "dacapo", "dalsegno", "tocoda", "fine", "segno" or "coda".
        name: the sign's name where the file has several ("segno1"), else "".
        words: the words it was read from, "" where a sound attribute says it.
        onset: ticks in the bar.
    """

    kind: str
    name: str = ""
    words: str = ""
    onset: int = 0


@dataclass(frozen=True, slots=True)
class Measure:
    """A printed measure: what all parts together say of it.

    Attributes:
        index: 0-based place on the page.
        number: printed number, as in the file ("12a", "X1").
        length: ticks of its longest content in any part.
        beats: numerator and denominator of the time signature in force; None for senza misura or none.
        implicit: whether the file marks it as not counted (a pickup).
        opens: a forward repeat stands at its start.
        closes: total number of times the section ending here is played (2 for a plain backward repeat),
            0 where no backward repeat stands at its end.
        ending: numbers of the ending this bar belongs to, () where none.
        jumps: jumps and their targets in this bar.
    """

    index: int
    number: str
    length: int
    beats: tuple[int, int] | None = None
    implicit: bool = False
    opens: bool = False
    closes: int = 0
    ending: tuple[int, ...] = ()
    jumps: tuple[Jump, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the score.

    Attributes:
        id, name: from the part list ("" where the file gives no name).
        staves: number of staves.
        program: General MIDI program 1-128, None where not given.
        sound: MusicXML instrument-sound, "" where not given.
        notes: notes and rests in file order.
        keys: key signatures in file order.
        node_measures: the part's measure elements in page order (partwise), for marking.
    """

    id: str
    name: str
    staves: int
    notes: tuple[Note, ...]
    keys: tuple[KeySignature, ...]
    program: int | None = None
    sound: str = ""
    node_measures: tuple[Any, ...] = field(default=(), compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Score:
    """A score as printed.

    Attributes:
        title: title or file name.
        resolution: ticks in a quarter note.
        parts: every part.
        measures: the printed measures, what all parts together say.
        tempos: every tempo mark of every part in file order.
        remarks: sentences about what was assumed or left out in reading.
        tree: the XML document, untouched.
    """

    title: str
    resolution: int
    parts: tuple[Part, ...]
    measures: tuple[Measure, ...]
    tempos: tuple[TempoMark, ...] = ()
    remarks: tuple[str, ...] = ()
    tree: Any = field(default=None, compare=False, repr=False)

"""What the reader gathers while it walks, before parts are put together.

These are the reader's own working values: they change while a part is walked and never leave the reader.
Ticks are whole: where a file turns out to need more of them in a quarter note, it is read again.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm
from typing import Any

from harpkeys.errors import ScoreError
from harpkeys.pitch import LETTERS, Pitch
from harpkeys.score.model import Jump, KeySignature, Note
from harpkeys.score.reader_transpose import AS_WRITTEN, Transposition
from harpkeys.score.texts import exact_decimal, plain_text, whole_number

MAX_RESOLUTION = 10**12
"""Most ticks in a quarter note; beyond, a file's divisions are nonsense."""

MAX_NOTES = 1_000_000
"""Most notes and rests of a score."""

MAX_QUARTERS = 1_000_000
"""Longest duration believed, in quarter notes."""

MAX_ALTER = 4
"""Largest alteration believed, in semitones."""


def checked_resolution(ticks: int) -> int:
    """A resolution within bounds.

    Args:
        ticks: ticks to a quarter note.

    Returns:
        The same.

    Raises:
        ScoreError: beyond what any score needs.
    """
    if ticks > MAX_RESOLUTION:
        raise ScoreError(
            "the divisions of its parts have no bearable common measure", "export the score again"
        )
    return ticks


class TickTable(dict[str, int]):
    """Ticks by duration text, under one value of divisions; filled as durations are met."""

    def __init__(self, divisions: Fraction, shared: Shared) -> None:
        super().__init__()
        self.divisions = divisions
        self.shared = shared

    def __missing__(self, text: str) -> int:
        duration = exact_decimal(text)
        if duration is None or duration < 0:
            raise ScoreError(
                f"the duration {plain_text(text)[:20]!r} is not a number of divisions", "mend it in the file"
            )
        quarters = duration / self.divisions
        if quarters > MAX_QUARTERS:
            raise ScoreError(
                f"the duration {plain_text(text)[:20]!r} is longer than any score", "mend it in the file"
            )
        ticks = self[text] = self.shared.whole_ticks(quarters)
        return ticks


class PitchTable(dict[tuple[str | None, str | None, str | None], Pitch | None]):
    """Sounding pitches by the texts of step, alter and octave, under one transposition.

    Equal pitches are one object (`pool`). A pitch that cannot be read is None.
    """

    def __init__(self, transposition: Transposition, pool: dict[Pitch, Pitch]) -> None:
        super().__init__()
        self.transposition = transposition
        self.pool = pool

    def __missing__(self, texts: tuple[str | None, str | None, str | None]) -> Pitch | None:
        pitch = read_pitch(*texts)
        if pitch is not None:
            pitch = self.transposition.pitch(pitch)
            pitch = self.pool.setdefault(pitch, pitch)
        self[texts] = pitch
        return pitch


def read_pitch(step: str | None, alter: str | None, octave: str | None) -> Pitch | None:
    """The written pitch of these texts.

    Args:
        step, alter, octave: texts of the elements, None where missing.

    Returns:
        The pitch, None where the texts are no pitch.
    """
    letter = read_letter(step)
    number = whole_number(octave)
    if letter is None or number is None or not -1 <= number <= 10:
        return None
    alteration = read_alter(alter) if alter and alter.strip() else 0
    return None if alteration is None else Pitch(number * 7 + letter, alteration)


def read_letter(text: str | None) -> int | None:
    """The number of a letter A to G, None where the text is none."""
    name = (text or "").strip().upper()
    return LETTERS.index(name) if len(name) == 1 and name in LETTERS else None


def read_alter(text: str | None) -> int | Fraction | None:
    """An alteration in semitones: an int, a Fraction for a microtone, None where the text is none."""
    value = exact_decimal(text)
    if value is None or abs(value) > MAX_ALTER:
        return None
    return value.numerator if value.denominator == 1 else value


class StaffTable(dict[str | None, int]):
    """Staff numbers by text, filled as they are met; 1 where the file gives none or nonsense."""

    def __missing__(self, text: str | None) -> int:
        number = whole_number(text)
        staff = self[text] = number if number is not None and 1 <= number <= 99 else 1
        return staff


@dataclass(slots=True)
class TempoDraft:
    """A tempo mark; `change` is the ratio of new to old tempo where the file gives only that."""

    measure: int
    onset: int
    bpm: Fraction | None
    sound: bool
    order: int
    change: Fraction | None = None


@dataclass(slots=True)
class JumpDraft:
    """A jump or target; `sign_only` for a segno or coda sign that nothing in the file explains.

    `text` are the words that stand beside it, whatever it was read from.
    """

    jump: Jump
    sign_only: bool = False
    text: str = ""


@dataclass(slots=True)
class EndingDraft:
    """A bracket's start or end in a bar."""

    kind: str
    numbers: tuple[int, ...]


MAX_SIGNS = 100
"""Most jumps and most bracket ends kept of one part's bar."""


@dataclass(slots=True)
class BarDraft:
    """What one part says of one bar."""

    number: str = ""
    implicit: bool = False
    length: int = 0
    beats: tuple[int, int] | None = None
    opens: bool = False
    closes: int = 0
    endings: tuple[EndingDraft, ...] = ()
    jumps: tuple[JumpDraft, ...] = ()

    def add_jumps(self, *jumps: JumpDraft) -> None:
        """Add jumps, as far as there is room."""
        self.jumps = (*self.jumps, *jumps[: MAX_SIGNS - len(self.jumps)])

    def add_ending(self, ending: EndingDraft) -> None:
        """Add a bracket's start or end, if there is room."""
        if len(self.endings) < MAX_SIGNS:
            self.endings = (*self.endings, ending)


@dataclass(slots=True)
class RepeatSpan:
    """Bars `first` up to before `stop` repeat the `pattern` bars before them (None: to the part's end)."""

    first: int
    pattern: int
    staff: int | None
    stop: int | None = None


@dataclass(slots=True)
class Shared:
    """What all parts of one reading share.

    Attributes:
        resolution: ticks to a quarter note.
        needed: ticks to a quarter note with which every time met so far is whole.
        prefix: "{namespace}" in front of every tag, or "".
        pool: one Pitch object for each pitch.
        tables: pitch tables by transposition.
        counts: how often each thing worth a remark was met.
        places: (what, measure, onset) of signs worth a remark that several parts may show, each place once.
        entities: texts of the entities that the document defines.
        tempos: tempo marks in file order.
        notes: notes read in the parts before the present one.
    """

    resolution: int
    needed: int
    prefix: str = ""
    pool: dict[Pitch, Pitch] = field(default_factory=dict)
    tables: dict[Transposition, PitchTable] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)
    places: set[tuple[str, int, int]] = field(default_factory=set)
    entities: dict[str, str] = field(default_factory=dict)
    tempos: list[TempoDraft] = field(default_factory=list)
    notes: int = 0

    def whole_ticks(self, quarters: Fraction) -> int:
        """Quarter notes as ticks.

        Where they are not whole, `needed` grows so that they will be in another reading, and they are rounded
        down in this one, which comes to nothing.

        Raises:
            ScoreError: no bearable resolution makes them whole.
        """
        ticks = quarters * self.resolution
        if ticks.denominator != 1:
            self.needed = checked_resolution(lcm(self.needed, quarters.denominator))
        return ticks.numerator // ticks.denominator

    def table(self, transposition: Transposition) -> PitchTable:
        """The pitch table of a transposition."""
        table = self.tables.get(transposition)
        if table is None:
            table = self.tables[transposition] = PitchTable(transposition, self.pool)
        return table


@dataclass(slots=True)
class PartDraft:
    """A part while it is walked.

    Attributes:
        id: the part's id.
        shared: what all parts share.
        notes, keys, bars, elements: what was read so far; `elements` are the measure elements.
        bar: the bar being read; `index` its place.
        cursor: ticks from the start of the bar, at which the next note starts.
        onset: onset of the last note that is not in a chord with the one before.
        furthest: where the longest content of the bar ends.
        ticks: durations under the divisions in force.
        staff_numbers: staff numbers by text.
        transpositions: by staff; None for all staves.
        pitches: pitch table in force where all staves share one, else None.
        beats, next_beats: time signature in force, and one that starts with the next bar.
        opens_next: a forward repeat that stands at the end of the bar before.
        spans: measure repeats.
        direction: the direction element handled last.
    """

    id: str
    shared: Shared
    notes: list[Note] = field(default_factory=list)
    keys: list[KeySignature] = field(default_factory=list)
    bars: list[BarDraft] = field(default_factory=list)
    elements: list[Any] = field(default_factory=list)
    index: int = -1
    bar: BarDraft = field(default_factory=BarDraft)
    cursor: int = 0
    onset: int = 0
    furthest: int = 0
    ticks: TickTable = field(init=False)
    staff_numbers: StaffTable = field(default_factory=StaffTable)
    transpositions: dict[int | None, Transposition] = field(default_factory=dict)
    pitches: PitchTable | None = None
    staves: int = 1
    beats: tuple[int, int] | None = None
    beats_pending: bool = False
    next_beats: tuple[int, int] | None = None
    opens_next: bool = False
    spans: list[RepeatSpan] = field(default_factory=list)
    direction: Any = None

    def __post_init__(self) -> None:
        self.ticks = TickTable(Fraction(1), self.shared)
        self.pitches = self.shared.table(AS_WRITTEN)

    def remark(self, what: str) -> None:
        """Count one more of something worth a remark."""
        self.shared.counts[what] += 1

    def transposition(self, staff: int | None) -> Transposition:
        """The transposition of a staff."""
        return self.transpositions.get(staff) or self.transpositions.get(None) or AS_WRITTEN

"""Small scores built by hand, so that expectations can be worked out on paper.

The resolution is `QUARTER` ticks. Pitches are named as in "F#4", "Bb3", "C4"; bars are written in a
shorthand.
"""

from __future__ import annotations

import re
from fractions import Fraction

from harpkeys.pitch import LETTERS, Pitch, alteration_in_key
from harpkeys.score.model import Jump, KeySignature, Measure, Note, Ornament, Part, Score, Signs, TempoMark

QUARTER = 12
"""Ticks in a quarter note."""

BAR = 4 * QUARTER
"""Ticks in a bar of four quarters."""

_BAR_PATTERN = re.compile(
    r"(?P<opens>\|:)?(?:\[(?P<ending>[\d,]+))?(?P<marks>[^:|\[\]]*)(?P<closes>:\|(?P<times>\d+)?)?"
)


def bars(text: str, length: int = BAR) -> tuple[Measure, ...]:
    """Measures from a shorthand, one word for each bar.

    A word is made of, in this order: "|:" where a repeat opens, "[1,2" for the ending it belongs to, jump
    marks (below) divided by "+", or "-" for none, and ":|" where a repeat closes, with its times after it.

    Jump marks are dc, ds, to, fine, segno, coda; "ds=name" gives a name, "dc'words'" makes it one that only
    words give ("_" stands for a space), and "@n" sets its onset.
    """
    return tuple(_bar(index, word, length) for index, word in enumerate(text.split()))


def _bar(index: int, word: str, length: int) -> Measure:
    match = _BAR_PATTERN.fullmatch(word)
    assert match is not None, f"no bar: {word}"
    closes = int(match["times"] or 2) if match["closes"] else 0
    ending = tuple(int(number) for number in match["ending"].split(",")) if match["ending"] else ()
    marks = [mark for mark in match["marks"].split("+") if mark not in ("", "-")]
    return Measure(
        index,
        str(index + 1),
        length,
        (4, 4),
        opens=bool(match["opens"]),
        closes=closes,
        ending=ending,
        jumps=tuple(_jump(mark) for mark in marks),
    )


def _jump(mark: str) -> Jump:
    match = re.fullmatch(r"([a-z]+)(?:=(\w+))?(?:'([^']*)')?(?:@(\d+))?", mark)
    assert match is not None, f"no jump: {mark}"
    kind, name, words, onset = match.groups()
    kinds = {"dc": "dacapo", "ds": "dalsegno", "to": "tocoda"}
    return Jump(kinds.get(kind, kind), name or "", (words or "").replace("_", " "), int(onset or 0))


def pitch(name: str) -> Pitch:
    """A pitch from its name: "F#4", "Bb3", "C##5"."""
    match = re.fullmatch(r"([A-G])(#*|b*)(-?\d+)", name)
    assert match is not None, f"no pitch: {name}"
    letter, signs, octave = match.groups()
    return Pitch(int(octave) * 7 + LETTERS.index(letter), signs.count("#") - signs.count("b"))


def note(
    name: str | None,
    onset: float = 0,
    duration: float = 1,
    *,
    measure: int = 0,
    staff: int = 1,
    voice: str = "1",
    tie: str = "",
    sign: Signs | None = None,
    **flags: object,
) -> Note:
    """A note by its pitch name (None for a rest); onset and duration in quarters; tie "start", "stop" or
    both."""
    return Note(
        measure,
        round(onset * QUARTER),
        0 if flags.get("grace") else round(duration * QUARTER),
        pitch(name) if name is not None else None,
        staff,
        voice,
        rest=name is None,
        tie_start="start" in tie,
        tie_stop="stop" in tie,
        signs=sign,
        **flags,  # type: ignore[arg-type]
    )


def ornament(*kinds: str, above: int | None = None, below: int | None = None) -> Signs:
    """Signs with ornaments of these kinds, each with the same accidental-marks."""
    return Signs(ornaments=tuple(Ornament(kind, above, below) for kind in kinds))


def key(fifths: int, measure: int = 0, onset: float = 0, staff: int | None = None) -> KeySignature:
    """A traditional key signature."""
    alters = tuple(alteration_in_key(letter, fifths) for letter in range(7))
    return KeySignature(measure, round(onset * QUARTER), staff, fifths, None, alters)


def tempo(
    bpm: int | str, measure: int = 0, onset: float = 0, *, sound: bool = True, order: int = 0
) -> TempoMark:
    """A tempo mark; onset in quarters."""
    return TempoMark(measure, round(onset * QUARTER), Fraction(bpm), sound, order)


def part(*notes: Note, staves: int = 1, keys: tuple[KeySignature, ...] = (), id: str = "P1") -> Part:
    """A part of these notes."""
    return Part(id, "Harp", staves, notes, keys)


def score(
    measures: tuple[Measure, ...] | str | None = None,
    *parts: Part,
    tempos: tuple[TempoMark, ...] = (),
) -> Score:
    """A score of these parts; without measures, as many plain bars as the notes need."""
    if measures is None:
        last = max((one.measure for part in parts for one in part.notes), default=0)
        measures = " ".join(["-"] * (last + 1))
    if isinstance(measures, str):
        measures = bars(measures)
    return Score("Test", QUARTER, parts, measures, tempos)

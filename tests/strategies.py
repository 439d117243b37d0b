"""Hypothesis strategies for the values that flow from score to plan; shared by all tests.

Scores have `QUARTER` ticks to the quarter and bars of four quarters. Their repeat marks are any soup of
marks, most of it nonsense, unless a strategy says otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st
from score.builders import BAR, QUARTER, key

from harpkeys.pitch import Pitch
from harpkeys.score.model import Jump, KeySignature, Measure, Note, Ornament, Part, Score, Signs, TempoMark

alterations = st.sampled_from((-1, 0, 0, 0, 1))
diatonics = st.integers(26, 32)
"""A narrow range, so that equal pitches meet often."""

pitches = st.builds(Pitch, diatonics, alterations)

jump_kinds = st.sampled_from(("dacapo", "dalsegno", "tocoda", "fine", "segno", "coda"))
jumps = st.builds(
    Jump,
    jump_kinds,
    st.sampled_from(("", "", "a", "b")),
    st.sampled_from(("", "", "D.C.")),
    st.sampled_from((0, BAR)),
)

ornaments = st.builds(
    Ornament,
    st.sampled_from(("trill", "mordent", "inverted-mordent", "turn", "inverted-turn")),
    st.none() | st.integers(-1, 1),
    st.none() | st.integers(-1, 1),
)
signs = st.builds(
    Signs,
    st.lists(ornaments, max_size=2).map(tuple),
    st.sampled_from((None, None, "single", "start", "stop")),
    st.just(0),
    st.sampled_from((None, None, "string", "sounding")),
    st.booleans(),
)
maybe_signs = st.none() | st.none() | st.none() | signs


@st.composite
def measure_rows(draw: st.DrawFn, max_size: int = 8) -> tuple[Measure, ...]:
    """Bars with any soup of repeats, endings and jumps."""
    size = draw(st.integers(1, max_size))
    return tuple(
        Measure(
            index,
            str(index + 1),
            BAR,
            (4, 4),
            opens=draw(st.integers(0, 4)) == 0,
            closes=draw(st.sampled_from((0, 0, 0, 1, 2, 3))),
            ending=draw(st.sampled_from(((), (), (), (1,), (2,), (1, 2), (3,), (2, 4)))),
            jumps=tuple(draw(st.lists(jumps, max_size=2))) if draw(st.booleans()) else (),
        )
        for index in range(size)
    )


@st.composite
def notes(draw: st.DrawFn, measure: int, staves: int = 2) -> Note:
    """A note of a bar: mostly plain, now and then hidden, a cue, a rest, a grace note, with ties and
    signs."""
    onset = draw(st.integers(0, 4)) * QUARTER
    grace = onset == BAR or draw(st.integers(0, 5)) == 0
    duration = 0 if grace else draw(st.integers(1, (BAR - onset) // QUARTER)) * QUARTER
    sort = draw(st.sampled_from(("note",) * 7 + ("rest", "hidden", "cue")))
    tie = draw(st.integers(0, 3))
    return Note(
        measure,
        onset,
        duration,
        None if sort == "rest" else draw(pitches),
        draw(st.integers(1, staves)),
        draw(st.sampled_from("12")),
        rest=sort == "rest",
        grace=grace and sort != "rest",
        cue=sort == "cue",
        hidden=sort == "hidden",
        chord=draw(st.integers(0, 3)) == 0,
        tie_start=tie in (1, 3),
        tie_stop=tie in (2, 3),
        accidental=draw(st.sampled_from((None, None, "natural"))),
        signs=None if sort == "rest" else draw(maybe_signs),
    )


@st.composite
def keys(draw: st.DrawFn, measure: int) -> KeySignature:
    """A key signature somewhere in a bar, for one staff or all."""
    made = key(draw(st.integers(-7, 7)), measure, draw(st.integers(0, 3)))
    return replace(made, staff=draw(st.sampled_from((None, None, 1, 2))))


@st.composite
def tempos(draw: st.DrawFn, measure: int, order: int) -> TempoMark:
    """A tempo mark somewhere in a bar."""
    bpm = Fraction(draw(st.integers(200, 2000)), 10)
    return TempoMark(measure, draw(st.integers(0, 4)) * QUARTER, bpm, draw(st.booleans()), order)


@st.composite
def scores(draw: st.DrawFn, measures: st.SearchStrategy[tuple[Measure, ...]] | None = None) -> Score:
    """A score of one part with two staves."""
    row = draw(measures if measures is not None else measure_rows(4))
    found: list[Note] = []
    signatures: list[KeySignature] = []
    marks: list[TempoMark] = []
    for measure in row:
        found += draw(st.lists(notes(measure.index), max_size=4))
        if draw(st.integers(0, 3)) == 0:
            signatures.append(draw(keys(measure.index)))
        if draw(st.integers(0, 3)) == 0:
            marks.append(draw(tempos(measure.index, len(marks))))
    return Score("", QUARTER, (Part("P1", "Harp", 2, tuple(found), tuple(signatures)),), row, tuple(marks))

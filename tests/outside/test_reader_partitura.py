"""The reader against partitura: onsets from the start of the score, pitches and durations of whole pieces.

partitura lays bars out by their content as the reader does, so this checks the bars' lengths too, which the
comparison with music21 cannot. Left out are scores in which partitura departs from the file: it does not
transpose, and gives every note of a chord the longest duration in it.
"""

from __future__ import annotations

import warnings
from collections import Counter
from fractions import Fraction
from itertools import accumulate

import pytest
from music21_notes import package_folder

from harpkeys.score.reader import read_score

SCORES = (
    "corpus/joplin/maple_leaf_rag.mxl",
    "corpus/bach/bwv846.mxl",
    "corpus/schumann_clara/polonaise_op1n1.mxl",
    "corpus/schumann_clara/polonaise_op1n3.mxl",
    "corpus/beach/prayer_of_a_tired_child.musicxml",
)

Notes = Counter[tuple[Fraction, int, Fraction]]


def exact(quarters: float) -> Fraction:
    """Quarter notes that partitura has as floats."""
    return Fraction(quarters).limit_denominator(1000)


@pytest.mark.parametrize("name", SCORES)
def test_onsets_pitches_and_durations_are_those_of_partitura(name: str) -> None:
    path = package_folder() / name
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import partitura

        parts = partitura.load_musicxml(str(path)).parts
    score = read_score(path)
    starts = [0, *accumulate(measure.length for measure in score.measures)]
    assert len(parts) == len(score.parts)
    for theirs, ours in zip(parts, score.parts, strict=True):
        quarters, first = theirs.quarter_map, float(theirs.quarter_map(theirs.first_point.t))
        expected: Notes = Counter()
        for note in theirs.notes:
            onset, end = float(quarters(note.start.t)), float(quarters(note.end.t))
            expected[exact(onset - first), note.midi_pitch, exact(end - onset)] += 1
        found: Notes = Counter()
        for note in ours.notes:
            if note.pitch is not None:
                onset = Fraction(starts[note.measure] + note.onset, score.resolution)
                found[onset, note.pitch.midi, Fraction(note.duration, score.resolution)] += 1
        assert found == expected

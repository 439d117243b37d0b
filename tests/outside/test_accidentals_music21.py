"""Accidentals against music21: other code finds the notes that contradict the signature in the same files."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from harpkeys.analysis.accidentals import find_accidentals
from harpkeys.score.reader import read_score

PIECES = (
    "bach/bwv281.mxl",
    "bach/bwv66.6.mxl",
    "bach/bwv324.mxl",
    "beach/prayer_of_a_tired_child.musicxml",
    "joplin/maple_leaf_rag.mxl",
    "mozart/k545/movement1_exposition.mxl",
    "schubert/Lindenbaum.xml",
    "schumann_clara/polonaise_op1n4.mxl",
    "schumann_robert/opus48no2.mxl",
)
"""Chorales, songs and piano pieces; keys change in several."""


def contradicting(part: Any) -> Counter[tuple[int, str]]:
    """(measure index, note name) of each note that differs from the signature, as music21 has it."""
    found: Counter[tuple[int, str]] = Counter()
    sharps: dict[str, float] = {}
    for index, measure in enumerate(part.getElementsByClass("Measure")):
        for element in measure.recurse():
            if "KeySignature" in element.classes:
                sharps = {pitch.step: pitch.alter for pitch in element.alteredPitches}
            if (
                "NotRest" not in element.classes
                or element.style.hideObjectOnPrint
                or "Unpitched" in element.classes
            ):
                continue
            if "ChordSymbol" in element.classes:
                continue
            for note in element.notes if "Chord" in element.classes else [element]:
                tied = note.tie is not None and note.tie.type in ("stop", "continue")
                if not tied and note.pitch.alter != sharps.get(note.pitch.step, 0):
                    found[index, note.pitch.nameWithOctave.replace("-", "b")] += 1
    return found


@pytest.mark.parametrize("name", PIECES)
def test_the_same_notes_contradict_the_signature(name: str) -> None:
    from music21 import converter, corpus

    path = next(Path(p) for p in corpus.getCorePaths() if Path(p).as_posix().endswith("/" + name))
    own: Counter[tuple[int, str]] = Counter()
    for part in read_score(path).parts:
        own += Counter((one.measure, one.written.name) for one in find_accidentals(part).notes)
    theirs: Counter[tuple[int, str]] = Counter()
    for part in converter.parse(path).parts:
        theirs += contradicting(part)
    assert own
    assert own == theirs

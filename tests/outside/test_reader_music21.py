"""The reader against music21 (10.x), on every MusicXML file that the music21 package holds.

Those are its corpus (654 files of very different origin) and the test files of its importer, among them the
LilyPond MusicXML test suite. music21 takes minutes for all of them, so the ordinary run compares all small
files and a seeded choice of the others; HARPKEYS_WHOLE_CORPUS=1 compares all. Every difference that remains
is listed here with the reason why the reader is not at fault.
"""

from __future__ import annotations

import multiprocessing
import os
import random
from concurrent.futures import ProcessPoolExecutor

import pytest
from music21_notes import differences, package_folder, package_scores

from harpkeys.score.reader import read_score

SMALL_BYTES = 4_400
LARGER_FILES = 40
SEED = 20

ONLY_TIED = (
    "the note has tied and no tie element; music21 reads tie elements alone, the planning problem both"
)
ACCIDENTAL = "the file prints an accidental but gives no alter; alter is what sounds (MusicXML 4.0, alter)"

KNOWN: dict[str, tuple[str, list[str], list[str]]] = {
    "corpus/beethoven/opus18no1/movement4.mxl": (ONLY_TIED, ["1: 29 1 76 E5 0 tie>"], ["1: 29 1 76 E5 0"]),
    "corpus/beethoven/opus59no1/movement2.mxl": (
        ONLY_TIED,
        ["1: 108 3/2 75 D#5 0 >tie"],
        ["1: 108 3/2 75 D#5 0"],
    ),
    "corpus/haydn/opus74no1/movement2.mxl": (ONLY_TIED, ["1: 95 0 67 G4 0 tie>"], ["1: 95 0 67 G4 0"]),
    "corpus/schumann_robert/dichterliebe_no2.xml": (
        ONLY_TIED,
        ["1: 4 1 69 A4 1/2 tie>"],
        ["1: 4 1 69 A4 1/2"],
    ),
    "corpus/schumann_robert/opus48no2.mxl": (ONLY_TIED, ["1: 4 1 69 A4 1/2 tie>"], ["1: 4 1 69 A4 1/2"]),
    "corpus/trecento/PMFC_13_04-Credo Cursor.xml": (
        ACCIDENTAL,
        ["1: 146 3/2 71 B4 1/2"],
        ["1: 146 3/2 72 B#4 1/2"],
    ),
    "musicxml/lilypondTestSuite/32c-MultipleNotationChildren.xml": (
        ACCIDENTAL,
        ["0: 0 0 69 A4 1", "0: 0 1 69 A4 1", "0: 0 2 69 A4 1"],
        ["0: 0 0 70 A#4 1", "0: 0 1 70 A#4 1", "0: 0 2 70 A#4 1"],
    ),
    "musicxml/lilypondTestSuite/02e-Rests-NoType.xml": (
        "a note without a staff element in a part of two staves: music21 puts it on both, so has it twice",
        [],
        ["0: 1 0 52 E3 4"],
    ),
    "musicxml/lilypondTestSuite/21f-Chord-ElementInBetween.xml": (
        "directions stand between the notes of a chord, as the file's name says; music21 parts them there",
        ["0: 0 0 62 D4 1", "0: 0 0 66 F#4 1"],
        ["0: 0 1 66 F#4 1", "0: 0 2 62 D4 1"],
    ),
    "musicxml/lilypondTestSuite/41h-TooManyParts.xml": (
        "two parts are missing from the part list; music21 leaves them out",
        [],
        ["1: no such part", "2: no such part"],
    ),
    "musicxml/testTab.xml": (
        "notes with neither pitch nor rest; music21 supplies a middle C, the reader no pitch",
        [],
        ["0: 0 0 60 C4 0"] * 4,
    ),
}
"""File: why the readings differ, what only the reader has, what only music21 has."""


def chosen() -> list[str]:
    """The files that this run compares, the largest first so that no core waits at the end."""
    folder = package_folder()
    sizes = {name: (folder / name).stat().st_size for name in package_scores()}
    names = sorted(sizes)
    if os.environ.get("HARPKEYS_WHOLE_CORPUS") != "1":
        larger = [name for name in names if sizes[name] > SMALL_BYTES]
        picked = {*random.Random(SEED).sample(larger, LARGER_FILES), *KNOWN}
        names = [name for name in names if sizes[name] <= SMALL_BYTES or name in picked]
    return sorted(names, key=lambda name: -sizes[name])


def test_the_corpus_is_there() -> None:
    names = package_scores()
    assert len(names) >= 800
    assert set(KNOWN) <= set(names)
    assert sum(name.startswith("corpus/") for name in names) >= 650


def test_every_file_is_read() -> None:
    folder = package_folder()
    empty = [name for name in package_scores() if not read_score(folder / name).measures]
    assert empty == []


@pytest.mark.slow
def test_notes_are_those_of_music21() -> None:
    names = chosen()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=2, mp_context=context) as pool:
        results = list(pool.map(differences, names, chunksize=2))
    compared = sum(count for _, count, _, _ in results)
    print(f"{len(results)} files, {compared} notes and key signatures compared")
    assert compared > 50_000
    found = {name: (ours, theirs) for name, _, ours, theirs in results if ours or theirs}
    expected = {name: KNOWN[name][1:] for name in names if name in KNOWN}
    assert found == expected

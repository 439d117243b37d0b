"""Transposed scores against verovio 6's and music21 10's transposition, on files of the music21 package.

Each file is moved by an interval that its name picks between an octave down and an octave up. verovio is
asked for every note with its spelling, the accidental printed beside it and the one that sounds, and for
every signature; music21 for notes, signatures and chord symbols. Files of which a part is spelled twelve
fifths away, as neither engine would, are compared by what sounds. The ordinary run takes a seeded choice of
small files; HARPKEYS_WHOLE_CORPUS=1 takes all. Every other difference is listed here with the reason.
"""

from __future__ import annotations

import multiprocessing
import os
import random
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor

import pytest
from music21_notes import package_folder, package_scores
from schema import schema_errors
from transposing_engines import (
    NATURAL,
    Moved,
    interval_name,
    moved_by_music21,
    moved_file,
    parsed_by_music21,
    still,
    told_by_mei,
    told_by_music21,
    verovio_mei,
)

from harpkeys.choose.transposition import Move
from harpkeys.score.container import parse_score_tree

WHOLE = os.environ.get("HARPKEYS_WHOLE_CORPUS") == "1"
SEED = 4
VEROVIO_FILES, VEROVIO_BYTES = 80, 15_000
MUSIC21_FILES, MUSIC21_BYTES = 40, 5_000

MICROTONES = "verovio drops what microtones sound when it moves notes"
MIXED = "verovio puts the signs of the interval where a mixed signature stands"
TABLATURE = "tablature is left alone, since its fret numbers would be wrong"

VEROVIO_KNOWN: dict[str, str] = {
    "musicxml/lilypondTestSuite/01d-Pitches-Microtones.xml": MICROTONES,
    "musicxml/lilypondTestSuite/12ac-Clefs-TAB-Switch.xml": TABLATURE,
    "musicxml/lilypondTestSuite/13c-KeySignatures-NonTraditional.xml": MIXED,
}
MUSIC21_KNOWN: dict[str, str] = {
    "musicxml/lilypondTestSuite/12ac-Clefs-TAB-Switch.xml": TABLATURE,
}


ALTERS = {"n": 0, "s": 1, "f": -1, "ss": 2, "ff": -2, "ts": 3, "tf": -3}
"""Semitones of MEI's accidentals."""


def semitones_for(name: str) -> int:
    return random.Random(f"{SEED} {name}").choice([n for n in range(-12, 13) if n])


def chosen(count: int, largest: int, known: dict[str, str]) -> list[str]:
    """The files that this run compares, the largest first so that no core waits at the end."""
    folder = package_folder()
    sizes = {name: (folder / name).stat().st_size for name in package_scores()}
    names = sorted(sizes)
    if not WHOLE:
        small = [name for name in names if sizes[name] <= largest]
        names = sorted({*random.Random(SEED).sample(small, count), *known})
    return sorted(names, key=lambda name: -sizes[name])


def sounding(notes: list[str]) -> list[int]:
    """MIDI numbers of notes told by MEI."""
    found = []
    for text in notes:
        name, _, accidental = text.split()
        alter = ALTERS.get(accidental, 0)
        found.append(12 * (int(name[1:]) + 1) + NATURAL["cdefgab".index(name[0])] + alter)
    return found


def with_verovio(name: str) -> tuple[str, int, list[str]]:
    """How a file moved differs from verovio's: its name, notes compared, differences."""
    moved = moved_file(package_folder() / name, semitones_for(name))
    theirs = verovio_mei(moved.before, interval_name(moved.move))
    ours = verovio_mei(moved.after)
    if theirs is None or ours is None:
        return name, 0, [] if theirs is ours else ["only one of the two can be loaded"]
    (their_notes, their_keys), (our_notes, our_keys) = told_by_mei(theirs), told_by_mei(ours)
    if moved.is_turned:
        return name, len(our_notes), different(sounding(our_notes), sounding(their_notes))
    found = different(our_notes, their_notes)
    if "<key" in moved.before:
        found += different(our_keys, their_keys)
    return name, len(our_notes) + len(our_keys), found


def with_music21(name: str) -> tuple[str, int, list[str]]:
    """How a file moved differs from music21's: its name, notes compared, differences."""
    moved = moved_file(package_folder() / name, semitones_for(name))
    theirs = told_by_music21(moved_by_music21(parsed_by_music21(moved.before), moved.move))
    ours = told_by_music21(parsed_by_music21(moved.after))
    if moved.has_new_key:
        ours = [[text for text in part if not text.startswith("key")] for part in ours]
        theirs = [[text for text in part if not text.startswith("key")] for part in theirs]
    if moved.is_turned:
        from music21 import pitch

        ours, theirs = (
            [[pitch.Pitch(text).ps for text in part if " " not in text] for part in parts]
            for parts in (ours, theirs)
        )
    count = sum(len(part) for part in ours)
    found = [line for mine, other in zip(ours, theirs, strict=True) for line in different(mine, other)]
    return name, count, found


def untouched(name: str) -> tuple[str, int, list[str]]:
    """What a move does to a file that it should not: touch something else, or make it invalid."""
    moved = moved_file(package_folder() / name, semitones_for(name))
    before, after = (parse_score_tree(text.encode()) for text in (moved.before, moved.after))
    found = []
    if not moved.has_new_key and still(before) != still(after):
        found.append("something else was touched")
    if not schema_errors(before):
        found += schema_errors(after)
    return name, 1, found


def different(ours: Sequence[object], theirs: Sequence[object]) -> list[str]:
    if len(ours) != len(theirs):
        return [f"{len(ours)} here, {len(theirs)} there"]
    return [f"{one} here, {other} there" for one, other in zip(ours, theirs, strict=True) if one != other]


def compared(judge: object, names: list[str]) -> tuple[int, dict[str, list[str]]]:
    """What a judge says of many files, on both cores."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=2, mp_context=context) as pool:
        results = list(pool.map(judge, names, chunksize=2))
    return sum(count for _, count, _ in results), {name: lines for name, _, lines in results if lines}


@pytest.mark.slow
def test_verovio_spells_and_prints_the_same() -> None:
    names = chosen(VEROVIO_FILES, VEROVIO_BYTES, VEROVIO_KNOWN)
    count, found = compared(with_verovio, names)
    print(f"verovio: {len(names)} files, {count} notes and signatures")
    assert count > 10_000
    assert {name: lines[:3] for name, lines in found.items() if name not in VEROVIO_KNOWN} == {}
    assert set(found) == set(VEROVIO_KNOWN) & set(names)


@pytest.mark.slow
def test_music21_spells_the_same() -> None:
    names = chosen(MUSIC21_FILES, MUSIC21_BYTES, MUSIC21_KNOWN)
    count, found = compared(with_music21, names)
    print(f"music21: {len(names)} files, {count} notes, signatures and chord symbols")
    assert count > 2_000
    assert {name: lines[:3] for name, lines in found.items() if name not in MUSIC21_KNOWN} == {}
    assert set(found) == set(MUSIC21_KNOWN) & set(names)


@pytest.mark.slow
def test_nothing_else_is_touched_and_valid_stays_valid() -> None:
    names = chosen(VEROVIO_FILES, VEROVIO_BYTES, {})
    count, found = compared(untouched, names)
    assert count == len(names) >= VEROVIO_FILES
    assert found == {}


def test_a_wrong_spelling_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "corpus/bach/bwv66.6.mxl"
    honest = moved_file(package_folder() / name, 3)
    assert with_engine_on(honest) == []
    # An augmented second sounds like a minor third and is spelled otherwise.
    assert with_engine_on(honest, Move(3, 1)) != []


def with_engine_on(moved: Moved, other: Move | None = None) -> list[str]:
    theirs = told_by_mei(verovio_mei(moved.before, interval_name(other or moved.move)))[0]
    return different(told_by_mei(verovio_mei(moved.after))[0], theirs)

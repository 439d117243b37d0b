"""Notes that contradict the signature, and the census of octaves."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from harpkeys.analysis.accidentals import OctaveCount, find_accidentals, times_word
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.naming import parse_string
from harpkeys.harp.tunings import key_alterations
from harpkeys.pitch import Pitch
from harpkeys.score.model import KeySignature, Note, Part, Signs


def note(name: str, alter: int | Fraction = 0, measure: int = 0, onset: int = 0, staff: int = 1) -> Note:
    return Note(measure, onset, 4, Pitch(parse_string(name), alter), staff, "1")


def key(fifths: int, measure: int = 0, onset: int = 0, staff: int | None = None) -> KeySignature:
    return KeySignature(measure, onset, staff, fifths, None, key_alterations(fifths))


def part_of(notes: list[Note], *keys: KeySignature) -> Part:
    return Part("P1", "Harp", 2, tuple(notes), keys)


def told(part: Part) -> list[tuple[int, int, int, str, str]]:
    return [
        (one.measure, one.onset, one.staff, one.written.name, one.against.name)
        for one in find_accidentals(part).notes
    ]


def test_sounding_alterations_are_compared_with_the_signature() -> None:
    notes = [note("G4", 1, 4, 8), note("F4", 1), note("F4", 0, 1, 4), note("B3", 0, 0, 2, 2)]
    assert told(part_of(notes, key(2))) == [(1, 4, 1, "F4", "F#4"), (4, 8, 1, "G#4", "G4")]


def test_each_staff_has_its_signature() -> None:
    keys = (key(1), key(-1, measure=1, staff=2))
    notes = [note("F4", 1, 1), note("F4", 0, 1), note("B3", -1, 1, 0, 2), note("F3", 1, 1, 0, 2)]
    assert told(part_of(notes, *keys)) == [(1, 0, 1, "F4", "F#4"), (1, 0, 2, "F#3", "F3")]


def test_a_signature_holds_from_its_place_on() -> None:
    keys = (key(0), key(1, measure=1, onset=8))
    notes = [note("F4", 1, 1, onset) for onset in (4, 8, 12)] + [note("F4", 1, 2), note("F5", 1, 1, 0)]
    assert told(part_of(notes, *keys)) == [(1, 0, 1, "F#5", "F5"), (1, 4, 1, "F#4", "F4")]


def test_before_the_first_signature_all_is_natural() -> None:
    assert told(part_of([note("F4", 1), note("F4")])) == [(0, 0, 1, "F#4", "F4")]


def test_double_sharps_and_microtones() -> None:
    notes = [note("F4", 2), note("G4", Fraction(1, 2))]
    assert told(part_of(notes, key(1))) == [(0, 0, 1, "F##4", "F#4"), (0, 0, 1, "G+0.5 4", "G4")]


@pytest.mark.parametrize(
    "change",
    [{"cue": True}, {"hidden": True}, {"tie_stop": True}, {"pitch": None, "rest": True}],
    ids=["cue", "hidden", "tied continuation", "rest"],
)
def test_what_no_finger_starts_does_not_count(change: dict[str, object]) -> None:
    one = note("G4", 1)
    assert len(find_accidentals(part_of([one])).notes) == 1
    found = find_accidentals(part_of([replace(one, **change)]))  # type: ignore[arg-type]
    assert (found.notes, found.census) == ((), ())


def test_grace_notes_count() -> None:
    assert told(part_of([replace(note("G4", 1), grace=True, duration=0)])) == [(0, 0, 1, "G#4", "G4")]


def test_strings_of_the_harp() -> None:
    harp = find_harp("22")
    harmonic = replace(note("G4", 1), signs=Signs(harmonic="sounding"))
    notes = [note("G4", 1), note("G2", 1), harmonic]
    found = find_accidentals(part_of(notes), harp).notes
    assert [one.index for one in found] == [
        harp.index_of(parse_string("G4")),
        None,
        harp.index_of(parse_string("G3")),
    ]
    assert [one.note for one in found] == notes
    assert [one.written.name for one in found] == ["G#4", "G#2", "G#4"]


def test_the_census_compares_the_octaves_of_a_letter() -> None:
    notes = [note("G4", 1, bar) for bar in range(6)] + [
        note("G5"),
        note("G5"),
        note("G4"),
        note("C4", 1),
        note("A4"),
    ]
    census = find_accidentals(part_of(notes)).census
    assert [entry.text(ascii_only=True) for entry in census] == ["G#4 six times, G#5 never", "C#4 once"]
    assert census[0].text() == "G♯4 six times, G♯5 never"
    assert census[0].times == 6
    assert census[0].octaves == (OctaveCount(32, 6, 1), OctaveCount(39, 0, 2))


def test_what_the_signature_raises_is_no_accidental_in_the_census() -> None:
    notes = [note("F4", 1), note("F5", 0), note("F3", -1)]
    census = find_accidentals(part_of(notes, key(1))).census
    assert [entry.text() for entry in census] == [
        "F♭3 once, F♭4 never, F♭5 never",
        "F5 once, F3 never, F4 never",
    ]


@pytest.mark.parametrize(
    ("times", "word"),
    [(0, "never"), (1, "once"), (2, "twice"), (3, "three times"), (10, "ten times"), (11, "11 times")],
)
def test_times_in_words(times: int, word: str) -> None:
    assert times_word(times) == word

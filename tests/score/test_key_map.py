"""Keys and accidentals in force; expectations by hand from the rule in section 2 of the planning problem."""

from __future__ import annotations

from dataclasses import replace

import pytest
from score.builders import key, note, part, pitch

from harpkeys.score.key_map import accidental_map, key_at, key_map
from harpkeys.score.model import KeySignature

D_MAJOR, F_MAJOR, C_MAJOR = 2, -1, 0


def fifths_at(keys: tuple[KeySignature, ...], measure: int, onset: int, staff: int) -> int | None:
    found = key_at(part(keys=keys), measure, onset, staff)
    return None if found is None else found.fifths


def test_before_the_first_signature_there_is_none() -> None:
    assert key_at(part(), 0, 0, 1) is None
    assert fifths_at((key(D_MAJOR, 1),), 0, 47, 1) is None
    assert key_map(part()).alteration(0, 0, 1, pitch("F4").diatonic) == 0


@pytest.mark.parametrize(
    ("measure", "onset", "expected"), [(0, 0, 2), (0, 23, 2), (0, 24, -1), (1, 0, -1), (2, 0, 0), (9, 0, 0)]
)
def test_a_signature_holds_from_its_place_to_the_next(measure: int, onset: int, expected: int) -> None:
    keys = (key(D_MAJOR), key(F_MAJOR, 0, 2), key(C_MAJOR, 2))
    assert fifths_at(keys, measure, onset, 1) == expected


def test_a_signature_of_one_staff_holds_there_only() -> None:
    keys = (key(D_MAJOR), key(F_MAJOR, 1, 0, 2))
    assert [fifths_at(keys, 1, 0, staff) for staff in (1, 2, 3)] == [2, -1, 2]


def test_a_signature_of_all_staves_replaces_one_of_a_staff() -> None:
    keys = (key(F_MAJOR, 0, 0, 2), key(D_MAJOR, 1))
    assert [fifths_at(keys, 0, 0, staff) for staff in (1, 2)] == [None, -1]
    assert [fifths_at(keys, 1, 0, staff) for staff in (1, 2)] == [2, 2]


def test_at_one_place_the_last_in_the_file_counts() -> None:
    assert fifths_at((key(D_MAJOR), key(F_MAJOR)), 0, 0, 1) == -1


def test_a_key_that_is_not_traditional() -> None:
    # G sharp and B flat at once: no number of fifths has both.
    odd = KeySignature(0, 0, None, None, None, (0, 0, 0, 0, 1, 0, -1))
    keys = key_map(part(keys=(odd,)))
    assert [keys.alteration(0, 0, 1, pitch(name).diatonic) for name in ("G4", "B2", "A4")] == [1, -1, 0]


def in_force(name: str, onset: float, *, staff: int = 1, measure: int = 0) -> object:
    """The alteration of a letter and octave in the bar below, in D major."""
    notes = (
        note("F4", 0, accidental="natural"),
        note("F#4", 1),
        note("G#4", 1, accidental="sharp"),
        note("C5", 1, hidden=True, accidental="natural"),
        note("Cb5", 2, accidental="flat", cue=True),
        note("F#4", 3, accidental="sharp"),
        note("Bb3", 3, staff=2, accidental="flat"),
        note("E#4", 3, accidental="sharp", grace=True),
    )
    accidentals = accidental_map(part(*notes, staves=2, keys=(key(D_MAJOR),)))
    return accidentals.in_force(measure, round(onset * 12), staff, pitch(name).diatonic)


@pytest.mark.parametrize(
    ("name", "onset", "expected", "why"),
    [
        ("F4", 0, 1, "an accidental at the very onset does not count, the key does"),
        ("F4", 0.5, 0, "the natural before it counts"),
        ("F4", 3, 0, "a note without a printed accidental changes nothing"),
        ("F4", 3.5, 1, "the last accidental counts"),
        ("F5", 1, 1, "an accidental holds in its own octave only"),
        ("G4", 1, 0, "an accidental at the very onset does not count"),
        ("G4", 2, 1, "an accidental on a note of a chord counts"),
        ("C5", 2, 1, "a hidden note's accidental is not printed"),
        ("C5", 3, -1, "a cue note's accidental is printed"),
        ("E4", 3, 0, "a grace note's accidental does not count at its own onset"),
        ("E4", 3.5, 1, "a grace note's accidental counts later"),
        ("B3", 3.5, 0, "an accidental holds on its own staff only"),
    ],
)
def test_accidentals_in_force(name: str, onset: float, expected: int, why: str) -> None:
    assert in_force(name, onset) == expected, why


def test_accidentals_of_another_staff_or_bar() -> None:
    assert in_force("B3", 3.5, staff=2) == -1
    assert in_force("F4", 0, measure=1) == 1


def test_of_two_accidentals_at_one_onset_the_last_in_the_file_counts() -> None:
    flat, natural = note("Bb4", 0, accidental="flat"), note("B4", 0, accidental="natural")
    for notes, expected in (((flat, natural), 0), ((natural, flat), -1)):
        assert accidental_map(part(*notes)).in_force(0, 12, 1, pitch("B4").diatonic) == expected


def test_later_voices_of_a_file_are_put_in_order_of_onset() -> None:
    late, early = note("B4", 2, accidental="natural"), note("Bb4", 0, accidental="flat", voice="2")
    accidentals = accidental_map(part(late, early))
    diatonic = pitch("B4").diatonic
    assert [accidentals.in_force(0, onset, 1, diatonic) for onset in (0, 12, 24, 36)] == [0, -1, -1, 0]


def test_a_note_without_an_accidental_leaves_the_key() -> None:
    plain = replace(note("Bb4", 0), accidental=None)
    assert accidental_map(part(plain)).in_force(0, 12, 1, pitch("B4").diatonic) == 0

"""Keys that the notes suggest, section by section."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harpkeys.analysis.suggested import MAJOR_PROFILE, MINOR_PROFILE, guess_keys, suggest_keys
from harpkeys.harp.naming import fifths_note
from harpkeys.harp.tunings import key_alterations
from harpkeys.pitch import Pitch
from harpkeys.score.model import KeySignature, Note, Part

TONIC_C, TONIC_G, TONIC_D, TONIC_A = 28, 32, 29, 33


def key(fifths: int, measure: int = 0, onset: int = 0) -> KeySignature:
    return KeySignature(measure, onset, None, fifths, None, key_alterations(fifths))


def scale_bar(measure: int, tonic: int, fifths: int) -> list[Note]:
    """A bar of the scale on a tonic under a signature, tonic and fifth long."""
    notes = []
    for step in range(7):
        diatonic = tonic + step
        pitch = Pitch(diatonic, key_alterations(fifths)[diatonic % 7])
        notes.append(Note(measure, step, {0: 6, 4: 4}.get(step, 1), pitch, 1, "1"))
    return notes


def part_of(bars: list[list[Note]], *keys: KeySignature) -> Part:
    return Part("P1", "Harp", 1, tuple(note for bar in bars for note in bar), keys)


@given(st.integers(-7, 7), st.sampled_from(["major", "minor"]))
def test_a_profile_is_recognised_in_its_own_key(fifths: int, mode: str) -> None:
    profile = MAJOR_PROFILE if mode == "major" else MINOR_PROFILE
    tonic = fifths + (3 if mode == "minor" else 0)
    places = range(tonic - 6, tonic + 6)  # twelve neighbours on the line of fifths, one for each pitch class
    weights: dict[tuple[int, int | Fraction], int] = {
        fifths_note(place): round(100 * profile[7 * (place - tonic) % 12]) for place in places
    }
    best, second = guess_keys(weights, 2)
    assert best.mode == mode
    assert (best.fifths - fifths) % 12 == 0
    assert best.correlation == pytest.approx(1)
    assert second.correlation < 0.95


@pytest.mark.parametrize(
    ("fifths", "name"),
    [(6, "F-sharp major"), (-6, "G-flat major"), (7, "C-sharp major"), (-5, "D-flat major")],
)
def test_spelling_follows_the_notes(fifths: int, name: str) -> None:
    tonic = 28 + fifths_note(fifths)[0]
    (found,) = suggest_keys([part_of([scale_bar(0, tonic, fifths)], key(fifths))])
    assert found.guess.name == name
    assert found.agrees


def test_spelling_weighs_sharps_against_flats() -> None:
    # F sharp or G flat major, each note spelled with sharps or with flats; the notes of a key have their mean
    # two fifths above its signature, so the balance lies at a mean of 2.
    rows = [(place, round(100 * MAJOR_PROFILE[7 * (place - 6) % 12])) for place in range(12)]
    total = sum(ticks for _, ticks in rows)
    seen = set()
    for mask in range(1 << 12):
        spelled = [(place - 12 * (mask >> k & 1), ticks) for k, (place, ticks) in enumerate(rows)]
        mean = sum(place * ticks for place, ticks in spelled) / total
        if 1.5 < mean < 2.5 and abs(mean - 2) > 0.01:
            (best,) = guess_keys({fifths_note(place): ticks for place, ticks in spelled}, 1)
            assert best.fifths == (6 if mean > 2 else -6)
            seen.add(best.fifths)
    assert seen == {6, -6}


def test_one_section_for_each_signature() -> None:
    bars = [scale_bar(bar, TONIC_C, 0) for bar in range(3)] + [
        scale_bar(bar, TONIC_D, 2) for bar in range(3, 5)
    ]
    found = suggest_keys([part_of(bars, key(0), key(0, 2), key(2, 3))])
    assert [(one.first, one.last, one.guess.name, one.agrees) for one in found] == [
        (0, 2, "C major", True),
        (3, 4, "D major", True),
    ]
    assert found[1].signature == key(2, 3)


def test_a_signature_inside_a_bar() -> None:
    late = [replace(note, onset=note.onset + 16) for note in scale_bar(1, TONIC_A, 3)]
    bars = [scale_bar(0, TONIC_C, 0), scale_bar(1, TONIC_C, 0) + late]
    found = suggest_keys([part_of(bars, key(0), key(3, 1, 16))])
    assert [(one.first, one.onset, one.last, one.guess.name) for one in found] == [
        (0, 0, 1, "C major"),
        (1, 16, 1, "A major"),
    ]


def test_a_wrong_signature_is_seen() -> None:
    (found,) = suggest_keys([part_of([scale_bar(0, TONIC_G, 1)], key(0))])
    assert (found.guess.name, found.church_mode, found.agrees) == ("G major", "", False)


def test_without_a_signature() -> None:
    (found,) = suggest_keys([part_of([scale_bar(0, TONIC_C, 0)])])
    assert (found.signature, found.guess.name, found.agrees) == (None, "C major", True)


@pytest.mark.parametrize(
    ("tonic", "fifths", "guess", "mode"),
    [
        (TONIC_D, 0, "D major", "D dorian"),  # a short third: taken for major, but no F sharp sounds
        (TONIC_G, 0, "G major", "G mixolydian"),
        (30, 0, "E minor", "E phrygian"),
        (31, 0, "F major", "F lydian"),
        (TONIC_A, 1, "A major", "A dorian"),
    ],
)
def test_church_modes_of_the_signature(tonic: int, fifths: int, guess: str, mode: str) -> None:
    (found,) = suggest_keys([part_of([scale_bar(0, tonic, fifths)], key(fifths))])
    assert (found.guess.name, found.church_mode, found.agrees) == (guess, mode, True)


def test_a_dorian_tune_with_a_long_third_is_taken_for_minor() -> None:
    bar = [replace(note, duration=3) if note.onset == 2 else note for note in scale_bar(0, TONIC_D, 0)]
    (found,) = suggest_keys([part_of([bar], key(0))])
    assert (found.guess.name, found.church_mode, found.agrees) == ("D minor", "D dorian", True)


def test_no_church_mode_where_the_notes_leave_the_signature() -> None:
    (found,) = suggest_keys([part_of([scale_bar(0, TONIC_D, -1)], key(0))])
    assert (found.guess.name, found.church_mode, found.agrees) == ("D minor", "", False)


def test_windows_join_where_they_suggest_one_key() -> None:
    bars = [scale_bar(bar, TONIC_C if bar < 4 else TONIC_D, 0 if bar < 4 else 2) for bar in range(7)]
    found = suggest_keys([part_of(bars, key(0))], window=2)
    assert [(one.first, one.last, one.guess.name, one.agrees) for one in found] == [
        (0, 3, "C major", True),
        (4, 6, "D major", False),
    ]
    whole = suggest_keys([part_of(bars, key(0))])
    assert [(one.first, one.last) for one in whole] == [(0, 6)]


def test_windows_end_with_their_signature() -> None:
    bars = [scale_bar(bar, TONIC_C if bar < 3 else TONIC_D, 0 if bar < 3 else 2) for bar in range(7)]
    found = suggest_keys([part_of(bars, key(0), key(2, 3))], window=2)
    assert [(one.first, one.last, one.guess.name, one.agrees) for one in found] == [
        (0, 2, "C major", True),
        (3, 6, "D major", True),
    ]
    assert found[0].guess == suggest_keys([part_of(bars[:3], key(0))])[0].guess


def test_an_empty_window_joins_the_one_before_it() -> None:
    bars = [scale_bar(0, TONIC_C, 0), [], scale_bar(2, TONIC_C, 0)]
    assert [(one.first, one.last) for one in suggest_keys([part_of(bars)], window=1)] == [(0, 2)]


def test_both_hands_count_where_they_are_two_parts() -> None:
    upper, lower = (
        part_of([scale_bar(0, TONIC_G, 0)[:5]], key(0)),
        part_of([scale_bar(0, TONIC_G, 1)[4:]], key(0)),
    )
    (found,) = suggest_keys([upper, lower])
    assert found.guess.name == "G major"


def test_what_does_not_count() -> None:
    plain = scale_bar(0, TONIC_C, 0)
    loud = Note(0, 0, 1000, Pitch(31, 1), 1, "1")
    others = [
        replace(loud, cue=True),
        replace(loud, hidden=True),
        replace(loud, pitch=None, rest=True),
        replace(loud, pitch=Pitch(31, Fraction(1, 2))),
        replace(loud, grace=True, duration=0),
    ]
    assert suggest_keys([part_of([plain + others])])[0].guess == suggest_keys([part_of([plain])])[0].guess
    assert suggest_keys([part_of([[*plain, loud]])])[0].guess != suggest_keys([part_of([plain])])[0].guess


def test_nothing_to_tell_a_key_by() -> None:
    chromatic = [Note(0, k, 4, Pitch(*pair), 1, "1") for k, pair in enumerate(twelve())]
    assert suggest_keys([part_of([chromatic])]) == ()
    assert suggest_keys([part_of([])]) == ()
    assert suggest_keys([]) == ()
    assert guess_keys({}) == ()


def twelve() -> list[tuple[int, int]]:
    return [
        (28, 0),
        (28, 1),
        (29, 0),
        (30, -1),
        (30, 0),
        (31, 0),
        (31, 1),
        (32, 0),
        (33, -1),
        (33, 0),
        (34, -1),
        (34, 0),
    ]

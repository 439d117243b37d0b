"""Auxiliary notes and tremolos; expectations by hand from section 2 of the planning problem.

Which neighbour a sign takes agrees with MusicXML 4.0: inverted-mordent is the sign without a vertical line,
played with the note above; mordent has the line and is played with the note below.
"""

from __future__ import annotations

import pytest
from score.builders import key, note, ornament, part, pitch

from harpkeys.score.key_map import accidental_map
from harpkeys.score.model import KeySignature, Note, Ornament, Signs
from harpkeys.score.ornaments import auxiliary_pitches, tremolo_partners


def auxiliaries(
    sign: Signs | None, *others: Note, keys: tuple[KeySignature, ...] = (), onset: float = 2
) -> str:
    """The auxiliaries of a B4 with this sign among other notes, by name."""
    bearer = note("B4", onset, sign=sign)
    found = auxiliary_pitches(bearer, pitch("B4"), accidental_map(part(*others, bearer, staves=2, keys=keys)))
    return " ".join(one.name for one in found)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("trill", "C5"),
        ("inverted-mordent", "C5"),
        ("mordent", "A4"),
        ("turn", "C5 A4"),
        ("inverted-turn", "C5 A4"),
        ("something-else", ""),
    ],
)
def test_which_neighbours_an_ornament_needs(kind: str, expected: str) -> None:
    assert auxiliaries(ornament(kind)) == expected


def test_no_signs_need_nothing() -> None:
    assert auxiliaries(None) == ""
    assert auxiliaries(Signs(fermata=True)) == ""


def test_the_key_alters_them() -> None:
    assert auxiliaries(ornament("turn"), keys=(key(7),)) == "C#5 A#4"
    assert auxiliaries(ornament("turn"), keys=(key(-7),)) == "Cb5 Ab4"


def test_the_key_in_force_at_the_place_on_the_staff_counts() -> None:
    keys = (key(0), key(2, 0, 1, staff=1), key(-3, 0, 1, staff=2), key(-7, 0, 3))
    assert auxiliaries(ornament("turn"), keys=keys) == "C#5 A4"


def test_an_accidental_before_it_in_the_bar_beats_the_key() -> None:
    before = note("C#5", 1, accidental="sharp")
    assert auxiliaries(ornament("turn"), before, keys=(key(-7),)) == "C#5 Ab4"


@pytest.mark.parametrize(
    "other",
    [
        note("C#5", 2, accidental="sharp"),
        note("C#5", 3, accidental="sharp"),
        note("C#4", 1, accidental="sharp"),
        note("C#5", 1, accidental="sharp", staff=2),
        note("C#5", 1),
    ],
    ids=["same onset", "later", "other octave", "other staff", "not printed"],
)
def test_other_accidentals_do_not_count(other: Note) -> None:
    assert auxiliaries(ornament("trill"), other) == "C5"


def test_an_accidental_mark_beats_all() -> None:
    before = note("C#5", 1, accidental="sharp")
    assert auxiliaries(ornament("trill", above=-1), before, keys=(key(7),)) == "Cb5"
    assert auxiliaries(ornament("turn", below=1), before) == "C#5 A#4"
    assert auxiliaries(ornament("turn", above=0, below=-1), before) == "C5 Ab4"


def test_several_ornaments_need_each_pitch_once() -> None:
    assert auxiliaries(ornament("trill", "turn", "mordent")) == "C5 A4"
    both = Signs(ornaments=(Ornament("trill"), Ornament("inverted-mordent", above=1)))
    assert auxiliaries(both) == "C5 C#5"


def test_of_a_harmonic_written_as_it_sounds_they_lie_at_the_string() -> None:
    # The accidental stands at the written octave, the auxiliary at the string's.
    bearer = note("B4", 2, sign=Signs(ornaments=(Ornament("trill"),), harmonic="sounding"))
    accidentals = accidental_map(part(note("C#5", 0, accidental="sharp"), bearer))
    assert [one.name for one in auxiliary_pitches(bearer, pitch("B3"), accidentals)] == ["C#4"]


def carried(*notes: Note) -> dict[int, str]:
    found = tremolo_partners(notes)
    return {
        index: " ".join(other.pitch.name for other in others if other.pitch)
        for index, others in found.items()
    }


START, STOP, SINGLE = Signs(tremolo="start"), Signs(tremolo="stop"), Signs(tremolo="single")


def test_two_notes_carry_each_other() -> None:
    notes = note("C4", 0, sign=START), note("E4", 1, sign=STOP), note("G4", 2)
    assert carried(*notes) == {0: "E4", 1: "C4"}


def test_a_chord_carries_the_other_chord_once_though_one_note_bears_the_mark() -> None:
    notes = (
        note("C4", 0, sign=START),
        note("E4", 0, chord=True),
        note("G4", 1, sign=STOP),
        note("C5", 1, chord=True),
    )
    assert carried(*notes) == {0: "G4 C5", 1: "", 2: "C4 E4", 3: ""}


def test_a_pitch_that_a_chord_has_itself_is_not_added() -> None:
    notes = note("C4", 0, sign=START), note("E4", 0, chord=True), note("E4", 1, sign=STOP)
    assert carried(*notes) == {0: "", 1: "", 2: "C4"}


def test_an_enharmonic_pitch_is_the_same() -> None:
    assert carried(note("F4", 0, sign=START), note("E#4", 1, sign=STOP)) == {0: "", 1: ""}


def test_a_mark_on_one_note_of_a_chord_is_for_all() -> None:
    assert carried(note("C4", 0, sign=SINGLE), note("E4", 0, chord=True), note("G4", 1)) == {0: "", 1: ""}


def test_a_chord_whose_first_note_is_hidden_is_not_part_of_the_one_before() -> None:
    assert carried(note("C4", 0, sign=SINGLE), note("E4", 1, chord=True)) == {0: ""}


def test_voices_are_kept_apart() -> None:
    notes = (
        note("C4", 0, sign=START, voice="1"),
        note("C3", 0, sign=START, voice="2"),
        note("E4", 1, sign=STOP, voice="1"),
        note("E3", 1, sign=STOP, voice="2"),
    )
    assert carried(*notes) == {0: "E4", 1: "E3", 2: "C4", 3: "C3"}


@pytest.mark.parametrize("signs", [(START, None), (None, STOP), (STOP, START), (START, START)])
def test_without_its_other_half_a_note_is_a_tremolo_alone(signs: tuple[Signs | None, Signs | None]) -> None:
    found = carried(note("C4", 0, sign=signs[0]), note("E4", 1, sign=signs[1]))
    assert found == {index: "" for index, sign in enumerate(signs) if sign is not None}


def test_two_tremolos_in_a_row() -> None:
    notes = [note(name, n, sign=(START, STOP)[n % 2]) for n, name in enumerate(("C4", "D4", "E4", "F4"))]
    assert carried(*notes) == {0: "D4", 1: "C4", 2: "F4", 3: "E4"}

"""Names of strings, notes and keys."""

from __future__ import annotations

from fractions import Fraction

import pytest

from harpkeys.errors import HarpError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.naming import (
    alteration_word,
    fifths_note,
    harp_octave,
    key_name,
    listed,
    note_text,
    parse_string,
    quoted,
    register_word,
    string_colour,
    string_names,
    string_text,
    tonic_name,
)
from harpkeys.harp.tunings import make_harp
from harpkeys.pitch import Pitch


@pytest.mark.parametrize(
    ("pitch", "signs", "plain", "bare"),
    [
        (Pitch(31, 1), "F♯4", "F#4", "F♯"),
        (Pitch(27, -1), "B♭3", "Bb3", "B♭"),
        (Pitch(28), "C4", "C4", "C"),
        (Pitch(31, 2), "F♯♯4", "F##4", "F♯♯"),
        (Pitch(30, -2), "E♭♭4", "Ebb4", "E♭♭"),
        (Pitch(31, Fraction(1, 2)), "F+0.5 4", "F+0.5 4", "F+0.5"),
    ],
)
def test_notes_for_people(pitch: Pitch, signs: str, plain: str, bare: str) -> None:
    assert note_text(pitch) == signs
    assert note_text(pitch, ascii_only=True) == plain
    assert note_text(pitch, octave=False) == bare
    assert note_text(pitch, ascii_only=True, octave=False) == plain.removesuffix(str(pitch.octave)).rstrip()


def test_harp_octaves_run_from_e_down_to_f() -> None:
    octaves = [harp_octave(parse_string(name)) for name in ("E7", "F6", "E6", "F5", "E5", "F4", "E4", "F3")]
    assert octaves == [1, 1, 2, 2, 3, 3, 4, 4]


def test_a_string_in_words() -> None:
    harp = find_harp("34")
    assert string_text(harp, 0) == "C2 (string 34)"
    assert string_text(harp, 33) == "A6 (string 1)"


def test_colours() -> None:
    assert [string_colour(d) for d in range(28, 35)] == ["red", "", "", "blue", "", "", ""]


def test_register_words_only_where_they_single_one_out() -> None:
    harp = make_harp("h", "C3", high="D5")  # three C and D strings, two of the others
    assert [register_word(harp, harp.index_of(parse_string(name)) or 0) for name in ("C3", "C4", "C5")] == [
        "low",
        "middle",
        "high",
    ]
    assert [register_word(harp, harp.index_of(parse_string(name)) or 0) for name in ("F3", "F4")] == [
        "low",
        "high",
    ]
    assert register_word(make_harp("h", "C3", 7), 3) == ""
    assert register_word(find_harp("34"), 0) == ""


@pytest.mark.parametrize(
    ("fifths", "mode", "name"),
    [
        (0, "major", "C major"),
        (-3, "major", "E-flat major"),
        (-3, "minor", "C minor"),
        (6, "minor", "D-sharp minor"),
        (0, "dorian", "D dorian"),
        (0, "phrygian", "E phrygian"),
        (0, "lydian", "F lydian"),
        (0, "mixolydian", "G mixolydian"),
        (0, "locrian", "B locrian"),
        (2, None, "D major"),
        (2, "none", "D major"),
    ],
)
def test_names_of_keys(fifths: int, mode: str | None, name: str) -> None:
    assert key_name(fifths, mode) == name


def test_the_line_of_fifths_beyond_seven_signs() -> None:
    assert tonic_name(8) == "G-sharp"
    assert tonic_name(13) == "F-double sharp"
    assert fifths_note(-9) == (6, -2)
    assert alteration_word(-2) == "double flat"


def test_lists_in_words() -> None:
    assert [listed([]), listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert string_names([14, 15, 16]) == "C2, D2 and E2"


def test_a_name_that_is_no_string() -> None:
    with pytest.raises(HarpError) as caught:
        parse_string("H2")
    assert (
        str(caught.value)
        == '"H2" is no string; name a string by letter and octave without a sign, such as "C2".'
    )


def test_user_text_is_quoted_on_one_line() -> None:
    assert quoted("a\n  b") == '"a b"'
    assert quoted("x" * 41) == f'"{"x" * 39}…"'

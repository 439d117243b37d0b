"""Reading tunings and ranges, and making harps."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harpkeys.errors import HarpError
from harpkeys.harp.model import HarpString
from harpkeys.harp.tunings import (
    KEYS,
    alterations,
    make_harp,
    parse_range,
    parse_tuning,
    relevered,
    retuned,
    tuning_of,
    tuning_of_strings,
)
from harpkeys.pitch import Pitch

MEND = (
    'name the major key that sounds with all levers down, such as "C" or "E-flat", '
    'or the altered letters, such as "Bb Eb"'
)

E_FLAT = (0, 0, -1, 0, 0, -1, -1)


@pytest.mark.parametrize(
    ("text", "name", "letters"),
    [
        ("C", "C", (0, 0, 0, 0, 0, 0, 0)),
        ("F", "F", (0, 0, 0, 0, 0, 0, -1)),
        ("f", "F", (0, 0, 0, 0, 0, 0, -1)),
        ("E-flat", "E-flat", E_FLAT),
        ("Eb", "E-flat", E_FLAT),
        ("eb", "E-flat", E_FLAT),
        ("E♭", "E-flat", E_FLAT),
        ("E flat", "E-flat", E_FLAT),
        ("E Flat major", "E-flat", E_FLAT),
        ("bb", "B-flat", (0, 0, -1, 0, 0, 0, -1)),
        ("a flat", "A-flat", (0, -1, -1, 0, 0, -1, -1)),
        ("B", "B", (1, 1, 0, 1, 1, 1, 0)),
        ("F sharp", "F-sharp", (1, 1, 1, 1, 1, 1, 0)),
        ("C#", "C-sharp", (1, 1, 1, 1, 1, 1, 1)),
        ("C♭", "C-flat", (-1, -1, -1, -1, -1, -1, -1)),
        ("Bb Eb Ab", "E-flat", E_FLAT),
        ("B-flat, E flat; A♭", "E-flat", E_FLAT),
        ("C# F", "free: C#", (1, 0, 0, 0, 0, 0, 0)),
        ("B-flat E-flat F-sharp", "free: Bb Eb F#", (0, 0, -1, 1, 0, 0, -1)),
        ("free: Eb", "free: Eb", (0, 0, -1, 0, 0, 0, 0)),
        ("Free : bb", "F", (0, 0, 0, 0, 0, 0, -1)),
        ("E-flat with A natural", "B-flat", (0, 0, -1, 0, 0, 0, -1)),
    ],
)
def test_a_tuning_by_key_or_by_letter(text: str, name: str, letters: tuple[int, ...]) -> None:
    assert alterations(text) == (name, letters)


@pytest.mark.parametrize(
    ("text", "name", "strings"),
    [
        ("Eb, B2 natural", "E-flat with B2 natural", ((20, 0),)),
        ("Eb, B2", "E-flat with B2 natural", ((20, 0),)),
        ("Eb with B2=natural", "E-flat with B2 natural", ((20, 0),)),
        ("C with Bb2 F-sharp 4", "C with B2 flat, F4 sharp", ((20, -1), (31, 1))),
        ("C with F4# Bb2", "C with B2 flat, F4 sharp", ((20, -1), (31, 1))),
        ("Bb2", "C with B2 flat", ((20, -1),)),
        ("E-flat with Eb3", "E-flat", ()),
    ],
)
def test_exceptions_by_string(text: str, name: str, strings: tuple[tuple[int, int], ...]) -> None:
    tuning = parse_tuning(text)
    assert (tuning.name, tuning.strings) == (name, strings)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", f'the tuning "" cannot be read; {MEND}.'),
        ("free:", f'the tuning "free:" cannot be read; {MEND}.'),
        ("H", f'"H" in the tuning "H" cannot be read; {MEND}.'),
        ("flat", f'"flat" in the tuning "flat" cannot be read; {MEND}.'),
        ("all flat", f'"all" in the tuning "all flat" cannot be read; {MEND}.'),
        ("Cm", f'"Cm" in the tuning "Cm" cannot be read; {MEND}.'),
        ("Eb2b", f'"Eb2b" in the tuning "Eb2b" cannot be read; {MEND}.'),
        (
            "C##",
            '"C##" in the tuning "C##" is 2 semitones from the natural note; '
            "tune a string flat, natural or sharp.",
        ),
        ("G#", f'the key G-sharp of the tuning "G#" has more than seven signs; {MEND}.'),
        ("Bb B", 'the tuning "Bb B" names B twice; name each letter once.'),
        ("C with B2 Bb2", 'the tuning "C with B2 Bb2" names B2 twice; name each string once.'),
        ("C, B10", '"B10" is beyond octave 9; count octaves so that middle C is C4.'),
        ("Q" * 99, f'"{"Q" * 39}…" in the tuning "{"Q" * 39}…" cannot be read; {MEND}.'),
    ],
)
def test_a_wrong_tuning_is_told(text: str, sentence: str) -> None:
    with pytest.raises(HarpError) as caught:
        parse_tuning(text)
    assert str(caught.value) == sentence


def test_alterations_refuses_exceptions_by_string() -> None:
    with pytest.raises(HarpError) as caught:
        alterations("Eb, B2")
    assert str(caught.value) == 'the tuning "Eb, B2" names single strings; name only a key or letters here.'


letters_of_any_tuning = st.tuples(*[st.integers(-1, 1)] * 7)


@given(letters_of_any_tuning, st.dictionaries(st.integers(0, 69), st.integers(-1, 1), max_size=5))
def test_canonical_names_read_back(letters: tuple[int, ...], strings: dict[int, int]) -> None:
    tuning = tuning_of(letters, strings)  # type: ignore[arg-type]
    assert parse_tuning(tuning.name) == tuning


@given(st.text(max_size=30))
def test_any_text_is_read_or_told(text: str) -> None:
    try:
        tuning = parse_tuning(text)
    except HarpError:
        return
    assert set(tuning.letters) <= {-1, 0, 1}
    assert parse_tuning(tuning.name) == tuning


def test_fifteen_keys_have_names() -> None:
    names = ", ".join(sorted(KEYS.values()))
    assert names == "A, A-flat, B, B-flat, C, C-flat, C-sharp, D, D-flat, E, E-flat, F, F-sharp, G, G-flat"


def test_the_tuning_of_strings_is_the_commonest_by_letter() -> None:
    strings = [HarpString(20, 0, True), HarpString(27, -1, True), HarpString(34, -1, True)]
    assert tuning_of_strings(strings).name == "F with B2 natural"
    strings = [HarpString(20, -1, True), HarpString(27, 0, True), HarpString(34, 0, True)]
    assert tuning_of_strings(strings).name == "C with B2 flat"


@pytest.mark.parametrize(
    ("low", "count", "high", "found"),
    [
        ("C2", 34, None, (14, 34)),
        ("C2", None, "A6", (14, 34)),
        ("A1", None, "A6", (12, 36)),
        (14, None, 14, (14, 1)),
    ],
)
def test_a_range_by_count_or_by_both_ends(
    low: str | int, count: int | None, high: str | int | None, found: tuple[int, int]
) -> None:
    assert parse_range(low, count, high) == found


@pytest.mark.parametrize(
    ("low", "count", "high", "sentence"),
    [
        ("C2", 0, None, "a harp of 0 strings cannot be made; give 1 to 60 strings."),
        ("C2", 61, None, "a harp of 61 strings cannot be made; give 1 to 60 strings."),
        ("C2", None, "A1", "the highest string A1 is below the lowest string C2; change one of them."),
        (
            "C9",
            8,
            None,
            "8 strings from C9 go beyond the octaves 0 to 9; count octaves so that middle C is C4.",
        ),
        (
            "C#2",
            34,
            None,
            '"C#2" is no string; name a string by letter and octave without a sign, such as "C2".',
        ),
        ("C12345", 3, None, '"C12345" is beyond octave 9; count octaves so that middle C is C4.'),
        (
            "C2",
            None,
            None,
            "a harp needs its lowest string and either the number of strings or its highest string; "
            "give one of the two.",
        ),
    ],
)
def test_a_wrong_range_is_told(low: str, count: int | None, high: str | None, sentence: str) -> None:
    with pytest.raises(HarpError) as caught:
        parse_range(low, count, high)
    assert str(caught.value) == sentence


def test_a_harp_is_made_string_by_string() -> None:
    harp = make_harp("  Rowan\n harp ", "B3", 4, tuning="Eb, E4 natural", levers="all but C4")
    assert harp.name == "Rowan harp"
    assert harp.tuning == "E-flat with E4 natural"
    assert harp.strings == (
        HarpString(27, -1, True),
        HarpString(28, 0, False),
        HarpString(29, 0, True),
        HarpString(30, 0, True),
    )
    assert [(s.down, s.up) for s in harp.strings] == [(58, 59), (60, None), (62, 63), (64, 65)]
    assert [harp.number(k) for k in range(4)] == [4, 3, 2, 1]
    assert harp.strings[0].sounding(0) == Pitch(27, -1)


def test_a_tuning_for_a_string_that_is_not_there() -> None:
    with pytest.raises(HarpError) as caught:
        make_harp("small", "C4", 8, tuning="C with B3 flat")
    assert (
        str(caught.value) == 'the tuning "C with B3 flat" names B3, which the harp does not have; '
        "its strings are C4 to C5."
    )


@pytest.mark.parametrize("name", ["", " ", "x" * 101, "a\x00b"])
def test_a_wrong_name_is_told(name: str) -> None:
    with pytest.raises(HarpError, match=r"is no name for a harp; give it a name of 1 to 100 characters\.$"):
        make_harp(name, "C4", 8)


def test_retuning_and_relevering_keep_the_rest() -> None:
    harp = make_harp("Rowan", "C2", 34, levers="F C")
    assert retuned(harp, "F") == make_harp("Rowan", "C2", 34, tuning="F", levers="F C")
    assert relevered(harp, "all") == make_harp("Rowan", "C2", 34)

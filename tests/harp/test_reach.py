"""Levers for a signature, signatures in reach, strings that share a pitch."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp, HarpString
from harpkeys.harp.reach import (
    Sharing,
    letters_up,
    levers_for,
    shared_leading_notes,
    shared_names,
    shared_pitches,
    signatures_reached,
)
from harpkeys.harp.tunings import alterations, key_alterations, make_harp
from harpkeys.pitch import LETTERS


def names(harp: Harp, indices: tuple[int, ...]) -> str:
    return " ".join(harp.strings[index].name for index in indices)


def test_levers_of_d_major_on_a_small_harp() -> None:
    harp = find_harp("22")
    setting = levers_for(harp, 2)
    assert names(harp, setting.up) == "C3 F3 C4 F4 C5 F5 C6"
    assert setting.reached


def test_what_cannot_be_reached_stays_down() -> None:
    harp = find_harp("22-f")
    setting = levers_for(harp, 2)
    assert names(harp, setting.up) == "F3 F4 F5"
    assert names(harp, setting.unreachable) == "C3 C4 C5 C6"
    assert not setting.reached


def test_a_flat_below_the_tuning_is_out_of_reach() -> None:
    harp = find_harp("22")
    assert names(harp, levers_for(harp, -1).unreachable) == "B3 B4 B5"


def test_a_key_of_its_own_alterations() -> None:
    harp = make_harp("h", "C4", 7, tuning="Bb Eb")
    setting = levers_for(harp, (1, 0, -1, 1, 0, 0, 0))
    assert names(harp, setting.up) == "C4 F4 B4"
    assert setting.reached


def test_no_lever_gives_a_microtone() -> None:
    harp = make_harp("h", "C4", 7)
    setting = levers_for(harp, (Fraction(1, 2), 0, 0, 1, 0, 0, 0))
    assert names(harp, setting.unreachable) == "C4"
    assert names(harp, setting.up) == "F4"


def test_one_string_without_a_lever_takes_a_signature_away() -> None:
    assert signatures_reached(make_harp("h", "C2", 34, levers="all but F2")) == (0,)
    assert signatures_reached(make_harp("h", "C2", 34, levers="all but B2")) == (0, 1, 2, 3, 4, 5, 6)


def test_letters_in_the_order_in_which_their_levers_join() -> None:
    assert [LETTERS[letter] for letter in letters_up(find_harp("34-eb"), 1)] == ["A", "E", "B", "F"]
    assert [LETTERS[letter] for letter in letters_up(find_harp("34"), 3)] == ["F", "C", "G"]
    assert letters_up(find_harp("22-f"), 2) == (3,)


def test_shared_pitches_name_both_strings() -> None:
    harp = make_harp("h", "E4", 3, tuning="C")  # E F G: E raised is F
    assert shared_pitches(harp) == (Sharing(65, 0, 1),)


def test_a_free_tuning_can_have_three_strings_on_one_pitch() -> None:
    harp = make_harp("h", "E4", 3, tuning="E# Gb")  # E# = F = 65, F = 65, Gb = 66 = F#
    assert [share for share in shared_pitches(harp) if share.midi == 65] == [Sharing(65, 0, 1)]
    assert [share for share in shared_pitches(harp) if share.midi == 66] == [
        Sharing(66, 0, 1),
        Sharing(66, 0, 2),
        Sharing(66, 1, 2),
    ]


def test_a_leading_note_with_two_strings_to_choose_from() -> None:
    # With E tuned sharp, E and F strings are alike: in F sharp minor one has the leading note, one the tonic.
    assert shared_leading_notes(alterations("E-flat")[1], minor_keys=[3]) == ("F#",)
    assert shared_leading_notes(alterations("free: E#")[1], minor_keys=[3]) == ()


@given(st.lists(st.tuples(st.integers(-1, 1), st.booleans()), min_size=1, max_size=20), st.integers(-7, 7))
def test_the_setting_sounds_the_signature(strings: list[tuple[int, bool]], fifths: int) -> None:
    harp = Harp("h", "", tuple(HarpString(28 + k, tuned, lever) for k, (tuned, lever) in enumerate(strings)))
    setting = levers_for(harp, fifths)
    wanted = key_alterations(fifths)
    for index, string in enumerate(harp.strings):
        reachable = {string.tuned} | ({string.tuned + 1} if string.lever else set())
        assert (index in setting.unreachable) == (wanted[string.diatonic % 7] not in reachable)
        if index not in setting.unreachable:
            assert string.tuned + (index in setting.up) == wanted[string.diatonic % 7]


@given(st.tuples(*[st.integers(-1, 1)] * 7))
def test_shared_names_agree_with_the_strings(letters: tuple[int, ...]) -> None:
    harp = Harp("h", "", tuple(HarpString(28 + k, letters[k % 7], True) for k in range(8)))
    neighbours = {share.midi % 12 for share in shared_pitches(harp) if share.upper - share.lower == 1}
    assert len(shared_names(letters)) >= len(neighbours)
    assert {pair[0][0] + pair[1][0] for pair in shared_names(letters)} == {
        harp.strings[share.lower].name[0] + harp.strings[share.upper].name[0]
        for share in shared_pitches(harp)
        if share.upper - share.lower == 1
    }

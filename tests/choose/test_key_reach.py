"""What a harp plays and why not, in the words told; one lever away; the explanation. Worked out by hand."""

from __future__ import annotations

import pytest

from harpkeys.choose.called_out import parse_called
from harpkeys.choose.explained import explain
from harpkeys.choose.key_reach import (
    KeyReach,
    obstacles_text,
    one_lever_away,
    reach_all,
    reach_chord,
    reach_scale,
)
from harpkeys.choose.scales import Scale, chord_on, note_signs
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp
from harpkeys.harp.tunings import make_harp
from harpkeys.pitch import LETTERS


def reach(harp: Harp, key: str) -> KeyReach:
    scale = parse_called(key).sounding[0]
    assert isinstance(scale, Scale)
    return reach_scale(harp, scale)


REASONS = [
    ("34", "F", "A and B♭ both need the A string"),
    ("34", "Bb", "D and E♭ both need the D string; A and B♭ both need the A string"),
    ("34", "G# harmonic minor", "F♯♯ and G♯ both need the G string"),
    # A flat is the open A string, C sharp would be wanted too: D flat only stands on C.
    ("34-eb", "Ab", "C and D♭ both need the C string"),
    ("34-eb", "B harmonic minor", "A♯ and B both need the B string"),
    ("22-none", "G", "F♯ needs a lever on F"),
    ("22-none", "D", "F♯ and C♯ need levers on F and C"),
    ("22-none", "F", "B♭ is lower than the B string can sound"),
    ("22-fc", "F", "B♭ is lower than the B string can sound"),
    ("22-fc", "A", "G♯ needs a lever on G"),
    ("22-fc", "Bb", "E♭ and B♭ are lower than the E and B strings can sound"),
]


@pytest.mark.parametrize(("harp", "key", "reason"), REASONS)
def test_reasons(harp: str, key: str, reason: str) -> None:
    found = reach(find_harp(harp), key)
    assert not found.reached
    assert obstacles_text(find_harp(harp), found.obstacles) == reason


def test_too_high_is_told() -> None:
    # Tuned flat, a string rises to its natural and no further; A sharp has no neighbour on this harp.
    harp = make_harp("h", "C3", high="C6", tuning="free: Ab", levers="all but B")
    found = reach(harp, "B")
    assert "A♯ is higher than the A string can sound" in obstacles_text(harp, found.obstacles)


def test_strings_are_named_where_octaves_differ() -> None:
    harp = make_harp("h", "C2", high="C5", levers="all but F2")
    found = reach(harp, "G")
    assert obstacles_text(harp, found.obstacles) == "F♯ needs a lever on F (at F2)"


def test_a_key_under_its_other_name() -> None:
    found = reach(find_harp("34"), "Gb")
    assert not found.reached
    assert found.twin is not None
    assert found.twin.name == "F-sharp major"
    assert "".join(LETTERS[k] for k in found.twin_letters) == "FCGDAE"
    assert found.setting == found.twin_up
    assert found.obstacles == ()


def test_a_melodic_minor_has_two_ways() -> None:
    harp = find_harp("34")
    down = reach(harp, "A melodic minor")
    assert (down.reached, down.both_ways) == (True, True)
    assert [LETTERS[k] for k in down.moving] == ["F", "G"]
    # D melodic minor goes up with B and C sharp, and down with B flat, which a C tuning has not.
    up_only = reach(harp, "D melodic minor")
    assert (up_only.reached, up_only.both_ways) == (True, False)


def test_one_lever_away_from_c_on_a_c_harp() -> None:
    harp = find_harp("34")
    near = one_lever_away(harp, (), reach_all(harp))
    told = {(LETTERS[n.letter], n.to): [s.name for s in n.scales] for n in near}
    assert told == {
        ("F", 1): [
            "G major",
            "E minor",
            "A dorian",
            "B phrygian",
            "C lydian",
            "D mixolydian",
            "F-sharp locrian",
        ],
        ("G", 1): ["A harmonic minor"],
    }
    assert {harp.strings[k].name for k in near[0].strings} == {"F2", "F3", "F4", "F5", "F6"}


def test_one_lever_away_goes_down_too() -> None:
    harp = find_harp("34 in E-flat")
    setting = reach(harp, "F").setting
    assert setting is not None
    near = one_lever_away(harp, setting, reach_all(harp))
    told = {(LETTERS[n.letter], n.to): n.scales[0].name for n in near}
    assert told[("B", 1)] == "C major"
    assert told[("E", 0)] == "B-flat major"


def test_chords_from_a_neighbouring_string() -> None:
    found = reach_chord(find_harp("34"), chord_on((6, -1), "7"))
    assert found.obstacles == ()
    told = [(LETTERS[letter], state, note_signs(note)) for letter, state, note in found.states]
    assert told == [("A", 1, "B♭"), ("D", 0, "D"), ("F", 0, "F"), ("G", 1, "A♭")]


def test_a_chord_out_of_reach() -> None:
    harp = find_harp("34")
    found = reach_chord(harp, chord_on((5, 0), "", (6, -1)))
    assert obstacles_text(harp, found.obstacles) == "A and B♭ both need the A string"


EXPLAINED = [
    (
        "34",
        "B sounds B or B-sharp here",
        "So the major keys of this harp are C, G, D, A, E, B, F-sharp and C-sharp.",
    ),
    ("34-eb", "its B, E and A strings are tuned flat", "E-flat, B-flat, F, C, G, D, A and E."),
    ("22-fc", "B sounds B alone here", "So the major keys of this harp are C, G and D."),
    ("22-none", "This harp has no levers", "So of the major keys this harp has C alone"),
]


@pytest.mark.parametrize(("name", "about", "keys"), EXPLAINED)
def test_the_explanation_is_about_the_harp_at_hand(name: str, about: str, keys: str) -> None:
    harp = find_harp(name)
    text = " ".join(explain(harp, reach_all(harp)))
    assert about in text
    assert keys in text


def test_the_explanation_says_why_a_string_has_two_notes() -> None:
    harp = find_harp("34")
    first = explain(harp, reach_all(harp))[0]
    assert first == (
        "A string with a lever has just two notes. With the lever down the whole string sounds, as it was "
        "tuned. With the lever up a shorter piece of it sounds, and that is one semitone higher. There is no "
        "third note: no lever makes a string lower, and none lifts it by two steps."
    )


def test_a_harp_of_few_strings() -> None:
    harp = make_harp("h", "C4", 3)
    assert reach(harp, "D").reached is True
    assert reach(harp, "Eb").reached is False

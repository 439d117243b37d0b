"""The trade's own tables, row by row, against what the code works out.

Beside each table stands where it comes from. CALC rows follow from the rules by arithmetic and are checked
against music21's scales as well, which know nothing of this project.
"""

from __future__ import annotations

import itertools

import pytest

from harpkeys.harp.builtin import builtin_harps, find_harp
from harpkeys.harp.frequency import frequency
from harpkeys.harp.naming import harp_octave_name, parse_string, string_colour, tonic_name
from harpkeys.harp.reach import (
    letters_up,
    levers_for,
    shared_leading_notes,
    shared_names,
    signatures_reached,
)
from harpkeys.harp.tunings import alterations, make_harp
from harpkeys.pitch import LETTERS, Pitch

KEYS_BY_LEVERS = [
    # Arithmetic on the line of fifths. Agrees with published lists for E-flat (Perrett, "Tips on composing
    # for harp"; Shabkie, "Alternate E-flat tuning": G needs 4 levers, D needs 5) and for F (the tuning
    # chapter of a harp-building text). Letters in the order in which their levers join.
    ("C", "C:- G:F D:FC A:FCG E:FCGD B:FCGDA F-sharp:FCGDAE C-sharp:FCGDAEB"),
    ("F", "F:- C:B G:BF D:BFC A:BFCG E:BFCGD B:BFCGDA F-sharp:BFCGDAE"),
    ("B-flat", "B-flat:- F:E C:EB G:EBF D:EBFC A:EBFCG E:EBFCGD B:EBFCGDA"),
    ("E-flat", "E-flat:- B-flat:A F:AE C:AEB G:AEBF D:AEBFC A:AEBFCG E:AEBFCGD"),
    ("A-flat", "A-flat:- E-flat:D B-flat:DA F:DAE C:DAEB G:DAEBF D:DAEBFC A:DAEBFCG"),
]


@pytest.mark.parametrize(("base", "row"), KEYS_BY_LEVERS)
def test_keys_reached_and_the_levers_they_need(base: str, row: str) -> None:
    harp = make_harp("h", "C2", 34, tuning=base)
    found = [
        f"{tonic_name(fifths)}:{''.join(LETTERS[k] for k in letters_up(harp, fifths)) or '-'}"
        for fifths in signatures_reached(harp)
    ]
    assert found == row.split()


@pytest.mark.parametrize(("key", "levers"), [("G", 4), ("D", 5)])
def test_shabkies_counts_for_an_e_flat_harp(key: str, levers: int) -> None:
    # Shabkie, "Alternate E-flat tuning".
    harp = make_harp("h", "C3", 7, tuning="E-flat")
    fifths = next(k for k in range(-7, 8) if tonic_name(k) == key)
    assert len(levers_for(harp, fifths).up) == levers


@pytest.mark.parametrize("base", ["C", "F", "B-flat", "E-flat", "A-flat"])
def test_reach_agrees_with_music21s_scales(base: str) -> None:
    from music21 import scale

    harp = make_harp("h", "C3", 22, tuning=base)
    within = {LETTERS[s.diatonic % 7]: {s.sounding(0).alter, s.sounding(1).alter} for s in harp.strings}
    reached = set(signatures_reached(harp))
    for fifths in range(-7, 8):
        tonic = tonic_name(fifths).replace("-flat", "-").replace("-sharp", "#")
        notes = scale.MajorScale(tonic).getPitches(f"{tonic}3", f"{tonic}4")
        wanted = {note.step: int(note.alter) for note in notes}
        assert len(wanted) == 7
        assert (fifths in reached) == all(alter in within[step] for step, alter in wanted.items())
        if fifths not in reached:
            continue
        up = levers_for(harp, fifths).up
        sounded = {LETTERS[s.diatonic % 7]: s.sounding(k in up).alter for k, s in enumerate(harp.strings)}
        assert sounded == wanted


PARTIAL_SETS = [
    # Partial lever sets: arithmetic; the sets themselves, common practice.
    ("22-f", "C G"),
    ("22-fc", "C G D"),
    ("22-fcb", "F C G D"),
    ("22-none", "C"),
]


@pytest.mark.parametrize(("harp", "keys"), PARTIAL_SETS)
def test_partial_sets(harp: str, keys: str) -> None:
    assert [tonic_name(fifths) for fifths in signatures_reached(find_harp(harp))] == keys.split()


def test_f_c_and_g_levers() -> None:
    # Arithmetic, as the rows above.
    harp = make_harp("h", "C3", 22, levers="F C G")
    assert [tonic_name(fifths) for fifths in signatures_reached(harp)] == ["C", "G", "D", "A"]


PAIRS = [
    # Pitch classes found on two strings: arithmetic; two of the rows also in Shabkie.
    ("C", {"C/B#", "F/E#"}),
    ("F", {"F/E#", "Bb/A#"}),
    ("B-flat", {"Bb/A#", "Eb/D#"}),
    ("E-flat", {"Eb/D#", "Ab/G#"}),
    ("A-flat", {"Ab/G#", "Db/C#"}),
]


@pytest.mark.parametrize(("base", "pairs"), PAIRS)
def test_pitch_classes_on_two_strings(base: str, pairs: set[str]) -> None:
    assert {f"{upper}/{lower}" for lower, upper in shared_names(alterations(base)[1])} == pairs


@pytest.mark.parametrize("base", ["C", "F", "B-flat", "E-flat", "A-flat"])
def test_all_twelve_pitch_classes_are_in_reach(base: str) -> None:
    # Arithmetic: with full levers the limit is one string needed in both states, not a missing pitch class.
    harp = make_harp("h", "C3", 7, tuning=base)
    assert {midi % 12 for s in harp.strings for midi in (s.down, s.up) if midi is not None} == set(range(12))


LEADING_NOTES = [
    # Minor keys, of A E B F# C#, whose leading note shares a string with its tonic: arithmetic.
    ("C", ""),
    ("F", "C#"),
    ("B-flat", "F# C#"),
    ("E-flat", "B F# C#"),
    ("A-flat", "E B F#"),
]


@pytest.mark.parametrize(("base", "keys"), LEADING_NOTES)
def test_leading_notes_on_the_string_of_their_tonic(base: str, keys: str) -> None:
    found = shared_leading_notes(alterations(base)[1], minor_keys=(0, 1, 2, 3, 4))
    assert " ".join(found) == keys


@pytest.mark.parametrize("base", ["C", "F", "B-flat", "E-flat", "A-flat"])
def test_leading_notes_agree_with_music21s_scales(base: str) -> None:
    from music21 import scale

    letters = alterations(base)[1]
    strings = {
        LETTERS[k]: {(Pitch(28 + k, alter + x).midi) % 12 for x in (0, 1)} for k, alter in enumerate(letters)
    }
    expected = []
    for tonic in ("A", "E", "B", "F#", "C#"):
        minor = scale.HarmonicMinorScale(tonic)
        leading, first = minor.pitchFromDegree(7).pitchClass, minor.pitchFromDegree(1).pitchClass
        plays_leading = [name for name, classes in strings.items() if leading in classes]
        plays_tonic = [name for name, classes in strings.items() if first in classes]
        if plays_leading == plays_tonic and len(plays_tonic) == 1:
            expected.append(tonic)
    assert list(shared_leading_notes(letters, minor_keys=(0, 1, 2, 3, 4))) == expected


FREQUENCIES = [
    # Equal temperament on A4 = 440 Hz (ISO 16), as tabled in the CRC Handbook of Chemistry and Physics.
    ("C2", "65.406"),
    ("G2", "97.999"),
    ("C4", "261.626"),
    ("A4", "440.000"),
    ("C5", "523.251"),
    ("C6", "1046.502"),
]


@pytest.mark.parametrize(("name", "hertz"), FREQUENCIES)
def test_frequencies(name: str, hertz: str) -> None:
    midi = Pitch(parse_string(name)).midi
    assert f"{frequency(midi):.3f}" == hertz


def test_frequencies_agree_with_music21() -> None:
    from music21 import pitch

    for midi in range(24, 109):
        assert frequency(midi) == pytest.approx(pitch.Pitch(midi=midi).frequency, rel=1e-12)


HARP_OCTAVES = [
    # Two independent sources: octaves run E down to F from the top, middle C = 4C; for C, D, E the scientific
    # octave is 8 - harp octave, for F, G, A, B 7 - harp octave.
    ("C4", "4C"),
    ("E4", "4E"),
    ("F4", "3F"),
    ("B3", "4B"),
    ("F3", "4F"),
    ("E3", "5E"),
    ("C2", "6C"),
    ("A6", "1A"),
    ("C7", "1C"),
]


@pytest.mark.parametrize(("name", "harp_name"), HARP_OCTAVES)
def test_harp_octaves(name: str, harp_name: str) -> None:
    assert harp_octave_name(parse_string(name)) == harp_name


def test_colours_of_strings() -> None:
    # Two independent sources: C red, F blue, black or dark purple.
    assert {LETTERS[k]: string_colour(28 + k) for k in range(7) if string_colour(28 + k)} == {
        "C": "red",
        "F": "blue",
    }


RANGES = [
    # 34 strings C2 to A6: two independent sources. The others: common practice, no source.
    (22, "C3-C6"),
    (26, "C3-G6"),
    (27, "C3-A6"),
    (29, "C2-C6"),
    (29, "A2-A6"),
    (34, "C2-A6"),
    (36, "A1-A6"),
    (36, "C2-C7"),
    (38, "A1-C7"),
]


@pytest.mark.parametrize(("strings", "ends"), RANGES)
def test_usual_ranges_count_out_and_are_built_in(strings: int, ends: str) -> None:
    from music21 import interval, pitch

    low, high = ends.split("-")
    steps = interval.Interval(pitch.Pitch(low), pitch.Pitch(high)).generic.undirected
    assert len(find_harp(ends).strings) == strings == steps
    assert any((entry.low, entry.high) == (low, high) for entry in builtin_harps())


def test_a2_to_g6_has_28_strings() -> None:
    # Also given for 27 strings (common practice, no source); counted out it has one more: built in as 28.
    from music21 import interval, pitch

    steps = interval.Interval(pitch.Pitch("A2"), pitch.Pitch("G6")).generic.undirected
    assert steps == len(find_harp("28").strings) == 28


def test_sharps_join_in_the_order_f_c_g_d_a_e_b() -> None:
    # Arithmetic, and music21's key signatures.
    from music21 import key

    harp = make_harp("h", "C3", 7)
    for fewer, more in itertools.pairwise(range(8)):
        added = set(letters_up(harp, more)) - set(letters_up(harp, fewer))
        assert [LETTERS[letter] for letter in added] == [key.KeySignature(more).alteredPitches[-1].step]

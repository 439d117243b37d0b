"""What a hand cannot well do."""

from __future__ import annotations

from dataclasses import replace

import pytest

from harpkeys.analysis.reach_of_hands import HandNote, check_hands, interval_word
from harpkeys.harp.naming import parse_string
from harpkeys.pitch import Pitch
from harpkeys.score.model import Note, Signs
from harpkeys.score.pluck import Hand, Place, Pluck, PluckKind


def plucks(*rows: tuple[str, int, Hand], kind: PluckKind = "note") -> tuple[Pluck, ...]:
    """Plucks from names of strings, milliseconds and hands; a bar is a second, a tick a millisecond."""
    made = []
    for number, (name, onset, hand) in enumerate(rows):
        bar, tick = divmod(onset, 1000)
        place = Place(bar, tick, bar, 1)
        pitch = Pitch(parse_string(name.rstrip("#")), 1 if name.endswith("#") else 0)
        made.append(Pluck(number, onset, onset + 500, pitch, hand, kind, False, place, onset, onset + 500))
    return tuple(made)


def chord(names: str, hand: Hand = "left", onset: int = 0, kind: PluckKind = "note") -> tuple[Pluck, ...]:
    return plucks(*((name, onset, hand) for name in names.split()), kind=kind)


def told(*rows: Pluck, **options: int) -> list[tuple[str, str, str]]:
    numbered = [replace(pluck, id=number) for number, pluck in enumerate(rows)]
    return [(one.hand, one.what, one.sentence) for one in check_hands(numbered, **options)]


def test_four_notes_in_a_tenth_are_no_trouble() -> None:
    assert told(*chord("C3 E3 G3 E4"), *chord("G4 C5 E5 G5", "right")) == []


def test_five_notes_in_one_hand() -> None:
    assert check_hands(chord("C3 E3 G3 C4 E4", onset=2250)) == (
        HandNote(
            Place(2, 250, 2, 1),
            "left",
            "notes",
            "5 notes at once for the left hand (C3, E3, G3, C4 and E4): a hand plucks with four fingers.",
        ),
    )


def test_nine_notes_in_both_hands() -> None:
    assert told(*chord("C3 E3 G3 C4 E4"), *chord("G4 C5 E5 G5", "right")) == [
        (
            "left",
            "notes",
            "5 notes at once for the left hand (C3, E3, G3, C4 and E4), and 9 for both hands: "
            "a hand plucks with four fingers.",
        )
    ]


def test_two_voices_on_one_string_count_once() -> None:
    assert told(*chord("C3 E3 G3 C4 C4")) == []


@pytest.mark.parametrize("kind", ["grace", "auxiliary", "tremolo"])
def test_notes_that_are_not_together(kind: PluckKind) -> None:
    assert told(*chord("C3 E3 G3 C4"), *chord("C5", kind=kind)) == []


def test_harmonics_count() -> None:
    assert [what for _, what, _ in told(*chord("C3 D3 E3 F3"), *chord("G3", kind="harmonic"))] == ["notes"]


@pytest.mark.parametrize("names", ["C3 F4", "F4 C3", "E3 C3 F4", "F4 E4 C3", "E3 F4 C3"])
def test_a_span_over_a_tenth_in_whatever_order(names: str) -> None:
    assert told(*chord(names)) == [
        (
            "left",
            "span",
            "The left hand spans an eleventh, C3 to F4: a tenth is taken as the most it reaches.",
        )
    ]


def test_each_hand_spans_on_its_own() -> None:
    assert told(*chord("C2 E3", "left"), *chord("C5 E6", "right")) == []


def test_the_span_can_be_set() -> None:
    assert told(*chord("C3 D4"), widest_span=7) == [
        ("left", "span", "The left hand spans a ninth, C3 to D4: an octave is taken as the most it reaches.")
    ]
    assert told(*chord("C3 F4"), widest_span=10) == []


def test_notes_and_span_at_once() -> None:
    assert [what for _, what, _ in told(*chord("C3 E3 G3 C4 F4"))] == ["notes", "span"]


def test_two_onsets_are_no_chord() -> None:
    assert told(*chord("C3 E3 G3"), *chord("C4 F4", onset=400)) == []


def test_a_string_plucked_again_too_soon() -> None:
    rows: list[tuple[str, int, Hand]] = [("F4#", onset, "right") for onset in (0, 100, 200, 350, 501)]
    assert check_hands(plucks(*rows)) == (
        HandNote(
            Place(0, 100, 0, 1),
            "right",
            "repeat",
            "The right hand plucks F♯4 again within 100 ms, three times in this bar: "
            "up to 150 ms counts as fast (stated assumption).",
        ),
    )
    assert len(check_hands(plucks(*rows), soonest_repeat=99)) == 0


def test_octaves_repeated_together_are_told_once() -> None:
    rows: list[tuple[str, int, Hand]] = [
        (name, onset, "right") for onset in (0, 120) for name in ("F4", "F5")
    ]
    assert told(*plucks(*rows)) == [
        (
            "right",
            "repeat",
            "The right hand plucks F4 and F5 again within 120 ms: "
            "up to 150 ms counts as fast (stated assumption).",
        )
    ]


@pytest.mark.parametrize(
    "rows",
    [
        (("F4", 0, "right"), ("F4", 100, "left")),
        (("F4", 0, "right"), ("F4#", 100, "right")),
        (("F4", 0, "right"), ("F5", 100, "right")),
        (("F4", 0, "right"), ("F4", 0, "right")),
    ],
    ids=["two hands", "two pitches", "two strings", "two voices"],
)
def test_what_is_no_repeat(rows: tuple[tuple[str, int, Hand], ...]) -> None:
    assert check_hands(plucks(*rows)) == ()


def test_a_tremolo_on_one_string() -> None:
    note = Note(0, 0, 4, Pitch(31), 1, "1", signs=Signs(tremolo="single", tremolo_marks=3))
    (one,) = plucks(("F4", 0, "left"))
    assert told(replace(one, note=note)) == [
        ("left", "repeat", "The left hand repeats F4 as a tremolo: one string is slow to repeat.")
    ]
    measured = replace(note, signs=Signs(tremolo="single", tremolo_marks=2))
    assert told(replace(one, note=measured)) == []


def test_a_printed_place_is_told_once() -> None:
    first = chord("C3 E3 G3 C4 E4")
    again = [replace(p, onset=p.onset + 9000, onset_tick=9000, place=Place(0, 0, 9, 2)) for p in first]
    found = check_hands([replace(p, id=k) for k, p in enumerate([*first, *again])])
    assert [one.place for one in found] == [Place(0, 0, 0, 1)]


def test_problems_without_ticks() -> None:
    rows = [replace(p, onset_tick=0, end_tick=0) for p in (*chord("C3 E3 G3"), *chord("C4 F4", onset=400))]
    assert told(*rows) == []


def test_spans_in_words() -> None:
    assert [interval_word(steps) for steps in (7, 9, 12, 14, 20)] == [
        "an octave",
        "a tenth",
        "13 strings",
        "two octaves",
        "21 strings",
    ]

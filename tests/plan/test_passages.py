"""Flagged passages: which plucks join, and what is said of them, worked out by hand.

A steady player needs 0.15 s to leave the strings, 0.6 s to flip and 0.3 s to come back: 1.05 s from pluck to
pluck of the flipping hand.
"""

from __future__ import annotations

import re
from fractions import Fraction

import pytest

from harpkeys.harp.model import Harp, Player
from harpkeys.harp.tunings import make_harp
from harpkeys.pitch import LETTERS, Pitch
from harpkeys.plan.passages import Passage, flagged_passages, joined
from harpkeys.plan.planner import make_plan
from harpkeys.score.pluck import Place, Pluck

STEADY = Player("steady", 600, 150, 300)
C_HARP = make_harp("small", "C4", high="C6")
NO_LEVERS = make_harp("plain", "C4", high="C6", levers="none")

Row = tuple[str, int, int, str]
"""Note, onset and end in milliseconds, hand."""


def pitch(name: str) -> Pitch:
    match = re.fullmatch(r"([A-G])([#b]*)(\d)", name)
    assert match is not None
    letter, signs, octave = match.groups()
    return Pitch(int(octave) * 7 + LETTERS.index(letter), signs.count("#") - signs.count("b"))


def plucks_of(*rows: Row) -> list[Pluck]:
    """Plucks at 60 quarters a minute, a bar of four seconds."""
    return [
        Pluck(
            number,
            onset,
            end,
            pitch(name),
            hand,
            place=Place(onset // 4000, onset % 4000, onset // 4000, 1),  # type: ignore[arg-type]
        )
        for number, (name, onset, end, hand) in enumerate(rows)
    ]


def passages(harp: Harp, *rows: Row) -> tuple[Passage, ...]:
    plucks = plucks_of(*rows)
    return flagged_passages(plucks, make_plan(plucks, harp, STEADY), lambda pluck: Fraction(60))


def only(harp: Harp, *rows: Row) -> Passage:
    (passage,) = passages(harp, *rows)
    return passage


def test_nothing_flagged_nothing_told() -> None:
    assert passages(C_HARP, ("C4", 0, 1000, "right"), ("F#4", 1000, 2000, "right")) == ()


def test_below() -> None:
    passage = only(C_HARP, ("A3", 0, 1000, "left"), ("B3", 1000, 2000, "left"), ("A3", 2000, 3000, "left"))
    assert passage.reason == "below"
    assert passage.plucks == (0, 1, 2)
    assert (passage.start.tick, passage.end.tick) == (0, 2000)
    assert passage.say == "A3 and B3 lie below the lowest string, C4."
    assert passage.mend == (
        "a harp that reaches down to A3",
        "play them an octave higher, where levers and time allow",
        "leave them out",
    )


def test_above() -> None:
    passage = only(C_HARP, ("E6", 0, 1000, "right"))
    assert passage.say == "E6 lies above the highest string, C6."
    assert passage.mend == (
        "a harp that reaches up to E6",
        "play it an octave lower, where levers and time allow",
        "leave it out",
    )


def test_far_below_goes_up_two_octaves() -> None:
    assert "two octaves higher" in only(C_HARP, ("C2", 0, 1000, "left")).mend[1]


def test_no_lever() -> None:
    passage = only(NO_LEVERS, ("F#4", 0, 1000, "right"))
    assert passage.reason == "no lever"
    assert passage.say == "F♯4 cannot be sounded: string F4 is tuned natural and has no lever."
    assert passage.mend == (
        "a lever on string F4",
        "string F4 tuned sharp for this piece (only where the string is made to be raised)",
        "change or leave out the note",
    )


def test_no_lever_for_a_flat() -> None:
    passage = only(make_harp("small", "C4", high="C6", levers="C D F G"), ("Bb4", 0, 1000, "right"))
    assert passage.say == "B♭4 cannot be sounded: string B4 is tuned natural and has no lever."
    assert passage.mend == (
        "string B4 tuned flat for this piece",
        "a lever on string A4",
        "change or leave out the note",
    )


def test_a_double_sharp_goes_beyond_the_lever() -> None:
    passage = only(make_harp("few", "C4", high="F4", levers="F"), ("F##4", 0, 1000, "right"))
    assert (
        passage.say
        == "F♯♯4 cannot be sounded: string F4 is tuned natural and its lever raises it a semitone."
    )


def test_a_microtone() -> None:
    plucks = [Pluck(0, 0, 1000, Pitch(31, Fraction(1, 2)), "right")]
    (passage,) = flagged_passages(plucks, make_plan(plucks, C_HARP, STEADY), lambda pluck: Fraction(60))
    assert passage.say == "F+0.5 4 cannot be sounded: no lever gives less than a semitone."
    assert passage.mend == ("change or leave out the note",)


def test_clash() -> None:
    passage = only(C_HARP, ("G4", 0, 1000, "left"), ("G#4", 0, 1000, "right"))
    assert passage.reason == "clash"
    assert passage.say in (
        "G♯4 is wanted at the same moment as G4, and both need string G4.",
        "G4 is wanted at the same moment as G♯4, and both need string G4.",
    )


def test_no_time_says_how_much_there_is_and_when_it_would_fit() -> None:
    # Both hands pluck every 0.6 s, so each is free for 0.6 - 0.15 - 0.3 = 0.15 s between plucks. At tempo
    # factor f they have 0.6 / f and need 1.05: f = 4/7. The G strings change at 1.8 s and again at 3.6 s.
    left = [(name, 600 * k, 600 * k + 600, "left") for k, name in enumerate(["C4", "D4"] * 4)]
    names = ("G4", "A4", "B4", "G#4", "B4", "A4", "G4")
    right = [(name, 600 * k, 600 * k + 600, "right") for k, name in enumerate(names)]
    passage = only(C_HARP, *sorted(left + right, key=lambda row: row[1]))
    assert passage.reason == "no time"
    assert passage.say == (
        "For G♯4 the lever of string G4 must first go up, but the left hand, which has most time, is free "
        "for 0.15 s and a flip takes 0.6 s."
    )
    assert passage.mend == (
        "at quarter = 34 here (57 % of the tempo) it would fit",
        "leave the note out",
    )


def test_no_time_where_slowing_down_still_cuts() -> None:
    # G4 rings until G#4 starts, whatever the tempo, so the lever may move in its second half: in 0.5 s, which
    # takes a tempo of 5/6 for a flip of 0.6 s; the left hand is free all the time.
    passage = only(C_HARP, ("G4", 0, 1000, "right"), ("G#4", 1000, 2000, "right"))
    assert passage.reason == "no time"
    # Either note may be given up: the plans cost the same.
    free = "the left hand, which has most time, is free for 0.5 s and a flip takes 0.6 s."
    assert passage.say in (
        f"For G♯4 the lever of string G4 must first go up, but {free}",
        f"After G4 the lever of string G4 must go back up, but {free}",
    )
    assert passage.mend[0] == "at quarter = 50 here (83 % of the tempo) it would fit, cutting G4 short"


def test_a_cut_is_told_by_the_note_that_is_cut() -> None:
    # G4 rings for 2 s until G#4. The left hand is free: the lever may move from 1 s to 1.4 s, and the
    # earliest start has the most room: 1 s of G4 is cut off.
    passage = only(C_HARP, ("G4", 0, 2000, "right"), ("G#4", 2000, 3000, "right"))
    assert passage.reason == "cut"
    assert passage.plucks == (0,)
    assert passage.say == (
        "G4 still rings when the lever of string G4 must go up, to G♯4: it is cut short by 1.0 s."
    )
    assert passage.mend == ("damp string G4 just before the lever moves",)


def test_a_cut_that_slowing_mends() -> None:
    # 0.5 s between the end of G4 and G#4: a clean flip of 0.6 s fits at 5/6 of the tempo.
    passage = only(C_HARP, ("G4", 0, 2000, "right"), ("G#4", 2500, 3000, "right"))
    assert passage.mend == (
        "damp string G4 just before the lever moves",
        "at quarter = 50 here (83 % of the tempo) the flip would be clean",
    )


@pytest.mark.parametrize(
    ("places", "groups"),
    [
        ([(0, 0, 1), (1, 1, 1)], [2]),
        ([(0, 0, 1), (2, 2, 1)], [1, 1]),
        ([(0, 0, 1), (0, 1, 2)], [1, 1]),
        ([(0, 0, 1), (5, 1, 1)], [1, 1]),
        ([(0, 0, 1), (0, 0, 1), (1, 1, 1), (2, 2, 1), (4, 4, 1)], [4, 1]),
    ],
)
def test_plucks_within_a_bar_of_each_other_on_one_pass_join(
    places: list[tuple[int, int, int]], groups: list[int]
) -> None:
    """Places are printed bar, visit and pass."""
    plucks = [
        Pluck(number, number, number, pitch("C4"), "right", place=Place(measure, 0, visit, time))
        for number, (measure, visit, time) in enumerate(places)
    ]
    assert [len(group) for group in joined(plucks)] == groups


def test_reasons_make_passages_of_their_own() -> None:
    found = passages(
        NO_LEVERS, ("A3", 0, 1000, "left"), ("F#4", 1000, 2000, "right"), ("B3", 2000, 3000, "left")
    )
    assert [(passage.reason, passage.plucks) for passage in found] == [("below", (0, 2)), ("no lever", (1,))]

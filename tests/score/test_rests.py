"""The written rest of each hand; expectations by hand."""

from __future__ import annotations

from dataclasses import replace

from score.builders import QUARTER, note, part, score

from harpkeys.score.model import Note, Part
from harpkeys.score.rests import hand_rests
from harpkeys.score.route import perform


def rests_of(*parts: Part, text: str | None = None) -> dict[str, list[tuple[float, float]]]:
    """The rests of each hand in quarters."""
    made = score(text, *parts)
    found = hand_rests(made, range(len(parts)), perform(made))
    return {
        hand: [(start / QUARTER, end / QUARTER) for start, end in intervals]
        for hand, intervals in found.items()
    }


def right(*notes: Note, text: str | None = None) -> list[tuple[float, float]]:
    return rests_of(part(*notes), text=text)["right"]


def test_a_hand_without_notes_rests_throughout() -> None:
    assert rests_of(part(), text="- -") == {"left": [(0, 8)], "right": [(0, 8)]}


def test_before_between_and_after_notes() -> None:
    assert right(note("C4", 1), note("D4", 2.5, 0.5)) == [(0, 1), (2, 2.5), (3, 4)]


def test_a_full_bar_has_none() -> None:
    assert right(note("C4", 0, 4)) == []


def test_rests_join_over_the_barline() -> None:
    assert right(note("C4", 0), note("D4", 3, measure=1)) == [(1, 7)]


def test_overlapping_voices() -> None:
    assert right(note("C4", 0, 1), note("E3", 0, 3, voice="2"), note("D4", 1, 1)) == [(3, 4)]


def test_tied_notes_are_written_sounding() -> None:
    assert right(note("C4", 0, 2, tie="start"), note("C4", 2, 1, tie="stop")) == [(3, 4)]


def test_what_is_not_played_does_not_interrupt() -> None:
    silent = note(None, 1), note("C4", 1, hidden=True), note("C4", 1, cue=True), note("C4", 1, grace=True)
    assert right(*silent) == [(0, 4)]


def test_an_unpitched_note_does() -> None:
    assert right(replace(note("C4", 0), pitch=None)) == [(1, 4)]


def test_each_hand_has_its_own() -> None:
    lower = note("C3", 2, 2, staff=2)
    assert rests_of(part(note("C4", 0, 2), lower, staves=2)) == {"left": [(0, 2)], "right": [(2, 4)]}
    assert rests_of(part(note("C4", 0, 2)), part(note("C3", 2, 2))) == {
        "left": [(0, 2)],
        "right": [(2, 4)],
    }


def test_in_performed_order() -> None:
    # Bars 1 1 2: the end of bar 1 leads once back to its start, once on.
    assert right(note("C4", 1, 3), note("D4", 2, measure=1), text="|:-:| -") == [
        (0, 1),
        (4, 5),
        (8, 10),
        (11, 12),
    ]

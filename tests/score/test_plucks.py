"""From notes to plucks; expectations worked out by hand from section 2 of the planning problem."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, replace
from fractions import Fraction

import pytest
from score.builders import BAR, QUARTER, bars, key, note, ornament, part, pitch, score, tempo

from harpkeys.pitch import Pitch
from harpkeys.score.clock import make_clock
from harpkeys.score.model import Measure, Note, Part, Score, Signs
from harpkeys.score.pluck import Place, Pluck
from harpkeys.score.pluck_making import PluckInMaking, frozen
from harpkeys.score.plucks import find_plucks, retimed
from harpkeys.score.route import perform


def plucks_of(
    *notes: Note, text: str | None = None, parts: tuple[Part, ...] = (), made: Score | None = None
) -> tuple[Pluck, ...]:
    """The plucks of all parts of a score, at quarter = 60."""
    if made is None:
        made = score(text, *(parts or (part(*notes),)), tempos=(tempo(60),))
    timeline = perform(made)
    return find_plucks(made, range(len(made.parts)), timeline, make_clock(made, timeline))


def spans(plucks: tuple[Pluck, ...]) -> list[str]:
    """Name, onset and end in quarters: "C4 0-1"."""
    return [f"{one.pitch.name} {one.onset_tick / QUARTER:g}-{one.end_tick / QUARTER:g}" for one in plucks]


def kinds(plucks: tuple[Pluck, ...]) -> list[str]:
    """Name and kind, a star where the hand stays."""
    return [f"{one.pitch.name} {one.kind}{'*' if one.sustained else ''}" for one in plucks]


def test_one_note_in_full() -> None:
    written = note("F#4", 1, 2, measure=1)
    (one,) = plucks_of(written, text="- -")
    assert one == Pluck(
        id=0,
        onset=5000,
        end=7000,
        pitch=Pitch(31, 1),
        hand="right",
        kind="note",
        sustained=False,
        place=Place(1, QUARTER, 1, 1),
        onset_tick=BAR + QUARTER,
        end_tick=BAR + 3 * QUARTER,
        staff=1,
    )
    assert one.note is written


def test_what_no_finger_starts_is_no_pluck() -> None:
    unpitched = replace(note("C4"), pitch=None)
    silent = note(None), note("C4", cue=True), note("C4", hidden=True), unpitched
    assert plucks_of(*silent) == ()


def test_a_microtone_keeps_its_pitch() -> None:
    quarter_tone = replace(note("C4"), pitch=Pitch(28, Fraction(1, 2)))
    assert plucks_of(quarter_tone)[0].pitch == Pitch(28, Fraction(1, 2))


def test_order_is_by_onset_then_by_file() -> None:
    second_voice = note("E4", 0, 2, voice="2"), note("C4", 1, 1, voice="2")
    found = plucks_of(note("G4", 0), note("B4", 1), *second_voice)
    assert spans(found) == ["G4 0-1", "E4 0-2", "B4 1-2", "C4 1-2"]
    assert [one.id for one in found] == [0, 1, 2, 3]


def test_grace_notes_stand_before_the_note_they_lead_to_and_end_there() -> None:
    graces = note("D4", 1, grace=True), note("E4", 1, grace=True)
    found = plucks_of(note("C4", 0), *graces, note("F4", 1), note("A3", 1, voice="2"))
    assert spans(found) == ["C4 0-1", "D4 1-1", "E4 1-1", "F4 1-2", "A3 1-2"]
    assert [one.kind for one in found] == ["note", "grace", "grace", "note", "note"]


def test_grace_notes_of_a_later_voice_stand_before_notes_of_an_earlier_one() -> None:
    found = plucks_of(note("C4", 0), note("D3", 0, grace=True, voice="2"), note("E3", 0, voice="2"))
    assert spans(found) == ["D3 0-0", "C4 0-1", "E3 0-1"]


def test_grace_notes_at_the_end_of_a_bar_lead_to_the_next() -> None:
    found = plucks_of(note("C4", 0, 4), note("D4", 4, grace=True), note("E4", 0, measure=1))
    assert spans(found) == ["C4 0-4", "D4 4-4", "E4 4-5"]
    assert (found[1].onset, found[1].place) == (4000, Place(0, BAR, 0, 1))


def test_grace_notes_stand_before_a_note_without_length_at_the_end_of_the_bar_before() -> None:
    found = plucks_of(
        note("C4", 4, 0), note("D4", 0, grace=True, measure=1), note("E4", 0, measure=1), text="- -"
    )
    assert spans(found) == ["D4 4-4", "C4 4-4", "E4 4-5"]


class TestTies:
    """Tied continuations, in performed order."""

    def test_within_a_bar_and_across_the_barline(self) -> None:
        notes = (
            note("C4", 0, 1, tie="start"),
            note("C4", 1, 3, tie="stop start"),
            note("C4", 0, 2, measure=1, tie="stop"),
            note("C4", 2, 1, measure=1),
        )
        found = plucks_of(*notes)
        assert spans(found) == ["C4 0-6", "C4 6-7"]
        assert (found[0].onset, found[0].end) == (0, 6000)

    def test_an_enharmonic_tie(self) -> None:
        assert spans(plucks_of(note("F#4", 0, tie="start"), note("Gb4", 1, tie="stop"))) == ["F#4 0-2"]

    def test_a_tie_from_nothing_is_a_new_pluck(self) -> None:
        assert spans(plucks_of(note("C4", 0, tie="start"), note("C4", 2, tie="stop"))) == ["C4 0-1", "C4 2-3"]
        assert spans(plucks_of(note("C4", 1, tie="stop"))) == ["C4 1-2"]
        assert spans(plucks_of(note("D4", 0, tie="start"), note("C4", 1, tie="stop"))) == ["D4 0-1", "C4 1-2"]

    def test_a_tie_to_nothing_ends_with_its_note(self) -> None:
        assert spans(plucks_of(note("C4", 0, tie="start"), note("C4", 1))) == ["C4 0-1", "C4 1-2"]

    def test_hidden_and_cue_notes_neither_tie_nor_are_tied(self) -> None:
        first, last = note("C4", 0, tie="start"), note("C4", 2, tie="stop")
        for flags in ({"hidden": True}, {"cue": True}):
            middle = note("C4", 1, tie="stop start", **flags)
            assert spans(plucks_of(first, middle, last)) == ["C4 0-1", "C4 2-3"]

    def test_into_the_second_ending(self) -> None:
        # Bar 1 is tied into both endings, as it is printed in many scores.
        notes = (
            note("C4", 0, 4, tie="start"),
            note("C4", 0, 4, measure=1, tie="stop"),
            note("C4", 0, 2, measure=2, tie="stop"),
        )
        assert spans(plucks_of(*notes, text="|:- [1-:| [2-")) == ["C4 0-8", "C4 8-14"]

    def test_not_back_over_a_repeat(self) -> None:
        # The note at the start is tied to from bar 1; on the second pass bar 3 has gone before it.
        notes = (
            note("C4", 0, 4, tie="start"),
            note("C4", 0, 4, measure=1, tie="stop"),
            note("D4", 0, 4, measure=2),
        )
        assert spans(plucks_of(*notes, text="- |:- -:|")) == ["C4 0-8", "D4 8-12", "C4 12-16", "D4 16-20"]

    def test_back_over_a_repeat_where_the_pitch_ends_there(self) -> None:
        notes = (note("C4", 0, 4, tie="start stop"),)
        assert spans(plucks_of(*notes, text="|:-:|3")) == ["C4 0-12"]

    def test_between_voices_and_staves_of_a_part(self) -> None:
        lower = note("C4", 1, staff=2, voice="5", tie="stop")
        found = plucks_of(parts=(part(note("C4", 0, tie="start"), lower, staves=2),))
        assert spans(found) == ["C4 0-2"]
        assert (found[0].hand, found[0].staff) == ("right", 1)

    def test_not_between_parts(self) -> None:
        upper, lower = part(note("C4", 0, tie="start")), part(note("C4", 1, tie="stop"))
        assert spans(plucks_of(parts=(upper, lower))) == ["C4 0-1", "C4 1-2"]

    def test_a_unison_of_two_voices_is_two_plucks_each_with_its_own_end(self) -> None:
        notes = (
            note("C4", 0, tie="start"),
            note("C4", 1, 3, tie="stop"),
            note("C4", 0, tie="start", voice="2"),
            note("C4", 1, 1, tie="stop", voice="2"),
        )
        assert spans(plucks_of(*notes)) == ["C4 0-4", "C4 0-2"]

    def test_of_a_unison_each_voice_continues_its_own(self) -> None:
        notes = (
            note("C4", 0, tie="start"),
            note("C4", 0, tie="start", voice="2"),
            note("C4", 1, 3, tie="stop", voice="2"),
            note("C4", 1, 1, tie="stop"),
        )
        assert spans(plucks_of(*notes)) == ["C4 0-2", "C4 0-4"]

    def test_of_a_unison_other_voices_continue_one_each(self) -> None:
        notes = (
            note("C4", 0, tie="start"),
            note("C4", 0, tie="start", voice="2"),
            note("C4", 1, 3, tie="stop", voice="3"),
            note("C4", 1, 1, tie="stop", voice="4"),
        )
        assert spans(plucks_of(*notes)) == ["C4 0-4", "C4 0-2"]

    def test_a_tie_that_only_its_end_tells(self) -> None:
        assert spans(plucks_of(note("C4", 0), note("C4", 1, tie="stop"))) == ["C4 0-2"]

    def test_from_a_voice_that_stands_later_in_the_file(self) -> None:
        assert spans(plucks_of(note("C4", 1, tie="stop"), note("C4", 0, tie="start", voice="2"))) == [
            "C4 0-2"
        ]

    def test_of_two_that_end_there_the_one_with_a_tie_goes_on(self) -> None:
        notes = (
            note("C4", 0, 1),
            note("C4", 0, 1, tie="start", voice="2"),
            note("C4", 1, 1, tie="stop"),
        )
        assert spans(plucks_of(*notes)) == ["C4 0-1", "C4 0-2"]

    def test_several_continuations_of_one_pluck(self) -> None:
        notes = (
            note("C4", 0, 1, tie="start"),
            note("C4", 1, 1, tie="stop"),
            note("C4", 1, 3, tie="stop", voice="2"),
            note("C4", 1, 2, tie="stop", voice="3"),
        )
        assert spans(plucks_of(*notes)) == ["C4 0-4"]

    def test_a_grace_note_tied_to_its_note_is_one_pluck(self) -> None:
        found = plucks_of(note("C4", 1, grace=True, tie="start"), note("C4", 1, 2, tie="stop"))
        assert spans(found) == ["C4 1-3"]
        assert found[0].kind == "grace"


class TestHands:
    """Which hand plays which staff."""

    @pytest.mark.parametrize(
        ("staves", "expected"),
        [(1, "right"), (2, "right left"), (3, "right right left"), (4, "right right right left")],
    )
    def test_staves_of_one_part(self, staves: int, expected: str) -> None:
        notes = (note("C4", staff=staff) for staff in range(1, staves + 1))
        found = plucks_of(parts=(part(*notes, staves=staves),))
        assert " ".join(one.hand for one in found) == expected

    def test_two_joined_parts_are_right_and_left(self) -> None:
        made = score(None, part(note("C4")), part(note("C3")), tempos=(tempo(60),))
        timeline = perform(made)
        clock = make_clock(made, timeline)
        for order, expected in (((0, 1), "C4 right, C3 left"), ((1, 0), "C3 right, C4 left")):
            found = find_plucks(made, order, timeline, clock)
            assert ", ".join(f"{one.pitch.name} {one.hand}" for one in found) == expected

    def test_parts_that_are_not_chosen_are_not_played(self) -> None:
        made = score(None, part(note("C4")), part(note("C3")))
        timeline = perform(made)
        found = find_plucks(made, (1,), timeline, make_clock(made, timeline))
        assert [(one.pitch.name, one.hand) for one in found] == [("C3", "right")]

    def test_a_staff_beyond_the_last_is_taken_for_the_lowest(self) -> None:
        found = plucks_of(parts=(part(note("C4", staff=3), staves=2),))
        assert found[0].hand == "left"


class TestRepeats:
    """Every pass of a bar is played anew."""

    def test_each_pass_has_its_own_plucks(self) -> None:
        found = plucks_of(note("C4", 1, measure=0), text="|:-:| -")
        assert spans(found) == ["C4 1-2", "C4 5-6"]
        assert [one.place for one in found] == [Place(0, 12, 0, 1), Place(0, 12, 1, 2)]
        assert [(one.onset, one.end) for one in found] == [(1000, 2000), (5000, 6000)]

    def test_a_pickup_makes_later_bars_earlier(self) -> None:
        measures = (Measure(0, "0", QUARTER, implicit=True), Measure(1, "1", BAR))
        made = score(measures, part(note("C4", 0), note("D4", 0, measure=1)), tempos=(tempo(60),))
        assert spans(plucks_of(made=made)) == ["C4 0-1", "D4 1-2"]


class TestSigns:
    """Ornaments, tremolos, harmonics and glissandi."""

    def test_an_auxiliary_has_its_principals_onset_end_and_hand(self) -> None:
        written = note("B3", 1, 2, staff=2, sign=ornament("turn"))
        found = plucks_of(parts=(part(written, note("C5", 1, staff=2), staves=2, keys=(key(2),)),))
        assert spans(found) == ["B3 1-3", "C#4 1-3", "A3 1-3", "C5 1-2"]
        assert kinds(found) == ["B3 note", "C#4 auxiliary", "A3 auxiliary", "C5 note"]
        assert {one.hand for one in found} == {"left"}
        assert {one.staff for one in found} == {2}
        assert found[1].place == found[0].place
        assert found[1].note is written

    def test_a_trill_keeps_the_hand(self) -> None:
        assert kinds(plucks_of(note("B4", sign=ornament("trill")))) == ["B4 note*", "C5 auxiliary*"]

    def test_mordents_do_not(self) -> None:
        assert kinds(plucks_of(note("B4", sign=ornament("mordent")))) == ["B4 note", "A4 auxiliary"]

    def test_an_ornament_on_a_continuation_belongs_to_the_whole_pluck(self) -> None:
        notes = (
            note("B4", 0, 4, tie="start"),
            note("D5", 0, 4, voice="2"),
            note("B4", 0, 2, measure=1, tie="stop", sign=ornament("trill")),
        )
        found = plucks_of(*notes)
        assert spans(found) == ["B4 0-6", "C5 0-6", "D5 0-4"]
        assert kinds(found) == ["B4 note*", "C5 auxiliary*", "D5 note"]
        assert [one.id for one in found] == [0, 1, 2]

    def test_its_accidental_is_that_of_its_own_bar(self) -> None:
        notes = (
            note("C#5", 0, accidental="sharp"),
            note("B4", 3, 1, tie="start"),
            note("B4", 0, 2, measure=1, tie="stop start"),
            note("Cb5", 0, 1, measure=1, accidental="flat", voice="2"),
            note("B4", 2, 1, measure=1, tie="stop", sign=ornament("trill")),
        )
        assert spans(plucks_of(*notes)) == ["C#5 0-1", "B4 3-7", "Cb5 3-7", "Cb5 4-5"]

    def test_a_trill_on_every_note_of_a_chain_needs_each_auxiliary_once(self) -> None:
        sign = ornament("trill")
        notes = note("B4", 0, tie="start", sign=sign), note("B4", 1, tie="stop", sign=sign)
        assert spans(plucks_of(*notes)) == ["B4 0-2", "C5 0-2"]

    def test_an_ornament_on_a_grace_note(self) -> None:
        found = plucks_of(note("B4", 1, grace=True, sign=ornament("mordent")), note("C5", 1))
        assert spans(found) == ["B4 1-1", "A4 1-1", "C5 1-2"]
        assert kinds(found) == ["B4 grace", "A4 auxiliary", "C5 note"]

    def test_a_tremolo_on_one_note(self) -> None:
        assert kinds(plucks_of(note("C4", sign=Signs(tremolo="single")))) == ["C4 tremolo*"]

    def test_a_tremolo_between_two_notes(self) -> None:
        notes = (
            note("C4", 0, 2, sign=Signs(tremolo="start")),
            note("E4", 2, 2, sign=Signs(tremolo="stop")),
        )
        found = plucks_of(*notes)
        assert spans(found) == ["C4 0-2", "E4 0-2", "E4 2-4", "C4 2-4"]
        assert kinds(found) == ["C4 tremolo*", "E4 tremolo*", "E4 tremolo*", "C4 tremolo*"]

    def test_a_tremolo_between_two_chords(self) -> None:
        notes = (
            note("C4", 0, 2, sign=Signs(tremolo="start")),
            note("E4", 0, 2, chord=True),
            note("G4", 2, 2, sign=Signs(tremolo="stop")),
        )
        found = plucks_of(*notes)
        assert spans(found) == ["C4 0-2", "G4 0-2", "E4 0-2", "G4 2-4", "C4 2-4", "E4 2-4"]
        assert all(one.kind == "tremolo" and one.sustained for one in found)

    def test_a_tremolo_tied_from_a_note(self) -> None:
        notes = (
            note("C4", 0, 1, tie="start"),
            note("C4", 1, 1, tie="stop", sign=Signs(tremolo="start")),
            note("E4", 2, 1, sign=Signs(tremolo="stop")),
        )
        found = plucks_of(*notes)
        assert spans(found) == ["C4 0-2", "E4 1-2", "E4 2-3", "C4 2-3"]
        assert kinds(found)[0] == "C4 tremolo*"

    def test_tremolos_of_one_part_leave_other_parts_alone(self) -> None:
        upper = part(note("C4", 0, sign=Signs(tremolo="start")), note("D4", 1))
        lower = part(note("E3", 0), note("G3", 1, sign=Signs(tremolo="stop")))
        found = plucks_of(parts=(upper, lower))
        assert kinds(found) == ["C4 tremolo*", "E3 note", "D4 note", "G3 tremolo*"]

    def test_a_tremolo_note_with_a_trill_and_a_grace_tremolo(self) -> None:
        both = Signs(ornaments=ornament("trill").ornaments, tremolo="single")
        assert kinds(plucks_of(note("B4", sign=both))) == ["B4 tremolo*", "C5 auxiliary*"]
        grace = note("B4", 0, grace=True, sign=Signs(tremolo="single"))
        assert kinds(plucks_of(grace)) == ["B4 grace*"]

    def test_harmonics_are_named_by_their_string(self) -> None:
        written, sounding = Signs(harmonic="string"), Signs(harmonic="sounding")
        found = plucks_of(note("F#4", 0, sign=written), note("F#5", 1, sign=sounding))
        assert spans(found) == ["F#4 0-1", "F#4 1-2"]
        assert kinds(found) == ["F#4 harmonic", "F#4 harmonic"]

    def test_a_harmonic_grace_note_stays_a_grace_note_on_its_string(self) -> None:
        sign = Signs(harmonic="sounding")
        assert kinds(plucks_of(note("C5", 0, grace=True, sign=sign), note("D4"))) == ["C4 grace", "D4 note"]

    def test_tied_harmonics_are_one_pluck(self) -> None:
        sign = Signs(harmonic="sounding")
        notes = note("C5", 0, tie="start", sign=sign), note("C5", 1, tie="stop", sign=sign)
        assert spans(plucks_of(*notes)) == ["C4 0-2"]

    def test_a_glissando_belongs_to_its_starting_note(self) -> None:
        found = plucks_of(note("C4", 0, sign=Signs(glissando=True)), note("C5", 1))
        assert kinds(found) == ["C4 note*", "C5 note"]

    def test_a_glissando_from_a_continuation(self) -> None:
        notes = note("C4", 0, tie="start"), note("C4", 1, tie="stop", sign=Signs(glissando=True))
        assert kinds(plucks_of(*notes)) == ["C4 note*"]

    def test_signs_that_change_nothing(self) -> None:
        signs = Signs(arpeggiate=True, fermata=True)
        assert kinds(plucks_of(note("C4", sign=signs))) == ["C4 note"]

    def test_hidden_playback_of_an_ornament_is_not_played_twice(self) -> None:
        notes = note("B4", 0, 1, sign=ornament("trill")), note("C5", 0, 0.5, hidden=True, cue=True)
        assert spans(plucks_of(*notes)) == ["B4 0-1", "C5 0-1"]


def test_retimed_plucks_are_those_of_the_other_clock() -> None:
    notes = (
        note("C4", 0, 4, tie="start"),
        note("C4", 0, 1, measure=1, tie="stop", sign=ornament("trill")),
        note("D4", 2, 1, measure=1),
        note("E4", 3, grace=True, measure=1),
    )
    made = Score("", QUARTER, (part(*notes),), bars("|:- -:|"), (tempo(97), tempo(41, 1, 0.5)))
    timeline = perform(made)
    slow = make_clock(made, timeline, scale=Fraction(5, 7))
    found = find_plucks(made, (0,), timeline, make_clock(made, timeline))
    assert retimed(found, slow) == find_plucks(made, (0,), timeline, slow) != found
    assert all(one.note is other.note for one, other in zip(found, retimed(found, slow), strict=True))


def test_a_pluck_made_quickly_is_a_pluck() -> None:
    place = Place(3, 4, 5, 6)
    written = note("C4")
    values = (7, 8, 9, pitch("C4"), "left", "grace", True, place, 10, 11, 2, written)
    (made,) = frozen([PluckInMaking(*values)])  # type: ignore[arg-type]
    plain = Pluck(*values)  # type: ignore[arg-type]
    assert type(made) is Pluck
    assert (made, hash(made), repr(made), made.note) == (plain, hash(plain), repr(plain), written)
    with pytest.raises(FrozenInstanceError):
        made.id = 1  # type: ignore[misc]


def test_the_pitch_of_a_pluck_is_the_spelled_one() -> None:
    assert [one.pitch for one in plucks_of(note("E#4", 0), note("F4", 1))] == [pitch("E#4"), pitch("F4")]

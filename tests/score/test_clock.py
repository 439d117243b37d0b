"""The tempo map; expectations worked out by hand: a quarter at n to the minute lasts 60000/n ms."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from score.builders import BAR, QUARTER, bars, part, score, tempo

from harpkeys.errors import OptionError
from harpkeys.score.clock import ASSUMED_TEMPO, Clock, make_clock
from harpkeys.score.model import Score, TempoMark
from harpkeys.score.route import perform


def clock_of(
    text: str, *tempos: TempoMark, bpm: Fraction | None = None, scale: Fraction = Fraction(1)
) -> Clock:
    made = score(text, tempos=tempos)
    return make_clock(made, perform(made), bpm, scale)


def quarters(clock: Clock, count: int) -> list[int]:
    """The times of the first quarters of the performance."""
    return [clock.at(number * QUARTER) for number in range(count)]


def test_without_marks_quarter_90_is_assumed_and_named() -> None:
    clock = clock_of("- -")
    assert (clock.source, clock.bpm) == ("assumed", 90)
    assert clock.remarks == ("The score gives no tempo: quarter = 90 is assumed.",)
    # 60000 / 90 = 666 2/3, 1333 1/3, 2000 ms.
    assert quarters(clock, 4) == [0, 667, 1333, 2000]


def test_a_mark_at_the_start() -> None:
    clock = clock_of("- -", tempo(60))
    assert (clock.source, clock.bpm, clock.remarks) == ("score", 60, ())
    assert quarters(clock, 5) == [0, 1000, 2000, 3000, 4000]


def test_a_mark_later_in_the_first_bar_governs_from_the_start() -> None:
    clock = clock_of("- -", tempo(60, 0, 2))
    assert (clock.source, clock.bpm) == ("score", 60)
    assert quarters(clock, 3) == [0, 1000, 2000]


def test_of_two_marks_in_the_first_bar_the_first_governs_from_the_start() -> None:
    clock = clock_of("- -", tempo(120, 0, 2), tempo(60, 0, 1))
    assert clock.bpm == 60
    assert quarters(clock, 5) == [0, 1000, 2000, 2500, 3000]


def test_before_a_first_mark_in_a_later_bar_quarter_90_is_assumed() -> None:
    clock = clock_of("- -", tempo(60, 1))
    assert (clock.source, clock.bpm) == ("assumed", 90)
    assert clock.remarks == ("No tempo stands before bar 2: quarter = 90 is assumed up to there.",)
    assert clock.at(BAR) == 2667
    assert clock.at(BAR + QUARTER) == 3667


def test_a_sound_beats_a_metronome_mark_at_the_same_place() -> None:
    marks = (tempo(100, 0, 0, sound=True, order=0), tempo(50, 0, 0, sound=False, order=1))
    assert clock_of("-", *marks).bpm == 100
    assert clock_of("-", *reversed(marks)).bpm == 100


def test_else_the_last_in_the_file_counts() -> None:
    for sound in (True, False):
        marks = (tempo(100, order=0, sound=sound), tempo(50, order=1, sound=sound))
        assert clock_of("-", *marks).bpm == 50
        assert clock_of("-", *reversed(marks)).bpm == 50


def test_a_sound_does_not_beat_a_metronome_mark_at_another_place() -> None:
    clock = clock_of("- -", tempo(60, sound=True), tempo(120, 0, 1, sound=False))
    assert quarters(clock, 3) == [0, 1000, 1500]


def test_on_every_pass_the_tempo_is_that_of_the_page() -> None:
    # Bar 1 at 60 (4 s), bar 2 at 120 (2 s), played 1 2 1 2 3; bar 3 goes on at 120.
    clock = clock_of("|:- -:| -", tempo(60), tempo(120, 1))
    assert [clock.milliseconds(visit, 0) for visit in range(5)] == [0, 4000, 6000, 10000, 12000]
    assert clock.milliseconds(4, BAR) == 14000


def test_after_a_jump_the_tempo_is_that_of_the_page() -> None:
    # Played 1 2 3 1: da capo goes back to the tempo at the start.
    clock = clock_of("fine - dc", tempo(60), tempo(120, 1, 2))
    assert [clock.milliseconds(visit, 0) for visit in range(4)] == [0, 4000, 7000, 9000]
    assert clock.milliseconds(3, BAR) == 13000


@pytest.mark.parametrize("onset", [4, 6])
def test_a_mark_at_or_behind_a_bars_end_counts_from_the_next_bar(onset: int) -> None:
    clock = clock_of("- -", tempo(60), tempo(120, 0, onset))
    assert clock.at(BAR) == 4000
    assert clock.at(BAR + QUARTER) == 4500


def test_the_end_of_a_bar_is_the_start_of_the_next() -> None:
    clock = clock_of("|:- -:| -", tempo(97), tempo(113, 1, 1))
    for visit in range(4):
        assert clock.milliseconds(visit, BAR) == clock.milliseconds(visit + 1, 0)


@pytest.mark.parametrize(
    ("bpm", "tick", "expected"),
    [
        # 12 ticks to the quarter: one tick lasts 5000 / bpm ms.
        (Fraction(10_000, 3), 1, 2),  # exactly 1.5: half up
        (Fraction(10_000, 3), 3, 5),  # exactly 4.5: half up, not to even
        (Fraction(2000), 1, 3),  # exactly 2.5
        (Fraction(2001), 1, 2),  # just below 2.5
        (Fraction(1999), 1, 3),  # just above 2.5
    ],
)
def test_rounding_is_half_up_and_exact(bpm: Fraction, tick: int, expected: int) -> None:
    assert clock_of("-", TempoMark(0, 0, bpm, True, 0)).at(tick) == expected


def test_times_are_rounded_once_not_summed() -> None:
    # A quarter of 666 2/3 ms: 3000 of them are 2,000,000 ms to the millisecond.
    assert clock_of("- " * 750).at(3000 * QUARTER) == 2_000_000


def test_a_caller_sets_the_opening_tempo_and_the_rest_keeps_its_proportion() -> None:
    clock = clock_of("- -", tempo(60), tempo(120, 1), bpm=Fraction(30))
    assert (clock.source, clock.bpm) == ("given", 30)
    assert [clock.milliseconds(visit, 0) for visit in range(2)] == [0, 8000]
    assert clock.milliseconds(1, BAR) == 12000


def test_a_caller_sets_the_tempo_of_a_score_without_any() -> None:
    clock = clock_of("-", bpm=Fraction(60))
    assert (clock.source, clock.bpm, clock.remarks) == ("given", 60, ())
    assert clock.at(QUARTER) == 1000


def test_a_caller_scales_all_tempos() -> None:
    clock = clock_of("- -", tempo(60), tempo(120, 1), scale=Fraction(1, 2))
    assert (clock.source, clock.bpm) == ("score", 30)
    assert clock.milliseconds(1, BAR) == 12000
    assert clock_of("-", scale=Fraction(2)).bpm == 2 * ASSUMED_TEMPO


def test_scale_comes_after_the_tempo_set() -> None:
    assert clock_of("-", tempo(60), bpm=Fraction(100), scale=Fraction(1, 4)).bpm == 25


@pytest.mark.parametrize("value", [Fraction(0), Fraction(-3, 2)])
def test_a_callers_tempo_must_be_above_zero(value: Fraction) -> None:
    with pytest.raises(OptionError) as caught:
        clock_of("-", bpm=value)
    assert caught.value.sentence == (f"a tempo of {float(value):g} cannot be played; give a tempo above 0.")
    with pytest.raises(OptionError) as caught:
        clock_of("-", scale=value)
    assert caught.value.sentence == (
        f"a tempo factor of {float(value):g} cannot be played; give a tempo factor above 0."
    )


@pytest.mark.parametrize("bpm", [Fraction(0), Fraction(-60), Fraction(1, 2), Fraction(4001)])
def test_marks_that_make_no_sense_are_left_out(bpm: Fraction) -> None:
    clock = clock_of("- -", TempoMark(0, 0, bpm, True, 0), tempo(60, 1))
    assert clock.source == "assumed"
    assert clock.remarks == (
        f"Bar 1: a tempo of {float(bpm):g} quarter notes a minute is left out.",
        "No tempo stands before bar 2: quarter = 90 is assumed up to there.",
    )
    assert clock.at(BAR) == 2667


@pytest.mark.parametrize("bpm", [Fraction(1), Fraction(4000)])
def test_the_slowest_and_the_fastest_mark_that_make_sense(bpm: Fraction) -> None:
    clock = clock_of("- -", TempoMark(0, 0, bpm, True, 0))
    assert (clock.source, clock.remarks) == ("score", ())
    assert clock.at(QUARTER) == 60_000 / bpm


def test_a_score_without_bars_has_a_clock() -> None:
    clock = clock_of("")
    assert (clock.at(0), clock.at(QUARTER)) == (0, 667)


def test_bars_without_length() -> None:
    made = Score("", QUARTER, (part(),), bars("- -", length=0), (tempo(60), tempo(120, 1)))
    clock = make_clock(made, perform(made))
    assert [clock.milliseconds(visit, 0) for visit in range(2)] == [0, 0]


tempos = st.lists(
    st.builds(
        tempo,
        st.integers(1, 4000).map(lambda number: Fraction(number, 10) + 1),
        st.integers(0, 3),
        st.integers(0, 4),
        sound=st.booleans(),
        order=st.integers(0, 9),
    ),
    max_size=5,
)
texts = st.sampled_from(["- - - -", "|:- -:| - -", "- [1-:| [2- -", "- fine - dc", "|:- |:- -:| -:|3"])


@settings(max_examples=40, deadline=None)
@given(texts, tempos, st.fractions(Fraction(1, 9), 9, max_denominator=50))
def test_a_clock_agrees_with_adding_tick_by_tick(text: str, marks: list[TempoMark], scale: Fraction) -> None:
    """The rule said again the slow way: for each performed tick look up the tempo on the page."""
    made = score(text, tempos=tuple(marks))
    timeline = perform(made)
    clock = make_clock(made, timeline, scale=scale)
    ordered = sorted(marks, key=lambda mark: (mark.measure, mark.onset, mark.sound))
    first = [mark for mark in ordered if mark.measure == 0]
    opening = [mark for mark in first if mark.onset == first[0].onset] if first else []

    def tempo_at(measure: int, tick: int) -> Fraction:
        before = [mark for mark in marks if (mark.measure, mark.onset) <= (measure, tick)]
        place = max(((mark.measure, mark.onset) for mark in before), default=None)
        here = [mark for mark in before if (mark.measure, mark.onset) == place] or opening
        sounds = [mark for mark in here if mark.sound] or here
        # Of equal order numbers, which no file has, the last counts.
        return (
            max(enumerate(sounds), key=lambda pair: (pair[1].order, pair[0]))[1].bpm
            if sounds
            else Fraction(90)
        )

    time = Fraction(0)
    for number, visit in enumerate(timeline.visits):
        for tick in range(made.measures[visit.measure].length):
            half_up = int((2 * time + 1) // 2)
            assert clock.milliseconds(number, tick) == half_up
            assert clock.exactly(visit.start + tick) == time
            assert clock.tick_at(time) == visit.start + tick
            time += 60_000 / (tempo_at(visit.measure, tick) * scale * QUARTER)
    assert clock.at_all(range(timeline.length + 1)) == {
        tick: clock.at(tick) for tick in range(timeline.length + 1)
    }

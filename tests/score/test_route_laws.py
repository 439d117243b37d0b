"""Laws that hold for every score, however its marks are mixed."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st
from score.builders import QUARTER, key
from strategies import measure_rows, scores

from harpkeys.score.clock import make_clock
from harpkeys.score.key_map import key_map
from harpkeys.score.model import KeySignature, Measure, Note, Part, Score, TempoMark
from harpkeys.score.pluck import Place, Pluck
from harpkeys.score.plucks import find_plucks, retimed
from harpkeys.score.rests import hand_rests
from harpkeys.score.route import MOST_VISITS, Timeline, perform

often = settings(max_examples=100, deadline=None)
seldom = settings(max_examples=30, deadline=None)


def plucks_of(score: Score) -> tuple[Pluck, ...]:
    timeline = perform(score)
    return find_plucks(score, (0,), timeline, make_clock(score, timeline))


@often
@given(measure_rows(12))
def test_every_walk_ends_and_counts_its_passes(row: tuple[Measure, ...]) -> None:
    timeline = perform(Score("", QUARTER, (), row))
    counts = [0] * len(row)
    start = 0
    for visit in timeline.visits:
        counts[visit.measure] += 1
        assert (visit.number, visit.start) == (counts[visit.measure], start)
        start += row[visit.measure].length
    assert start == timeline.length
    assert len(timeline.visits) <= MOST_VISITS


@often
@given(measure_rows(12))
def test_without_jumps_every_bar_is_played(row: tuple[Measure, ...]) -> None:
    row = tuple(replace(measure, jumps=()) for measure in row)
    played = {visit.measure for visit in perform(Score("", QUARTER, (), row)).visits}
    assert played == set(range(len(row)))


@often
@given(measure_rows(12))
def test_without_marks_the_page_is_played_once(row: tuple[Measure, ...]) -> None:
    row = tuple(replace(measure, opens=False, closes=0, ending=(), jumps=()) for measure in row)
    assert [visit.measure for visit in perform(Score("", QUARTER, (), row)).visits] == list(range(len(row)))


def written_out(score: Score, timeline: Timeline) -> Score:
    """The performance as a score of its own: every visit a bar, with the key and tempo in force there."""
    clock = make_clock(score, timeline)
    part = score.parts[0]
    signatures = key_map(part)
    measures: list[Measure] = []
    notes: list[Note] = []
    keys: list[KeySignature] = []
    marks: list[TempoMark] = []
    for index, visit in enumerate(timeline.visits):
        printed = score.measures[visit.measure]
        measures.append(replace(printed, index=index, opens=False, closes=0, ending=(), jumps=()))
        notes += [replace(note, measure=index) for note in part.notes if note.measure == visit.measure]
        for tick in range(printed.length):
            for staff in range(1, part.staves + 1):
                found = signatures.at(visit.measure, tick, staff) or key(0)
                keys.append(replace(found, measure=index, onset=tick, staff=staff))
            start = visit.start + tick
            bpm = 60_000 / (clock.exactly(start + 1) - clock.exactly(start)) / score.resolution
            marks.append(TempoMark(index, tick, bpm, True, len(marks)))
    return replace(
        score,
        parts=(replace(part, notes=tuple(notes), keys=tuple(keys)),),
        measures=tuple(measures),
        tempos=tuple(marks),
    )


@seldom
@given(scores())
def test_a_performance_written_out_has_the_same_plucks(score: Score) -> None:
    timeline = perform(score)
    found = plucks_of(score)
    out = plucks_of(written_out(score, timeline))
    visits = timeline.visits
    expected = [
        replace(one, place=Place(visits[one.place.visit].measure, one.place.tick, one.place.visit, number))
        for one, number in ((one, visits[one.place.visit].number) for one in out)
    ]
    assert list(found) == expected


@seldom
@given(scores())
def test_plucks_are_in_order(score: Score) -> None:
    found = plucks_of(score)
    timeline = perform(score)
    assert [one.id for one in found] == list(range(len(found)))
    for one, following in pairwise(found):
        assert one.onset_tick <= following.onset_tick
        assert one.onset <= following.onset
    for one in found:
        visit = timeline.visits[one.place.visit]
        assert 0 <= one.onset <= one.end
        assert one.onset_tick == visit.start + one.place.tick
        assert (one.place.measure, one.place.number) == (visit.measure, visit.number)
        assert one.onset_tick <= one.end_tick <= timeline.length
        assert one.note is not None
        assert (one.note.hidden, one.note.cue, one.note.rest) == (False, False, False)


@seldom
@given(scores())
def test_what_is_not_played_changes_nothing(score: Score) -> None:
    """Rests, hidden and cue notes can be taken away, but for the accidentals printed on cue notes."""
    part = score.parts[0]
    plain = tuple(replace(note, accidental=None) if note.cue else note for note in part.notes)
    played = tuple(note for note in plain if not (note.rest or note.hidden or note.cue))
    # A chord note whose chord loses its first note is then the first itself.
    with_all = replace(score, parts=(replace(part, notes=plain),))
    without = replace(score, parts=(replace(part, notes=played),))
    assert plucks_of(with_all) == plucks_of(without)


@seldom
@given(scores())
def test_without_ties_and_signs_every_visible_note_is_one_pluck_on_each_pass(score: Score) -> None:
    part = score.parts[0]
    notes = tuple(replace(note, tie_stop=False, signs=None) for note in part.notes)
    score = replace(score, parts=(replace(part, notes=notes),))
    found = plucks_of(score)
    visible = [note for note in notes if not (note.rest or note.hidden or note.cue)]
    visits = perform(score).visits
    assert len(found) == sum(note.measure == visit.measure for visit in visits for note in visible)
    for one in found:
        assert one.note is not None
        assert one.end_tick - one.onset_tick == one.note.duration
        assert (one.pitch, one.kind == "grace") == (one.note.pitch, one.note.grace)


@seldom
@given(scores(), st.fractions("1/10", 10, max_denominator=99))
def test_retiming_is_finding_again(score: Score, scale: object) -> None:
    timeline = perform(score)
    clock = make_clock(score, timeline, scale=scale)  # type: ignore[arg-type]
    assert retimed(plucks_of(score), clock) == find_plucks(score, (0,), timeline, clock)


@seldom
@given(scores())
def test_rests_are_where_no_note_is_written(score: Score) -> None:
    timeline = perform(score)
    silent: dict[str, set[int]] = {hand: set(range(timeline.length)) for hand in ("left", "right")}
    for visit in timeline.visits:
        for note in score.parts[0].notes:
            if note.measure == visit.measure and not (note.rest or note.hidden or note.cue):
                start = visit.start + note.onset
                silent["left" if note.staff == 2 else "right"] -= set(range(start, start + note.duration))
    for hand, intervals in hand_rests(score, (0,), timeline).items():
        assert {tick for start, end in intervals for tick in range(start, end)} == silent[hand]
        assert all(one[0] < one[1] < other[0] for one, other in pairwise(intervals))


def test_a_part_without_notes_has_no_plucks() -> None:
    assert plucks_of(Score("", QUARTER, (Part("P1", "", 1, (), ()),), (Measure(0, "1", 48),))) == ()

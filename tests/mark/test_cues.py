"""Where cues stand and which passes they name: small cases by hand, laws on many performances."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction

import pytest
from score.builders import QUARTER, bars, note, part, score, tempo
from score.route_cases import ENDINGS, JUMPS, PLAIN_ORDERS

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.cues import Cue, cues_of, wrong_plucks
from harpkeys.mark.places import PrintedPlaces
from harpkeys.plan.model import Flip, Plan
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, beat_moments, perform_part
from harpkeys.score.model import Note

HARP = find_harp("34")
ROUTES = {**PLAIN_ORDERS, **ENDINGS, **JUMPS}


def performed(route: str, notes: list[Note], staves: int = 1, bpm: int = 60) -> tuple[Performance, Plan]:
    """Play notes along a route, and plan the levers of a harp in C."""
    performance = perform_part(score(bars(route), part(*notes, staves=staves), tempos=(tempo(bpm),)))
    beats = beat_moments(performance)
    return performance, make_plan(performance.plucks, HARP, DEFAULT_PLAYER, effort=0, beats=beats)


def one_a_bar(*names: str | None) -> list[Note]:
    """A whole note in each bar; None for a rest."""
    return [note(name, 0, 4, measure=index) for index, name in enumerate(names)]


def told(cues: tuple[Cue, ...]) -> list[tuple[int, Fraction, tuple[int, ...], str]]:
    """Bar from 1, quarters, passes, what is done: "G#5 up, D5 down"."""
    return [
        (
            cue.measure + 1,
            Fraction(cue.tick, QUARTER),
            cue.passes,
            ", ".join(f"{move.note.name} {('down', 'up')[move.to]}" for move in cue.moves),
        )
        for cue in cues
    ]


CASES = {
    "a cue acts after the note it stands at": ("- -", ("G5", "G#5"), [(1, 0, (), "G#5 up")]),
    "a flip that nothing undoes is harmless on the last pass": (
        "|:- -:| -",
        ("G5", "G#5", "A5"),
        [(1, 0, (), "G#5 up"), (2, 0, (), "G5 down")],
    ),
    "a reset that the last pass must not make": (
        "|:- -:| -",
        ("G5", "G#5", "G#5"),
        [(1, 0, (), "G#5 up"), (2, 0, (1,), "G5 down")],
    ),
    "the same with three rounds": (
        "|:- -:|3 -",
        ("G5", "G#5", "G#5"),
        [(1, 0, (), "G#5 up"), (2, 0, (1, 2), "G5 down")],
    ),
    "a flip that only the last pass makes": (
        "|:- -:| -",
        ("G5", "G5", "G#5"),
        [(2, 0, (2,), "G#5 up")],
    ),
    "moved to a bar that is played once, so that no pass need be named": (
        "- |:- [1-:| [2- -",
        ("G5", "B5", "G#5", "G5", "B5"),
        [(1, 0, (), "G#5 up"), (3, 0, (), "G5 down")],
    ),
    "a pass is named where the way to the other ending needs it, and not where a bar has one pass": (
        "|:- [1-:| [2- -",
        ("G5", "G#5", "G5", "B5"),
        [(1, 0, (1,), "G#5 up"), (2, 0, (), "G5 down")],
    ),
    "a cue for both rounds is not named beside one that is": (
        "|:- - [1-:| [2- -",
        ("G5", "G#5", "G5", "G#5", "B5"),
        [(1, 0, (), "G#5 up"), (2, 0, (1,), "G5 down")],
    ),
    "two flips moved together to a bar that only the passes that need them play": (
        "|:- segno+to -:| ds coda",
        ("G5", "B5", "G#5", "B5", "G5"),
        [(1, 0, (), "G#5 up"), (3, 0, (), "G5 down")],
    ),
    "after a da capo the levers stand as they were left": (
        "- - dc",
        ("G5", "A5", "G#5"),
        [(2, 0, (), "G#5 up"), (3, 0, (), "G5 down")],
    ),
    "one box for levers that move at one place": (
        "- - -",
        ("G5", "G#5", "G5"),
        [(1, 0, (), "G#5 up"), (2, 0, (), "G5 down")],
    ),
}
"""Route, a whole note for each bar, and the cues as reasoned by hand."""


@pytest.mark.parametrize("case", CASES)
def test_worked_out_by_hand(case: str) -> None:
    route, names, wanted = CASES[case]
    performance, plan = performed(route, one_a_bar(*names))
    assert told(cues_of(performance, plan)) == wanted


def test_levers_that_move_together_share_a_box_in_their_order() -> None:
    """Two strings change between the only notes there are: one place, one box."""
    notes = [note(name, 0, 4, measure=0) for name in ("G5",)] + [note("D5", 0, 4, measure=0, chord=True)]
    notes += [note("G#5", 0, 4, measure=1), note("D#5", 0, 4, measure=1, chord=True)]
    performance, plan = performed("- -", notes)
    cues = cues_of(performance, plan)
    assert len(cues) == 1
    assert [move.flips for move in cues[0].moves] == [(0,), (1,)]
    assert [move.string for move in cues[0].moves] == [flip.string for flip in plan.flips]


def test_places_are_notes_and_rests_that_can_be_seen() -> None:
    """A hidden rest is no place, a visible one is."""
    for hidden, place in ((True, 0), (False, 2)):
        notes = [note("G5", 0, 1), note(None, 2, 2, hidden=hidden), note("G#5", 0, 4, measure=1)]
        performance, plan = performed("- -", notes)
        cut = [replace(flip, start=2500) for flip in plan.flips]
        cues = cues_of(performance, replace(plan, flips=tuple(cut)))
        assert told(cues) == [(1, place, (), "G#5 up")]


def test_without_flips_there_are_no_cues() -> None:
    performance, plan = performed("|:- -:|", one_a_bar("G5", "B5"))
    assert cues_of(performance, plan) == ()


def test_a_cue_is_moved_over_several_places() -> None:
    """As the two flips moved together above, with a bar more between; both are planned for the later bar."""
    performance, plan = performed("|:- segno to -:| ds coda", one_a_bar("G5", "B5", "B5", "G#5", "B5", "G5"))
    starts = [flip.start for flip in plan.flips if flip.to]
    assert [start // 4000 for start in starts] == [1, 5]  # bars of four seconds
    late = [replace(flip, start=flip.start + 4000 * flip.to) for flip in plan.flips]
    cues = cues_of(performance, replace(plan, flips=tuple(late)))
    assert told(cues) == [(1, 0, (), "G#5 up"), (4, 0, (), "G5 down")]


def test_no_cue_is_moved_to_where_its_hand_is_busy() -> None:
    """Both hands pluck on until the second bar, where the cue then stays and names its passes.

    Notes and route are those of the two flips moved together above.
    """
    _, names, _ = CASES["two flips moved together to a bar that only the passes that need them play"]
    busy = [note("C5", Fraction(k, 4), Fraction(1, 4), voice="3") for k in range(1, 16)]
    busy += [note("C3", Fraction(k, 4), Fraction(1, 4), staff=2, voice="2") for k in range(16)]
    busy += [note("C3", 0, 4, measure=1, staff=2, voice="2")]
    performance, plan = performed("|:- segno+to -:| ds coda", one_a_bar(*names) + busy, staves=2)
    assert told(cues_of(performance, plan)) == [(2, 0, (1, 2), "G#5 up"), (3, 0, (), "G5 down")]


@pytest.mark.parametrize(("bpm", "wanted"), [(100, (1, Fraction(1, 4), ())), (101, (2, Fraction(0), (1, 2)))])
def test_a_cue_is_moved_where_its_hand_has_just_enough_time(
    bpm: int, wanted: tuple[int, Fraction, tuple[int, ...]]
) -> None:
    """A hand is free from 0.15 s after a pluck to 0.3 s before the next, and moves a lever in 0.6 s.

    That is 1.05 s, and 21 twelfths of a quarter at 100 quarters a minute: so far apart are the first two
    plucks of the left hand in the first bar, all others and those of the right hand are close together: the
    second of those stands where the left hand is free, 0.15 s after the first. The note before the flip is
    short, since none is cut.
    """
    _, names, _ = CASES["two flips moved together to a bar that only the passes that need them play"]
    twelfths = [0, *range(21, 48, 3)]
    notes = [note("G5", 0, Fraction(1, 4)), *one_a_bar(*names)[1:]]
    notes += [note("C3", 0, 4, measure=1, staff=2, voice="2")]
    notes += [note("C5", Fraction(k, 4), Fraction(1, 4), voice="3") for k in range(1, 16)]
    notes += [note("C3", Fraction(k, 12), Fraction(1, 4), staff=2, voice="2") for k in twelfths]
    performance, plan = performed("|:- segno+to -:| ds coda", notes, staves=2, bpm=bpm)
    assert told(cues_of(performance, plan)) == [(*wanted, "G#5 up"), (3, 0, (), "G5 down")]


# Laws.


def random_notes(route: str, rng: random.Random) -> list[Note]:
    """Up to four notes a bar, from few strings in both states; some rests, and a staff for the left hand."""
    notes: list[Note] = []
    for index in range(len(bars(route))):
        step = rng.choice((1, 1, 2, 4))
        for onset in range(0, 4, step):
            name = None if rng.random() < 0.2 else rng.choice(("G5", "G#5", "F5", "D5", "D#5", "A5"))
            notes.append(note(name, onset, step, measure=index))
        low = rng.choice((None, "G3", "G#3", "C3", "D3"))
        notes.append(note(low, 0, 4, measure=index, staff=2, voice="2"))
    return notes


PERFORMANCES = [(name, seed) for name in ROUTES for seed in range(4)]


@pytest.mark.parametrize(("name", "seed"), PERFORMANCES)
def test_laws(name: str, seed: int) -> None:
    route = ROUTES[name][0]
    rng = random.Random(f"{name} {seed}")
    performance, plan = performed(route, random_notes(route, rng), staves=2, bpm=rng.choice((40, 60, 90)))
    cues = cues_of(performance, plan)
    check_moves(cues, plan)
    check_places(cues, performance, plan)
    check_naming(cues, performance, plan)
    assert wrong_plucks(performance, plan, cues) == ()


def check_moves(cues: tuple[Cue, ...], plan: Plan) -> None:
    """Every flip is in one move of its string and direction; boxes are in page order, none twice."""
    moved = Counter(number for cue in cues for move in cue.moves for number in move.flips)
    assert moved == Counter(range(len(plan.flips)))
    for cue in cues:
        for move in cue.moves:
            assert {(plan.flips[k].string, plan.flips[k].to) for k in move.flips} == {(move.string, move.to)}
            assert move.note == plan.harp.strings[move.string].sounding(move.to)
        assert [move.flips for move in cue.moves] == sorted(move.flips for move in cue.moves)
    keys = [(cue.measure, cue.tick, cue.passes) for cue in cues]
    assert keys == sorted(set(keys))


def check_places(cues: tuple[Cue, ...], performance: Performance, plan: Plan) -> None:
    """On each pass that makes the flip its cue stands at a note or rest, in time, after the last pluck."""
    visits = performance.timeline.visits
    onsets = {(one.measure, one.onset) for one in performance.part.notes}
    for cue in cues:
        assert (cue.measure, cue.tick) in onsets
        for move in cue.moves:
            for number in move.flips:
                flip = plan.flips[number]
                after, before = performance.plucks[flip.after], performance.plucks[flip.before]
                fitting = [
                    visit.number
                    for visit in visits
                    if visit.measure == cue.measure
                    and after.onset_tick <= visit.start + cue.tick < before.onset_tick
                    and performance.clock.at(visit.start + cue.tick) <= flip.start
                ]
                assert fitting
                assert not cue.passes or set(fitting) & set(cue.passes)
                assert len(cue.passes) in (0, len(move.flips))


def check_naming(cues: tuple[Cue, ...], performance: Performance, plan: Plan) -> None:
    """A pass is named only where obeying the cue on another would change what sounds; so for each lever."""
    for place, cue in enumerate(cues):
        if not cue.passes:
            continue
        for move in cue.moves:
            rest = replace(cue, moves=tuple(other for other in cue.moves if other is not move))
            alone = replace(cue, passes=(), moves=(move,))
            changed = (*cues[:place], rest, alone, *cues[place + 1 :])
            assert wrong_plucks(performance, plan, changed)


def hand_can_move(plan: Plan, performance: Performance, flip: Flip, first: int, last: int) -> bool:
    """Whether the hand of a flip could make it, starting between two moments, all other flips as planned."""
    player = plan.player
    busy = [
        (pluck.onset - player.place, (pluck.end if pluck.sustained else pluck.onset) + player.leave)
        for pluck in performance.plucks
        if pluck.hand == flip.hand
    ]
    busy += [
        (other.start, other.start + player.flip)
        for other in plan.flips
        if other.hand == flip.hand and other is not flip
    ]
    return any(
        first <= start <= last and all(end <= start or start + player.flip <= begin for begin, end in busy)
        for start in [first, *(end for _, end in busy)]
    )


def test_other_places_leave_the_hand_time() -> None:
    """A cue may be moved to a place if its flip can be made from there on, or at the next place at latest."""
    left_out = kept = right = 0
    for name, seed in PERFORMANCES:
        rng = random.Random(f"{name} {seed}")
        notes = random_notes(ROUTES[name][0], rng)
        if seed % 2:  # the left hand is the quick one, and the right moves levers
            notes = [replace(one, staff=3 - one.staff) for one in notes]
        performance, plan = performed(ROUTES[name][0], notes, staves=2, bpm=rng.choice((90, 120, 150)))
        places = PrintedPlaces.of(performance, plan)
        for flip in plan.flips:
            after = performance.plucks[flip.after]
            # Of a note that is cut at least half sounds.
            release = (after.onset + after.end + 1) // 2 if flip.is_cut else after.end
            latest, *others = places.window(flip)
            wanted, until = [latest], performance.clock.at(start_of(performance, latest))
            for position in others:
                time = performance.clock.at(start_of(performance, position))
                if hand_can_move(plan, performance, flip, max(time, release), until):
                    wanted.append(position)
                until = time
            assert list(places.roomy_window(flip)) == wanted
            kept += len(wanted) - 1
            left_out += len(others) - len(wanted) + 1
            right += flip.hand == "right" and len(wanted) <= len(others)
    assert min(kept, left_out) > 50
    assert right > 10


def start_of(performance: Performance, position: tuple[int, int]) -> int:
    """The tick at which a position is met."""
    return performance.timeline.visits[position[0]].start + position[1]


def test_laws_met_cues_of_every_kind() -> None:
    """The performances above hold what the laws speak of."""
    named = joined = merged = 0
    for name, seed in PERFORMANCES:
        route = ROUTES[name][0]
        rng = random.Random(f"{name} {seed}")
        performance, plan = performed(route, random_notes(route, rng), staves=2, bpm=rng.choice((40, 60, 90)))
        for cue in cues_of(performance, plan):
            named += bool(cue.passes)
            joined += len(cue.moves) > 1
            merged += any(len(move.flips) > 1 for move in cue.moves)
    assert min(named, joined, merged) > 20


# The replay finds faults.


def test_every_cue_is_needed_and_wrong_ones_are_found() -> None:
    """Cues left out, reversed, or moved behind the note they are for."""
    performance, plan = performed("|:- -:| -", one_a_bar("G5", "G#5", "G#5"))
    cues = cues_of(performance, plan)
    assert len(cues) == 2
    for place, cue in enumerate(cues):
        others = (*cues[:place], *cues[place + 1 :])
        assert wrong_plucks(performance, plan, others)
        turned = tuple(replace(move, to=1 - move.to) for move in cue.moves)
        assert wrong_plucks(performance, plan, (*others, replace(cue, moves=turned)))
        assert wrong_plucks(performance, plan, (*others, replace(cue, measure=2)))
        elsewhere = tuple(replace(move, string=move.string - 1) for move in cue.moves)
        assert wrong_plucks(performance, plan, (*others, replace(cue, moves=elsewhere)))
    assert wrong_plucks(performance, plan, tuple(replace(cue, passes=()) for cue in cues))

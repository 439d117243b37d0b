"""Cues: the flips of a plan as they are printed, each at a place of the page, with its passes where needed.

A cue stands at the onset of a note or rest, at or before the start of its flip and not before the last pluck
played on its string; it acts after the plucks at its own place. It names passes only where obeying it on
another pass would change the sound of something (planning problem, section 8).

A flip stands at the latest such place unless another serves better, in this order: fewer cues that name a
pass, fewer cues in all (one place on every pass), the latest place. Another place is only taken if the flip's
hand could move the lever there as the plan stands, all other flips where they are.

Whatever was chosen is then read as a player reads it (`wrong_plucks`): the levers start as planned, every bar
is taken in performed order, every cue of its pass is obeyed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harpkeys.mark.passes import Choice, StringCues, best_choice
from harpkeys.mark.places import PrintedPlaces
from harpkeys.pitch import Pitch
from harpkeys.plan.model import Plan
from harpkeys.report.performance import Performance
from harpkeys.score.pluck import Hand, Pluck


class ReplayError(RuntimeError):
    """The cues do not bring back the plan: a mistake in this program, not in the score."""


@dataclass(frozen=True, slots=True)
class Move:
    """One lever movement of a cue.

    Attributes:
        string: index of the string, lowest 0.
        to: the state it brings, 0 down or 1 up.
        note: what the string then sounds, as spelled by it.
        hand: the hand that makes it; the left where the passes differ.
        flips: ids of the plan's flips that it stands for, one for each pass that needs it.
    """

    string: int
    to: int
    note: Pitch
    hand: Hand
    flips: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Cue:
    """What is printed in one box.

    Attributes:
        measure: index of the printed bar.
        tick: ticks from its start.
        passes: passes of the bar, counted from 1, on which it is obeyed; empty where it needs no telling.
        moves: the levers in the order in which they are moved.
    """

    measure: int
    tick: int
    passes: tuple[int, ...]
    moves: tuple[Move, ...]


def cues_of(performance: Performance, plan: Plan) -> tuple[Cue, ...]:
    """The cues of a plan, in page order.

    Args:
        performance: what is played.
        plan: its plan.

    Returns:
        The cues; at one place those without passes first.

    Raises:
        ReplayError: reading them would not give the plan (a mistake in this program).
    """
    if not plan.flips:
        return ()
    places = PrintedPlaces.of(performance, plan)
    by_string = [StringCues.of(string, places) for string in sorted({flip.string for flip in plan.flips})]
    cues = _joined((choice for one in by_string for choice in best_choice(one)), plan)
    if wrong_plucks(performance, plan, cues):
        cues = _joined((choice for one in by_string for choice in one.all_named()), plan)
        wrong = wrong_plucks(performance, plan, cues)
        if wrong:
            raise ReplayError(f"cues do not bring back the plan at plucks {wrong[:10]}")
    return cues


def _joined(choices: Iterable[Choice], plan: Plan) -> tuple[Cue, ...]:
    """Put the levers that move together into one cue, in playing order."""
    groups: dict[tuple[int, int, tuple[int, ...]], list[Choice]] = {}
    for choice in choices:
        groups.setdefault((choice.measure, choice.tick, choice.passes), []).append(choice)
    return tuple(
        Cue(*place, tuple(_move(choice, plan) for choice in sorted(group, key=lambda one: one.flips)))
        for place, group in sorted(groups.items())
    )


def _move(choice: Choice, plan: Plan) -> Move:
    flips = [plan.flips[number] for number in choice.flips]
    string, to = flips[0].string, flips[0].to
    by_right = all(flip.hand == "right" for flip in flips)
    note = plan.harp.strings[string].sounding(to)
    return Move(string, to, note, "right" if by_right else "left", choice.flips)


def wrong_plucks(performance: Performance, plan: Plan, cues: Sequence[Cue]) -> tuple[int, ...]:
    """Read the marked page on every pass, and name the plucks that would sound wrong.

    Args:
        performance: what is played.
        plan: the plan the cues are for; its lost plucks do not count.
        cues: what is printed.

    Returns:
        Ids of the played plucks whose string is not in the state the plan gives it.
    """
    by_bar: dict[int, list[Cue]] = {}
    for cue in sorted(cues, key=lambda cue: (cue.measure, cue.tick)):
        by_bar.setdefault(cue.measure, []).append(cue)
    by_visit: dict[int, list[Pluck]] = {}
    for pluck in performance.plucks:
        by_visit.setdefault(pluck.place.visit, []).append(pluck)
    states = list(plan.starting)
    wrong: list[int] = []
    for number, visit in enumerate(performance.timeline.visits):
        cues_here = by_bar.get(visit.measure, ())
        waiting = [cue for cue in cues_here if not cue.passes or visit.number in cue.passes]
        for pluck in sorted(by_visit.get(number, ()), key=lambda one: one.place.tick):
            while waiting and waiting[0].tick < pluck.place.tick:
                _obey(waiting.pop(0), states)
            play = plan.plays[pluck.id]
            if play is not None and states[play[0]] != play[1]:
                wrong.append(pluck.id)
        for cue in waiting:
            _obey(cue, states)
    return tuple(wrong)


def _obey(cue: Cue, states: list[int]) -> None:
    for move in cue.moves:
        states[move.string] = move.to

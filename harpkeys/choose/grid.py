"""Many plans of one performance: other tunings, other keys; with nothing planned twice and on all cores.

What a plan depends on is which string can give which pluck, as seen from the written string. Moving the music
and the tuning alike changes nothing of that: a piece a tone higher on a harp tuned a tone higher (D for C) is
the same problem on other strings, as long as the ends of the harp do not cut into it. So cells are sorted by
their **shape**, each shape is planned once, and its plan is shifted along the strings for the others. That
the result is the very plan that each cell would get by itself is held to by a test.

The plans of different shapes are made side by side by several processes where they would take longer than
starting those does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, cast

from harpkeys.choose.side_by_side import shared_out
from harpkeys.choose.transposition import Move, moved_first_key, pitches_after, repitched, turns_of
from harpkeys.harp.model import Harp, Player
from harpkeys.pitch import Pitch
from harpkeys.plan.candidates import candidate_table
from harpkeys.plan.ceiling import Ceiling, tempo_ceiling
from harpkeys.plan.model import LostReason, Plan
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, beat_moments
from harpkeys.score.clock import Clock, make_clock
from harpkeys.score.pluck import Pluck


@dataclass(frozen=True, slots=True)
class Case:
    """A performance on a harp, moved."""

    harp: Harp
    move: Move


@dataclass(frozen=True, slots=True)
class Answer:
    """What planning a case gives.

    Attributes:
        plan: the plan.
        ceiling: how fast it still goes, None where no flip limits it.
        effort: the work limit it was made within.
    """

    plan: Plan
    ceiling: Ceiling | None
    effort: int


@dataclass(frozen=True, slots=True)
class _Shape:
    """What of a case the plan depends on.

    Attributes:
        which: for each pluck the index of its pitch among the distinct ones.
        pitches: the distinct pitches after the move.
        key: which strings, counted from the written one, give each distinct pitch in which state; equal for
            cases whose plans differ by a shift along the strings only.
        origin: diatonic number from which the key counts strings.
    """

    which: tuple[int, ...]
    pitches: tuple[Pitch, ...]
    key: tuple[Any, ...]
    origin: int


@dataclass(frozen=True, slots=True)
class Planned:
    """The answers of some cases, and how much work they were.

    Attributes:
        answers: one for each case, in their order.
        shapes: how many plans were made.
        processes: how many processes made them.
    """

    answers: tuple[Answer, ...]
    shapes: int
    processes: int


class Grid:
    """Plans cases of one performance, and remembers the plans of shapes it has met.

    Args:
        performance: what is played.
        player: whose times count.
        processes: most processes to use.
    """

    def __init__(self, performance: Performance, player: Player, processes: int = 1) -> None:
        self._performance = performance
        self._processes = processes
        self._bench = _Bench(bare(performance), player, beat_moments(performance))
        self._known: dict[tuple[Any, ...], tuple[Answer, int]] = {}
        self._moved: dict[Move, tuple[tuple[int, ...], tuple[Pitch, ...]]] = {}

    def answers(
        self, cases: Sequence[Case], effort: int, say: Callable[[str], None] = lambda stage: None
    ) -> Planned:
        """Plan some cases.

        Args:
            cases: the cases.
            effort: the planner's work limit.
            say: told how far it is.

        Returns:
            The answers.
        """
        shapes = [self._shape(case) for case in cases]
        new: dict[tuple[Any, ...], tuple[int, _Job]] = {}
        for index, (case, shape) in enumerate(zip(cases, shapes, strict=True)):
            key = (effort, shape.key)
            if key not in self._known and key not in new:
                new[key] = index, _Job(shape.which, shape.pitches, case.harp, effort)
        found, processes = self._made([job for _, job in new.values()], say)
        for (key, (index, _)), answer in zip(new.items(), found, strict=True):
            self._known[key] = answer, cases[index].harp.lowest - shapes[index].origin
        answers = []
        for case, shape in zip(cases, shapes, strict=True):
            answer, lowest = self._known[effort, shape.key]
            plan = self._shifted(answer.plan, lowest, case, shape)
            answers.append(replace(answer, plan=plan))
        return Planned(tuple(answers), len(new), processes)

    def _shape(self, case: Case) -> _Shape:
        turns = turns_of(self._performance, case.move)
        which, pitches = self._pitches(case.move, turns)
        table = candidate_table(case.harp)
        origin = case.move.letters
        shift = case.harp.lowest - origin
        key = tuple(
            (pitch.diatonic - origin, tuple((string + shift, state) for string, state in table[pitch.midi]))
            if pitch.midi in table
            else None
            for pitch in pitches
        )
        return _Shape(which, pitches, (turns, key), origin)

    def _pitches(self, move: Move, turns: Sequence[int]) -> tuple[tuple[int, ...], tuple[Pitch, ...]]:
        known = self._moved.get(move)
        if known is None:
            known = self._moved[move] = pitches_after(self._performance, move, turns)
        return known

    def _made(self, jobs: list[_Job], say: Callable[[str], None]) -> tuple[list[Answer], int]:
        """The answers of some jobs, and how many processes made them."""
        return shared_out(
            _Bench.answer,
            self._bench,
            jobs,
            self._processes,
            lambda index: say(f"Planning {index + 1} of {len(jobs)}"),
        )

    def _shifted(self, plan: Plan, lowest: int, case: Case, shape: _Shape) -> Plan:
        """A plan of the same shape on the strings of another case."""
        harp = case.harp
        shift = lowest - (harp.lowest - shape.origin)
        plays = tuple(None if play is None else (play[0] + shift, play[1]) for play in plan.plays)
        table = candidate_table(harp)
        reasons = {
            index: _outside(pitch, harp)
            for index, pitch in enumerate(shape.pitches)
            if pitch.midi not in table
        }
        lost = tuple(reasons.get(which, reason) for which, reason in zip(shape.which, plan.lost, strict=True))
        return replace(
            plan,
            harp=harp,
            plays=plays,
            lost=lost,
            flips=tuple(replace(flip, string=flip.string + shift) for flip in plan.flips),
            starting=_starting(harp, plays, moved_first_key(self._performance, case.move)),
        )


def _outside(pitch: Pitch, harp: Harp) -> LostReason:
    """Why a pitch that no string gives is lost (section 6 of the planning problem)."""
    if pitch.diatonic < harp.lowest:
        return "below"
    return "above" if harp.index_of(pitch.diatonic) is None else "no lever"


def _starting(
    harp: Harp,
    plays: Sequence[tuple[int, int] | None],
    first_key: Sequence[int | Fraction] | None,
) -> tuple[int, ...]:
    """States before the first pluck: those of the first play, else those of the first key signature."""
    first: dict[int, int] = {}
    for play in plays:
        if play is not None:
            first.setdefault(*play)
    return tuple(
        first.get(
            index,
            int(
                string.lever and first_key is not None and first_key[string.diatonic % 7] == string.tuned + 1
            ),
        )
        for index, string in enumerate(harp.strings)
    )


@dataclass(frozen=True, slots=True)
class _Job:
    """One shape to be planned."""

    which: tuple[int, ...]
    pitches: tuple[Pitch, ...]
    harp: Harp
    effort: int


@dataclass(frozen=True, slots=True)
class _Bench:
    """What every job needs.

    Attributes:
        performance: what is played, without its printed score.
        player: whose times count.
        beats: moments of the beats.
    """

    performance: Performance
    player: Player
    beats: tuple[int, ...]

    def answer(self, job: _Job) -> Answer:
        """Plan one job."""
        performance = self.performance
        plucks = repitched(performance.plucks, job.which, job.pitches)
        plan = make_plan(plucks, job.harp, self.player, effort=job.effort, beats=self.beats)
        return Answer(plan, tempo_ceiling(plan, plucks, self._at), job.effort)

    def _at(self, factor: Fraction) -> Sequence[Pluck]:
        """The plucks with every tempo multiplied by a factor; how fast flips go depends on times alone."""
        performance = self.performance
        clock = make_clock(
            performance.score, performance.timeline, performance.bpm, performance.scale * factor
        )
        return cast(Sequence[Pluck], _Retimed(performance.plucks, clock))


@dataclass(frozen=True, slots=True)
class _Retimed:
    """Plucks under another clock, each worked out when it is asked for: few are."""

    plucks: tuple[Pluck, ...]
    clock: Clock

    def __getitem__(self, index: int) -> Pluck:
        pluck = self.plucks[index]
        return replace(pluck, onset=self.clock.at(pluck.onset_tick), end=self.clock.at(pluck.end_tick))


def bare(performance: Performance) -> Performance:
    """A performance that can be sent to another process: of the page only what its clock needs."""
    score = replace(performance.score, parts=(), tree=None)
    plucks = tuple(replace(pluck, note=None) for pluck in performance.plucks)
    return replace(performance, score=score, plucks=plucks)

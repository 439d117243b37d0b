"""One score in many tunings and many keys: a full plan of each, ranked, with the choices worth having.

The rank follows the criteria of the planning problem (section 5); among equal plans what asks less of the
player comes first: no string tuned up, the written pitch, few strings retuned, few levers raised at the
start.

A first round plans every cell within the smallest work limit. Cells that it does not prove are planned again
within the usual limit, but for hopeless ones: those that are known to lose many notes stay as they are,
unproved, with their bound beside them. Each cell tells the limit that its plan was made within, and within
that limit a plan of the transposed score is the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from harpkeys.choose.grid import Answer, Case, Grid
from harpkeys.choose.transposition import Move, move_of, page_keys
from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.harp.tunings import Tuning, key_alterations, parse_tuning, retuned, tuning_of
from harpkeys.plan.ceiling import Ceiling
from harpkeys.plan.model import LostReason, Plan
from harpkeys.plan.planner import DEFAULT_EFFORT
from harpkeys.report.model import Verdict
from harpkeys.report.performance import Performance
from harpkeys.report.vet import USUAL_TUNINGS, verdict_of
from harpkeys.score.model import KeySignature
from harpkeys.score.pluck import Place

FIRST_EFFORT = 0
"""Work limit of the first round."""

FEW = 20
"""A cell that loses no more notes than this is worth more work,"""

FEW_IN = 50
"""and so is one that loses no more than one note in so many."""

FEW_SHAPES = 10
"""Where no more different plans are asked for, each is worth the usual work."""

SpotKind = Literal["lost", "cut", "flip"]


@dataclass(frozen=True, slots=True)
class Spot:
    """The hardest spot of a plan.

    Attributes:
        kind: "lost" for the bar in which most notes are lost, else "cut" for the longest cut, else "flip" for
            the flip with the least slack.
        place: where, as performed; of a flip the place of the note that it prepares.
        amount: notes lost, or milliseconds cut or to spare.
    """

    kind: SpotKind
    place: Place
    amount: int


@dataclass(frozen=True, slots=True)
class Cell:
    """A score in one tuning and at one pitch.

    Attributes:
        move: the transposition.
        key: the opening key signature after it, None where the score has none.
        plan: the plan; its harp is the harp as tuned.
        ceiling: how fast the plan still goes, None where no flip limits it.
        effort: the work limit the plan was made within.
        up: how many levers are raised before the start.
        retuned: how many strings are tuned otherwise than the harp is strung.
        tuned_up: how many of these are tuned up.
        spot: the hardest spot, None where nothing moves and nothing is lost.
    """

    move: Move
    key: KeySignature | None
    plan: Plan
    ceiling: Ceiling | None
    effort: int
    up: int
    retuned: int
    tuned_up: int
    spot: Spot | None

    @property
    def tuning(self) -> str:
        """Name of the tuning."""
        return self.plan.harp.tuning

    @property
    def verdict(self) -> Verdict:
        """How the score goes, in two or three words."""
        return verdict_of(self.plan)

    @property
    def notes_lost(self) -> int:
        """Notes lost, those of ornaments included."""
        return self.plan.criteria.lost + self.plan.criteria.lost_auxiliaries

    @property
    def lost_for(self) -> tuple[tuple[LostReason, int], ...]:
        """Why notes are lost, and how many for each reason, the commonest first."""
        return tuple(Counter(reason for reason in self.plan.lost if reason is not None).most_common())

    @property
    def rank(self) -> tuple[object, ...]:
        """What cells are ranked by, smaller is better."""
        return (self.plan.criteria.key, self.tuned_up, abs(self.move.semitones), self.retuned, self.up)

    def as_good_as(self, other: Cell) -> bool:
        """Whether it is no worse in anything a player weighs: plan, pitch, strings retuned, levers raised.

        Fewer levers raised at the start do not make up for lost notes.
        """
        return (
            self.plan.criteria.key <= other.plan.criteria.key
            and abs(self.move.semitones) <= abs(other.move.semitones)
            and self.retuned <= other.retuned
            and self.tuned_up <= other.tuned_up
            and (self.up <= other.up or self.notes_lost < other.notes_lost)
        )


@dataclass(frozen=True, slots=True)
class Comparison:
    """A score in many tunings and keys.

    Attributes:
        performance: what is played, at the written pitch.
        strung: the harp as it is strung.
        player: whose times count.
        cells: the best first.
        choices: indexes of the cells that no other beats in everything: the Pareto-best, the best first.
        shapes: how many different plans had to be made.
    """

    performance: Performance
    strung: Harp
    player: Player
    cells: tuple[Cell, ...]
    choices: tuple[int, ...]
    shapes: int

    @property
    def as_it_is(self) -> Cell | None:
        """The cell of the written pitch and the harp as it is strung, None where that was not asked for."""
        return next((cell for cell in self.cells if not cell.move.semitones and not cell.retuned), None)


def every_signature() -> tuple[Tuning, ...]:
    """The tunings of all signatures from seven flats to seven sharps."""
    return tuple(tuning_of(key_alterations(fifths)) for fifths in range(-7, 8))


def usual_tunings(strung: Harp) -> tuple[Tuning, ...]:
    """The usual tunings, after that of the harp itself where it is another."""
    usual = tuple(parse_tuning(name) for name in USUAL_TUNINGS)
    own = parse_tuning(strung.tuning)
    return usual if own in usual else (own, *usual)


def compare(
    performance: Performance,
    strung: Harp,
    player: Player,
    tunings: Sequence[Tuning] | None = None,
    semitones: Sequence[int] = (0,),
    effort: int | None = None,
    processes: int = 1,
    say: Callable[[str], None] = lambda stage: None,
) -> Comparison:
    """Plan a performance in every tuning at every pitch.

    Args:
        performance: what is played.
        strung: the harp as it is strung.
        player: whose times count.
        tunings: the tunings; the usual ones where None.
        semitones: the transpositions, up, or down where negative.
        effort: the planner's work limit for every cell; None for two rounds.
        processes: most processes to plan with.
        say: told the stages as they start.

    Returns:
        The cells, ranked.

    Raises:
        HarpError: a tuning names strings that the harp does not have.
        OptionError: a transposition goes too far.
    """
    wanted = usual_tunings(strung) if tunings is None else tunings
    harps: dict[tuple[HarpString, ...], Harp] = {}
    for tuning in wanted:
        harp = retuned(strung, tuning)
        harps.setdefault(harp.strings, harp)
    moves = [move_of(performance.score, performance.parts, number) for number in dict.fromkeys(semitones)]
    cases = [Case(harp, move) for harp in harps.values() for move in moves]
    grid = Grid(performance, player, processes)
    first = grid.answers(cases, FIRST_EFFORT if effort is None else effort, say)
    answers, shapes = list(first.answers), first.shapes
    if effort is None:
        all_of_them = shapes <= FEW_SHAPES
        again = [
            index
            for index, answer in enumerate(answers)
            if (not answer.plan.proved if all_of_them else worth_more_work(answer.plan))
        ]
        second = grid.answers([cases[index] for index in again], DEFAULT_EFFORT, say)
        for index, answer in zip(again, second.answers, strict=True):
            answers[index] = answer
    keys = page_keys(performance.score.parts[index] for index in performance.parts)
    opening = keys[0] if keys else None
    cells = [
        cell_of(performance, case, answer, strung, opening)
        for case, answer in zip(cases, answers, strict=True)
    ]
    ranked = tuple(sorted(cells, key=lambda cell: cell.rank))
    return Comparison(performance, strung, player, ranked, tuple(_undominated(ranked)), shapes)


def worth_more_work(plan: Plan) -> bool:
    """Whether a plan of the first round is to be made again within the usual limit."""
    lost = plan.bound[0] + plan.bound[1]
    return not plan.proved and lost <= max(FEW, len(plan.plays) // FEW_IN)


def cell_of(
    performance: Performance, case: Case, answer: Answer, strung: Harp, opening: KeySignature | None
) -> Cell:
    """A cell from its plan.

    Args:
        performance: what is played.
        case: tuning and transposition.
        answer: its plan.
        strung: the harp as it is strung.
        opening: the opening key signature at the written pitch.
    """
    changes = [
        string.tuned - before.tuned
        for string, before in zip(case.harp.strings, strung.strings, strict=True)
        if string.tuned != before.tuned
    ]
    return Cell(
        move=case.move,
        key=None if opening is None else case.move.key(opening),
        plan=answer.plan,
        ceiling=answer.ceiling,
        effort=answer.effort,
        up=sum(answer.plan.starting),
        retuned=len(changes),
        tuned_up=sum(change > 0 for change in changes),
        spot=hardest_spot(performance, answer.plan),
    )


def hardest_spot(performance: Performance, plan: Plan) -> Spot | None:
    """Where a plan is hardest; of equals the first."""
    plucks = performance.plucks
    lost: dict[int, list[int]] = {}
    for index, reason in enumerate(plan.lost):
        if reason is not None:
            lost.setdefault(plucks[index].place.visit, []).append(index)
    if lost:
        worst = max(lost.values(), key=len)
        return Spot("lost", plucks[worst[0]].place, len(worst))
    cuts = [flip for flip in plan.flips if flip.is_cut]
    if cuts:
        longest = max(cuts, key=lambda flip: flip.cut)
        return Spot("cut", plucks[longest.before].place, longest.cut)
    if not plan.flips:
        return None
    tightest = min(plan.flips, key=lambda flip: flip.slack)
    return Spot("flip", plucks[tightest.before].place, tightest.slack)


def _undominated(cells: Sequence[Cell]) -> list[int]:
    """Indexes of ranked cells that no other cell is as good as in everything; of equals the first.

    A cell that beats another ranks before it, and what beats it in turn beats the other too, so each has to
    be compared with the undominated ones before it only.
    """
    kept: list[int] = []
    for index, cell in enumerate(cells):
        if not any(cells[better].as_good_as(cell) for better in kept):
            kept.append(index)
    return kept

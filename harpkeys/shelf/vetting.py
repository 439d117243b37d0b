"""One file of a shelf: read once, performed once, planned for every instrument. This is what workers run.

Whatever happens to a file ends as rows: a mistake in it with the sentence that `vet` would print, anything
else with the name of the error. The plans come from `harpkeys.choose.grid`, which makes one plan for
instruments on which a piece is the same problem, and are those that `vet` makes within the same work limit.
"""

from __future__ import annotations

from fractions import Fraction

from harpkeys.choose.compare import Cell, Spot, cell_of
from harpkeys.choose.grid import Case, Grid
from harpkeys.choose.transposition import Move
from harpkeys.errors import HarpkeysError, PartError, ScoreError
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import DEFAULT_EFFORT
from harpkeys.report.performance import Performance, perform_part
from harpkeys.report.vet import verdict_settled
from harpkeys.score.model import Score
from harpkeys.score.reader import read_score
from harpkeys.score.texts import plain_text
from harpkeys.shelf.model import (
    Book,
    Finding,
    HardSpot,
    Instrument,
    Row,
    Task,
    Terms,
    digest_of,
    key_of,
    problem_rows,
)

FIRST_EFFORT = 0
"""Work limit of the first round: the first plan found, which nearly always is proved the best."""

FEW = 20
"""A plan that loses more notes than this stays as it is: more work does not make such a piece playable."""


def vet_file(task: Task) -> tuple[Row, ...]:
    """Vet a file on every instrument it is wanted for.

    Args:
        task: the file and the instruments.

    Returns:
        A row for each instrument, in their order; never an error.
    """
    if task.book.problem:
        return problem_rows(task, "", task.book.problem)
    digest = digest_of(task.book.path)
    try:
        performance = _performance(read_score(task.book.path), task.terms)
        findings = _findings(performance, task.instruments, task.terms.effort)
    except HarpkeysError as error:
        return problem_rows(task, digest, _sentence(error, task.book))
    except Exception as error:
        return problem_rows(task, digest, broken_off(error))
    return tuple(
        Row(task.book.name, digest, key_of(digest, instrument, task.terms), instrument.label, finding)
        for instrument, finding in zip(task.instruments, findings, strict=True)
    )


def broken_off(error: BaseException) -> str:
    """The sentence about an error that no user's mistake explains."""
    said = plain_text(str(error))[:120].rstrip(".")
    name = type(error).__name__
    return f"vetting broke off ({name}: {said})." if said else f"vetting broke off ({name})."


def _sentence(error: HarpkeysError, book: Book) -> str:
    """The error's sentence without the name of the file, which the row tells already."""
    path = plain_text(str(book.path))
    error.where = tuple(place for place in error.where if place != path)
    return error.sentence


def _performance(score: Score, terms: Terms) -> Performance:
    """The harp's part as performed.

    Raises:
        PartError: no such part, or no telling which.
        OptionError: the tempo cannot be played.
        ScoreError: the repeats never end, or nothing is to be played.
    """
    try:
        performance = perform_part(score, terms.part, None, terms.scale)
    except PartError:
        if terms.else_part is None:
            raise
        performance = perform_part(score, terms.else_part, None, terms.scale)
    if not performance.plucks:
        name = "+".join(plain_text(score.parts[index].id) for index in performance.parts)
        raise ScoreError(f"part {name} has no notes to play", "choose another part")
    return performance


def _findings(
    performance: Performance, instruments: tuple[Instrument, ...], effort: int | None
) -> list[Finding]:
    """How a performance goes on each instrument."""
    found: dict[int, Finding] = {}
    for player in dict.fromkeys(instrument.player for instrument in instruments):
        grid = Grid(performance, player)
        indexes = [k for k, instrument in enumerate(instruments) if instrument.player == player]
        cases = [Case(instruments[k].harp, Move()) for k in indexes]
        answers = list(grid.answers(cases, FIRST_EFFORT if effort is None else effort).answers)
        if effort is None:
            again = [n for n, answer in enumerate(answers) if _is_open(answer.plan)]
            second = grid.answers([cases[n] for n in again], DEFAULT_EFFORT).answers
            for n, answer in zip(again, second, strict=True):
                answers[n] = answer
        for k, case, answer in zip(indexes, cases, answers, strict=True):
            found[k] = _finding(performance, cell_of(performance, case, answer, case.harp, None))
    return [found[k] for k in range(len(instruments))]


def _is_open(plan: Plan) -> bool:
    """Whether the usual work may show that a piece goes better than a first plan says."""
    return not verdict_settled(plan) and plan.criteria.lost + plan.criteria.lost_auxiliaries <= FEW


def _spot(score: Score, spot: Spot) -> HardSpot:
    place = spot.place
    number = plain_text(score.measures[place.measure].number)
    return HardSpot(spot.kind, number, place.number, spot.amount)


def _finding(performance: Performance, cell: Cell) -> Finding:
    """What a row tells of a planned cell."""
    score, criteria = performance.score, cell.plan.criteria
    return Finding(
        title=plain_text(score.title),
        part="+".join(plain_text(score.parts[index].id) for index in performance.parts),
        measures=len(score.measures),
        plucks=len(performance.plucks),
        bpm=round(float(Fraction(performance.clock.bpm)), 6),
        verdict=cell.verdict,
        lost=criteria.lost,
        lost_auxiliaries=criteria.lost_auxiliaries,
        cuts=criteria.cuts,
        flips=criteria.flips,
        off_string=criteria.off_string,
        right_hand=criteria.right_hand,
        levers_up=cell.up,
        ceiling=None if cell.ceiling is None else cell.ceiling.factor,
        spot=None if cell.spot is None else _spot(score, cell.spot),
        proved=cell.plan.proved,
        effort=cell.effort,
    )

"""A programme of several pieces: which single tuning serves all, and in which order levers move least.

Every piece is planned on every **choice**, a harp in a tuning. A choice serves a piece where no note is lost.

- The **single** answer is one choice for all: the one that leaves the fewest pieces unserved, then loses the
  fewest notes, the fewest auxiliaries, cuts the fewest, needs the fewest flips (and notes on a neighbouring
  string) within the pieces, and the fewest levers moved between them.
- The **mixed** answer lets each piece have a choice of its own among those that lose and cut the least of it,
  and makes, in this order, the strings retuned between pieces, the flips within them, the harps used and the
  levers moved between the pieces as few as it can: nobody brings another harp to spare a lever.

Between two pieces on a harp every lever is counted that stands otherwise at the end of the one than at the
start of the other; strings that a piece never plucks stand as its first key signature has them. What is set
before the first piece on each harp costs nothing. The order is exact for up to twelve pieces; see `ordering`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from harpkeys.choose.grid import bare
from harpkeys.choose.ordering import Node, best_order
from harpkeys.choose.side_by_side import shared_out
from harpkeys.errors import OptionError
from harpkeys.harp.model import DOWN, UP, Harp, Player
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import DEFAULT_EFFORT
from harpkeys.report.model import Verdict
from harpkeys.report.performance import Performance
from harpkeys.report.vet import Planning, played_part, quiet, verdict_of

_UNIT = 1_000_000
"""More than any count of strings, flips, harps or levers in a programme: costs are packed into one number."""

Amounts = tuple[int, int, int, int]
"""Strings retuned between pieces, flips within them, harps used, levers moved between pieces."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A harp in a tuning.

    Attributes:
        instrument: which harp, from 0; tunings of one harp share it.
        harp: the harp in this tuning.
    """

    instrument: int
    harp: Harp


@dataclass(frozen=True, slots=True)
class Fit:
    """How a choice serves a piece.

    Attributes:
        plan: the plan.
        verdict: in two or three words.
        end: state of every string at the end.
    """

    plan: Plan
    verdict: Verdict
    end: tuple[int, ...]

    @property
    def start(self) -> tuple[int, ...]:
        """State of every string at the start."""
        return self.plan.starting

    @property
    def losses(self) -> tuple[int, int, int]:
        """Lost notes, lost auxiliaries, cuts."""
        return self.plan.criteria.key[:3]

    @property
    def effort(self) -> int:
        """Flips and notes on a neighbouring string."""
        return self.plan.criteria.flips + self.plan.criteria.off_string

    @property
    def served(self) -> bool:
        """Whether no note is lost."""
        return self.verdict != "not as written"


@dataclass(frozen=True, slots=True)
class Step:
    """A piece in its place.

    Attributes:
        piece: its index.
        choice: index of its choice.
        retuned: strings to retune before it, (index, semitones), lowest first.
        raised: strings whose lever goes up before it; for the first piece on a harp from all levers down.
        lowered: strings whose lever goes down before it.
        opens: whether it is the first on its harp, so that all this is done before the programme.
    """

    piece: int
    choice: int
    retuned: tuple[tuple[int, int], ...]
    raised: tuple[int, ...]
    lowered: tuple[int, ...]
    opens: bool


@dataclass(frozen=True, slots=True)
class Running:
    """A programme in order.

    Attributes:
        steps: the pieces in order.
        retuned: strings retuned between pieces.
        flips: flips, and notes on a neighbouring string, within the pieces.
        harps: harps used.
        moved: levers moved between pieces.
        exact: whether no order needs fewer (by retuned, flips, harps and moved, in this order).
        bound: retuned, flips, harps and moved that no order is below.
    """

    steps: tuple[Step, ...]
    retuned: int
    flips: int
    harps: int
    moved: int
    exact: bool
    bound: Amounts


@dataclass(frozen=True, slots=True)
class Programme:
    """Everything about a programme.

    Attributes:
        titles: names of the pieces.
        choices: the choices.
        fits: by piece, how each choice serves it.
        best: index of the choice of the single answer.
        single: one choice for all.
        mixed: each piece on a choice of its own; None where that is no better than the single answer.
        unserved: pieces that no choice serves.
    """

    titles: tuple[str, ...]
    choices: tuple[Choice, ...]
    fits: tuple[tuple[Fit, ...], ...] = field(repr=False)
    best: int
    single: Running
    mixed: Running | None
    unserved: tuple[int, ...]


def make_programme(
    pieces: Sequence[tuple[str, Performance]],
    choices: Sequence[Choice],
    player: Player,
    *,
    openers: Sequence[int] = (),
    closers: Sequence[int] = (),
    effort: int = DEFAULT_EFFORT,
    processes: int = 1,
    say: Callable[[str], None] = quiet,
) -> Programme:
    """Choose tuning and order for some pieces.

    Args:
        pieces: title and performance of each.
        choices: harps in tunings, the most usual first; at equal merit the first wins.
        player: whose times count.
        openers: pieces that come first, in this order.
        closers: pieces that come last, in this order.
        effort: the planner's work limit.
        processes: most processes to plan with.
        say: told each piece as its planning starts.

    Raises:
        OptionError: a piece is to open or close twice.
    """
    ranks = order_ranks(len(pieces), openers, closers)
    fits = _fits(pieces, choices, player, effort, processes, say)
    best, single = _single(fits, choices, ranks)
    mixed = _mixed(fits, choices, ranks)
    return Programme(
        tuple(title for title, _ in pieces),
        tuple(choices),
        tuple(fits),
        best,
        single,
        mixed if _merit(mixed, fits) < _merit(single, fits) else None,
        tuple(piece for piece, row in enumerate(fits) if not any(fit.served for fit in row)),
    )


def order_ranks(pieces: int, openers: Sequence[int], closers: Sequence[int]) -> list[int]:
    """Rank of each piece, by which its place is bound.

    Raises:
        OptionError: a piece is named twice.
    """
    fixed = [*openers, *closers]
    if len(set(fixed)) < len(fixed):
        raise OptionError("a piece is to open or to close twice", "name each piece once")
    middle = len(openers)
    ranks = [middle] * pieces
    for rank, piece in enumerate(openers):
        ranks[piece] = rank
    for rank, piece in enumerate(closers, middle + 1):
        ranks[piece] = rank
    return ranks


@dataclass(frozen=True, slots=True)
class _Piece:
    """What planning a piece needs.

    Attributes:
        performance: what is played, without its printed score.
        first_key: alterations of the first key signature; None without one.
    """

    performance: Performance
    first_key: tuple[int | Fraction, ...] | None


@dataclass(frozen=True, slots=True)
class _Bench:
    """What planning any piece on any choice needs."""

    pieces: tuple[_Piece, ...]
    choices: tuple[Choice, ...]
    player: Player
    effort: int

    def fit(self, job: tuple[int, int]) -> Fit:
        """How a choice serves a piece: the plan that `vet` would make."""
        piece, choice = self.pieces[job[0]], self.choices[job[1]]
        planning = Planning(piece.performance, choice.harp, piece.first_key)
        plan = planning.at(Fraction(1), self.player, self.effort)
        end = list(plan.starting)
        for flip in plan.flips:
            end[flip.string] = flip.to
        return Fit(plan, verdict_of(plan), tuple(end))


def _fits(
    pieces: Sequence[tuple[str, Performance]],
    choices: Sequence[Choice],
    player: Player,
    effort: int,
    processes: int,
    say: Callable[[str], None],
) -> list[tuple[Fit, ...]]:
    """By piece, how each choice serves it."""
    known = []
    for _, performance in pieces:
        keys = sorted(played_part(performance).keys, key=lambda key: (key.measure, key.onset))
        known.append(_Piece(bare(performance), keys[0].alters if keys else None))
    bench = _Bench(tuple(known), tuple(choices), player, effort)
    jobs = [(piece, choice) for piece in range(len(pieces)) for choice in range(len(choices))]
    found, _ = shared_out(
        _Bench.fit, bench, jobs, processes, lambda index: say(f"Planning {pieces[jobs[index][0]][0]}")
    )
    return [tuple(found[start : start + len(choices)]) for start in range(0, len(found), len(choices))]


def _single(
    fits: Sequence[Sequence[Fit]], choices: Sequence[Choice], ranks: Sequence[int]
) -> tuple[int, Running]:
    """The choice that serves all with the least trouble, and its order."""
    troubles = []
    for index in range(len(choices)):
        column = [row[index] for row in fits]
        losses = tuple(sum(fit.losses[k] for fit in column) for k in range(3))
        unserved = sum(not fit.served for fit in column)
        troubles.append((unserved, losses, sum(fit.effort for fit in column)))
    least = min(troubles)
    found: list[tuple[int, int, Running]] = []
    for index, trouble in enumerate(troubles):
        if trouble == least:
            running = _run(fits, choices, ranks, [(piece, index) for piece in range(len(fits))])
            found.append((running.moved, index, running))
    _, best, running = min(found, key=lambda entry: entry[:2])
    return best, running


def _mixed(fits: Sequence[Sequence[Fit]], choices: Sequence[Choice], ranks: Sequence[int]) -> Running:
    """Each piece on one of the choices that lose and cut the least of it."""
    allowed = []
    for piece, row in enumerate(fits):
        least = min(fit.losses for fit in row)
        allowed += [(piece, index) for index, fit in enumerate(row) if fit.losses == least]
    return _run(fits, choices, ranks, allowed)


def _merit(running: Running, fits: Sequence[Sequence[Fit]]) -> tuple[object, ...]:
    """Smaller is better: what is lost and cut in all, then what there is to do."""
    used = [fits[step.piece][step.choice] for step in running.steps]
    losses = tuple(sum(fit.losses[k] for fit in used) for k in range(3))
    return losses, running.retuned, running.flips, running.harps, running.moved


def _run(
    fits: Sequence[Sequence[Fit]],
    choices: Sequence[Choice],
    ranks: Sequence[int],
    allowed: Sequence[tuple[int, int]],
) -> Running:
    """The best order of all pieces, each on one of its allowed choices."""
    nodes = [
        Node(piece, choices[index].instrument, fits[piece][index].effort * _UNIT**2)
        for piece, index in allowed
    ]
    steps = [[_step_cost(fits, choices, before, after) for after in allowed] for before in allowed]
    found = best_order(nodes, steps, ranks, _UNIT)
    order = [allowed[node] for node in found.nodes]
    retuned, flips, harps, moved = _unpacked(found.cost)
    return Running(
        tuple(_steps(fits, choices, order)),
        retuned,
        flips,
        harps,
        moved,
        found.exact,
        _unpacked(found.bound),
    )


def _unpacked(cost: int) -> Amounts:
    return cost // _UNIT**3, cost // _UNIT**2 % _UNIT, cost // _UNIT % _UNIT, cost % _UNIT


def _step_cost(
    fits: Sequence[Sequence[Fit]],
    choices: Sequence[Choice],
    before: tuple[int, int],
    after: tuple[int, int],
) -> int:
    """Strings retuned and levers moved from one piece to the next on the same harp, packed."""
    one, other = choices[before[1]], choices[after[1]]
    if before[0] == after[0] or one.instrument != other.instrument:
        return 0
    moved = sum(
        old != new
        for old, new in zip(fits[before[0]][before[1]].end, fits[after[0]][after[1]].start, strict=True)
    )
    return len(_retuned(one.harp, other.harp)) * _UNIT**3 + moved


def _retuned(before: Harp, after: Harp) -> tuple[tuple[int, int], ...]:
    """Strings that differ between two tunings of a harp, with the semitones they move."""
    if before.tuning == after.tuning:
        return ()
    pairs = zip(before.strings, after.strings, strict=True)
    return tuple((k, new.tuned - old.tuned) for k, (old, new) in enumerate(pairs) if new.tuned != old.tuned)


def _steps(
    fits: Sequence[Sequence[Fit]], choices: Sequence[Choice], order: Sequence[tuple[int, int]]
) -> list[Step]:
    """The order with what there is to do before each piece."""
    last: dict[int, tuple[int, int]] = {}
    found = []
    for piece, index in order:
        choice, fit = choices[index], fits[piece][index]
        before = last.get(choice.instrument)
        if before is None:
            stood: tuple[int, ...] = (DOWN,) * len(choice.harp.strings)
            retuned: tuple[tuple[int, int], ...] = ()
        else:
            stood = fits[before[0]][before[1]].end
            retuned = _retuned(choices[before[1]].harp, choice.harp)
        moves = list(enumerate(zip(stood, fit.start, strict=True)))
        raised = tuple(k for k, (old, new) in moves if new == UP != old)
        lowered = tuple(k for k, (old, new) in moves if new == DOWN != old)
        found.append(Step(piece, index, retuned, raised, lowered, before is None))
        last[choice.instrument] = (piece, index)
    return found

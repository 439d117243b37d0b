"""The tempo ceiling: how much faster a plan still goes with the same flips by the same hands.

The flips of a hand fall into groups whose windows do not overlap; groups cannot get in each other's way.
Whether a group fits at a factor is exactly the question of `harpkeys.plan.schedule`.

Searching is done without asking for times at many factors. The plucks' own times, divided by the factor, are
off from times computed at that factor and rounded by at most half a millisecond, from rounding after, and
half a millisecond divided by the factor, from rounding before. So a group that does not fit with every bound
loosened by that much does not fit, and one that fits with every bound tightened by it fits. The few
thousandths and the few groups in between are settled with exactly computed times, from the fastest down.
That a group which does not fit loosely does not fit at any faster factor either needs a flip to take 3 ms or
more: stretching a schedule then makes more room than the looseness it stretches along.

References: the planning problem, section 7 (and 3 and 4 for what "fits" means).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from harpkeys.harp.model import Player
from harpkeys.plan.model import Flip, Plan
from harpkeys.plan.schedule import Window, fit_starts
from harpkeys.score.pluck import Hand, Pluck

Retime = Callable[[Fraction], Sequence[Pluck]]
"""Gives the same plucks in the same order as they are timed at a tempo factor, computed exactly and rounded
once. Only a few are looked at, so a sequence that works them out when asked saves most of the work."""

GRID = 1000
LIMIT = 1000

_FAR = 1 << 60
_MICRO = 1000


@dataclass(frozen=True, slots=True)
class Ceiling:
    """How fast a plan still goes.

    Attributes:
        factor: the largest factor on all tempi, in thousandths.
        flip: id of the flip that sets it: the first that has no room, beside those before it in the same
            hand, a thousandth above.
    """

    factor: float
    flip: int


@dataclass(frozen=True, slots=True)
class _Job:
    """A flip with the plucks that bound it.

    Attributes:
        flip: the flip.
        ringing: plucks played on the string at the onset it follows.
    """

    flip: Flip
    ringing: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Group:
    """Flips of one hand whose windows overlap, in playing order, and the plucks of that hand around them."""

    jobs: tuple[_Job, ...]
    around: tuple[int, ...]


Times = Callable[[int], tuple[int, int]]
"""Onset and end of a pluck, by its id."""


@dataclass(frozen=True, slots=True)
class _Scale:
    """How to judge.

    Attributes:
        player: whose times.
        unit: how many units of the times make a millisecond.
        ease: by how many units every bound is loosened; tightened where negative.
        extra: by how many more units those bounds of a cut are that hang on whole milliseconds.
    """

    player: Player
    unit: int
    ease: int = 0
    extra: int = 0


def tempo_ceiling(plan: Plan, plucks: Sequence[Pluck], retime: Retime) -> Ceiling | None:
    """The largest factor at which the same flips, by the same hands and as clean as before, still fit.

    Args:
        plan: the plan; its flips fit at the plucks' own times.
        plucks: the plucks it is for.
        retime: gives those plucks at another factor.

    Returns:
        The ceiling, at least 1; None for a plan without flips, for one that not even a factor of 1000 limits,
        and for one whose flips do not fit at factor 1 either.

    Raises:
        Only what `retime` raises.
    """
    groups = list(_groups(plan, plucks))

    def fits_about(group: _Group, grid: int, sign: int) -> bool:
        def scaled(pluck: int) -> tuple[int, int]:
            own = plucks[pluck]
            return own.onset * _MICRO * GRID // grid, own.end * _MICRO * GRID // grid

        ease = _MICRO // 2 + _MICRO * GRID // (2 * grid) + 2
        return _fits(
            group.jobs, group, scaled, plucks, _Scale(plan.player, _MICRO, sign * ease, sign * _MICRO)
        )

    highest = GRID * LIMIT
    for group in groups:
        if not fits_about(group, highest, 1):
            low, high = GRID, highest
            while high - low > 1:
                middle = (low + high) // 2
                low, high = (middle, high) if fits_about(group, middle, 1) else (low, middle)
            highest = low
    if highest == GRID * LIMIT:
        return None
    doubtful = [group for group in groups if not fits_about(group, highest + 1, -1)]
    return _settled(plan, plucks, doubtful, highest + 1, retime)


def _settled(
    plan: Plan, plucks: Sequence[Pluck], groups: list[_Group], grid: int, retime: Retime
) -> Ceiling | None:
    """Go down from a factor that is too fast until all groups fit, with exactly computed times."""
    exact = _Scale(plan.player, 1)
    first: Flip | None = None
    while grid >= GRID:
        at = retime(Fraction(grid, GRID))

        def timed(pluck: int, at: Sequence[Pluck] = at) -> tuple[int, int]:
            return at[pluck].onset, at[pluck].end

        failing = [group for group in groups if not _fits(group.jobs, group, timed, plucks, exact)]
        if not failing:
            break
        first = min((_first_misfit(group, timed, plucks, exact) for group in failing), key=lambda f: f.id)
        grid -= 1
    return None if first is None or grid < GRID else Ceiling(grid / GRID, first.id)


def _groups(plan: Plan, plucks: Sequence[Pluck]) -> Iterator[_Group]:
    """The flips of each hand, parted where all windows so far have closed before the next one opens."""
    together: dict[tuple[int, int, int], list[int]] = {}
    for pluck, play in zip(plucks, plan.plays, strict=True):
        if play is not None:
            together.setdefault((*play, pluck.onset), []).append(pluck.id)
    hands: tuple[Hand, Hand] = ("left", "right")
    for hand in hands:
        own = [pluck for pluck in plucks if pluck.hand == hand]
        held = [pluck for pluck in own if pluck.sustained]
        batch: list[_Job] = []
        opened = closed = 0
        for flip in sorted((f for f in plan.flips if f.hand == hand), key=lambda f: plucks[f.after].onset):
            onset, due = plucks[flip.after].onset, plucks[flip.before].onset
            if batch and onset >= closed:
                yield _group(batch, own, held, opened, closed)
                batch = []
            if not batch:
                opened, closed = onset, due
            batch.append(_Job(flip, tuple(together[flip.string, 1 - flip.to, onset])))
            closed = max(closed, due)
        if batch:
            yield _group(batch, own, held, opened, closed)


def _group(batch: list[_Job], own: list[Pluck], held: list[Pluck], opened: int, closed: int) -> _Group:
    """A group with the plucks of its hand that can keep it busy between two moments, at any factor.

    Those are the plucks in between, the nearest on either side, and of the sustained ones before, the one
    that lasts longest.
    """
    first = bisect_left(own, opened, key=lambda pluck: pluck.onset)
    last = bisect_right(own, closed, key=lambda pluck: pluck.onset)
    around = own[max(0, first - 1) : last + 1]
    longest = max((pluck for pluck in held if pluck.onset < opened), key=lambda p: p.end, default=None)
    if longest is not None:
        around.insert(0, longest)
    jobs = sorted(batch, key=lambda job: job.flip.id)
    return _Group(tuple(jobs), tuple(pluck.id for pluck in around))


def _fits(jobs: Sequence[_Job], group: _Group, times: Times, plucks: Sequence[Pluck], scale: _Scale) -> bool:
    """Whether some of a group's flips fit together at the given times."""
    windows = []
    for job in jobs:
        release, latest = _window(job, times, scale)
        if release > latest:
            return False
        windows.append((release, latest))
    stretches = _stretches(group.around, times, plucks, scale)
    return fit_starts(windows, scale.player.flip * scale.unit, stretches) is not None


def _window(job: _Job, times: Times, scale: _Scale) -> Window:
    """(earliest, latest) start of a flip that stays clean or stays a cut."""
    onset = times(job.flip.after)[0]
    ringing = max(times(pluck)[1] for pluck in job.ringing)
    due = times(job.flip.before)[0] - scale.player.flip * scale.unit + scale.ease
    if not job.flip.is_cut:
        return ringing - scale.ease, due
    # The half is rounded up to a whole millisecond, and "before it has ended" is a whole millisecond before,
    # which does not stretch with the rest.
    half = onset - (onset - ringing) // 2
    return half - scale.ease - scale.extra, min(due, ringing - scale.unit + scale.ease + scale.extra)


def _stretches(around: Sequence[int], times: Times, plucks: Sequence[Pluck], scale: _Scale) -> list[Window]:
    """When the hand is not at the strings, in order; one without length where two busy times touch."""
    player = scale.player
    before, after = player.place * scale.unit - scale.ease, player.leave * scale.unit - scale.ease
    busy = []
    for pluck in around:
        onset, end = times(pluck)
        busy.append((onset - before, (end if plucks[pluck].sustained else onset) + after))
    busy.sort()
    stretches: list[Window] = []
    time = -_FAR
    for begin, end in busy:
        if begin >= time:
            stretches.append((time, begin))
        time = max(time, end)
    stretches.append((time, _FAR))
    return stretches


def _first_misfit(group: _Group, times: Times, plucks: Sequence[Pluck], scale: _Scale) -> Flip:
    """The first flip in playing order that does not fit beside those before it, where not all fit."""
    count = next(
        n for n in range(1, len(group.jobs) + 1) if not _fits(group.jobs[:n], group, times, plucks, scale)
    )
    return group.jobs[count - 1].flip

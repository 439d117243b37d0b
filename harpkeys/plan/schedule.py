"""Start times for the flips of one hand: equal-length jobs on one machine that is not always free.

Each job has a release (earliest start) and a latest start; all jobs last equally long; each must lie whole
inside one of the hand's free stretches, and no two may overlap. Intervals that only touch do not collide.
All times are whole milliseconds, all bounds are inclusive.

Going earliest deadline first and never waiting usually succeeds at once, but it is not exact: it may begin a
patient job a moment before an urgent one is released. Where it fails, **forbidden regions** decide: open
intervals in which no job can begin in any schedule that keeps all windows. They are found from the last
release to the first. For a release r and a deadline d, pack the jobs released at or after r and due by d as
late as possible; if the first of them must begin at c, with r <= c < r + length, then any job begun in
(c - length, r) would push it past c, so that region is forbidden; if c < r there is no schedule. Going
earliest deadline first outside all regions then finds a schedule whenever there is one. Time in which the
hand is not free is a forbidden region from the start; the proof only uses that no job can begin in a region,
not how the region came about.

References:
    Garey, M. R., Johnson, D. S., Simons, B. B. and Tarjan, R. E., "Scheduling unit-time tasks with arbitrary
    release times and deadlines", SIAM Journal on Computing 10 (1981), 256-269. Departure: the regions are
    kept as cuts in a sorted list of allowed starts, which makes the search quadratic, not n log n.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from heapq import heappop, heappush

Window = tuple[int, int]

_FAR = 1 << 62


def fit_starts(jobs: Sequence[Window], length: int, stretches: Sequence[Window]) -> list[int] | None:
    """Fit equal-length jobs into free stretches.

    Args:
        jobs: (release, latest start) of each job.
        length: how long every job lasts, at least 0.
        stretches: (start, end) of the free stretches, sorted, not overlapping; stretches that touch stay
            apart, no job may lie across the point between them.

    Returns:
        A start for each job, in the order of `jobs`, as early as can be (the latest of them is as early as in
        any schedule); None where no schedule exists.
    """
    if len(jobs) == 1:
        release, latest = jobs[0]
        start = _next_start(release, length, stretches)
        return [start] if start is not None and start <= latest else None
    starts = [0] * len(jobs)
    for block in _blocks(jobs, length):
        found = _earliest_deadline_first(jobs, block, length, length, stretches)
        if found is None:
            found = _with_forbidden_regions(jobs, block, length, stretches)
            if found is None:
                return None
        for job, start in found:
            starts[job] = start
    return starts


def _blocks(jobs: Sequence[Window], length: int) -> list[list[int]]:
    """Job numbers by release, parted where all earlier jobs must be over before the next is released."""
    blocks: list[list[int]] = []
    over = -_FAR
    for job in sorted(range(len(jobs)), key=lambda job: jobs[job][0]):
        release, latest = jobs[job]
        if release >= over:
            blocks.append([])
        blocks[-1].append(job)
        over = max(over, latest + length)
    return blocks


def _next_start(time: int, length: int, stretches: Sequence[Window]) -> int | None:
    """The first moment at or after `time` at which a job fits into a stretch."""
    k = bisect_right(stretches, (time, _FAR)) - 1
    if k >= 0 and time + length <= stretches[k][1]:
        return time
    for after in range(k + 1, len(stretches)):
        start, end = stretches[after]
        if start + length <= end:
            return start
    return None


def _previous_start(time: int, stretches: Sequence[Window]) -> int | None:
    """The last moment at or before `time` that lies in a stretch."""
    k = bisect_right(stretches, (time, _FAR)) - 1
    return min(time, stretches[k][1]) if k >= 0 else None


def _earliest_deadline_first(
    jobs: Sequence[Window], block: Sequence[int], length: int, fit: int, stretches: Sequence[Window]
) -> list[tuple[int, int]] | None:
    """Begin the most urgent released job as soon as the hand can; None where one comes too late.

    Args:
        jobs: (release, latest start) of each job.
        block: numbers of the jobs to place, by release.
        length: how long every job lasts.
        fit: how much room a job needs in a stretch: its length, or 0 where `stretches` are allowed starts.
        stretches: where jobs may be.
    """
    placed: list[tuple[int, int]] = []
    waiting: list[tuple[int, int]] = []
    time, coming, count = -_FAR, 0, len(block)
    while len(placed) < count:
        if not waiting:
            time = max(time, jobs[block[coming]][0])
        start = _next_start(time, fit, stretches)
        if start is None:
            return None
        while coming < count and jobs[block[coming]][0] <= start:
            heappush(waiting, (jobs[block[coming]][1], block[coming]))
            coming += 1
        latest, job = heappop(waiting)
        if start > latest:
            return None
        placed.append((job, start))
        time = start + length
    return placed


def _with_forbidden_regions(
    jobs: Sequence[Window], block: Sequence[int], length: int, stretches: Sequence[Window]
) -> list[tuple[int, int]] | None:
    """The exact search of the module's head, for one block of jobs (by release)."""
    allowed = _allowed_starts(jobs, block, length, stretches)
    deadlines = sorted({jobs[job][1] for job in block})
    # For each deadline: where the first of the jobs seen so far and due by it must begin at the latest.
    first: list[int | None] = [None] * len(deadlines)
    for job in reversed(block):
        release, latest = jobs[job]
        critical = _FAR
        for k in range(len(deadlines) - 1, -1, -1):
            if deadlines[k] < latest:
                break
            later = first[k]
            point = _previous_start(deadlines[k] if later is None else later - length, allowed)
            if point is None or point < release:
                return None
            first[k] = point
            critical = min(critical, point)
        if critical < release + length:
            _forbid(allowed, critical - length, release)
    return _earliest_deadline_first(jobs, block, length, 0, allowed)


def _allowed_starts(
    jobs: Sequence[Window], block: Sequence[int], length: int, stretches: Sequence[Window]
) -> list[Window]:
    """Inclusive intervals of starts that fit into a stretch, over the time of one block."""
    begin = jobs[block[0]][0]
    end = max(jobs[job][1] for job in block)
    allowed: list[Window] = []
    for k in range(max(0, bisect_right(stretches, (begin, _FAR)) - 1), len(stretches)):
        start, stop = stretches[k]
        if start > end:
            break
        if start + length <= stop:
            allowed.append((start, stop - length))
    return allowed


def _forbid(allowed: list[Window], low: int, high: int) -> None:
    """Take the whole milliseconds strictly between `low` and `high` out of the allowed starts."""
    if high - low < 2:
        return
    stop = bisect_right(allowed, (high - 1, _FAR))
    begin = bisect_right(allowed, (low, _FAR))
    if begin > 0 and allowed[begin - 1][1] > low:
        begin -= 1
    kept: list[Window] = []
    for start, end in allowed[begin:stop]:
        if start <= low:
            kept.append((start, min(end, low)))
        if end >= high:
            kept.append((max(start, high), end))
    allowed[begin:stop] = kept

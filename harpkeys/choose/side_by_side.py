"""Jobs done one after the other, or by several processes where they take longer than starting those does."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

PATIENCE = 0.6
"""Seconds of work after which more processes are started; about what starting them takes."""

FEWEST_JOBS = 3
"""Fewest jobs left for which starting processes is worth while."""

Bench = TypeVar("Bench")
Job = TypeVar("Job")
Answer = TypeVar("Answer")


def shared_out(
    work: Callable[[Bench, Job], Answer],
    bench: Bench,
    jobs: Sequence[Job],
    processes: int,
    say: Callable[[int], None],
) -> tuple[list[Answer], int]:
    """Do some jobs, by several processes where they take long.

    Args:
        work: how a job is done; a function of a module, which other processes can find.
        bench: what every job needs.
        jobs: the jobs.
        processes: most processes to use.
        say: told the index of each job as it is waited for.

    Returns:
        The answers in the order of the jobs, the same whoever makes them, and how many processes made them.
    """
    found: list[Answer] = []
    start = time.monotonic()
    for index, job in enumerate(jobs):
        late = time.monotonic() - start > PATIENCE
        if late and processes > 1 and len(jobs) - index >= FEWEST_JOBS:
            break
        say(index)
        found.append(work(bench, job))
    left = jobs[len(found) :]
    if not left:
        return found, 1
    from harpkeys.choose.processes import LocalProcesses

    count = min(processes, len(left))
    with LocalProcesses(count, _take_bench, work, bench) as pool:
        answers = pool.start().map(_done, left)
        for index in range(len(found), len(jobs)):
            say(index)
            found.append(next(answers))
    return found, count


_at_work: tuple[Callable[[Any, Any], Any], Any] | None = None


def _take_bench(work: Callable[[Any, Any], Any], bench: object) -> None:
    """Set a process up."""
    global _at_work
    _at_work = work, bench


def _done(job: object) -> Any:
    """Do one job in a process that has been set up."""
    if _at_work is None:
        raise RuntimeError("the process has not been set up")
    work, bench = _at_work
    return work(bench, job)

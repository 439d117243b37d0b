"""Handing tasks to an executor, a bounded number at a time, and taking rows back in any order.

Any `concurrent.futures.Executor` will do: only `submit` is used of it, and `add_done_callback`, `result` and
`cancel` of its futures. A task whose worker dies ends as a row like any other.

Where a pool breaks as a whole, as `ProcessPoolExecutor` does when one of its processes dies, every task in
flight fails with it, and only one of them is to blame. So they are given to a new pool one by one, and the
one that breaks it again is the one.

Reference: Python's library reference, `concurrent.futures` ("Executor Objects", "Exception classes").
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future
from itertools import chain
from queue import SimpleQueue

from harpkeys.shelf.model import Row, Task, problem_rows
from harpkeys.shelf.vetting import broken_off, vet_file

DIED = "the worker ended while it vetted this file; it may need more memory than there is."
LEFT = "the pool of workers broke before this file was vetted; try it again."

IN_FLIGHT = 8
"""Most tasks in flight unless told otherwise."""


def vetted_by(
    executor: Executor,
    tasks: Iterable[Task],
    in_flight: int = IN_FLIGHT,
    renew: Callable[[], Executor] | None = None,
) -> Iterator[tuple[Row, ...]]:
    """Vet files by an executor.

    Args:
        executor: any executor that can run `vet_file` on a task; it is not shut down.
        tasks: the files; no more are taken from it than are in flight.
        in_flight: most tasks handed out and not yet back, at least 1.
        renew: gives another executor in place of one that has broken; without it the files left then are told
            to be so.

    Yields:
        The rows of each task as it finishes.
    """
    return _Round(executor, iter(tasks), max(in_flight, 1), renew).rows()


class _Round:
    """Tasks on their way."""

    def __init__(
        self,
        executor: Executor,
        left: Iterator[Task],
        in_flight: int,
        renew: Callable[[], Executor] | None,
    ) -> None:
        self.executor = executor
        self.left = left
        self.in_flight = in_flight
        self.renew = renew
        self.suspects: deque[Task] = deque()
        """Tasks that were in flight when a pool broke."""
        self.on_trial = False
        """Whether the task in flight is a suspect, and alone."""
        self.running: dict[Future[tuple[Row, ...]], Task] = {}
        self.finished: SimpleQueue[Future[tuple[Row, ...]]] = SimpleQueue()
        self.broken = False
        """Whether the executor takes no more tasks."""
        self.unused = True
        """Whether the executor has not taken any task yet."""

    def rows(self) -> Iterator[tuple[Row, ...]]:
        """The rows of each task as it finishes; tasks in flight are cancelled if nobody asks for more."""
        try:
            while True:
                if self.broken and not self.running:
                    if self.renew is None:
                        for task in chain(self.suspects, self.left):
                            yield problem_rows(task, "", LEFT)
                        return
                    self.executor, self.broken, self.unused = self.renew(), False, True
                yield from self._handed_out()
                if self.running:
                    yield from self._taken_back()
                elif not self.broken:
                    return
        finally:
            for future in self.running:
                future.cancel()

    def _next(self) -> Task | None:
        """The next task to hand out now, None where none is to be."""
        if self.broken or self.on_trial or len(self.running) >= self.in_flight:
            return None
        if not self.suspects:
            return next(self.left, None)
        if self.running:
            return None
        self.on_trial = True
        return self.suspects.popleft()

    def _handed_out(self) -> Iterator[tuple[Row, ...]]:
        """Hand out what may be handed out; rows only of what no executor takes."""
        while (task := self._next()) is not None:
            try:
                future = self.executor.submit(vet_file, task)
            except BrokenExecutor:
                self.broken, self.on_trial = True, False
                if self.unused:  # not even a new executor takes it
                    yield problem_rows(task, "", LEFT)
                else:
                    self.left = chain([task], self.left)
            except Exception as error:
                self.on_trial = False
                yield problem_rows(task, "", broken_off(error))
            else:
                self.unused = False
                self.running[future] = task
                future.add_done_callback(self.finished.put)

    def _taken_back(self) -> Iterator[tuple[Row, ...]]:
        """Wait for one task."""
        future = self.finished.get()
        task = self.running.pop(future)
        on_trial, self.on_trial = self.on_trial, False
        try:
            rows = future.result()
        except BrokenExecutor:
            self.broken = True
            if on_trial:
                rows = problem_rows(task, "", DIED)
            else:
                self.suspects.append(task)
                return
        except Exception as error:
            rows = problem_rows(task, "", broken_off(error))
        yield rows

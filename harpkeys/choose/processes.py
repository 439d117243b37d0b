"""Processes of this machine that end with this one and say nothing by themselves.

References: Python's library reference, `concurrent.futures` and `multiprocessing` ("spawn"); POSIX
`pthread_sigmask`, whose mask a new process inherits.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, InvalidStateError, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from functools import partial
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any, Self


class LocalProcesses:
    """Processes of this machine, renewed where one of them dies; a context manager.

    The processes end with this one, whatever ends it, and at once where an error or the user does.

    Args:
        processes: how many.
        prepare: what each does first, None for nothing; a function of a module.
        words: what that is told.
    """

    def __init__(self, processes: int, prepare: Callable[..., None] | None = None, *words: object) -> None:
        self._processes = processes
        self._prepare = prepare
        self._words = words
        self._context = multiprocessing.get_context("spawn")
        self._ours, self._theirs = self._context.Pipe()
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            self._ours.close()
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
        self._ours.close()
        self._theirs.close()

    def start(self) -> Executor:
        """A pool of new processes; the one before it, if any, is done with."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        words = (self._theirs, self._prepare, self._words)
        self._pool = _Processes(self._processes, self._context, _set_up, words)
        return self._pool


class _Processes(ProcessPoolExecutor):
    """Processes that no interrupt reaches until they are set up: each would tell of it by a traceback."""

    def submit(self, *words: Any, **named: Any) -> Future[Any]:
        with _interrupts_held():
            future = super().submit(*words, **named)  # starts a process where fewer are at work than may be
            # Where all processes die while futures are cancelled, Python tells the cancelled ones too, and a
            # thread of its own ends in a traceback.
            future.set_exception = partial(_tell, future)  # type: ignore[method-assign]
            return future


def _tell(future: Future[Any], error: BaseException | None) -> None:
    """Tell a future of an error unless it is cancelled."""
    with suppress(InvalidStateError):
        Future.set_exception(future, error)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold interrupts back, here and in the processes that are started meanwhile, where the system can.

    New processes inherit what this thread blocks. Threads of native libraries still let a signal in, which
    Python would answer in this one; so it is kept and raised at the end.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # else it is started meanwhile, and lets interrupts through again
    handler = signal.getsignal(signal.SIGINT)
    answered = callable(handler) and threading.current_thread() is threading.main_thread()
    came: list[int] = []
    if answered:
        signal.signal(signal.SIGINT, lambda number, frame: came.append(number))
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        if answered:
            signal.signal(signal.SIGINT, handler)
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
        if came:
            signal.raise_signal(signal.SIGINT)


def _set_up(line: Connection, prepare: Callable[..., None] | None, words: Sequence[object]) -> None:
    """Set a worker process up.

    Args:
        line: its other end closes when the worker is to end.
        prepare: what else is to be done, None for nothing.
        words: what that is told.
    """
    # An interrupt is for the whole group; the process that handed the work out tells the user.
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    # The solver greets on standard output, which carries results.
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.close(null)
    threading.Thread(target=_end_with, args=(line,), daemon=True).start()
    if prepare is not None:
        prepare(*words)


def _end_with(line: Connection) -> None:
    wait([line])
    os._exit(1)

"""Who does the work: processes of this machine, or the workers of a Dask cluster.

References: Python's library reference, `concurrent.futures` and `multiprocessing` ("spawn"); Dask's
documentation, "Client.get_executor".
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any

from harpkeys.errors import OptionError
from harpkeys.harp.naming import quoted

PER_WORKER = 2
"""Tasks in flight for each worker: one at work, and one that waits so that it need not."""

PATIENCE = 10
"""Seconds within which a cluster has to answer."""


class LocalPool:
    """Processes of this machine, renewed where one of them dies; a context manager.

    The processes end with this one, whatever ends it, and at once where an error or the user does.

    Args:
        processes: how many.
    """

    def __init__(self, processes: int) -> None:
        self.in_flight = PER_WORKER * processes
        self._processes = processes
        self._context = multiprocessing.get_context("spawn")
        self._ours, self._theirs = self._context.Pipe()
        self._pool: ProcessPoolExecutor | None = None

    def __enter__(self) -> LocalPool:
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
        self._pool = _Processes(self._processes, self._context, _set_up, (self._theirs,))
        return self._pool


class _Processes(ProcessPoolExecutor):
    """Processes that no interrupt reaches until they are set up: each would tell of it by a traceback."""

    def submit(self, *words: Any, **named: Any) -> Future[Any]:
        with _interrupts_held():
            return super().submit(*words, **named)  # starts a process where fewer are at work than may be


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold interrupts back, in this thread and in the processes that it starts, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    resource_tracker.ensure_running()  # else it is started meanwhile, and lets interrupts through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _set_up(line: Connection) -> None:
    """Set a worker process up.

    Args:
        line: its other end closes when the worker is to end.
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


def _end_with(line: Connection) -> None:
    wait([line])
    os._exit(1)


class DaskPool:
    """The workers of a Dask cluster; a context manager.

    They read the files at the paths that this machine knows them by.

    Args:
        address: of the cluster's scheduler, such as "tcp://library:8786".

    Raises:
        OptionError: Dask is not installed, or no cluster answers there.
    """

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise OptionError(
                "Dask is not installed",
                "install harpkeys with its extra, harpkeys[dask], or leave out --dask",
            ) from None
        try:
            self._client: Any = Client(address, timeout=PATIENCE)
        except (OSError, ValueError, TypeError):  # what a wrong address and a silent one raise
            raise OptionError(
                f"no Dask cluster answers at {quoted(address)}",
                'give its address, such as "tcp://localhost:8786"',
            ) from None
        self.in_flight = PER_WORKER * max(sum(self._client.nthreads().values()), 1)

    def __enter__(self) -> DaskPool:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.close()

    def start(self) -> Executor:
        """The cluster as an executor."""
        executor: Executor = self._client.get_executor()
        return executor

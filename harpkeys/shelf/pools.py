"""Who does the work: processes of this machine, or the workers of a Dask cluster.

Reference: Dask's documentation, "Client.get_executor".
"""

from __future__ import annotations

from concurrent.futures import Executor
from types import TracebackType
from typing import Any

from harpkeys.choose.processes import LocalProcesses
from harpkeys.errors import OptionError
from harpkeys.harp.naming import quoted

PER_WORKER = 2
"""Tasks in flight for each worker: one at work, and one that waits so that it need not."""

PATIENCE = 10
"""Seconds within which a cluster has to answer."""


class LocalPool(LocalProcesses):
    """Processes of this machine.

    Args:
        processes: how many.
    """

    def __init__(self, processes: int) -> None:
        super().__init__(processes)
        self.in_flight = PER_WORKER * processes


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

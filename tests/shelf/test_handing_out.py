"""Rows do not depend on who does the work, nor on the order in which it is done; and workers may die."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shelves import INSTRUMENTS, AtOnce, Deadly, LastFirst, make_shelf

from harpkeys.shelf.finding import find_books
from harpkeys.shelf.handing_out import DIED, LEFT, vetted_by
from harpkeys.shelf.model import Row, Shelf, Task
from harpkeys.shelf.pools import LocalPool
from harpkeys.shelf.shelf import vet_shelf
from harpkeys.shelf.vetting import vet_file


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    return Shelf(find_books(make_shelf(tmp_path_factory.mktemp("shelf"))), INSTRUMENTS[1:3])


@pytest.fixture(scope="module")
def expected(shelf: Shelf) -> dict[str, tuple[Row, ...]]:
    """The rows of each file, made one by one without any executor."""
    found = {book.name: vet_file(Task(book, shelf.instruments, shelf.terms)) for book in shelf.books}
    assert {row.problem != "" for rows in found.values() for row in rows} == {True, False}
    return found


def tasks_of(shelf: Shelf) -> list[Task]:
    return [Task(book, shelf.instruments, shelf.terms) for book in shelf.books]


def by_name(found: Iterator[tuple[Row, ...]]) -> dict[str, tuple[Row, ...]]:
    rows = list(found)
    names = [one[0].file for one in rows]
    assert len(set(names)) == len(names), "a file comes once"
    return dict(zip(names, rows, strict=True))


EXECUTORS: dict[str, Callable[[], Executor]] = {
    "threads": lambda: ThreadPoolExecutor(3),
    "at once": AtOnce,
    "last first": LastFirst,
}


@pytest.mark.parametrize("name", EXECUTORS)
@pytest.mark.parametrize("in_flight", [1, 4, 100])
def test_any_executor(name: str, in_flight: int, shelf: Shelf, expected: dict[str, tuple[Row, ...]]) -> None:
    with EXECUTORS[name]() as executor:
        found = by_name(vetted_by(executor, tasks_of(shelf), in_flight))
    assert found == expected


def test_work_is_handed_out_a_little_at_a_time(shelf: Shelf) -> None:
    executor, taken = LastFirst(), 0

    def tasks() -> Iterator[Task]:
        nonlocal taken
        for task in tasks_of(shelf):
            taken += 1
            yield task

    order = []
    for count, rows in enumerate(vetted_by(executor, tasks(), 4), 1):
        order.append(rows[0].file)
        assert taken <= count + 3, "no more than four are taken and not yet given back"
    assert executor.most <= 4
    assert order != sorted(order), "the executor is as odd as it should be"


def test_a_dask_cluster(shelf: Shelf, expected: dict[str, tuple[Row, ...]], tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            dashboard_address=None,
            silence_logs=50,
            local_directory=str(tmp_path),
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        found = by_name(vetted_by(client.get_executor(), tasks_of(shelf), 4))
    assert found == expected


def test_this_machines_processes_and_one_that_dies(
    shelf: Shelf, expected: dict[str, tuple[Row, ...]]
) -> None:
    deadly = "a/owl-light-lullaby.MXL"
    started = []

    with LocalPool(2) as pool:

        def renew() -> Executor:
            started.append(Deadly(pool.start(), deadly))
            return started[-1]

        found = by_name(vetted_by(renew(), tasks_of(shelf), pool.in_flight, renew))
    dead = found.pop(deadly)
    assert {(row.problem, row.finding, row.passing) for row in dead} == {(DIED, None, True)}
    assert found == {name: rows for name, rows in expected.items() if name != deadly}
    # The pool it broke, those of the suspects that it breaks alone, and the one that ends the work.
    assert 2 <= len(started) <= 3


def test_a_pool_that_breaks_and_cannot_be_renewed_leaves_rows(shelf: Shelf) -> None:
    with ProcessPoolExecutor(1, mp_context=_spawn()) as pool:
        found = by_name(vetted_by(Deadly(pool, shelf.books[2].name), tasks_of(shelf), 1))
    assert set(found) == {book.name for book in shelf.books}
    assert [rows[0].problem == LEFT for rows in found.values()] == [False] * 2 + [True] * (len(found) - 2)
    assert all(row.passing for rows in found.values() for row in rows if row.problem == LEFT)


def _spawn() -> Any:
    import multiprocessing

    return multiprocessing.get_context("spawn")


class _Refuses(Executor):
    """Takes nothing; or takes it, and comes back with an error."""

    def __init__(self, error: Exception, *, at_once: bool) -> None:
        self.error, self.at_once, self.asked = error, at_once, 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.asked += 1
        if self.at_once:
            raise self.error
        future: Future[Any] = Future()
        future.set_exception(self.error)
        return future


@pytest.mark.parametrize("at_once", [False, True])
@pytest.mark.parametrize("renewed", [False, True])
@pytest.mark.parametrize("error", [BrokenExecutor(), RuntimeError("no room"), MemoryError()], ids=repr)
def test_nothing_an_executor_does_is_a_stop(
    error: Exception, renewed: bool, at_once: bool, shelf: Shelf
) -> None:
    executor = _Refuses(error, at_once=at_once)
    found = by_name(vetted_by(executor, tasks_of(shelf), 4, (lambda: executor) if renewed else None))
    assert set(found) == {book.name for book in shelf.books}
    told = {row.problem for rows in found.values() for row in rows}
    if not isinstance(error, BrokenExecutor):
        assert told == {
            "vetting broke off (RuntimeError: no room)." if str(error) else "vetting broke off (MemoryError)."
        }
    else:
        assert told <= {DIED, LEFT}
    assert all(row.passing for rows in found.values() for row in rows)


def test_what_is_in_flight_is_cancelled_when_nobody_asks_for_more(shelf: Shelf) -> None:
    futures: list[Future[Any]] = []

    class Idle(AtOnce):
        """Does the first piece of work and then sleeps."""

        def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
            futures.append(Future() if futures else super().submit(fn, *args))
            return futures[-1]

    running = vetted_by(Idle(), tasks_of(shelf), 4)
    next(running)
    running.close()
    assert [future.cancelled() for future in futures] == [False, True, True, True]


def test_an_error_ends_workers_at_once() -> None:
    def interrupted() -> None:
        with LocalPool(1) as pool:
            futures.append(pool.start().submit(time.sleep, 30))
            while not futures[0].running():
                time.sleep(0.01)
            raise KeyboardInterrupt

    futures: list[Future[None]] = []
    with pytest.raises(KeyboardInterrupt):
        interrupted()
    assert isinstance(futures[0].exception(), BrokenExecutor)


def test_rows_come_in_the_order_of_the_instruments(shelf: Shelf) -> None:
    turned = replace(shelf, instruments=shelf.instruments[::-1])
    for vetted in vet_shelf(turned, AtOnce()):
        assert [row.label for row in vetted.rows] == [one.label for one in turned.instruments]

"""Vetting a shelf: what is known already, what has to be done, and the rows as they come.

The rows of a run do not depend on the executor, nor on the order in which its tasks finish.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace

from harpkeys.shelf.handing_out import IN_FLIGHT, vetted_by
from harpkeys.shelf.model import Book, Row, Shelf, Task, digest_of, key_of
from harpkeys.shelf.results import Known


@dataclass(frozen=True, slots=True)
class Vetted:
    """A file that is done.

    Attributes:
        rows: one for each instrument, in their order.
        fresh: those of them that were made by this run.
    """

    rows: tuple[Row, ...]
    fresh: tuple[Row, ...]


def vet_shelf(
    shelf: Shelf,
    executor: Executor,
    *,
    in_flight: int = IN_FLIGHT,
    renew: Callable[[], Executor] | None = None,
    known: Known | None = None,
) -> Iterator[Vetted]:
    """Vet files on instruments.

    Args:
        shelf: what is vetted, on what and how.
        executor: who does the work; see `vetted_by`.
        in_flight: most files handed out and not yet back.
        renew: gives another executor in place of one that has broken.
        known: rows of earlier runs; those that still hold are not made again.

    Yields:
        Every file once: those known already in their order, then the others as they finish.
    """
    held = known or {}
    seen = {file for file, _ in held}
    left: list[Task] = []
    kept: dict[str, Mapping[str, Row]] = {}
    for book in shelf.books:
        found = _known_of(book, shelf, held) if book.name in seen else {}
        missing = tuple(instrument for instrument in shelf.instruments if instrument.label not in found)
        if missing:
            left.append(Task(book, missing, shelf.terms))
            kept[book.name] = found
        else:
            yield Vetted(_in_order(found, shelf), ())
    for fresh in vetted_by(executor, left, in_flight, renew):
        rows = {**kept[fresh[0].file], **{row.label: row for row in fresh}}
        yield Vetted(_in_order(rows, shelf), fresh)


def _known_of(book: Book, shelf: Shelf, held: Known) -> dict[str, Row]:
    """The rows of a file that still hold, by label."""
    digest = digest_of(book.path)
    found = {}
    for instrument in shelf.instruments:
        row = held.get((book.name, key_of(digest, instrument, shelf.terms)))
        if row is not None:
            # The same harp may have gone by another name then.
            found[instrument.label] = replace(row, label=instrument.label)
    return found


def _in_order(rows: Mapping[str, Row], shelf: Shelf) -> tuple[Row, ...]:
    return tuple(rows[instrument.label] for instrument in shelf.instruments)

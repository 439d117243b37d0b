"""Measures `harpkeys shelf` beside partitura's bare reading, on the same files with as many processes.

    python scripts/shelf_bench.py                     the MusicXML files of music21's corpus, on two cores
    python scripts/shelf_bench.py --folder FOLDER     those of another folder
    python scripts/shelf_bench.py --slowest 20        every file alone, and the slowest by name

The shelf reads, performs and plans every file for one harp, taking the first part where a score does not tell
which is the harp's; partitura only reads. Each is told by files a second, and by the processor time of its
workers, which other work on the machine disturbs less. What partitura cannot read is counted.
"""

from __future__ import annotations

import argparse
import resource
import time
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.shelf.finding import find_books
from harpkeys.shelf.model import Book, Instrument, Shelf, Task, Terms
from harpkeys.shelf.pools import LocalPool
from harpkeys.shelf.shelf import vet_shelf
from harpkeys.shelf.sift import verdict_word
from harpkeys.shelf.vetting import vet_file

HARP = "34 in E-flat"
TERMS = Terms(else_part="1")


def music21_corpus() -> Path:
    """The folder of music21's corpus."""
    from music21 import corpus

    return Path(corpus.__file__).parent


def instruments() -> tuple[Instrument, ...]:
    """The one harp that files are vetted for."""
    return (Instrument(HARP, find_harp(HARP), DEFAULT_PLAYER),)


def vetted(books: Sequence[Book], processes: int) -> Counter[str]:
    """Vet all files; how many have which verdict."""
    found: Counter[str] = Counter()
    with LocalPool(processes) as pool:
        shelf = Shelf(tuple(books), instruments(), TERMS)
        for one in vet_shelf(shelf, pool.start(), in_flight=pool.in_flight, renew=pool.start):
            found[verdict_word(one.rows[0])] += 1
    return found


def read_by_partitura(path: Path) -> str:
    """Read one file; whether that goes."""
    import partitura

    warnings.simplefilter("ignore")
    try:
        partitura.load_musicxml(str(path))
    except Exception as error:
        return type(error).__name__
    return "read"


def read(books: Sequence[Book], processes: int) -> Counter[str]:
    """Read all files with partitura; how many go, and what it says of the others."""
    with LocalPool(processes) as pool:
        return Counter(pool.start().map(read_by_partitura, [book.path for book in books]))


def measured(name: str, books: Sequence[Book], work: Callable[[], Counter[str]]) -> None:
    """Do some work once, and print how long it takes."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    told = work()
    seconds = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    counts = ", ".join(f"{count} {word}" for word, count in told.most_common())
    print(
        f"{name:<12}{seconds:8.1f} s {len(books) / seconds:8.1f} files/s   processor {busy:8.1f} s "
        f"{1000 * busy / len(books):8.1f} ms a file   ({counts})",
        flush=True,
    )


def slowest(books: Sequence[Book], most: int) -> None:
    """Vet every file alone in this process; print the slowest by name, and how the times are spread."""
    times = []
    for book in books:
        start = time.process_time()
        (row,) = vet_file(Task(book, instruments(), TERMS))
        told = row.problem or f"{row.finding.plucks} notes, {row.finding.lost} lost" if row.finding else ""
        times.append((time.process_time() - start, book.name, told))
    times.sort(reverse=True)
    for seconds, name, told in times[:most]:
        print(f"{seconds:8.2f} s  {name}  ({told})")
    middle, total = times[len(times) // 2][0], sum(seconds for seconds, _, _ in times)
    print(f"half of the files take less than {1000 * middle:.0f} ms each, all together {total:.0f} s")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--folder", type=Path, help="another folder than music21's corpus")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--slowest", type=int, metavar="NUMBER", help="list the slowest files instead")
    parser.add_argument("--quick", action="store_true", help="leave out partitura")
    options = parser.parse_args()
    books = find_books(options.folder or music21_corpus())
    if options.slowest:
        slowest(books, options.slowest)
        return
    size = sum(book.path.stat().st_size for book in books)
    print(f"{len(books)} files, {size / 2**20:.1f} MB, {options.processes} processes")
    measured("shelf", books, lambda: vetted(books, options.processes))
    if not options.quick:
        measured("partitura", books, lambda: read(books, options.processes))


if __name__ == "__main__":
    main()

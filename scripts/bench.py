"""Measures harpkeys beside other readers, in one run on the same files: medians, and ratios to a bare parse.

    .venv/bin/python scripts/bench.py [--rounds 5] [--quick]

Three tables: reading, vetting and marking keyboard scores of music21's corpus; the cold start of `harpkeys
vet` beside that of bare Python; and what vetting costs as a score grows (the same bars again and again).
Every column is timed in turn in each round, so that a machine that slows down slows all of them.
"""

from __future__ import annotations

import argparse
import copy
import gc
import os
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

from lxml import etree

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark import marked_document
from harpkeys.report.performance import beat_moments, perform_part
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.reader import read_score

ROOT = Path(__file__).resolve().parents[1]
HARP = "34 in E-flat"
DEMO = ROOT / "corpus" / "the-mill-turns.musicxml"

KEYBOARD = (
    "joplin/maple_leaf_rag",
    "cpebach/h186",
    "schumann_clara/polonaise_op1n1",
    "schumann_clara/polonaise_op1n3",
)
"""Keyboard scores of music21's corpus, about 300 KB or more each."""

Timed = Callable[[], object]


def corpus_files(folder: Path) -> list[Path]:
    """The keyboard scores as plain MusicXML files."""
    from music21 import corpus

    found = []
    for name in KEYBOARD:
        source = Path(str(corpus.getWork(name)))
        target = folder / f"{name.replace('/', '-')}.musicxml"
        if source.suffix == ".mxl":
            with zipfile.ZipFile(source) as archive:
                member = next(
                    n for n in archive.namelist() if not n.startswith("META-INF") and n.endswith("xml")
                )
                target.write_bytes(archive.read(member))
        else:
            target.write_bytes(source.read_bytes())
        found.append(target)
    return found


def again_and_again(source: Path, times: int, folder: Path) -> Path:
    """A score whose bars stand so many times one after the other, repeats taken out."""
    tree = etree.parse(str(source))
    for part in tree.getroot().iter("part"):
        bars = list(part)
        for barline in list(part.iter("barline")):
            barline.getparent().remove(barline)
        for _ in range(times - 1):
            part.extend(copy.deepcopy(bar) for bar in bars)
    target = folder / f"{source.stem}-{times}.musicxml"
    tree.write(str(target))
    return target


def easy_files(folder: Path) -> list[Path]:
    """Scores of that size that the fast path solves: a sonata by Mozart and a demo score, grown."""
    from music21 import corpus

    sonata = Path(str(corpus.getWork("mozart/k545/movement1_exposition")))
    with zipfile.ZipFile(sonata) as archive:
        member = next(n for n in archive.namelist() if not n.startswith("META-INF") and n.endswith("xml"))
        plain = folder / "mozart-k545.musicxml"
        plain.write_bytes(archive.read(member))
    return [again_and_again(plain, 8, folder), again_and_again(DEMO, 20, folder)]


def medians(work: dict[str, Timed], rounds: int) -> dict[str, float]:
    """Median seconds of each piece of work, each done once in every round."""
    times: dict[str, list[float]] = {name: [] for name in work}
    for _ in range(rounds):
        for name, run in work.items():
            gc.collect()
            start = time.perf_counter()
            run()
            times[name].append(time.perf_counter() - start)
    return {name: statistics.median(values) for name, values in times.items()}


def whole_vet(path: Path) -> object:
    """Everything `harpkeys vet` does between its start and its printing."""
    return vet(read_score(path), find_harp(HARP), DEFAULT_PLAYER, Wishes(part="1"))


def vet_and_mark(path: Path) -> object:
    """Everything `harpkeys mark` does but opening its result's file."""
    return marked_document(vet(read_score(path), find_harp(HARP), DEFAULT_PLAYER, Wishes(part="1")))


def read_and_plan(path: Path) -> object:
    """Reading, keys and one plan, without the questions of tempo."""
    from harpkeys.analysis.accidentals import find_accidentals
    from harpkeys.analysis.signatures import find_signatures
    from harpkeys.plan.planner import make_plan

    performance = perform_part(read_score(path), "1")
    harp = find_harp(HARP)
    find_signatures(performance.part, harp)
    find_accidentals(performance.part, harp)
    return make_plan(performance.plucks, harp, DEFAULT_PLAYER, beats=beat_moments(performance))


def readers(path: Path, quick: bool) -> dict[str, Timed]:
    """What is timed on one file."""
    work: dict[str, Timed] = {
        "lxml": lambda: etree.parse(str(path)),
        "read": lambda: read_score(path),
        "plan": lambda: read_and_plan(path),
        "vet": lambda: whole_vet(path),
        "mark": lambda: vet_and_mark(path),
    }
    if not quick:
        import music21
        import partitura

        work["partitura"] = lambda: partitura.load_musicxml(str(path))
        work["music21"] = lambda: music21.converter.parseFile(str(path), forceSource=True, storePickle=False)
    return work


def table_of_files(files: list[Path], rounds: int, quick: bool) -> None:
    print(
        "Medians in ms, and how many times a bare lxml parse "
        "(plan: read + keys + plan; vet: all questions; mark: vet and the marked document)"
    )
    for number, path in enumerate(files):
        times = medians(readers(path, quick), rounds)
        if not number:
            print(f"{'file':<36}{'KB':>5}" + "".join(f"{name:>16}" for name in times))
        cells = "".join(f"{1000 * t:9.1f} {t / times['lxml']:5.1f}x" for t in times.values())
        print(f"{path.stem:<36}{path.stat().st_size // 1024:>5}{cells}")
    print()


def table_of_starts(rounds: int, folder: Path) -> None:
    quiet = {"stdout": subprocess.DEVNULL, "check": True}
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": str(folder / "bytecode")}
    # As a user runs it: from bytecode, which the first round writes.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    commands = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "harpkeys --version": [sys.executable, "-m", "harpkeys", "--version"],
        f"harpkeys vet {DEMO.name}": [sys.executable, "-m", "harpkeys", "vet", str(DEMO)],
        f"harpkeys vet {DEMO.name} --json": [sys.executable, "-m", "harpkeys", "vet", str(DEMO), "--json"],
    }
    work = {
        name: lambda command=command: subprocess.run(command, env=environment, **quiet)  # type: ignore[misc]
        for name, command in commands.items()
    }
    print("Cold start, whole process, median ms")
    for name, seconds in medians(work, rounds).items():
        print(f"  {name:<44}{1000 * seconds:8.0f}")
    print()


def table_of_growth(source: Path, rounds: int, folder: Path) -> None:
    print(f"Growth: the bars of {source.stem} again and again; microseconds a pluck")
    print(f"{'times':>6}{'plucks':>9}{'read':>9}{'plan':>9}{'vet':>9}")
    for times in (1, 2, 4, 8):
        path = again_and_again(source, times, folder)
        count = len(perform_part(read_score(path), "1").plucks)
        found = medians(readers(path, quick=True), rounds)
        cells = "".join(f"{1e6 * found[name] / count:9.1f}" for name in ("read", "plan", "vet"))
        print(f"{times:>6}{count:>9}{cells}")
    print()


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description="Times harpkeys beside other readers.")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--quick", action="store_true", help="leave out partitura and music21")
    parser.add_argument("files", nargs="*", type=Path, help="MusicXML files instead of music21's")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files = options.files or [*corpus_files(folder), *easy_files(folder)]
        table_of_starts(2 * options.rounds + 1, folder)
        table_of_files(files, options.rounds, options.quick)
        table_of_growth(ROOT / "corpus" / "five-bridges.musicxml", options.rounds, folder)
        table_of_growth(files[0], options.rounds, folder)


if __name__ == "__main__":
    main()

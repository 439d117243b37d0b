"""How many folk tunes a small harp plays: the table in the README.

    python scripts/folk_table.py                 print the table (an hour or so on one core)
    python scripts/folk_table.py --results FILE  keep the verdicts, one line a tune, and go on where they end
    python scripts/folk_table.py --collections oneills1850 --files 2
                                                 only the first files of some collections

Every ABC tune of the folk collections that come with music21 is read through `harpkeys.score.notations` and
planned for every combination of range, tuning and lever set, at the tempo written or assumed, for the player
called steady. Of tunes in several voices the first is taken. A tune counts by its verdict: as set, with
flips, with cuts, or not as written.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from harpkeys.errors import HarpkeysError, ScoreError
from harpkeys.harp.model import Harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.harp.tunings import make_harp
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import perform_part
from harpkeys.report.vet import verdict_of, verdict_settled
from harpkeys.score.model import Score
from harpkeys.score.notations import notation_pieces
from harpkeys.score.pluck import Pluck

COLLECTIONS = ("airdsAirs", "miscFolk", "nottingham-dataset", "oneills1850", "ryansMammoth", "essenFolksong")
"""Folders of music21's corpus that hold folk tunes in ABC."""

TUNINGS = ("C", "F", "E-flat")
LEVERS = ("all", "F C", "F C B", "none")
RANGES = ((22, "C3", "C6"), (26, "C3", "G6"), (34, "C2", "A6"))
"""Strings, lowest and highest: usual ranges (34: two independent sources; the others: common practice)."""

CASES = tuple((tuning, levers, size) for tuning in TUNINGS for levers in LEVERS for size, _, _ in RANGES)
VERDICTS = ("as set", "with flips", "with cuts", "not as written")


def harps() -> tuple[Harp, ...]:
    """The harp of each case, in their order."""
    ends = {size: (low, high) for size, low, high in RANGES}
    return tuple(
        make_harp(f"{size}", ends[size][0], high=ends[size][1], tuning=tuning, levers=levers)
        for tuning, levers, size in CASES
    )


def verdict_on(plucks: Sequence[Pluck], harp: Harp) -> int:
    """Index of the verdict of some plucks on a harp.

    The first plan found often settles it, since its bound shows that no plan gets a better verdict; only
    where it does not is the planner allowed its usual work.
    """
    plan = make_plan(plucks, harp, DEFAULT_PLAYER, effort=0)
    if not verdict_settled(plan):
        plan = make_plan(plucks, harp, DEFAULT_PLAYER)
    return VERDICTS.index(verdict_of(plan))


def verdicts(score: Score, instruments: Sequence[Harp]) -> list[int]:
    """Index of the verdict of a score on each harp.

    Raises:
        HarpkeysError: it cannot be performed, or has nothing to play.
    """
    plucks = perform_part(score, score.parts[0].id).plucks
    if not plucks:
        raise ScoreError("the first voice has no notes")
    return [verdict_on(plucks, harp) for harp in instruments]


def lines_of(path: Path) -> list[str]:
    """One JSON line for each tune of a file: its verdicts, or why it has none."""
    instruments = harps()
    lines = []
    for label, score, problem in pieces_of(path):
        entry: dict[str, object] = {"file": f"{path.parent.name}/{path.name}", "tune": label}
        if score is None:
            entry["problem"] = problem
        else:
            try:
                entry["verdicts"] = verdicts(score, instruments)
            except HarpkeysError as error:
                entry["problem"] = error.sentence
        lines.append(json.dumps(entry, ensure_ascii=False))
    return lines


def pieces_of(path: Path) -> Iterator[tuple[str, Score | None, str]]:
    """Label, score and problem of each tune of a file; a file that cannot be opened is one with a problem."""
    try:
        for piece in notation_pieces(path):
            yield piece.label, piece.score, piece.problem
    except HarpkeysError as error:
        yield "", None, error.sentence


def reason_of(problem: str) -> str:
    """Why a tune is not in the table, as a clause: without its place, what it says of itself and the mend."""
    what = re.sub(r"^.*?\.abc(?:, X:[^:]*)?: ", "", problem)
    return re.sub(r" \(.*\)", "", what).partition(";")[0].rstrip(".")


def files_of(collections: Sequence[str], most: int | None) -> list[Path]:
    """The ABC files of some collections, at most so many of each."""
    from music21 import corpus

    root = Path(corpus.__file__).parent
    return [path for name in collections for path in sorted((root / name).glob("*.abc"))[:most]]


def collect(paths: Sequence[Path], results: Path | None, jobs: int) -> Iterator[str]:
    """The lines of every tune, those already in the results file first."""
    known = results.read_text(encoding="utf-8").splitlines() if results and results.exists() else []
    yield from known
    done = {json.loads(line)["file"] for line in known}
    left = [path for path in paths if f"{path.parent.name}/{path.name}" not in done]
    with ProcessPoolExecutor(jobs) as pool:
        for number, lines in enumerate(pool.map(lines_of, left), 1):
            if results:
                # A file is written whole or not at all, so that a broken run loses no tune of it.
                with results.open("a", encoding="utf-8") as stream:
                    stream.write("".join(line + "\n" for line in lines))
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{number} of {len(left)} files")
            yield from lines


def table(counts: Sequence[Counter[int]]) -> str:
    """The counts as a Markdown table, a row for each tuning and lever set."""
    sizes = [size for size, _, _ in RANGES]
    rows = ["| tuning | levers | " + " | ".join(f"{size} strings" for size in sizes) + " |"]
    rows.append("|---|---" + "|---" * len(sizes) + "|")
    for tuning in TUNINGS:
        for levers in LEVERS:
            cells = [counts[CASES.index((tuning, levers, size))] for size in sizes]
            told = [" / ".join(f"{cell[verdict]}" for verdict in range(len(VERDICTS))) for cell in cells]
            rows.append(f"| {tuning} | {levers} | " + " | ".join(told) + " |")
    return "\n".join(rows)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--collections", nargs="+", choices=COLLECTIONS, default=list(COLLECTIONS))
    parser.add_argument("--files", type=int, help="at most so many files of each collection")
    parser.add_argument("--results", type=Path, help="keep the verdicts here, and go on where they end")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    options = parser.parse_args()
    counts = [Counter[int]() for _ in CASES]
    tunes: Counter[str] = Counter()
    problems = []
    for line in collect(files_of(options.collections, options.files), options.results, options.jobs):
        entry = json.loads(line)
        collection = entry["file"].partition("/")[0]
        if collection not in options.collections:
            continue
        if "problem" in entry:
            problems.append(entry["problem"])
            continue
        tunes[collection] += 1
        for count, verdict in zip(counts, entry["verdicts"], strict=True):
            count[verdict] += 1
    print(f"{tunes.total()} tunes: " + ", ".join(f"{name} {tunes[name]}" for name in options.collections))
    reasons = Counter(map(reason_of, problems)).most_common()
    print(
        f"Left out: {len(problems)}"
        + (f" ({'; '.join(f'{count}: {reason}' for reason, count in reasons)})." if reasons else ".")
    )
    print(f"Cells: {' / '.join(VERDICTS)}.\n")
    print(table(counts))
    for problem in problems:
        print(problem, file=sys.stderr)


if __name__ == "__main__":
    main()

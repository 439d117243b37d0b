"""How often each layer of the planner is needed, and how long plans take, over music21's corpus.

Keyboard and song scores (MusicXML), and every tune of the ABC collections (read through music21), on 34
strings with levers on all, tuned in C and in E-flat, by the steady player. Prints a table; the figures in
DEVELOPERS.md come from it. With --parts instead: the first and the last part of every MusicXML file, and what
`plan/checker.py` says of each plan. Seconds are processor time of one plan.
Usage: planner_survey.py [--tunes N] [--seed S] [--player NAME] [--parts].
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from harpkeys.errors import HarpkeysError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER, find_player
from harpkeys.harp.tunings import parse_tuning, retuned
from harpkeys.plan.checker import violations
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import perform_part
from harpkeys.score.model import Score
from harpkeys.score.notations import read_notation
from harpkeys.score.reader import read_score

SCORES = (
    ("keyboard", "joplin/maple_leaf_rag.mxl"),
    ("keyboard", "cpebach/h186.mxl"),
    ("keyboard", "bach/bwv846.mxl"),
    ("keyboard", "schumann_clara/polonaise_op1n1.mxl"),
    ("keyboard", "schumann_clara/polonaise_op1n2.mxl"),
    ("keyboard", "schumann_clara/polonaise_op1n3.mxl"),
    ("keyboard", "schumann_clara/polonaise_op1n4.mxl"),
    ("keyboard", "schoenberg/opus19/movement2.mxl"),
    ("keyboard", "schoenberg/opus19/movement6.mxl"),
    ("keyboard", "mozart/k545/movement1_exposition.mxl"),
    ("song", "schubert/Lindenbaum.xml"),
    ("song", "verdi/laDonnaEMobile.mxl"),
    ("song", "leadSheet/berlinAlexandersRagtime.mxl"),
    ("song", "leadSheet/fosterBrownHair.mxl"),
    ("song", "johnson_j_r/lift_every_voice.mxl"),
    ("song", "liliuokalani/aloha_oe.mxl"),
    ("song", "beach/prayer_of_a_tired_child.musicxml"),
)
TUNES = ("oneills1850", "ryansMammoth", "airdsAirs", "essenFolksong", "nottingham-dataset")

Row = tuple[str, str, float, bool, int, int, int, int, str]
"""Kind, what, seconds, proved, plucks, clusters, searched, solved, and what is to be said of it."""


def corpus() -> Path:
    """Where music21 keeps its corpus."""
    import music21

    return Path(music21.__file__).parent / "corpus"


def plans_of(kind: str, name: str, score: Score, part: str | None, player: str) -> Iterator[Row]:
    """One row for each tuning."""
    performance = perform_part(score, part)
    for tuning in ("C", "E-flat"):
        harp = retuned(find_harp("34"), parse_tuning(tuning))
        started = time.process_time()
        plan = make_plan(performance.plucks, harp, find_player(player))
        seconds = time.process_time() - started
        layers = plan.layers
        remark = "" if plan.proved else f"costs {plan.criteria.key}, at least {plan.bound}"
        if kind == "part":
            remark += "".join(f" WRONG: {wrong}" for wrong in violations(plan, performance.plucks))
        row = (layers.clusters, layers.searched, layers.solved, remark)
        yield (kind, f"{name} {tuning}", seconds, plan.proved, len(performance.plucks), *row)


def survey(task: tuple[str, str, str]) -> list[Row]:
    """The rows of one file."""
    kind, name, player = task
    path = corpus() / name
    rows: list[Row] = []
    try:
        if kind == "part":
            score = read_score(path)
            for number in sorted({1, len(score.parts)}):
                rows.extend(plans_of(kind, f"{name} {number}", score, str(number), player))
        elif kind == "tune":
            for number, score in enumerate(read_notation(path)):
                rows.extend(plans_of(kind, f"{name} {number}", score, "1", player))
        else:
            score = read_score(path)
            try:
                rows.extend(plans_of(kind, name, score, None, player))
            except HarpkeysError:
                rows.extend(plans_of(kind, name, score, str(len(score.parts)), player))
    except HarpkeysError:
        pass
    return rows


def print_table(rows: Sequence[Row]) -> None:
    """Shares by kind."""
    heads = (("plans", 7), ("proved", 9), ("in 2 s", 9), ("in 30 s", 9), ("fast path", 11), ("search", 8))
    print(" " * 10 + "".join(f"{head:>{width}}" for head, width in (*heads, ("solver", 8))))
    for kind in ("keyboard", "song", "tune", "part", "all"):
        own = [row for row in rows if kind in (row[0], "all")]
        if not own:
            continue
        count = Counter("solver" if row[7] else "search" if row[6] else "fast path" for row in own)
        shares = [
            sum(row[3] for row in own),
            sum(row[3] and row[2] <= 2 for row in own),
            sum(row[3] and row[2] <= 30 for row in own),
        ]
        text = "".join(f"{100 * share / len(own):8.1f}%" for share in shares)
        print(f"{kind:10}{len(own):7}{text}{count['fast path']:11}{count['search']:8}{count['solver']:8}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tunes", type=int, default=300, help="how many ABC files to take, 0 for none")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--player", default=DEFAULT_PLAYER.name, help="a player's name or times")
    parser.add_argument("--parts", action="store_true", help="the first and last part of every MusicXML file")
    wanted = parser.parse_args()
    if wanted.parts:
        paths = sorted(path for ending in ("*.xml", "*.mxl", "*.musicxml") for path in corpus().rglob(ending))
        tasks = [("part", str(path.relative_to(corpus())), wanted.player) for path in paths]
    else:
        tasks = [(kind, name, wanted.player) for kind, name in SCORES if (corpus() / name).exists()]
        files = sorted(path for name in TUNES for path in (corpus() / name).rglob("*.abc"))
        random.Random(wanted.seed).shuffle(files)
        names = [str(path.relative_to(corpus())) for path in files[: wanted.tunes]]
        tasks += [("tune", name, wanted.player) for name in names]
    rows: list[Row] = []
    with ProcessPoolExecutor(2) as pool:
        for found in pool.map(survey, tasks):
            rows += found
            for row in found:
                if row[0] in ("keyboard", "song") or row[2] > 2 or row[8]:
                    proved = "proved" if row[3] else "bounded"
                    print(f"{row[1]:55} {row[4]:5} plucks {row[2]:8.3f} s {proved} {row[8]}", flush=True)
    print_table(rows)


if __name__ == "__main__":
    main()

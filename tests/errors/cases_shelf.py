"""Mistakes in what is asked of many scores."""

from __future__ import annotations

from unittest import mock

from cases_score import HARP, bar, score, small_score
from reaching import Case

from harpkeys.shelf.model import Terms
from harpkeys.shelf.vetting import _performance

ONE = {"f/s.xml": score(HARP)}


def shelf(trigger: str, sentence: str, *words: str, **changed: object) -> Case:
    """A folder of one score."""
    names = {name.replace("__", "."): value for name, value in changed.items()}
    return Case(trigger, sentence, ("shelf", "f", "--harp", "26", *words), ONE, names)


CASES = (
    shelf(
        "--json beside --csv in shelf",
        "--json and --csv both say how to print; leave out one of them.",
        "--json",
        "--csv",
    ),
    shelf(
        "--cores beside --dask",
        "--cores and --dask both say who does the work; leave out one of them.",
        "--cores",
        "1",
        "--dask",
        "x",
    ),
    Case("a shelf that is not there", "f: there is no such folder; check its name.", ("shelf", "f")),
    Case(
        "a folder without scores",
        "f: no scores are in this folder; name a folder with files that end in .musicxml, .xml, .mxl.",
        ("shelf", "f"),
        {"f/readme.txt": ""},
    ),
    Case(
        "--dask without Dask",
        "Dask is not installed; install harpkeys with its extra, harpkeys[dask], or leave out --dask.",
        ("shelf", "f", "--dask", "tcp://localhost:1"),
        ONE,
        {"module distributed": None},
    ),
    Case(
        "--dask where no cluster answers",
        'no Dask cluster answers at "nowhere"; give its address, such as "tcp://localhost:8786".',
        ("shelf", "f", "--dask", "nowhere"),
        ONE,
        {"module distributed": mock.Mock(Client=mock.Mock(side_effect=OSError("no answer")))},
    ),
    Case(
        "--results names a file of another kind",
        "r.txt: this is no results file of a shelf; name another file, or a new one.",
        ("shelf", "f", "--results", "r.txt"),
        {**ONE, "r.txt": "my notes\n"},
    ),
    Case(
        "--results names a device or a pipe",
        "/dev/null: this is no ordinary file, so no results can be kept in it; name another one.",
        ("shelf", "f", "--results", "/dev/null"),
        ONE,
    ),
    Case(
        "--results names what cannot be read or written",
        "r: the results file cannot be read (Is a directory); name another one.",
        ("shelf", "f", "--results", "r"),
        {**ONE, "r/x": ""},
    ),
    shelf(
        "--only names no verdict",
        '--only cannot be "easy"; it is one of as set, with flips, with cuts, not as written, not vetted and '
        'playable, and may go on with a harp, such as "as set on 26".',
        "--only",
        "easy",
    ),
    shelf(
        "--only names a harp that is not in the run",
        '--only names the harp "34", which is none of this run\'s; name one of 26-string in C.',
        "--only",
        "as set on 34",
    ),
    shelf(
        "--sort names no order",
        '--sort cannot be "colour"; it is one of file, title, ease, flips, lost, up, notes, tempo.',
        "--sort",
        "colour",
    ),
    Case(
        "a score on a shelf whose part is empty (told in its row)",
        "part P1 has no notes to play; choose another part.",
        lambda: _performance(small_score(bar("")), Terms()),
    ),
)

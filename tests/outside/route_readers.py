"""The performed order of bars as music21 and partitura give it, for comparison.

music21 10 `repeat.Expander`; partitura 1.9 `unfold_part_maximal(ignore_leaps=False)`, the longest way
through the score without repeats after a jump.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

from harpkeys.score.reader import read_score
from harpkeys.score.route import perform


def spans(bars: list[int]) -> str:
    """Bar numbers from 1 with runs drawn together: "1-3 2-3 4"."""
    runs: list[list[int]] = []
    for bar in bars:
        if runs and runs[-1][1] + 1 == bar:
            runs[-1][1] = bar
        else:
            runs.append([bar, bar])
    return " ".join(f"{first}-{last}" if first != last else f"{first}" for first, last in runs)


def spelled_out(text: str) -> list[int]:
    """The bars of `spans`."""
    found: list[int] = []
    for run in text.split():
        first, _, last = run.partition("-")
        found += range(int(first), int(last or first) + 1)
    return found


def our_order(path: Path) -> str:
    """The order that harpkeys gives."""
    return spans([visit.measure + 1 for visit in perform(read_score(path)).visits])


def music21_order(path: Path) -> str:
    """The order that music21 gives the first part, or the error it stops with."""
    from music21 import converter, repeat

    part: Any = converter.parse(path, forceSource=True).parts[0]
    for number, measure in enumerate(part.getElementsByClass("Measure"), 1):
        measure.harpkeys_bar = number  # survives copying, unlike the printed number
    try:
        expanded = repeat.Expander(part).process()
        return spans([measure.harpkeys_bar for measure in expanded.getElementsByClass("Measure")])
    except (repeat.ExpanderException, IndexError) as error:
        return type(error).__name__


def partitura_order(path: Path) -> str:
    """The order that partitura gives the first part, or the error it stops with."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own deprecations, and its remarks on what it makes of the file
        import partitura

        try:
            part: Any = partitura.load_musicxml(str(path)).parts[0]
            for number, measure in enumerate(part.iter_all(partitura.score.Measure), 1):
                measure.number = number
            unfolded: Any = partitura.score.unfold_part_maximal(part, ignore_leaps=False)
        except (IndexError, ValueError, RecursionError, KeyError) as error:
            return type(error).__name__
    return spans([measure.number for measure in unfolded.iter_all(partitura.score.Measure)])

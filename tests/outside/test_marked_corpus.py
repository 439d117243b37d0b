"""Every file of music21's corpus marked and cleared again, and what other programs see of the marks.

Judges: W3C Canonical XML and the MusicXML 4.0 schema for what marking leaves alone; music21 (10.x),
partitura (1.9) and verovio (6.x) for the words and the places they find in what was written; they read a
seeded few of the files, all but the largest with HARPKEYS_WHOLE_CORPUS=1.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import warnings
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from pathlib import Path
from typing import Any

import page_replay
import pytest
from lxml import etree
from marked_pages import SCORES
from music21_notes import package_folder, package_scores
from schema import schema_errors

from harpkeys.errors import HarpkeysError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.document import cleared_document, marked_tree, marks_of, serialised
from harpkeys.mark.style import MarkStyle
from harpkeys.mark.words import LABELS
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, perform_part
from harpkeys.score.container import parse_score_tree
from harpkeys.score.reader import read_score

Seen = Counter[tuple[int, Fraction, str]]
"""Words on a page: bar from 0, quarters from its start, text on one line."""

SEED = 5
FILES = 16
LARGEST_BYTES = 60_000

ROUNDING = Fraction(1, 100)
"""Quarters; verovio writes places with few decimals."""


def planned(path: Path, part: str | None = None) -> tuple[Performance, Plan]:
    """A quick plan: whether it is the best does not matter to its marks."""
    performance = perform_part(read_score(path), part)
    return performance, make_plan(performance.plucks, find_harp("34 in E-flat"), DEFAULT_PLAYER, effort=0)


def canonical(tree: Any) -> bytes:
    """W3C Canonical XML, comments included."""
    return etree.tostring(tree, method="c14n", with_comments=True)


def complaints(tree: Any) -> list[str]:
    """What the schema says, without line numbers, which marks move."""
    return sorted(error.partition(": ")[2] for error in schema_errors(tree))


def marked_and_cleared(task: tuple[int, str]) -> tuple[str, int, list[str]]:
    """Mark a file and clear it again: its name, its flips, and what is not as it was."""
    number, name = task
    try:
        performance, plan = planned(package_folder() / name, "1")
    except HarpkeysError as error:
        return name, 0, [str(error)]
    style = MarkStyle(LABELS[number % len(LABELS)], colour_flagged=bool(number % 2))
    before = performance.score.tree
    after = parse_score_tree(serialised(marked_tree(performance, plan, style)))
    cleared, count = cleared_document(after)
    faults = []
    if canonical(parse_score_tree(cleared)) != canonical(before):
        faults.append("clearing does not bring it back")
    if after.docinfo.doctype != before.docinfo.doctype or after.docinfo.encoding != before.docinfo.encoding:
        faults.append("its document type or its encoding is another")
    if not count:
        faults.append("it has no marks")
    if complaints(after) != complaints(before):
        faults.append("the schema says otherwise")
    return name, len(plan.flips), faults


@pytest.mark.slow
def test_clearing_brings_back_every_file_of_music21() -> None:
    names = package_scores()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=2, mp_context=context) as pool:
        results = list(pool.map(marked_and_cleared, enumerate(names), chunksize=4))
    assert [(name, faults) for name, _, faults in results if faults] == []
    print(f"{len(results)} files, {sum(flips for _, flips, _ in results)} flips")
    assert len(results) >= 800
    assert sum(flips for _, flips, _ in results) > 8000


# What others see.


def expected(performance: Performance, plan: Plan, style: MarkStyle) -> Seen:
    """The marks that were to be written."""
    resolution = performance.score.resolution
    return Counter(
        (mark.measure, Fraction(mark.tick, resolution), page_replay.on_one_line(mark.text))
        for mark in marks_of(performance, plan, style)
    )


def seen_by_music21(path: Path, performance: Performance) -> Seen:
    bars = page_replay.read_page(path, *performance.parts)
    return Counter(
        (index, words.onset, page_replay.on_one_line(words.text))
        for index, bar in enumerate(bars)
        for words in bar.words
    )


def seen_by_partitura(path: Path, performance: Performance) -> Seen:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own deprecations, and its remarks on what it makes of the file
        import partitura

        parts = list(partitura.score.iter_parts(partitura.load_musicxml(str(path)).parts))
        found: Seen = Counter()
        for place in performance.parts:
            part = parts[place]
            starts = [measure.start.t for measure in part.iter_all(partitura.score.Measure)]
            for words in part.iter_all(partitura.score.Words, include_subclasses=True):
                index = max(number for number, start in enumerate(starts) if start <= words.start.t)
                quarters = part.quarter_map(words.start.t) - part.quarter_map(starts[index])
                onset = Fraction(float(quarters)).limit_denominator(1000)
                found[index, onset, page_replay.on_one_line(words.text)] += 1
    return found


def seen_by_verovio(path: Path, performance: Performance) -> Seen:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(path))
    mei = etree.fromstring(toolkit.getMEI().encode())
    found: Seen = Counter()
    for index, measure in enumerate(mei.iter("{*}measure")):
        beats = performance.score.measures[index].beats
        for words in measure.iter("{*}dir"):
            onset = (
                (Fraction(words.get("tstamp")).limit_denominator(1000) - 1) * 4 / (beats[1] if beats else 4)
            )
            pieces = [" " if piece.tag.endswith("}lb") else piece.text or "" for piece in words.iter()]
            tails = [piece.tail or "" for piece in words.iter()]
            text = "".join(piece + tail for piece, tail in zip(pieces, tails, strict=True))
            found[index, onset, page_replay.on_one_line(text)] += 1
    return found


READERS: dict[str, Callable[[Path, Performance], Seen]] = {
    "music21": seen_by_music21,
    "partitura": seen_by_partitura,
    "verovio": seen_by_verovio,
}


def without_full_stop(seen: Seen) -> Seen:
    """Words as partitura keeps them: it takes a full stop off their end."""
    found: Seen = Counter()
    for (index, onset, text), count in seen.items():
        found[index, onset, text.removesuffix(".")] += count
    return found


def missing(wanted: Seen, seen: Seen) -> Seen:
    """Marks that were not seen; a place may differ by the rounding of programs that count in decimals."""
    left, found = Counter(without_full_stop(wanted)), Counter(without_full_stop(seen))
    for mark in sorted(left.elements()):
        index, onset, text = mark
        near = [
            one
            for one in found
            if one[::2] == (index, text) and abs(one[1] - onset) < ROUNDING and found[one]
        ]
        if near:
            found[near[0]] -= 1
            left[mark] -= 1
    return +left


def unseen(path: Path, part: str | None, labels: int, target: Path) -> tuple[dict[str, Seen], list[str]]:
    """The marks of a file that other programs do not find where they were meant to be.

    Also the programs that cannot read the file, marked or not.
    """
    performance, plan = planned(path, part)
    style = MarkStyle(LABELS[labels % len(LABELS)])
    target.write_bytes(serialised(marked_tree(performance, plan, style)))
    wanted = expected(performance, plan, style)
    missed, unread = {}, []
    for name, see in READERS.items():
        try:
            missed[name] = missing(wanted, see(target, performance))
        except Exception:
            with pytest.raises((AttributeError, IndexError)):  # it must not read the file as it was, either
                see(path, performance)
            unread.append(name)
    return {name: marks for name, marks in missed.items() if marks}, unread


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_other_programs_see_the_marks_of_the_demo_scores(path: Path, tmp_path: Path) -> None:
    assert unseen(path, None, SCORES.index(path), tmp_path / "marked.musicxml") == ({}, [])


def test_marks_in_other_places_are_missed(tmp_path: Path) -> None:
    """A cue in the bar after its own, or none at all, is missed by every reader."""
    path = next(path for path in SCORES if path.stem == "five-bridges")
    performance, plan = planned(path)
    wanted = expected(performance, plan, MarkStyle())
    target = tmp_path / "marked.musicxml"
    for leave_out in (True, False):
        tree = marked_tree(performance, plan)
        cue = next(words for words in tree.iter("words") if "↑" in (words.text or "")).getparent().getparent()
        bar = cue.getparent()
        bar.remove(cue)
        if not leave_out:
            bar.getnext().find("note").addprevious(cue)
        target.write_bytes(serialised(tree))
        for see in READERS.values():
            assert missing(wanted, see(target, performance)).total() == 1


@pytest.mark.slow
def test_other_programs_see_the_marks_of_other_peoples_scores(tmp_path: Path) -> None:
    folder = package_folder()
    names = [name for name in package_scores() if name.startswith("corpus/")]
    names = [name for name in names if (folder / name).stat().st_size < LARGEST_BYTES]
    if os.environ.get("HARPKEYS_WHOLE_CORPUS") != "1":
        names = random.Random(SEED).sample(names, FILES)
    missed, unread = {}, []
    for number, name in enumerate(names):
        found, refused = unseen(folder / name, "1", number, tmp_path / f"{number}.musicxml")
        if found:
            missed[name] = found
        unread += [(name, program) for program in refused]
    print(f"{len(names)} files; not read, marked or not: {unread}")
    assert missed == {}
    assert len(unread) <= len(names) / 50

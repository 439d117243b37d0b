"""Every file of music21's corpus marked and cleared again, and what other programs see of the marks.

Judges: W3C Canonical XML and the MusicXML 4.0 schema for what marking leaves alone; music21 (10.x),
partitura (1.9) and verovio (6.x) for the words and the places they find in what was written; they read a
seeded few of the files, every one with HARPKEYS_WHOLE_CORPUS=1 (a quarter of an hour on two cores).
"""

from __future__ import annotations

import multiprocessing
import os
import random
import warnings
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from copy import deepcopy
from dataclasses import dataclass
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
"""Of the few; among all there are some of a megabyte."""

SUITE = "musicxml/lilypondTestSuite"
PLAIN = "dolce"
NO_BARS = "ValueError: no bars"

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
                start, moment = part.quarter_map([starts[index], words.start.t])
                onset = Fraction(float(moment - start)).limit_denominator(1000)
                found[index, onset, page_replay.on_one_line(words.text)] += 1
    return found


def seen_by_verovio(path: Path, performance: Performance) -> Seen:
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadFile(str(path))
    mei = etree.fromstring(toolkit.getMEI().encode())
    found: Seen = Counter()
    if mei.find(".//{*}measure") is None:
        raise ValueError("no bars")
    following = 0
    for measure in mei.iter("{*}measure"):
        index = following
        following += max((int(rest.get("num")) for rest in measure.iter("{*}multiRest")), default=1)
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


def by_moment(wanted: Seen, performance: Performance) -> Seen:
    """Marks as a program places them that keeps moments only: the end of a bar is the start of the next."""
    measures, resolution = performance.score.measures, performance.score.resolution
    found: Seen = Counter()
    for (index, onset, text), count in wanted.items():
        past = index + 1 < len(measures) and onset == Fraction(measures[index].length, resolution)
        found[(index + 1, Fraction(0), text) if past else (index, onset, text)] += count
    return found


def attempt(see: Callable[[Path, Performance], Seen], path: Path, performance: Performance) -> Seen | str:
    """The words that a program finds in a file, or what it says that it cannot read."""
    try:
        return see(path, performance)
    except Exception as error:
        return f"{type(error).__name__}: {error}"


def sees_other_words(
    see: Callable[[Path, Performance], Seen], performance: Performance, marks: Seen, target: Path
) -> bool:
    """Whether a program sees plain words in place of marks that it misses; these must start their bars."""
    tree = deepcopy(performance.score.tree)
    part = tree.findall("part")[performance.parts[0]]
    for index, onset, _ in marks:
        if onset:
            return True
        direction = etree.Element("direction")
        etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = PLAIN
        part.findall("measure")[index].find("note").addprevious(direction)
    target.write_bytes(serialised(tree))
    return any(text == PLAIN for _, _, text in see(target, performance))


@dataclass(frozen=True)
class Sight:
    """What other programs make of a marked file.

    Attributes:
        marks: how many were written.
        missed: by program those that it does not find where they were meant to be.
        unread: by program what it says of the file, marked or not, that it cannot read.
        faults: what it does not read or see only because the file is marked.
    """

    marks: int
    missed: dict[str, Seen]
    unread: dict[str, str]
    faults: tuple[str, ...]


def sight_of(path: Path, part: str | None, labels: int, target: Path) -> Sight:
    """Mark a file and show it to the other programs."""
    performance, plan = planned(path, part)
    style = MarkStyle(LABELS[labels % len(LABELS)])
    target.write_bytes(serialised(marked_tree(performance, plan, style)))
    wanted = expected(performance, plan, style)
    missed, unread, faults = {}, {}, []
    for name, see in READERS.items():
        seen = attempt(see, target, performance)
        if isinstance(seen, str):
            unread[name] = seen
            if attempt(see, path, performance) != seen:
                faults.append(f"{name}: {seen}")
            continue
        left = missing(by_moment(wanted, performance) if name == "partitura" else wanted, seen)
        if left:
            missed[name] = left
            if sees_other_words(see, performance, left, target):
                faults.append(f"{name}: {left}")
    return Sight(wanted.total(), missed, unread, tuple(faults))


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_other_programs_see_the_marks_of_the_demo_scores(path: Path, tmp_path: Path) -> None:
    sight = sight_of(path, None, SCORES.index(path), tmp_path / "marked.musicxml")
    assert (sight.missed, sight.unread, sight.faults) == ({}, {}, ())
    assert sight.marks


LONG_REST = """<score-partwise version="4.0">
<part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list><part id="P1">
<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>
<clef><sign>G</sign><line>2</line></clef></attributes><note><pitch><step>F</step><octave>4</octave></pitch>
<duration>4</duration></note></measure>
<measure number="2"><attributes><measure-style><multiple-rest>2</multiple-rest></measure-style></attributes>
<note><rest measure="yes"/><duration>4</duration></note></measure>
<measure number="3"><note><rest measure="yes"/><duration>4</duration></note></measure>
<measure number="4"><note><pitch><step>F</step><alter>1</alter><octave>4</octave></pitch>
<duration>4</duration></note></measure></part></score-partwise>"""


def test_other_programs_see_a_cue_beside_a_long_rest(tmp_path: Path) -> None:
    """verovio leaves out what stands in bars under a multiple rest: the cue is at the last note before."""
    path = tmp_path / "rest.musicxml"
    path.write_text(LONG_REST, "utf-8")
    sight = sight_of(path, None, 0, tmp_path / "marked.musicxml")
    assert (sight.missed, sight.unread, sight.faults) == ({}, {}, ())
    performance, plan = planned(path)
    assert (0, Fraction(0), "F♯4 ↑") in expected(performance, plan, MarkStyle(LABELS[0]))


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


def test_what_fails_only_when_marked_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that breaks down on the words of marks, and one that does not see them but does see others."""

    def break_down(path: Path, performance: Performance) -> Seen:
        if "Levers up" in path.read_text("utf-8"):
            raise KeyError("Levers up")
        return Counter()

    def look_away(path: Path, performance: Performance) -> Seen:
        return Counter(
            {mark: count for mark, count in seen_by_music21(path, performance).items() if PLAIN in mark}
        )

    monkeypatch.setattr("test_marked_corpus.READERS", {"one": break_down, "two": look_away})
    path = next(path for path in SCORES if path.stem == "heron-standing")
    sight = sight_of(path, None, 0, tmp_path / "marked.musicxml")
    assert sight.unread == {"one": "KeyError: 'Levers up'"}
    assert sight.missed["two"].total() == sight.marks
    assert [fault.partition(":")[0] for fault in sight.faults] == ["one", "two"]


UNREAD = {
    # An <accidental> without a sign, and one that it does not know.
    ("corpus/trecento/PMFC_13_07-Gloria Laus Honor.xml", "partitura"): "KeyError: 'None'",
    (f"{SUITE}/01f-Pitches-EditorialMicrotoneAccidentals.xml", "partitura"): "KeyError: 'quarter-flat'",
    # Four dots; a fingering without a number; a note without pitch before a chord.
    ("corpus/schumann_robert/opus41no1/movement4.mxl", "partitura"): "IndexError: tuple index out of range",
    (f"{SUITE}/32ab-Notations3.xml", "partitura"): "IndexError: list index out of range",
    (
        "corpus/demos/drum_sample.xml",
        "partitura",
    ): "AttributeError: 'UnpitchedNote' object has no attribute 'is_grace_chord'",
    # No <attributes> at all: it draws nothing.
    (f"{SUITE}/41g-PartNoId.xml", "verovio"): NO_BARS,
    (f"{SUITE}/41h-TooManyParts.xml", "verovio"): NO_BARS,
    (f"{SUITE}/51b-Header-Quotes.xml", "verovio"): NO_BARS,
    (f"{SUITE}/51c-MultipleRights.xml", "verovio"): NO_BARS,
    (f"{SUITE}/51d-EmptyTitle.xml", "verovio"): NO_BARS,
}
"""Files of music21 that a program cannot read as they are, and what it says."""

UNSEEN = {
    # Bars under a multiple rest: it leaves out every direction in them.
    (f"{SUITE}/02a-Rests-Durations.xml", "verovio"): 1,
    (f"{SUITE}/02c-Rests-MultiMeasureRests.xml", "verovio"): 1,
    (f"{SUITE}/02d-Rests-Multimeasure-TimeSignatures.xml", "verovio"): 1,
}
"""Files of music21 in which a program does not see so many marks, nor other words in their place."""


def sight_in_package(task: tuple[int, str, str]) -> tuple[str, Sight]:
    """`sight_of` for a file of music21, by number, name and folder to write into."""
    number, name, folder = task
    return name, sight_of(package_folder() / name, "1", number, Path(folder, f"{number}.musicxml"))


@pytest.mark.slow
def test_other_programs_see_the_marks_of_other_peoples_scores(tmp_path: Path) -> None:
    folder = package_folder()
    sizes = {name: (folder / name).stat().st_size for name in package_scores()}
    whole = os.environ.get("HARPKEYS_WHOLE_CORPUS") == "1"
    small = [name for name, size in sizes.items() if name.startswith("corpus/") and size < LARGEST_BYTES]
    names = list(sizes) if whole else random.Random(SEED).sample(small, FILES)
    tasks = [(number, name, str(tmp_path)) for number, name in enumerate(names)]
    if whole:
        tasks.sort(key=lambda task: -sizes[task[1]])
        with ProcessPoolExecutor(max_workers=2, mp_context=multiprocessing.get_context("spawn")) as pool:
            sights = dict(pool.map(sight_in_package, tasks))
    else:
        sights = dict(map(sight_in_package, tasks))
    for program in READERS:
        read = [sight for sight in sights.values() if program not in sight.unread]
        seen = sum(sight.marks - sight.missed.get(program, Counter()).total() for sight in read)
        print(f"{program}: {seen} of {sum(sight.marks for sight in read)} marks in {len(read)} files")
    assert {name: sight.faults for name, sight in sights.items() if sight.faults} == {}
    missed = {(name, program): left for name in sights for program, left in sights[name].missed.items()}
    assert {place: left.total() for place, left in missed.items()} == {
        place: count for place, count in UNSEEN.items() if place[0] in sights
    }
    unread = {(name, program): told for name in sights for program, told in sights[name].unread.items()}
    assert unread == {place: told for place, told in UNREAD.items() if place[0] in sights}
    assert len(sights) == (len(sizes) if whole else FILES)

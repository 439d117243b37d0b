"""Marking changes nothing but marks: judged by W3C Canonical XML and by the MusicXML 4.0 schema."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from lxml import etree
from marked_pages import HARPS, SCORES, report_on
from music21_notes import package_folder, package_scores
from schema import schema_errors

from harpkeys.mark.clear import is_marked
from harpkeys.mark.document import cleared_document, marked_document
from harpkeys.mark.style import MarkStyle
from harpkeys.mark.words import LABELS
from harpkeys.report.model import Report
from harpkeys.score.container import open_score, read_tree

SEED = 21
FILES = 60
LARGEST_BYTES = 30_000


def tree_of(data: bytes) -> etree._ElementTree:
    return etree.ElementTree(etree.fromstring(data))


def canonical(tree: etree._ElementTree) -> bytes:
    """W3C Canonical XML, comments included."""
    data: bytes = etree.tostring(tree, method="c14n", with_comments=True)
    return data


def complaints(tree: etree._ElementTree) -> list[str]:
    """What the schema says, without line numbers, which marks move."""
    return sorted(error.partition(": ")[2] for error in schema_errors(tree))


def what_is_wrong(path: Path, report: Report, style: MarkStyle, folder: Path) -> list[str]:
    """Whatever marking a file does to it beside marking it."""
    before = read_tree(open_score(path))
    data = marked_document(report, style)
    after = tree_of(data)
    target = folder / "marked.musicxml"
    target.write_bytes(data)
    found = []
    if is_marked(before.getroot()):
        found.append("was marked before")
    if not is_marked(after.getroot()):
        found.append("is not marked")
    cleared, count = cleared_document(after)
    if canonical(tree_of(cleared)) != canonical(before):
        found.append("clearing does not bring it back")
    if not count:
        found.append("no mark was taken off")
    if complaints(after) != complaints(before):
        found.append("the schema says otherwise")
    if marked_document(report, style) != data:
        found.append("marking again differs")
    part = report.performance.score.parts[report.performance.parts[0]].id
    again = report_on(target, HARPS[0], part)
    if (again.plan.plays, again.plan.flips, again.plan.starting) != (
        report.plan.plays,
        report.plan.flips,
        report.plan.starting,
    ):
        found.append("the marked file gets another plan")
    if canonical(tree_of(marked_document(again, style))) != canonical(after):
        found.append("marks double or move when marked anew")
    return found


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_demo_scores_change_in_nothing_but_marks(path: Path, tmp_path: Path) -> None:
    style = MarkStyle(LABELS[SCORES.index(path) % len(LABELS)], colour_flagged=True)
    assert what_is_wrong(path, report_on(path, HARPS[0]), style, tmp_path) == []


@pytest.mark.slow
def test_other_peoples_scores_change_in_nothing_but_marks(tmp_path: Path) -> None:
    folder = package_folder()
    names = [name for name in package_scores() if name.startswith("corpus/")]
    names = [name for name in names if (folder / name).stat().st_size < LARGEST_BYTES]
    wrong: dict[str, list[str]] = {}
    flips = 0
    for number, name in enumerate(random.Random(SEED).sample(names, FILES)):
        path = folder / name
        opened = read_tree(open_score(path))
        part = opened.getroot().find(".//part").get("id")
        report = report_on(path, HARPS[0], part)
        flips += len(report.plan.flips)
        style = MarkStyle(LABELS[number % len(LABELS)], colour_flagged=bool(number % 2))
        found = what_is_wrong(path, report, style, tmp_path)
        if found:
            wrong[name] = found
    assert wrong == {}
    assert flips > FILES


def test_the_words_of_others_are_left_alone() -> None:
    """A boxed word of the same form, with attributes of its own, is not taken off with the marks."""
    report = report_on(SCORES[0], HARPS[0])
    root = etree.fromstring(marked_document(report))
    theirs = etree.fromstring(
        "<direction><direction-type><words font-weight='bold'>F♯4 ↑</words></direction-type></direction>"
    )
    root.find("part/measure").insert(0, theirs)
    cleared, _ = cleared_document(etree.ElementTree(root))
    assert [words.text for words in etree.fromstring(cleared).iter("words") if "↑" in words.text] == ["F♯4 ↑"]


def test_only_lost_notes_are_coloured() -> None:
    """Where marks stand before a note in its bar, the colour still finds the note."""
    fog = next(path for path in SCORES if path.stem == "fog-on-the-cut")
    report = report_on(fog, HARPS[0])
    root = etree.fromstring(marked_document(report, MarkStyle(colour_flagged=True)))
    tree = report.performance.score.tree
    notes = list(tree.getroot().iter("note"))
    lost = {number for number, play in enumerate(report.plan.plays) if play is None}
    cut = {flip.after for flip in report.plan.flips if flip.is_cut}
    written = [report.performance.plucks[number].note for number in lost | cut]
    wanted = {note.node for note in written if note is not None}
    coloured = [place for place, note in enumerate(root.iter("note")) if note.get("color")]
    assert coloured
    assert coloured == [place for place, note in enumerate(notes) if note in wanted]
    assert {element.tag for element in root.iter() if element.get("color")} == {"note"}


def test_an_unmarked_score_has_nothing_to_clear() -> None:
    before = read_tree(open_score(SCORES[0]))
    cleared, count = cleared_document(before)
    assert count == 0
    assert canonical(tree_of(cleared)) == canonical(before)

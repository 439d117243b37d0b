"""Marked files and what a reader of the page alone makes of them, for the tests that judge marks."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import page_replay
from music21_notes import package_folder
from route_readers import music21_order, spans, spelled_out

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.document import marked_document
from harpkeys.mark.style import MarkStyle
from harpkeys.mark.words import LABELS, Labels
from harpkeys.report.model import Report
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.reader import read_score

HARPS = ("34", "34 in E-flat")
ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "corpus"
SCORES = sorted(path for path in CORPUS.iterdir() if path.suffix in (".musicxml", ".mxl"))

Place = tuple[int, int, Fraction, float]
"""Bar, its pass, quarters from its start, sounding number."""


@dataclass(frozen=True)
class Outcome:
    """What the replay of one file found.

    Attributes:
        name: the file.
        order: "" where music21 plays the bars in the same order, else what it does; the bars are then
            taken in the order of `harpkeys.score.route`, which test_route_reference.py judges.
        played: notes that were listened to.
        cues: flips of the plan.
        wrong: notes that sound wrong although the plan does not give them up.
        right: notes that the plan gives up and that sound right all the same; no fault of the page.
    """

    name: str
    order: str
    played: int
    cues: int
    wrong: tuple[Place, ...]
    right: tuple[Place, ...]


def rig_of(harp: Harp) -> page_replay.Rig:
    """The harp as the player of the page knows it."""
    return page_replay.Rig(
        harp.tuning, divmod(harp.strings[0].diatonic, 7), divmod(harp.strings[-1].diatonic, 7)
    )


def report_on(path: Path, harp: str, part: str | None = None, effort: int = 0) -> Report:
    """A report with any plan, since every plan has to come back from the page."""
    return vet(read_score(path), find_harp(harp), DEFAULT_PLAYER, Wishes(part=part, effort=effort))


def given_up(report: Report) -> Counter[Place]:
    """The written notes that the plan loses."""
    resolution = report.performance.score.resolution
    return Counter(
        (
            pluck.place.measure,
            pluck.place.number,
            Fraction(pluck.place.tick, resolution),
            float(pluck.pitch.midi),
        )
        for pluck, play in zip(report.performance.plucks, report.plan.plays, strict=True)
        if play is None and pluck.kind != "auxiliary"
    )


def replayed(path: Path, harp: str, labels: Labels, part: str | None, target: Path) -> Outcome:
    """Mark a file, write it, and play what is written.

    Args:
        path: the score.
        harp: the harp's name.
        labels: how strings are named.
        part: which part.
        target: where the marked file goes.
    """
    report = report_on(path, harp, part)
    target.write_bytes(marked_document(report, MarkStyle(labels)))
    ours = spans([visit.measure + 1 for visit in report.performance.timeline.visits])
    theirs = music21_order(target)
    differs = "" if ours == theirs else theirs
    bars = page_replay.read_page(target, *report.performance.parts)
    order = [bar - 1 for bar in spelled_out(ours)]
    missed, played = page_replay.replay(bars, order, rig_of(report.plan.harp))
    found = Counter((miss.bar, miss.number, miss.onset, miss.midi) for miss in missed)
    lost = given_up(report)
    wrong, right = tuple((found - lost).elements()), tuple((lost - found).elements())
    return Outcome(path.name, differs, played, len(report.plan.flips), wrong, right)


def replayed_in_corpus(task: tuple[int, str, str]) -> Outcome:
    """`replayed` for a file of music21, by number, name and folder to write into."""
    number, name, folder = task
    path = package_folder() / name
    harp, labels = HARPS[number % len(HARPS)], LABELS[number % len(LABELS)]
    part = read_score(path).parts[0].id
    outcome = replayed(path, harp, labels, part, Path(folder, f"{number}.musicxml"))
    return Outcome(name, outcome.order, outcome.played, outcome.cues, outcome.wrong, outcome.right)

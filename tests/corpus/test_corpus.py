"""The demo scores, and the answers worked out by hand in their sidecars.

The sidecars were reasoned from the planning problem's rules before any planner had seen the scores; where
code and sidecar disagree, one of the two is wrong and has to be found out. Outside judges of the scores: the
MusicXML 4.0 schema and music21's reader.
"""

from __future__ import annotations

import subprocess
import sys
import tomllib
import warnings
import zipfile
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from io import BytesIO
from itertools import chain
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from schema import schema_errors

from harpkeys.harp.files import load_harp
from harpkeys.harp.model import STATE_NAMES
from harpkeys.harp.players import find_player
from harpkeys.pitch import diatonic_name
from harpkeys.plan.checker import violations
from harpkeys.plan.model import Flip
from harpkeys.report.model import Report
from harpkeys.report.vet import vet
from harpkeys.score.model import Score
from harpkeys.score.pluck import Pluck
from harpkeys.score.reader import read_score

ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "corpus"
SCORES = sorted(path for path in CORPUS.iterdir() if path.suffix in (".musicxml", ".mxl"))
SIDECARS = {path.stem: tomllib.loads(path.read_text("utf-8")) for path in sorted(CORPUS.glob("*.toml"))}
CRITERIA = ("lost", "lost_auxiliaries", "cuts", "flips", "off_string", "right_hand")


@dataclass(frozen=True)
class Case:
    """One answer of one sidecar."""

    name: str
    number: int

    @property
    def answer(self) -> dict[str, Any]:
        """What the sidecar expects."""
        answer: dict[str, Any] = SIDECARS[self.name]["answer"][self.number]
        return answer

    def __str__(self) -> str:
        return f"{self.name}-{Path(self.answer['harp']).stem}-{self.answer['player']}"


CASES = [Case(name, number) for name, sidecar in SIDECARS.items() for number in range(len(sidecar["answer"]))]
by_case = pytest.mark.parametrize("case", CASES, ids=str)
WORKED_OUT = [case for case in CASES if "criteria" in case.answer]
by_worked_case = pytest.mark.parametrize("case", WORKED_OUT, ids=str)
by_score = pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)


@cache
def score_of(name: str) -> Score:
    """The score of this name."""
    return read_score(next(path for path in SCORES if path.stem == name))


@cache
def report_of(case: Case) -> Report:
    """What harpkeys says of a case."""
    harp = load_harp(CORPUS / case.answer["harp"]).harp
    return vet(score_of(case.name), harp, find_player(case.answer["player"]))


def place(report: Report, pluck: Pluck) -> dict[str, Any]:
    """A pluck's place as a sidecar writes it."""
    score = report.performance.score
    quarters = Fraction(pluck.place.tick, score.resolution)
    return {
        "bar": score.measures[pluck.place.measure].number,
        "q": str(quarters),
        "pass": pluck.place.number,
    }


def seconds(milliseconds: int) -> float:
    """Milliseconds as seconds, as sidecars give them."""
    return milliseconds / 1000


def document(path: Path) -> bytes:
    """The MusicXML text in a score file."""
    data = path.read_bytes()
    if path.suffix != ".mxl":
        return data
    with zipfile.ZipFile(BytesIO(data)) as archive:
        return archive.read(f"{path.stem}.musicxml")


def test_every_score_has_its_sidecar() -> None:
    assert len(SCORES) >= 10
    assert [path.stem for path in SCORES] == list(SIDECARS)
    listed = (CORPUS / "README.md").read_text("utf-8")
    assert all(f"[{SIDECARS[path.stem]['title']}]({path.name})" in listed for path in SCORES)


def test_the_writer_reproduces_the_scores(tmp_path: Path) -> None:
    script = ROOT / "scripts" / "compose_corpus.py"
    subprocess.run([sys.executable, str(script), str(tmp_path)], check=True, capture_output=True, timeout=60)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(path.name for path in SCORES)
    for path in SCORES:
        written = tmp_path / path.name
        assert document(written) == document(path), path.name
        if path.suffix == ".mxl":  # Deflate may differ between builds of zlib; what is inside may not.
            members = [
                [(m.filename, m.date_time, m.compress_type, m.CRC) for m in zipfile.ZipFile(p).infolist()]
                for p in (written, path)
            ]
            assert members[0] == members[1]
        else:
            assert written.read_bytes() == path.read_bytes()


@by_score
def test_scores_are_valid_by_the_schema(path: Path) -> None:
    tree = etree.fromstring(document(path), etree.XMLParser(load_dtd=False, no_network=True))
    assert schema_errors(tree.getroottree()) == []


def by_music21(path: Path) -> Any:
    """The score as music21 reads it, without a warning."""
    import music21

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", DeprecationWarning)
        return music21.converter.parseData(document(path).decode(), format="musicxml")


@by_score
def test_music21_reads_the_same_bars_and_notes(path: Path) -> None:
    other, score = by_music21(path), score_of(path.stem)
    assert len(list(other.parts[0].getElementsByClass("Measure"))) == len(score.measures)
    pitches = sorted(p.midi for n in other.recurse().notes if "Harmony" not in n.classes for p in n.pitches)
    ours = sorted(n.pitch.midi for n in score.parts[0].notes if n.pitch is not None)
    assert pitches == ours


@pytest.mark.parametrize("name", SIDECARS)
def test_scores_say_what_their_sidecars_say(name: str) -> None:
    sidecar, score = SIDECARS[name], score_of(name)
    assert score.title == sidecar["title"]
    told = sidecar.get("remarks", [])
    assert len(score.remarks) == len(told)
    assert all(word in remark for word, remark in zip(told, score.remarks, strict=True))
    assert len(score.measures) == sidecar["bars"]
    assert score.tempos[0].bpm == sidecar["tempo"]
    rights = score.tree.getroot().findtext("identification/rights")
    assert rights == sidecar["licence"] == "Composed for this project, under the project's licence."


@pytest.mark.parametrize("name", SIDECARS)
def test_bars_are_played_in_the_order_worked_out(name: str) -> None:
    performance = report_of(Case(name, 0)).performance
    stretches = [stretch.split("-") for stretch in SIDECARS[name]["performed"].split()]
    expected = chain.from_iterable(range(int(first), int(last) + 1) for first, last in stretches)
    played = [performance.score.measures[visit.measure].number for visit in performance.timeline.visits]
    assert played == [str(number) for number in expected]
    end = performance.clock.at(performance.timeline.length)
    assert seconds(end) == pytest.approx(SIDECARS[name]["ends"], abs=0.0005)


@pytest.mark.parametrize("name", ["doorstep-jig", "the-mill-turns", "twice-round-the-well"])
def test_music21_plays_repeats_and_jumps_the_same(name: str) -> None:
    upper = by_music21(next(path for path in SCORES if path.stem == name)).parts[0].expandRepeats()
    performance = report_of(Case(name, 0)).performance
    assert len(upper.getElementsByClass("Measure")) == len(performance.timeline.visits)
    pitches = [pitch.midi for note in upper.recurse().notes for pitch in sorted(note.pitches)]
    assert pitches == [pluck.pitch.midi for pluck in performance.plucks if pluck.hand == "right"]


@by_case
def test_verdict_and_criteria(case: Case) -> None:
    report = report_of(case)
    assert report.verdict == case.answer["verdict"]
    if "criteria" in case.answer:
        assert {name: getattr(report.plan.criteria, name) for name in CRITERIA} == case.answer["criteria"]
        assert report.plan.proved


@by_worked_case
def test_starting_levers(case: Case) -> None:
    plan = report_of(case).plan
    raised = [string.name for string, state in zip(plan.harp.strings, plan.starting, strict=True) if state]
    assert raised == case.answer["starting_levers"]


@by_worked_case
def test_flips_lie_where_worked_out(case: Case) -> None:
    report = report_of(case)
    expected = case.answer.get("flip", [])

    def told(flip: Flip) -> dict[str, Any]:
        return {
            "string": report.harp.strings[flip.string].name,
            "to": STATE_NAMES[flip.to],
            "hand": flip.hand,
            "after": place(report, report.performance.plucks[flip.after]),
            "before": place(report, report.performance.plucks[flip.before]),
        }

    def order(row: dict[str, Any]) -> tuple[str, int, int]:
        return row["string"], int(row["before"]["bar"]), row["before"]["pass"]

    found = sorted(((told(flip), flip) for flip in report.plan.flips), key=lambda row: order(row[0]))
    wanted = sorted(expected, key=order)
    named = ("string", "to", "hand", "after", "before")
    assert [row for row, _ in found] == [{key: row[key] for key in named} for row in wanted]
    for (_, flip), row in zip(found, wanted, strict=True):
        start = seconds(flip.start)
        assert any(low <= start <= high for low, high in row["start"]), (row, start)
        assert flip.is_cut == ("cut" in row)
        low, high = row.get("cut", (0, 0))
        assert low <= seconds(flip.cut) <= high


@by_case
def test_notes_are_lost_where_and_why_worked_out(case: Case) -> None:
    report = report_of(case)
    lost = [
        {**place(report, pluck), "written": pluck.pitch.name, "reason": reason}
        for pluck, reason in zip(report.performance.plucks, report.plan.lost, strict=True)
        if reason is not None
    ]
    for row in case.answer.get("lost_one_of", ()):
        choices = [{**row, "written": written} for written in row["written"]]
        assert any(choice in lost for choice in choices)
    if "criteria" in case.answer:
        key = str
        assert sorted(lost, key=key) == sorted(
            (
                {name: row[name] for name in ("bar", "q", "pass", "written", "reason")}
                for row in case.answer.get("lost", ())
            ),
            key=key,
        )


@by_worked_case
def test_off_string_notes(case: Case) -> None:
    report = report_of(case)
    off = [
        {**place(report, pluck), "written": pluck.pitch.name, "string": report.harp.strings[play[0]].name}
        for pluck, play in zip(report.performance.plucks, report.plan.plays, strict=True)
        if play and report.harp.strings[play[0]].name != diatonic_name(pluck.pitch.diatonic)
    ]
    assert off == case.answer.get("off_string", [])


@by_case
def test_hands(case: Case) -> None:
    report = report_of(case)
    measures = report.performance.score.measures
    found = [
        {"bar": measures[w.place.measure].number, "hand": w.hand, "what": w.what} for w in report.warnings
    ]
    expected = case.answer.get("hands", [])
    assert sorted(found, key=str) == sorted(expected, key=str)


@by_case
def test_plans_stand_the_independent_check(case: Case) -> None:
    report = report_of(case)
    alters = report.keys[0].key.alters
    assert violations(report.plan, report.performance.plucks, first_key_alters=alters) == ()


def test_nearly_every_answer_is_worked_out_whole() -> None:
    assert [str(case) for case in CASES if case not in WORKED_OUT] == ["heron-standing-kestrel-steady"]
    assert all("starting_levers" in case.answer for case in WORKED_OUT)


def test_the_answers_show_everything() -> None:
    answers = [case.answer for case in CASES]
    assert {answer["verdict"] for answer in answers} == {
        "as set",
        "with flips",
        "with cuts",
        "not as written",
    }
    lost = [row["reason"] for answer in answers for row in answer.get("lost", ())]
    assert set(lost) == {"below", "above", "no lever", "clash", "no time"}
    criteria = [answer["criteria"] for answer in answers if "criteria" in answer]
    for name in CRITERIA:
        assert any(row[name] for row in criteria), name
    flips = [row for answer in answers for row in answer.get("flip", ())]
    assert {(row["to"], row["hand"]) for row in flips} == {
        (to, hand) for to in STATE_NAMES for hand in ("left", "right")
    }
    assert any("cut" in row for row in flips)
    assert any(row["before"]["pass"] > row["after"]["pass"] for row in flips), "a reset before a repeat"
    assert {row["what"] for answer in answers for row in answer.get("hands", ())} == {
        "notes",
        "span",
        "repeat",
    }


def test_the_scores_show_the_notation_they_promise() -> None:
    tags = {element.tag for path in SCORES for element in etree.fromstring(document(path)).iter()}
    ornaments = {"trill-mark", "mordent", "inverted-mordent", "turn", "accidental-mark", "grace", "tremolo"}
    signs = {"harmony", "glissando", "harmonic", "arpeggiate", "fermata", "tuplet", "tie"}
    wanted = ornaments | signs | {"ending", "repeat", "segno", "coda"}
    assert wanted <= tags
    assert any(path.suffix == ".mxl" for path in SCORES)
    assert max(sidecar["bars"] for sidecar in SIDECARS.values()) >= 64

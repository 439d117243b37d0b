"""One file on several harps, held to `vet`, which plans each by itself; and files that cannot be vetted."""

from __future__ import annotations

import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from instances import random_instance
from shelves import CORPUS, INSTRUMENTS, score_text

from harpkeys.plan.model import Criteria
from harpkeys.plan.planner import DEFAULT_EFFORT, make_plan
from harpkeys.report.vet import Wishes, verdict_of, verdict_settled, vet
from harpkeys.score.reader import read_score
from harpkeys.shelf import vetting
from harpkeys.shelf.model import Book, Finding, Row, Task, Terms, digest_of, key_of
from harpkeys.shelf.vetting import vet_file


def rows_of(path: Path, terms: Terms | None = None) -> tuple[Row, ...]:
    return vet_file(Task(Book(path.name, path), INSTRUMENTS, terms or Terms()))


@pytest.mark.parametrize("effort", [0, 1])
@pytest.mark.parametrize(
    "name", ["five-bridges.musicxml", "owl-light-lullaby.mxl", "the-mill-turns.musicxml"]
)
def test_rows_tell_what_vet_tells(name: str, effort: int) -> None:
    terms = Terms(scale=Fraction(9, 10), effort=effort)
    for row, instrument in zip(rows_of(CORPUS / name, terms), INSTRUMENTS, strict=True):
        wishes = Wishes(effort=effort, scale=terms.scale)
        report = vet(read_score(CORPUS / name), instrument.harp, instrument.player, wishes)
        found = row.finding
        assert found is not None
        assert row.label == instrument.label
        assert (found.verdict, found.proved, found.effort) == (report.verdict, report.plan.proved, effort)
        assert found.criteria == report.plan.criteria.key
        assert found.levers_up == sum(report.plan.starting)
        assert found.plucks == len(report.performance.plucks)
        ceiling = report.tempo.ceiling
        assert found.ceiling == (None if ceiling is None else ceiling.factor)


def test_a_file_is_read_and_performed_once_for_all_harps(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    for name in ("read_score", "perform_part"):
        real = getattr(vetting, name)
        monkeypatch.setattr(vetting, name, lambda *a, real=real, name=name: calls.append(name) or real(*a))
    assert len(rows_of(CORPUS / "the-loom.musicxml")) == len(INSTRUMENTS)
    assert calls == ["read_score", "perform_part"]


PROBLEMS = {
    "shopping.xml": (
        "<shopping/>",
        "the root element is <shopping>, not that of a MusicXML score; export the score from its notation "
        "program as MusicXML (.musicxml or .mxl).",
    ),
    "empty.xml": (
        "",
        "the file is empty; export the score from its notation program as MusicXML (.musicxml or .mxl).",
    ),
    "duo.xml": (
        score_text("C5", parts=2, names=("Flute", "Oboe")),
        "no telling which part is the harp's; choose one of P1 (Flute), P2 (Oboe).",
    ),
    "silence.xml": (score_text(), "part P1 has no notes to play; choose another part."),
}


@pytest.mark.parametrize("name", PROBLEMS)
def test_what_cannot_be_vetted_is_a_row_with_its_reason(name: str, tmp_path: Path) -> None:
    text, sentence = PROBLEMS[name]
    path = tmp_path / name
    path.write_text(text)
    rows = rows_of(path)
    assert [row.label for row in rows] == [instrument.label for instrument in INSTRUMENTS]
    assert {(row.finding, row.problem, row.passing) for row in rows} == {(None, sentence, False)}


def test_what_cannot_be_read_is_tried_again_another_time(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.xml")
    for name in ("pipe.xml", "gone.xml"):
        rows = rows_of(tmp_path / name)
        assert all(row.passing and row.problem and not row.digest for row in rows)


def test_an_error_of_the_program_is_a_row_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*words: object) -> None:
        raise RecursionError("too deep")

    monkeypatch.setattr(vetting, "perform_part", fail)
    assert {row.problem for row in rows_of(CORPUS / "the-loom.musicxml")} == {
        "vetting broke off (RecursionError: too deep)."
    }


def finding_of(path: Path, terms: Terms) -> Finding | str:
    row = rows_of(path, terms)[1]
    return row.finding or row.problem


def test_parts(tmp_path: Path) -> None:
    path = tmp_path / "duo.xml"
    path.write_text(score_text("C5", parts=2, names=("Flute", "Oboe")))
    parts = [
        finding_of(path, terms)
        for terms in (
            Terms(else_part="2"),
            Terms(part="flute"),
            Terms(part="harp", else_part="P1+P2"),
            Terms(part="harp"),
        )
    ]
    assert [found.part if isinstance(found, Finding) else found for found in parts] == [
        "P2",
        "P1",
        "P1+P2",
        "there is no part 'harp'; choose one of P1 (Flute), P2 (Oboe).",
    ]


def test_a_score_that_tells_its_harp_does_not_need_the_other_part(tmp_path: Path) -> None:
    path = tmp_path / "trio.xml"
    path.write_text(score_text("C5", parts=3, names=("Flute", "Harp", "Oboe")))
    found = finding_of(path, Terms(else_part="1"))
    assert isinstance(found, Finding)
    assert found.part == "P2"


def test_a_settled_verdict_stays_with_more_work() -> None:
    settled = 0
    for seed in range(60):
        one = random_instance(seed)
        first = make_plan(one.plucks, one.harp, one.player, effort=0)
        best = make_plan(one.plucks, one.harp, one.player, effort=200)
        if verdict_settled(first):
            assert verdict_of(first) == verdict_of(best)
            settled += not first.proved
    assert settled


@pytest.mark.parametrize(
    ("criteria", "bound", "settled"),
    [
        # Lost, lost auxiliaries, cuts, flips, off string, right hand; then the bound, whose fourth place is
        # of flips and notes off their string together.
        ((3, 0, 0, 0, 0, 0), (1, 0, 0, 0, 0, 0), True),
        ((3, 0, 0, 0, 0, 0), (0, 2, 1, 0, 0, 0), False),
        ((0, 2, 0, 0, 0, 0), (0, 1, 0, 0, 0, 0), True),
        ((0, 2, 0, 0, 0, 0), (0, 0, 1, 3, 3, 0), False),
        ((0, 0, 2, 2, 0, 0), (0, 0, 1, 0, 0, 0), True),
        ((0, 0, 2, 2, 0, 0), (0, 0, 0, 2, 2, 0), False),
        ((0, 0, 0, 3, 1, 1), (0, 0, 0, 4, 2, 0), True),
        ((0, 0, 0, 3, 1, 1), (0, 0, 0, 4, 0, 0), False),
        ((0, 0, 0, 3, 1, 1), (0, 0, 0, 3, 2, 0), False),
        ((0, 0, 0, 0, 2, 0), (0, 0, 0, 0, 0, 0), True),
    ],
)
def test_when_a_verdict_is_settled(
    criteria: tuple[int, ...], bound: tuple[int, int, int, int, int, int], settled: bool
) -> None:
    one = random_instance(0)
    plan = make_plan(one.plucks, one.harp, one.player)
    found = replace(plan, criteria=Criteria(*criteria), bound=bound, proved=False)
    assert verdict_settled(found) is settled
    assert verdict_settled(replace(found, proved=True))


def test_verdicts_left_open_are_given_more_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vetting, "verdict_settled", lambda plan: False)
    rows = rows_of(CORPUS / "five-bridges.musicxml")
    lost = [row.finding.lost for row in rows if row.finding]
    assert min(lost[:2]) > vetting.FEW >= max(lost[2:])
    assert [row.finding.effort for row in rows if row.finding] == [0, 0, DEFAULT_EFFORT, DEFAULT_EFFORT]


def test_keys_tell_everything_a_row_depends_on() -> None:
    one, other = INSTRUMENTS[:2]
    keys = {
        key_of("d", one, Terms()),
        key_of("e", one, Terms()),
        key_of("d", other, Terms()),
        key_of("d", replace(one, player=INSTRUMENTS[3].player), Terms()),
        key_of("d", one, Terms(part="1")),
        key_of("d", one, Terms(else_part="1")),
        key_of("d", one, Terms(scale=Fraction(1, 2))),
        key_of("d", one, Terms(effort=5)),
    }
    assert len(keys) == 8
    assert key_of("d", replace(one, label="another name"), Terms()) in keys


def test_a_digest_is_of_the_content(tmp_path: Path) -> None:
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # The example of FIPS 180-2, appendix B.1.
    assert digest_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of(tmp_path) == ""

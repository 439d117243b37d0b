"""The cue sheet as a value and as CSV.

Outside judges: the answers worked out by hand in the sidecars of the demo scores; music21, which reads the
boxes of the marked file; Python's csv module.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from sheet_cases import CASES, CORPUS, HOSTILE, boxes_of, hostile_file, sheet_of, sheet_of_file

from harpkeys.page.cue_sheet import CueSheet, excerpt_drawings, make_cue_sheet
from harpkeys.page.sheet_csv import COLUMNS, harmless, sheet_csv

by_case = pytest.mark.parametrize(("name", "harp"), CASES)


def answer_of(name: str, harp: str) -> dict[str, Any]:
    """The answer worked out by hand."""
    sidecar = tomllib.loads((CORPUS / f"{name}.toml").read_text("utf-8"))
    return next(
        answer
        for answer in sidecar["answer"]
        if answer["harp"] == f"harps/{harp}.toml" and answer["player"] == "steady"
    )


def rows_of(sheet: CueSheet) -> list[dict[str, str]]:
    """The CSV as a reader of CSV sees it."""
    return list(csv.DictReader(io.StringIO(sheet_csv(sheet).decode("utf-8-sig"), newline="")))


def test_every_demo_score_is_a_case() -> None:
    found = {path.stem for path in CORPUS.iterdir() if path.suffix in (".musicxml", ".mxl")}
    assert {name for name, _ in CASES} == found


@by_case
def test_flips_are_those_worked_out_by_hand(name: str, harp: str) -> None:
    sheet, answer = sheet_of(name, harp)[0], answer_of(name, harp)
    expected = answer.get("flip", [])
    told = [(flip.string_name, flip.direction, flip.hand) for flip in sheet.flips]
    assert sorted(told) == sorted((flip["string"], flip["to"], flip["hand"]) for flip in expected)
    numbers = {measure.number: k for k, measure in enumerate(sheet.report.performance.score.measures)}
    for flip in sheet.flips:
        alike = [one for one in expected if one["string"] == flip.string_name and one["to"] == flip.direction]
        # Not before the bar of the pluck before it, and not after that of the pluck it prepares.
        assert any(
            numbers[one["after"]["bar"]] <= flip.measure <= numbers[one["before"]["bar"]]
            or one["after"]["pass"] != one["before"]["pass"]
            for one in alike
        )
    assert sheet.report.verdict == answer["verdict"]


@by_case
def test_flips_stand_at_the_boxes_that_music21_reads_in_the_marked_file(name: str, harp: str) -> None:
    """Bar, beat, note and direction."""
    sheet, xml = sheet_of(name, harp)
    boxes = {
        (bar, f"{round(float(beat), 3):g}", note.replace("♮", "").replace("♯", "#").replace("♭", "b"), arrow)
        for bar, beat, note, arrow in boxes_of(xml)
    }
    rows = [row for row in rows_of(sheet) if row["row"] == "flip"]
    told = {(row["bar"], row["beat"], row["sounds"], {"up": "↑", "down": "↓"}[row["lever"]]) for row in rows}
    assert told == boxes
    assert len(rows) == len(sheet.report.plan.flips)


def test_a_bar_that_is_played_again_names_its_pass() -> None:
    sheet = sheet_of("twice-round-the-well", "kestrel")[0]
    assert [(flip.bar_text, flip.beat_text) for flip in sheet.flips] == [("6, 1st time", "3"), ("8", "3")]
    sheet = sheet_of("the-mill-turns", "heron")[0]
    assert [flip.bar_text for flip in sheet.flips] == ["18", "20", "12, 2nd time"]


def test_flips_of_one_cue_are_joined() -> None:
    sheet = sheet_of("five-bridges", "heron")[0]
    assert [flip.joined for flip in sheet.flips] == [
        *(False, True, True, False, True, True),
        *(False, True, False, True),
    ]


def test_rest_and_kind_are_told_in_beats_and_seconds() -> None:
    """The lullaby's cut: F3 is cut off for 0.9 to 1.2 s by the sidecar's reckoning; its beat lasts 0.8 s."""
    row = next(row for row in rows_of(sheet_of("owl-light-lullaby", "kestrel")[0]) if row["row"] == "flip")
    cut = re.fullmatch(r"cut ([\d.]+) s", row["kind"])
    assert cut is not None
    assert 0.9 <= float(cut[1]) <= 1.2
    assert (row["rest beats"], row["rest s"]) == ("0", "0")
    assert float(row["free s"]) == pytest.approx(float(row["free beats"]) * 0.8, abs=0.002)


def test_like_passages_are_told_once_with_every_place() -> None:
    sheet = sheet_of("doorstep-jig", "moth")[0]
    assert [passage.where for passage in sheet.passages] == [
        "Bar 1 beat 6; bar 5 beat 6; bar 11 beat 2",
        "Bar 7 beat 5",
        "Bar 14 beat 2 to bar 15 beat 5",
    ]
    flagged = {pluck for passage in sheet.report.passages for pluck in passage.plucks}
    assert len(flagged) == 12  # by hand: twelve F sharps


def test_a_passage_on_some_passes_only_names_them() -> None:
    """Bars 1 to 6 of the Well are played twice, bar 7 once."""
    report = sheet_of("twice-round-the-well", "kestrel", "unhurried")[0].report
    one = report.passages[0]

    def places(*where: tuple[int, int]) -> list[str]:
        passages = [
            replace(
                one,
                start=replace(one.start, measure=bar, number=number),
                end=replace(one.end, measure=bar, number=number),
            )
            for bar, number in where
        ]
        sheet = make_cue_sheet(replace(report, passages=tuple(passages)))
        return [place.text for passage in sheet.passages for place in passage.places]

    assert places((6, 1)) == ["bar 7 beat 3"]
    assert places((2, 2)) == ["bar 3 beat 3 (2nd time)"]
    assert places((2, 1), (2, 2)) == ["bar 3 beat 3"]
    assert places((2, 1), (3, 2)) == ["bar 3 beat 3 (1st time)", "bar 4 beat 3 (2nd time)"]


def test_lost_notes_are_in_brackets_and_cut_ones_only_coloured() -> None:
    lost = sheet_of("fog-on-the-cut", "kestrel")[0]
    assert len(lost.lost) == len(lost.tints) == 4
    cut = sheet_of("owl-light-lullaby", "kestrel")[0]
    assert (len(cut.lost), len(cut.tints)) == (0, 1)
    plain = sheet_of("lantern-waltz", "heron")[0]
    assert plain.tints == ()


def test_flagged_notes_are_numbered_as_in_the_document() -> None:
    """By an XML parser they are those that the sidecar gives up: B flat 4, G4, B flat 3 and F sharp 4."""
    from lxml import etree

    sheet, xml = sheet_of("fog-on-the-cut", "kestrel")
    notes = list(etree.fromstring(xml).iter("note"))
    names = sorted(
        "".join(notes[number].findtext(f"pitch/{tag}", "") for tag in ("step", "alter", "octave"))
        for number in sheet.lost
    )
    assert names == ["B-13", "B-14", "F14", "G4"]


def test_every_passage_has_an_excerpt_of_its_bars() -> None:
    sheet, xml = sheet_of("fog-on-the-cut", "kestrel")
    drawings = excerpt_drawings(sheet, xml, width=80)
    titles = [re.search("<title>(.*?)</title>", drawing) for drawing in drawings]
    assert [title and title[1] for title in titles] == ["Bar 2", "Bar 3", "Bar 7"]
    assert all('color="#C2410C"' in drawing for drawing in drawings)
    assert excerpt_drawings(sheet_of("lantern-waltz", "heron")[0], xml, width=80) == ()


def test_a_long_passage_shows_its_first_bars_only() -> None:
    sheet = sheet_of("fog-on-the-cut", "kestrel")[0]
    passage = sheet.passages[0]
    long = replace(passage, places=(replace(passage.places[0], first=2, last=11),))
    assert long.excerpt == (2, 5)


def test_safety_is_always_told() -> None:
    for name, harp in CASES[:3]:
        cautions = sheet_of(name, harp)[0].cautions
        assert cautions[0].startswith("Do not tune a string above the pitch it is made for: it may break")
        assert cautions[-1].startswith("A lever that buzzes or sounds out of tune is a technician's job.")


def test_the_same_report_gives_the_same_sheet() -> None:
    sheet = sheet_of("five-bridges", "heron")[0]
    assert make_cue_sheet(sheet.report) == sheet


# CSV.


@by_case
def test_csv_says_everything(name: str, harp: str) -> None:
    sheet = sheet_of(name, harp)[0]
    rows = rows_of(sheet)
    assert tuple(rows[0]) == COLUMNS
    kinds = [row["row"] for row in rows]
    assert kinds.count("flip") == len(sheet.report.plan.flips)
    assert kinds.count("lever up") == sum(sheet.report.plan.starting)
    assert kinds.count("flagged") == len(sheet.passages)
    assert kinds.count("assumption") == len(sheet.report.assumptions)
    assert kinds.count("caution") == len(sheet.cautions)
    assert [row["kind"] for row in rows if row["row"] == "fact"] == [
        *("Title", "Verdict", "Harp", "Tuning", "Setting", "Player", "Tempo"),
    ]


def test_csv_is_as_rfc_4180_has_it() -> None:
    data = sheet_csv(sheet_of("five-bridges", "heron")[0])
    assert data.startswith(b"\xef\xbb\xbfrow,number,bar,")
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "|", "%", "＝", "\t=", " =", "\r="])
def test_no_cell_can_be_taken_for_a_formula(sign: str) -> None:
    assert harmless(f"{sign}1+1") == f"'{sign.strip()}1+1"
    assert harmless("Bar 1 = 2") == "Bar 1 = 2"


def test_hostile_titles_stay_text(tmp_path: Path) -> None:
    sheet = sheet_of_file(hostile_file(tmp_path), "kestrel")[0]
    rows = rows_of(sheet)
    title = next(row["text"] for row in rows if row["kind"] == "Title")
    assert title.startswith("'=cmd|' /C calc'!A0 </title><script>")
    assert HOSTILE[:8] in title
    assert not [cell for row in rows for cell in row.values() if cell[:1] in set("=+-@|%\t\r")]
    assert not [cell for row in rows for cell in row.values() if "\u202e" in cell]

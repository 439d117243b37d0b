"""Mistakes in a score that show only after it has been read: every command names the file, and the bars."""

from __future__ import annotations

import json
from pathlib import Path
from unittest import mock

import pytest

from harpkeys.cli import main
from harpkeys.errors import ScoreError
from harpkeys.page.engrave import excerpt

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
FLAGGED = str(CORPUS / "fog-on-the-cut.musicxml")
"""A score with passages that cannot be played."""

ENDLESS = """<score-partwise version="4.0">
<part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
<note><rest/><duration>4</duration></note></measure>{}</part></score-partwise>"""
BAR = """<measure number="{}">{}
<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration></note>{}</measure>"""
FORTH = "<barline location='left'><repeat direction='forward'/></barline>"
BACK = "<barline location='right'><repeat direction='backward' times='99'/></barline>"

TUNE = "X:{}\nT:Tune\nM:4/4\nL:1/4\nK:C\n{}|]\n"

SENTENCE = (
    "with its repeats played the score has more than 20,000 bars; check its repeat marks, above all here, "
    "and how many times each is to be played."
)
BLIND = (
    "the score cannot be drawn, because verovio does not understand it; open and save it in a notation "
    "program."
)

WORDS = (
    ("vet",),
    ("vet", "--json"),
    ("mark",),
    ("print",),
    ("sheet",),
    ("report",),
    ("compare",),
    ("retune",),
    ("transpose", "--by", "2", "--mark"),
    ("programme",),
)


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bars = [BAR.format(number, FORTH, "") for number in range(2, 30)]
    bars += [BAR.format(number, "", BACK) for number in range(30, 58)]
    (tmp_path / "long.xml").write_text(ENDLESS.format("".join(bars)))
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("words", WORDS, ids=" ".join)
def test_endless_repeats_are_told_with_file_and_bar(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([words[0], "long.xml", *words[1:]]) == 2
    assert capsys.readouterr() == ("", f"long.xml, measure 30: {SENTENCE}\n")
    assert [path.name for path in Path().iterdir()] == ["long.xml"]


def test_a_shelf_names_the_file_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["shelf", ".", "--cores", "1", "--json"]) == 0
    row = json.loads(capsys.readouterr().out.splitlines()[0])
    assert (row["file"], row["problem"]) == ("long.xml", f"measure 30: {SENTENCE}")


def test_a_tune_of_many_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    Path("two.abc").write_text(TUNE.format(1, "C4") + "\n" + TUNE.format(2, "|:C D E F|G A B c|c4:"))
    with mock.patch("harpkeys.score.route.most_visits", return_value=4):
        assert main(["vet", "two.abc", "--piece", "x:2"]) == 2
    assert capsys.readouterr().err == f"two.abc, X:2, measure 3: {SENTENCE.replace('20,000', '4')}\n"


DRAWING = (("print", "out.svg"), ("print", "out.pdf"), ("report", "out.html"))


@pytest.mark.parametrize("words", DRAWING, ids=" ".join)
def test_a_score_that_cannot_be_drawn_is_named(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    blind = mock.Mock(return_value=mock.Mock(loadData=lambda text: False))
    with mock.patch("verovio.toolkit", blind):
        assert main([words[0], FLAGGED, "-o", words[1]]) == 2
    assert capsys.readouterr() == (
        "",
        f"{FLAGGED}: {BLIND}\n",
    )


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_an_excerpt_that_cannot_be_drawn_is_named_with_its_bars(
    ending: str, capsys: pytest.CaptureFixture[str]
) -> None:
    blind = mock.Mock(return_value=mock.Mock(loadData=lambda text: False))
    with mock.patch("verovio.toolkit", blind):
        assert main(["sheet", FLAGGED, "-o", f"out.{ending}"]) == 2
    assert capsys.readouterr() == (
        "",
        f"{FLAGGED}, measure 2: {BLIND}\n",
    )


def test_an_excerpt_of_several_bars_is_named_with_them() -> None:
    score = ENDLESS.format(BAR.format("1a", "", "") + BAR.format(2, "", ""))
    blind = mock.Mock(return_value=mock.Mock(loadData=lambda text: False))
    with mock.patch("verovio.toolkit", blind), pytest.raises(ScoreError) as caught:
        excerpt(score, 1, 2)
    assert caught.value.sentence == f"measures 1a to 2: {BLIND}"

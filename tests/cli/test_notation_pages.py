"""`mark`, `print`, `sheet` and `report` of scores in other notations: they take the road of `vet`."""

from __future__ import annotations

import zipfile
from html import unescape
from pathlib import Path

import pytest
from lxml import etree
from pypdf import PdfReader
from schema import schema_errors

from harpkeys.cli import main
from harpkeys.score.notations import LIMITS

ABC = """X:1
T:Up the Ladder
L:1/4
M:4/4
Q:1/4=60
K:G
G A B c | d2 d2 | c4 | ^c4 | d4 |]
"""

TWO_TUNES = f"{ABC}\n{ABC.replace('X:1', 'X:2').replace('Ladder', 'Stair')}"

KERN = "**kern\n*M4/4\n*k[f#]\n*MM60\n=1\n4g\n4a\n4b\n4cc\n=2\n1cc\n=3\n1cc#\n=4\n1dd\n==\n*-\n"

MEI = """<?xml version="1.0" encoding="utf-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0"><meiHead><fileDesc><titleStmt>
<title/></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4" key.sig="1f"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/>
</staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1"><note pname="g" oct="4" dur="1"/></layer></staff></measure>
<measure n="2"><staff n="1"><layer n="1"><note pname="g" oct="4" dur="1" accid="s"/></layer></staff></measure>
</section></score></mdiv></body></music></mei>
"""

MIDI = (
    b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60"  # format 0, one track, 96 ticks to the quarter
    b"MTrk\x00\x00\x00\x1f"
    b"\x00\xff\x51\x03\x0f\x42\x40"  # 1,000,000 microseconds to the quarter
    b"\x00\x90\x43\x40\x83\x00\x80\x43\x40"  # G4 for 384 ticks
    b"\x00\x90\x44\x40\x83\x00\x80\x44\x40"  # G sharp 4
    b"\x00\xff\x2f\x00\x00\x00"
)

FILES = {"tune.abc": ABC.encode(), "tune.krn": KERN.encode(), "tune.mei": MEI.encode(), "tune.mid": MIDI}
FORMS = {"tune.abc": "abc", "tune.krn": "humdrum", "tune.mei": "mei", "tune.mid": "midi"}


@pytest.fixture(params=FILES)
def source(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path = tmp_path / request.param
    path.write_bytes(FILES[request.param])
    return path


def unwrapped(text: str) -> str:
    return " ".join(text.split())


def test_they_are_marked_as_musicxml(source: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = source.read_bytes()
    assert main(["mark", str(source)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    target = source.with_name(f"{source.name}.levers.musicxml")
    assert f"Written to {target}.\n" in out
    for sentence in LIMITS[FORMS[source.name]]:
        assert sentence in unwrapped(out)
    tree = etree.parse(str(target))
    words = [element.text or "" for element in tree.iter("words")]
    assert any(text.startswith("Tuning C. Levers up: ") for text in words)
    assert any("♯" in text and "↑" in text for text in words)
    assert schema_errors(tree) == []
    assert source.read_bytes() == before
    # What is written is a score like any other: it is read, and its marks come off.
    assert main(["mark", str(target), "--clear", "-o", str(source.with_name("back.musicxml"))]) == 0
    assert "marks taken off" in capsys.readouterr().out


def test_they_are_printed(source: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = source.with_name("tune.pdf")
    assert main(["print", str(source), "-o", str(target)]) == 0
    out = capsys.readouterr().out
    for sentence in LIMITS[FORMS[source.name]]:
        assert sentence in unwrapped(out)
    text = PdfReader(target).pages[0].extract_text()
    assert "Levers up: " in text
    assert "↑" in text


@pytest.mark.parametrize("words", [("sheet", "sheet.txt"), ("report", "report.html")])
def test_their_sheet_and_report_say_what_could_not_be_told(source: Path, words: tuple[str, str]) -> None:
    target = source.with_name(words[1])
    assert main([words[0], str(source), "-o", str(target)]) == 0
    text = unwrapped(target.read_text("utf-8"))
    for sentence in LIMITS[FORMS[source.name]]:
        assert sentence in (unescape(text) if target.suffix == ".html" else text)


def test_they_can_be_packed(tmp_path: Path) -> None:
    source, target = tmp_path / "tune.abc", tmp_path / "tune.mxl"
    source.write_text(ABC, encoding="utf-8")
    assert main(["mark", str(source), "-o", str(target)]) == 0
    assert zipfile.ZipFile(target).namelist() == ["mimetype", "META-INF/container.xml", "score.musicxml"]
    first = target.read_bytes()
    assert main(["mark", str(source), "-o", str(target), "--overwrite"]) == 0
    assert target.read_bytes() == first


@pytest.mark.parametrize("command", ["mark", "print", "sheet", "report"])
def test_a_tune_of_several_is_chosen(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "two.abc"
    source.write_text(TWO_TUNES, encoding="utf-8")
    assert main([command, str(source)]) == 2
    assert capsys.readouterr() == (
        "",
        "two.abc holds several pieces; choose one with --piece, such as --piece 1.\n",
    )
    assert main([command, str(source), "--piece", "2"]) == 0
    if command == "sheet":
        assert capsys.readouterr().out.startswith("Up the Stair\n")


def test_a_tune_cannot_be_chosen_of_one_score(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "tune.musicxml"
    source.write_text("<score-partwise/>", encoding="utf-8")
    assert main(["mark", str(source), "--piece", "1"]) == 2
    assert capsys.readouterr().err == (
        "--piece is for files of many tunes and this is one score; leave it out.\n"
    )

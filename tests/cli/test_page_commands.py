"""`harpkeys print`, `sheet` and `report` from the command line: what they write, say and refuse."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest
from lxml import etree
from pypdf import PdfReader

from harpkeys.cli import main
from harpkeys.cli.pages import numbered

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
WELL = CORPUS / "twice-round-the-well.musicxml"
KESTREL = ("--harp", str(CORPUS / "harps" / "kestrel.toml"))

VERDICT = (
    "Plays with 2 lever flips, cutting no note short, the tightest with 0.15 s to\nspare; nothing is lost.\n"
)

SHEET = """Twice Round the Well
Plays with 2 lever flips, cutting no note short, the tightest with 0.15 s to
spare; nothing is lost.

Harp     Kestrel: 34 strings, C2 to A6, a lever on every string.
Tuning   C: that is how it sounds with all levers down.
Setting  all levers down at the start, which sounds C major.
Player   steady: flip 0.6 s, leave 0.15 s, place 0.3 s.
Tempo    quarter = 100 (from the score).

Lever flips in playing order
        bar  beat  string   lever       hand  rest  free         kind
  1  6, 1st  3     F5 (10)  up to F♯5   left  none  1¼ b 0.75 s  clean
  2       8  3     F5 (10)  down to F5  left  none  1¼ b 0.75 s  clean
"""


def said(capsys: pytest.CaptureFixture[str]) -> str:
    out, err = capsys.readouterr()
    assert err == ""
    return out


def unwrapped(text: str) -> str:
    return " ".join(text.split())


def test_a_score_is_printed_as_pdf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target, before = tmp_path / "well.pdf", WELL.read_bytes()
    assert main(["print", str(WELL), *KESTREL, "-o", str(target)]) == 0
    assert said(capsys) == f"{VERDICT}Written to {target}.\n1 page on A4, upright.\n"
    assert len(PdfReader(target).pages) == 1
    assert WELL.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["well.pdf"]


def test_svg_pages_are_numbered(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["print", str(CORPUS / "five-bridges.musicxml"), "--harp", str(CORPUS / "harps" / "heron.toml")]
    words += ["-o", str(tmp_path / "b.svg"), "--paper", "letter", "--landscape", "--staff", "6"]
    assert main(words) == 0
    pages = sorted(path.name for path in tmp_path.iterdir())
    assert pages == [f"b-{k + 1}.svg" for k in range(len(pages))]
    assert len(pages) > 2
    assert f"b-1.svg to b-{len(pages)}.svg. {len(pages)} pages on Letter, on its side." in unwrapped(
        said(capsys)
    )
    for page in tmp_path.iterdir():
        assert etree.parse(str(page)).getroot().get("width") == "279.4mm"
    assert main(words) == 2
    first = tmp_path / "b-1.svg"
    assert capsys.readouterr().err == (
        f"{first}: the file exists already; allow --overwrite, or name another with --output.\n"
    )


def test_pages_are_named_in_order() -> None:
    assert [path.name for path in numbered(Path("a.svg"), 10)][:2] == ["a-01.svg", "a-02.svg"]


def test_the_sheet_goes_to_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", str(WELL), *KESTREL]) == 0
    text = said(capsys)
    assert text.startswith(SHEET)
    assert "Taken for granted" in text
    assert "Safety" in text
    assert max(len(line) for line in text.splitlines()) <= 80


@pytest.mark.parametrize(
    ("ending", "start"),
    [("pdf", b"%PDF-"), ("html", b"<!DOCTYPE html>"), ("csv", b"\xef\xbb\xbfrow,"), ("txt", b"Twice")],
)
def test_the_sheet_goes_to_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str, start: bytes
) -> None:
    target = tmp_path / f"sheet.{ending}"
    assert main(["sheet", str(WELL), *KESTREL, "-o", str(target)]) == 0
    assert said(capsys) == f"{VERDICT}Written to {target}.\n"
    assert target.read_bytes().startswith(start)


def test_the_text_file_is_what_the_terminal_shows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "sheet.txt"
    main(["sheet", str(WELL), *KESTREL])
    shown = said(capsys)
    main(["sheet", str(WELL), *KESTREL, "-o", str(target)])
    assert target.read_text("utf-8") == shown


def test_the_report_stands_beside_the_score(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    score = tmp_path / "well.musicxml"
    score.write_bytes(WELL.read_bytes())
    assert main(["report", str(score), *KESTREL]) == 0
    target = tmp_path / "well.levers.html"
    assert f"Written to {target}." in unwrapped(said(capsys))
    first = target.read_bytes()
    assert main(["report", str(score), *KESTREL]) == 2
    assert capsys.readouterr() == (
        "",
        f"{target}: the file exists already; allow --overwrite, or name another with --output.\n",
    )
    assert main(["report", str(score), *KESTREL, "--overwrite"]) == 0
    assert target.read_bytes() == first
    assert score.read_bytes() == WELL.read_bytes()


def test_a_score_in_another_encoding_is_engraved(tmp_path: Path) -> None:
    """Shift JIS: the reader knows it, the engraver's own parser does not."""
    text = (
        WELL.read_text("utf-8")
        .replace("UTF-8", "Shift_JIS", 1)
        .replace("Twice Round the Well", "\u4e95\u6238")
    )
    score = tmp_path / "well.musicxml"
    score.write_bytes(text.encode("shift_jis"))
    target = tmp_path / "well.html"
    assert main(["report", str(score), *KESTREL, "-o", str(target)]) == 0
    assert "<h1>\u4e95\u6238</h1>" in target.read_text("utf-8")


MISTAKES = [
    (("print", "-o", "x.doc"), "--output cannot be 'x.doc'; its name ends in .pdf, .svg."),
    (("sheet", "-o", "x.svg"), "--output cannot be 'x.svg'; its name ends in .pdf, .html, .txt, .csv."),
    (("report", "-o", "x"), "--output cannot be 'x'; its name ends in .html, .htm."),
    (("print", "-o", "x.pdf", "--paper", "A3"), 'there is no paper "A3"; choose A4 or Letter.'),
    (("print", "-o", "x.pdf", "--staff", "20"), "a staff of 20 mm is out of range; choose 4 to 12 mm."),
    (("print", "-o", "x.pdf", "--margin", "nan"), "a margin of nan mm is out of range; choose 5 to 50 mm."),
    (
        ("print", "-o", "x.pdf", "--labels", "solfa"),
        "--labels cannot be 'solfa'; it is one of scientific, harp-octave, number, plain.",
    ),
    (
        ("report", "-o", "no-such-folder/x.html"),
        "no-such-folder/x.html: there is no such folder to write to; make it first.",
    ),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES, ids=[" ".join(words) for words, _ in MISTAKES])
def test_mistakes_are_told_before_any_work(
    words: tuple[str, ...],
    sentence: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([words[0], str(WELL), *words[1:]]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
def test_long_work_says_what_it_does(tmp_path: Path) -> None:
    """On a terminal, and without a second's patience, each stage is named on standard error."""
    code = (
        "import sys; from harpkeys.cli import terminal; terminal.PATIENCE = 0.0;"
        "from harpkeys.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    own, theirs = pty.openpty()
    target = tmp_path / "b.pdf"
    words = ["print", str(CORPUS / "five-bridges.musicxml"), "-o", str(target)]
    process = subprocess.Popen([sys.executable, "-c", code, *words], stderr=theirs, stdout=subprocess.PIPE)
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(own, 4096)
        except OSError:  # the other side is closed
            break
        if not piece:
            break
        shown += piece
    assert process.communicate(timeout=60)[0].startswith(b"Plays with ")
    assert process.returncode == 0
    for stage in ("Engraving", "Setting 3 pages"):
        assert stage.encode() in shown

"""What a title, a name, words or a file's name can reach: nothing. One test for each kind of output.

One score carries hostile text wherever MusicXML allows text: control sequences for terminals, letters that
turn the direction of writing, HTML and SVG with scripts, formulas of spreadsheets, typst code, paths. Every
output is made by the command line and judged by what reads it: an XML parser, html5lib, json, csv, pypdf.

References: ECMA-48 (control functions; XML 1.0 lets only the eight-bit ones through); Unicode Bidirectional
Algorithm (UAX 9); HTML Living Standard; SVG 2; ISO 32000-1, 12.6 (actions in PDF).
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import sys
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

import html5lib
import pytest
from lxml import etree
from pypdf import PdfReader

from harpkeys.cli import main
from harpkeys.score.texts import plain_text

CORPUS = Path(__file__).resolve().parents[2] / "corpus"

TERMINAL = "\x9b31mred\x9d0;title\x9c\x85 \u202egnp.exe\u2066 \u200b\ufeff"
MARKUP = "</title></svg><script>alert(1)</script><img src=x onerror=alert(2)>\"'&amp;&#60;b&#62;"
SVG = '<svg onload="alert(3)"><a href="javascript:alert(4)">'
TYPST = '#panic("typst") #read("/etc/passwd") $x$ [*_`\\ "); #include "x"'
PATHS = "../../../pwned C:\\pwned file:///etc/passwd $(touch pwned) `touch pwned` ; touch pwned"

TITLE = f"=HYPERLINK(1) {TERMINAL} {MARKUP} {SVG} {TYPST} {PATHS}"
COMPOSER = f"+1+cmd|' /C calc'!A0 {MARKUP}"
NAME = f"@SUM(1) {TERMINAL} {MARKUP} {TYPST}"
IDENTITY = 'P1" onclick="alert(5)'
NUMBER = '-2+3<b>"'
WORDS = f"D.C. {TERMINAL} {MARKUP} {TYPST}"


def hostile_score() -> str:
    """A demo score with notes to lose, all its text hostile."""
    root = etree.parse(str(CORPUS / "fog-on-the-cut.musicxml")).getroot()
    for tag, text in (
        ("work-title", TITLE),
        ("movement-title", TITLE),
        ("part-name", NAME),
        ("creator", COMPOSER),
        ("rights", MARKUP),
        ("instrument-name", NAME),
        ("words", WORDS),
    ):
        for element in root.iter(tag):
            element.text = text
    for element in root.iter("score-part", "part"):
        element.set("id", IDENTITY)
    for element in root.iter("measure"):
        element.set("number", NUMBER + element.get("number"))
    note = next(root.iter("note"))
    for tag in ("lyric",):
        lyric = etree.SubElement(note, tag)
        etree.SubElement(lyric, "text").text = MARKUP
    return etree.tostring(root, encoding="unicode")


@pytest.fixture
def score(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """A hostile score in a folder of its own; nothing but what is asked for may appear there."""
    home = tmp_path / "a" / "b"
    home.mkdir(parents=True)
    (home / "s.musicxml").write_text(hostile_score(), encoding="utf-8")
    monkeypatch.chdir(home)
    yield "s.musicxml"
    appeared = {path.name for path in tmp_path.rglob("*") if path.is_file()}
    assert all(name == "s.musicxml" or name.startswith("out") for name in appeared), appeared


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command prints; the harp is one on which notes of the score are lost."""
    assert main([*words, "--harp", str(CORPUS / "harps" / "kestrel.toml")]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def assert_plain(text: str) -> None:
    """No line holds a control, format, private or unassigned character."""
    for line in text.splitlines():
        bad = [
            hex(ord(sign)) for sign in line if unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Cn", "Co")
        ]
        assert bad == [], line


def assert_no_script(root: Any) -> None:
    """A tree of HTML or SVG with nothing that runs or is fetched."""
    for element in root.iter():
        tag = str(element.tag).rpartition("}")[2].lower()
        assert tag not in (
            "script",
            "iframe",
            "object",
            "embed",
            "img",
            "foreignobject",
            "image",
            "base",
            "form",
        )
        for name, value in element.attrib.items():
            plain = str(name).rpartition("}")[2].lower()
            assert not plain.startswith("on"), (tag, name)
            if plain in ("href", "src", "action"):
                assert re.match(r"#|data:font/", value), value


def assert_harmless_pdf(data: bytes) -> str:
    """A PDF without actions, attachments or scripts; its text."""
    reader = PdfReader(io.BytesIO(data))
    for number in range(1, len(reader.xref[0]) if 0 in reader.xref else 1):
        held = str(reader.get_object(number))
        assert not re.search(
            r"/(JavaScript|JS|Launch|OpenAction|AA|EmbeddedFile|URI|SubmitForm|GoToR)\b", held
        )
    for key in (b"/JavaScript", b"/Launch", b"/OpenAction", b"/EmbeddedFile", b"/SubmitForm", b"/URI"):
        assert key not in data
    return "".join(page.extract_text() for page in reader.pages)


def flat(text: str) -> str:
    return re.sub(r"\s", "", text)


def test_the_text_is_hostile() -> None:
    """The checks below see what they are to see."""
    with pytest.raises(AssertionError):
        assert_plain(TERMINAL)
    for markup in ("<p onclick=''/>", "<script/>", "<a href='javascript:x'/>", "<a href='http://x'/>"):
        with pytest.raises(AssertionError):
            assert_no_script(ElementTree.fromstring(f"<html>{markup}</html>"))
    with pytest.raises(AssertionError):
        assert_harmless_cells([["a", "=1+1"]])


def test_text_of_vet(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, "vet", score)
    assert_plain(out)
    assert out.startswith("=HYPERLINK(1) 31mred0;title")


def test_json_of_vet(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, "vet", score, "--json")
    assert out.isascii()
    found = json.loads(out)
    assert_plain("\n".join(strings(found)))
    assert found["score"]["title"] == plain_text(TITLE)[:200]


def strings(value: object) -> Iterator[str]:
    """Every string of a JSON value."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, (list, dict)):
        for each in value.values() if isinstance(value, dict) else value:
            yield from strings(each)


def test_text_of_the_other_commands(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    (Path(score).parent / "out.musicxml").write_text(hostile_score(), encoding="utf-8")
    for words in (
        ("sheet", score),
        ("compare", score, "--tuning", "C"),
        ("programme", score, "out.musicxml"),
    ):
        assert_plain(run(capsys, *words))
    for words in (
        ("compare", score, "--tuning", "C", "--json"),
        ("programme", score, "out.musicxml", "--json"),
    ):
        assert_plain("\n".join(strings(json.loads(run(capsys, *words)))))


def test_a_shelf_of_hostile_scores(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The name of the file is hostile too; rows of JSON and CSV come one by one."""
    folder = Path(score).parent / "out"
    folder.mkdir()
    (folder / "out=1+1\x1b[2J.musicxml").write_text(hostile_score(), encoding="utf-8")
    assert_plain(run(capsys, "shelf", "out", "--cores", "1"))
    out = run(capsys, "shelf", "out", "--cores", "1", "--json")
    assert out.isascii()
    assert_plain(out)
    for row in map(json.loads, out.splitlines()):
        # A program has to find the file again: its name is told as it is, with JSON's escapes.
        assert row.pop("file") == "out=1+1\x1b[2J.musicxml"
        assert_plain("\n".join(strings(row)))
    assert_harmless_cells(list(csv.reader(io.StringIO(run(capsys, "shelf", "out", "--cores", "1", "--csv")))))


def test_text_of_a_notation_that_may_hold_escape_signs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("t.abc").write_text("X:1\nT:\x1b[31mred\x07 \x1b]0;x\x07\nM:4/4\nL:1/4\nK:C\nCDEF|\n")
    assert main(("vet", "t.abc")) == 0
    out = capsys.readouterr().out
    assert_plain(out)
    assert out.startswith("[31mred")


def assert_harmless_cells(rows: list[list[str]]) -> None:
    """No cell that a spreadsheet takes for a formula; a negative number is none."""
    for row in rows:
        for cell in row:
            assert not re.match(r"[=+@|%\t\r＝＋－＠]|-(?![\d.]+$)", cell), cell
            assert_plain(cell)


@pytest.mark.parametrize("words", [("sheet", "-o", "out.csv"), ("compare", "--tuning", "C", "--csv")])
def test_csv(words: tuple[str, ...], score: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = run(capsys, words[0], score, *words[1:])
    text = Path("out.csv").read_bytes().decode("utf-8-sig") if "-o" in words else out
    rows = list(csv.reader(io.StringIO(text)))
    assert len({len(row) for row in rows}) == 1
    assert_harmless_cells(rows)
    if "-o" in words:
        assert any(cell.startswith("'=HYPERLINK(1)") for row in rows for cell in row)


def test_text_file_of_the_sheet(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "sheet", score, "-o", "out.txt")
    assert_plain(Path("out.txt").read_text(encoding="utf-8"))


@pytest.mark.parametrize("command", ["sheet", "report"])
def test_html(command: str, score: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert_plain(run(capsys, command, score, "-o", "out.html"))
    data = Path("out.html").read_bytes()
    assert_no_script(html5lib.HTMLParser(strict=True).parse(data))
    assert_no_script(
        ElementTree.fromstring(data.partition(b"\n")[2] if data.startswith(b"<!DOCTYPE") else data)
    )
    assert not re.search("[\x7f-\x9f\u202a-\u202e\u2066-\u2069]", data.decode())
    assert b"script-src" not in data
    assert b"default-src 'none'" in data
    assert "<script>alert(1)</script>" in flat(
        "".join(html5lib.parse(data, namespaceHTMLElements=False).itertext())
    )


@pytest.mark.parametrize("command", ["sheet", "print"])
def test_pdf(command: str, score: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert_plain(run(capsys, command, score, "-o", "out.pdf"))
    text = assert_harmless_pdf(Path("out.pdf").read_bytes())
    assert flat("<script>alert(1)</script>") in flat(text)


def test_svg(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert_plain(run(capsys, "print", score, "-o", "out.svg"))
    pages = sorted(Path().glob("out*.svg"))
    assert pages
    for page in pages:
        assert_no_script(ElementTree.fromstring(page.read_bytes()))


def test_marked_score(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The score's own text stays as it was, and its cues say nothing of it."""
    assert_plain(run(capsys, "mark", score, "-o", "out.musicxml"))
    before, after = (etree.parse(name).getroot() for name in (score, "out.musicxml"))
    for tag in ("work-title", "part-name", "creator", "text"):
        assert [e.text for e in before.iter(tag)] == [e.text for e in after.iter(tag)]
    own = [element.text for element in before.iter("words")]
    cues = [element.text for element in after.iter("words")]
    for text in own:
        cues.remove(text)
    assert cues
    # Text is that of the program, but for the numbers of bars that it may name.
    for text in cues:
        assert_plain(text.replace("\n", " "))
        assert "alert" not in text
        assert "panic" not in text


def test_harp_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A harp's name stands in every output too; control characters in it are refused."""
    monkeypatch.chdir(tmp_path)
    Path("s.musicxml").write_bytes((CORPUS / "lantern-waltz.musicxml").read_bytes())
    name = "=1+1 </title><script>alert(1)</script> #panic(1)"
    Path("h.toml").write_text(f'name = {json.dumps(name)}\nlowest = "C2"\nstrings = 34\n')
    for words in (("vet", "s.musicxml"), ("tuning",), ("keys",)):
        assert main([*words, "--harp", "h.toml"]) == 0
        assert_plain(capsys.readouterr().out)
    for command, ending in (("report", "html"), ("sheet", "html"), ("sheet", "pdf"), ("sheet", "csv")):
        assert main([command, "s.musicxml", "--harp", "h.toml", "-o", f"{command}.{ending}"]) == 0
    capsys.readouterr()
    for page in ("report.html", "sheet.html"):
        assert_no_script(html5lib.HTMLParser(strict=True).parse(Path(page).read_bytes()))
    assert "panic(1)" in assert_harmless_pdf(Path("sheet.pdf").read_bytes())
    assert_harmless_cells(list(csv.reader(Path("sheet.csv").read_text("utf-8-sig").splitlines())))
    assert main(["tuning", "--harp", "h.toml", "--pdf", "tuning.pdf"]) == 0
    assert_harmless_pdf(Path("tuning.pdf").read_bytes())
    Path("h.toml").write_text('name = "a\\u001b[31mb"\nlowest = "C2"\nstrings = 34\n')
    capsys.readouterr()
    assert main(["keys", "--harp", "h.toml"]) == 2
    assert_plain(capsys.readouterr().err)


FILE_NAMES = (
    "\x1b[31mred\x07.musicxml",
    "two\nlines.musicxml",
    "$(touch pwned) `touch pwned`; touch pwned.musicxml",
    "<script>alert(1)<\u2215script>#panic(1).musicxml",
    "--output=pwned.musicxml",
    "\u202egnp.musicxml",
    "%n%s{0}{x}.musicxml",
)


@pytest.mark.skipif(os.name != "posix", reason="other systems do not allow such names")
@pytest.mark.parametrize("name", FILE_NAMES, ids=ascii)
def test_file_names(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file's name is shown without its control characters, and results stand beside it, nowhere else."""
    monkeypatch.chdir(tmp_path)
    text = (CORPUS / "lantern-waltz.musicxml").read_text(encoding="utf-8")
    Path(name).write_text(re.sub(r"<(work|movement)-title>.*?</\1-title>", "", text), encoding="utf-8")
    stem = name.removesuffix(".musicxml")
    for command, result in (
        ("vet", None),
        ("mark", f"{stem}.levers.musicxml"),
        ("report", f"{stem}.levers.html"),
    ):
        before = set(os.listdir())
        assert main([command, "--", name]) == 0
        out, err = capsys.readouterr()
        assert err == ""
        assert_plain(out)
        assert set(os.listdir()) - before == ({result} if result else set())
    assert_no_script(html5lib.HTMLParser(strict=True).parse(Path(f"{stem}.levers.html").read_bytes()))


def test_titles_name_no_files(score: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Files are named after the score's file, never after its title."""
    for command in ("mark", "report", "sheet"):
        run(capsys, command, score, *(("-o", "out.pdf") if command == "sheet" else ()))
    assert {name for name in os.listdir() if name != score} == {
        "s.levers.musicxml",
        "s.levers.html",
        "out.pdf",
    }
    for name in ("s.levers.musicxml", "s.levers.html"):
        os.rename(name, f"out-{name}")


def test_nothing_outside_the_archive_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every way XML knows to name another file or host; opening files and sockets is watched."""
    monkeypatch.chdir(tmp_path)
    secret = tmp_path / "secret"
    secret.write_text("SECRET", encoding="utf-8")
    address = secret.as_uri()
    text = (CORPUS / "lantern-waltz.musicxml").read_text(encoding="utf-8")
    body = text[text.index("<score-partwise") :].replace("<part-list>", "&a;<part-list>&c;", 1)
    body = body.replace("<score-partwise", '<score-partwise xmlns:xi="http://www.w3.org/2001/XInclude"', 1)
    body = body.replace(
        "</score-partwise>", f"<xi:include href={quoteattr(address)} parse='text'/></score-partwise>"
    )
    Path("s.musicxml").write_text(
        '<?xml version="1.0"?>\n<?xml-stylesheet type="text/xsl" href="http://127.0.0.1:9/x.xsl"?>\n'
        f"<!DOCTYPE score-partwise SYSTEM {quoteattr(address)} [\n<!ENTITY a SYSTEM {quoteattr(address)}>\n"
        f'<!ENTITY % b SYSTEM "http://127.0.0.1:9/b.dtd"> %b;\n<!ENTITY c "{escape("inner")}">\n]>\n{body}',
        encoding="utf-8",
    )
    watched: list[str] = []
    on = [True]

    def watch(event: str, arguments: tuple[Any, ...]) -> None:
        if on[0] and event in ("open", "socket.connect", "socket.getaddrinfo", "urllib.Request", "os.system"):
            watched.append(str(arguments[0]))

    sys.addaudithook(watch)
    # Reading by libxml2 itself passes no audit hook: the text would tell of it.
    assert main(("vet", "s.musicxml")) == 0
    assert main(("mark", "s.musicxml", "-o", "out.musicxml")) == 0
    assert main(("report", "s.musicxml", "-o", "out.html")) == 2
    on[0] = False
    out, err = capsys.readouterr()
    assert err == (
        "s.musicxml: the score is not well-formed XML (undefined entity &a;: line 28, column 2); export it "
        "again.\n"
    )
    shown = out + Path("out.musicxml").read_text("utf-8")
    assert "SECRET" not in shown
    assert not [name for name in watched if "secret" in name or "127.0.0.1" in name or "/etc/" in name]
    assert any("s.musicxml" in name for name in watched)

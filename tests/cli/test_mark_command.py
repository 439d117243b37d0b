"""`harpkeys mark` from the command line: what it writes, says and refuses."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from lxml import etree

from harpkeys.cli import main
from harpkeys.mark.clear import is_marked

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
QUAY = CORPUS / "down-the-quay-steps.musicxml"


def marked(path: Path) -> bool:
    return is_marked(etree.parse(str(path)).getroot())


def test_marks_and_clears(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target, back = tmp_path / "out.musicxml", tmp_path / "back.musicxml"
    assert main(["mark", str(QUAY), "-o", str(target)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("Plays with ")
    assert "Written to" in out
    assert marked(target)
    assert main(["mark", str(target), "-o", str(back), "--clear"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "taken off" in out
    assert back.read_bytes() == QUAY.read_bytes()


def test_the_result_stands_beside_the_score(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = tmp_path / "quay.musicxml"
    source.write_bytes(QUAY.read_bytes())
    assert main(["mark", str(source)]) == 0
    assert marked(tmp_path / "quay.levers.musicxml")
    assert source.read_bytes() == QUAY.read_bytes()
    capsys.readouterr()
    assert main(["mark", str(source)]) == 2
    assert capsys.readouterr() == (
        "",
        f"{tmp_path / 'quay.levers.musicxml'}: the file exists already; allow --overwrite, or name another "
        "with --output.\n",
    )
    assert main(["mark", str(source), "--overwrite"]) == 0


def test_strings_are_named_as_asked(tmp_path: Path) -> None:
    texts = {}
    for labels in ("scientific", "number"):
        target = tmp_path / f"{labels}.musicxml"
        assert main(["mark", str(QUAY), "-o", str(target), "--labels", labels]) == 0
        words = etree.parse(str(target)).getroot().iter("words")
        texts[labels] = [word.text for word in words if word.get("enclosure") == "rectangle"]
    assert len(texts["scientific"]) == len(texts["number"]) > 1
    assert all("(" in text for text in texts["number"])
    assert not any("(" in text for text in texts["scientific"])


def test_a_compressed_score_stays_one(tmp_path: Path) -> None:
    target = tmp_path / "owl.mxl"
    assert main(["mark", str(CORPUS / "owl-light-lullaby.mxl"), "-o", str(target)]) == 0
    assert zipfile.is_zipfile(target)


MISTAKES = [
    (
        ("--labels", "solfa"),
        "--labels cannot be 'solfa'; it is one of scientific, harp-octave, number, plain.",
    ),
    (("-o", "page.pdf"), "--output cannot be 'page.pdf'; its name ends in .musicxml, .xml, .mxl."),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES, ids=["labels", "output"])
def test_a_mistake_writes_nothing(
    words: tuple[str, ...],
    sentence: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    source = tmp_path / "quay.musicxml"
    source.write_bytes(QUAY.read_bytes())
    assert main(["mark", str(source), *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")
    assert [path.name for path in tmp_path.iterdir()] == ["quay.musicxml"]

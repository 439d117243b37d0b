"""`harpkeys programme` as it is typed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from harpkeys.cli import main

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
Capture = pytest.CaptureFixture[str]


def score(name: str) -> str:
    (path,) = CORPUS.glob(f"{name}.m*l")
    return str(path)


FOUR = [score(name) for name in ("five-bridges", "heron-standing", "crossing-lane", "lantern-waltz")]


def run(capsys: Capture, *words: str) -> str:
    assert main(["programme", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_text(capsys: Capture) -> None:
    told = run(capsys, *FOUR, "--harp", "34 in C", "--harp", "34 in E-flat").splitlines()
    assert " ".join(told[:3]) == (
        "Programme of 4 pieces The 34-string in E-flat serves 3 of 4 pieces; no single choice gives less "
        "trouble."
    )
    assert "  No order needs fewer: proved." in told
    assert "With changes of harp or tuning in between" in told
    assert max(map(len, told)) <= 80


def test_json_and_fixed_ends(capsys: Capture) -> None:
    words = [*FOUR, "--tuning", "C", "--tuning", "F", "--first", "Lantern Waltz", "--last", "five-bridges"]
    told = json.loads(run(capsys, *words, "--json"))
    assert told["format"] == "harpkeys/programme/1"
    order = [step["piece"] for step in told["single"]["steps"]]
    assert (order[0], order[-1]) == ("Lantern Waltz", "Five Bridges")
    assert [choice["tuning"] for choice in told["choices"]] == ["C", "F"]
    assert told["unserved"] == ["Heron, Standing"]
    assert told["single"]["exact"] is True
    assert run(capsys, *words, "--json") == run(capsys, *words, "--json")


def test_a_tune_book_is_as_many_pieces(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "book.abc"
    tune = "X:{}\nT:Same\nM:4/4\nL:1/4\nK:{}\nGABc|d4|G4|]\n\n"
    path.write_text(tune.format(1, "G") + tune.format(2, "C"), encoding="utf-8")
    told = json.loads(run(capsys, str(path), "--json"))
    assert [piece["title"] for piece in told["pieces"]] == ["Same", "Same (2)"]


def test_more_than_twelve_pieces_are_said_to_be_unproved(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "book.abc"
    tune = "X:{0}\nT:Tune {0}\nM:4/4\nL:1/4\nK:{1}\nFGAB|c4|{2}4|]\n\n"
    names = ["C", "G", "D", "A", "E", "B", "F"]
    text = "".join(tune.format(k, names[k % 7], "^F" if k % 3 else "^C") for k in range(1, 14))
    path.write_text(text, encoding="utf-8")
    told = run(capsys, str(path), "--tuning", "C", "--effort", "0")
    assert "With more than twelve pieces the order is improved step by step" in " ".join(told.split())


MISTAKES = [
    (
        ["--first", "nothing"],
        '--first "nothing" names no piece; give the title or the file of one of the scores.',
    ),
    (
        ["--first", "Five Bridges", "--last", "five-bridges"],
        "a piece is to open or to close twice; name each piece once.",
    ),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_mistakes(capsys: Capture, words: list[str], sentence: str) -> None:
    assert main(["programme", *FOUR, *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")

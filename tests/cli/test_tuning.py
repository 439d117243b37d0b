"""`harpkeys tuning` and `harpkeys base` as they are typed."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from harpkeys.cli import main

Capture = pytest.CaptureFixture[str]


def run(capsys: Capture, *words: str) -> str:
    assert main(list(words)) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_a_sheet_for_an_e_flat_harp(capsys: Capture) -> None:
    told = run(capsys, "tuning", "--harp", "34", "--tuning", "E-flat", "--set", "C").splitlines()
    assert told[0] == "To tune a harp in E-flat"
    assert "Levers  set for C major: every E, A and B up, all others down while you tune." in told
    assert "Lower   every E, A and B, from C." in told
    # A4 = 440 Hz, ISO 16; C4 and C2 as in the CRC Handbook.
    assert "   15  A4       3A           up     A4        440.00  down" in told
    assert "   20  C4 red   4C           down   C4        261.63" in told
    assert "   34  C2 red   6C           down   C2         65.41" in told
    assert max(map(len, told)) <= 80


def test_nothing_changes_on_a_harp_nobody_named(capsys: Capture) -> None:
    assert "from C" not in run(capsys, "tuning", "--tuning", "E-flat")
    assert "from C" in run(capsys, "tuning", "--tuning", "E-flat", "--from", "C")


def test_json_and_csv_hold_every_string(capsys: Capture) -> None:
    words = ("tuning", "--harp", "22", "--a4", "442", "--from", "F")
    told = json.loads(run(capsys, *words, "--json"))
    assert (told["format"], told["a4"], told["from"]) == ("harpkeys/tuning/1", 442.0, "F")
    assert told["raise"] == ["B3", "B4", "B5"]
    assert told["lower"] == []
    assert told["cautions"][0].startswith("3 strings go up from F (B3, B4 and B5).")
    rows = list(csv.DictReader(io.StringIO(run(capsys, *words, "--csv"))))
    assert len(rows) == len(told["strings"]) == 22
    assert [float(row["hertz"]) for row in rows] == [one["hertz"] for one in told["strings"]]


def test_a_printed_sheet(capsys: Capture, tmp_path: Path) -> None:
    path = tmp_path / "sheet.pdf"
    assert run(capsys, "tuning", "--pdf", str(path)) == f"The tuning sheet is in {path}.\n"
    assert path.read_bytes().startswith(b"%PDF")
    assert main(["tuning", "--pdf", str(path)]) == 2
    assert capsys.readouterr().err.startswith(f"{path}: ")
    assert run(capsys, "tuning", "--pdf", str(path), "--overwrite", "--paper", "letter")


MISTAKES = [
    (("tuning", "--set", "G7"), '--set cannot be "G7"; name a key, such as "C" or "G".'),
    (("tuning", "--json", "--csv"), "--json, --csv and --pdf say three ways to print; choose one of them."),
    (
        ("tuning", "--a4", "high"),
        "--a4 cannot be 'high'; give a number above 0 and up to 600, such as 442.",
    ),
    (("tuning", "--a4", "100"), "A4 at 100 Hz is out of range; give 300 to 600 Hz; the standard is 440."),
    (
        ("tuning", "--set", "F"),
        "the levers of a harp tuned in C cannot be set for F major (A and B♭ both need the A string); name a "
        "key that it reaches, or tune with all levers down.",
    ),
    (("base", "--keys", "G7"), '"G7" in --keys is a chord; name keys, such as "G, D, E minor".'),
    (("base", "--keys", ","), '--keys names no key; name keys, such as "G, D, E minor".'),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_mistakes(capsys: Capture, words: tuple[str, ...], sentence: str) -> None:
    assert main(list(words)) == 2
    assert capsys.readouterr() == ("", sentence + "\n")


def test_the_base_tuning_of_a_full_lever_harp(capsys: Capture) -> None:
    told = run(capsys, "base").splitlines()
    assert told[1] == "A learner: C. An experienced player: E-flat."
    assert "  If it stands in C now: for E-flat lower every E, A and B." in told
    assert max(map(len, told)) <= 80


def test_the_base_tuning_with_f_c_and_b_levers(capsys: Capture) -> None:
    told = run(capsys, "base", "--harp", "26 in F", "--levers", "F C B")
    assert told.splitlines()[1] == "Tune it in F, learner or not."
    assert "C would need fewer, but never use its B levers" in " ".join(told.split())


def test_usual_keys_may_stand_without_commas(capsys: Capture) -> None:
    with_commas = run(capsys, "base", "--keys", "F, Bb, Gm", "--json")
    assert with_commas == run(capsys, "base", "--keys", "F Bb Gm", "--json")
    told = json.loads(with_commas)
    assert told["usual_keys"] == ["F major", "B-flat major", "G minor"]
    assert (told["learner"], told["experienced"]) == ("B-flat", "E-flat")
    assert json.loads(run(capsys, "base", "--keys", "E minor", "--json"))["usual_keys"] == ["E minor"]


def test_keys_that_no_tuning_reaches(capsys: Capture) -> None:
    told = " ".join(run(capsys, "base", "--levers", "none", "--keys", "E A").split())
    assert "no usual tuning reaches any of these keys with these levers" in told


def test_of_levers_that_are_not_there_nothing_is_said(capsys: Capture) -> None:
    told = " ".join(run(capsys, "base", "--levers", "none", "--keys", "C, G").split())
    assert "Both: C plays 1 of 2 keys; out of its reach: G major. Reach:" in told
    told = " ".join(run(capsys, "base", "--levers", "none", "--keys", "C").split())
    assert "Both: C plays 1 of 1 keys. Reach:" in told

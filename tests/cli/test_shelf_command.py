"""`harpkeys shelf` as it is typed."""

from __future__ import annotations

import csv
import io
import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Executor
from pathlib import Path

import pytest
from shelves import CORPUS, AtOnce, make_shelf

from harpkeys.cli import main, shelf_view
from harpkeys.shelf import pools

Capture = pytest.CaptureFixture[str]


class HerePool(pools.LocalPool):
    """Does the work in this process, which spares a short test the start of others."""

    def start(self) -> Executor:
        return AtOnce()


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pools, "LocalPool", HerePool)


@pytest.fixture
def shelf(tmp_path: Path) -> str:
    (tmp_path / "shelf").mkdir()
    return str(make_shelf(tmp_path / "shelf"))


def run(capsys: Capture, *words: str) -> str:
    assert main(["shelf", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_a_table_for_one_harp(shelf: str, capsys: Capture) -> None:
    told = run(capsys, shelf, "--harp", "26", "--cores", "2")
    assert told.replace(shelf, "SHELF") == (
        """SHELF: 11 files

                  as set  with flips  with cuts  not as written  not vetted
  26-string in C       1           1          0               3           6

Each file
  file                          verdict         lost  cut  flips  up  hardest     to
  a/b/low.xml                   not as written     1    0      0   0  1: 1 lost
  a/owl-light-lullaby.MXL       not as written     4    1      2   0  3: 1 lost   1.33
  doorstep-jig.musicxml         as set             0    0      0   4
  down-the-quay-steps.musicxml  with flips         0    0      3   0  9: 5 s      9.38
  the-mill-turns.musicxml       not as written    16    0      3   4  24: 2 lost  1.42
  flips: with + those notes that go on a neighbouring string; up: levers raised
  before the start; hardest: bar with its tightest flip, longest cut or most
  lost notes; to: how much faster the flips still fit.

Not vetted
  - a/broken.musicxml: the XML breaks off at line 1; export or download the
    score again.
  - a/duo.xml: no telling which part is the harp's; choose one of P1 (Flute), P2
    (Oboe).
  - a/silence.xml: part P1 has no notes to play; choose another part.
  - empty.xml: the file is empty; export the score from its notation program as
    MusicXML (.musicxml or .mxl).
  - notes.xml: the root element is <shopping>, not that of a MusicXML score;
    export the score from its notation program as MusicXML (.musicxml or .mxl).
  - zip.mxl: the archive is damaged; export or download the score again.
"""
    )


@pytest.mark.usefixtures("here")
def test_a_table_for_several_harps(shelf: str, capsys: Capture) -> None:
    told = run(capsys, shelf, "--harp", "26", "--harp", "34", "--tuning", "C", "--tuning", "E-flat")
    assert max(map(len, told.splitlines()[1:])) <= 80
    words = " ".join(told.split())
    assert "a: 26-string in C; b: 26-string in E-flat; c: 34-string in C; d: 34-string in E-flat." in words
    assert "the-mill-turns.musicxml 16 lost 16 lost 3 flips 3 flips" in words
    assert words.count("no telling which part") == 1
    chosen = run(capsys, shelf, "--harp", "26", "--harp", "34", "--only", "with flips on the 34-string in C")
    assert "As asked for: 2 files" in chosen
    assert "Not vetted" not in chosen


@pytest.mark.usefixtures("here")
def test_lines_of_json_and_csv_say_the_same(shelf: str, capsys: Capture) -> None:
    words = [shelf, "--harp", "26", "--harp", "34 in E-flat", "--else-part", "1"]
    entries = [json.loads(line) for line in run(capsys, *words, "--json").splitlines()]
    rows = list(csv.DictReader(io.StringIO(run(capsys, *words, "--csv"))))
    assert len(entries) == len(rows) == 22
    assert tuple(rows[0]) == shelf_view.HEADER
    for entry, row in zip(entries, rows, strict=True):
        assert entry["format"] == "harpkeys/shelf/1"
        assert (entry["file"], entry["harp"], entry["problem"] or "") == (
            row["file"],
            row["harp"],
            row["problem"],
        )
        assert entry.get("verdict", "not vetted") == row["verdict"]
        if entry["problem"] is None:
            assert str(entry["plucks"]) == row["notes"]
            for name in ("lost", "cuts", "flips", "levers_up", "measures"):
                assert str(entry[name]) == row[name]
    assert {row["part"] for row in rows if row["file"] == "a/duo.xml"} == {"P1"}


@pytest.mark.usefixtures("here")
def test_sorted_and_sifted_lines(shelf: str, capsys: Capture) -> None:
    words = [shelf, "--harp", "34 in E-flat", "--csv", "--only", "playable", "--most-flips", "3"]
    told = csv.DictReader(io.StringIO(run(capsys, *words, "--sort", "flips", "--reverse")))
    assert [(row["file"], row["flips"]) for row in told] == [
        ("down-the-quay-steps.musicxml", "3"),
        ("the-mill-turns.musicxml", "3"),
        ("a/owl-light-lullaby.MXL", "2"),
        ("a/b/low.xml", "0"),
        ("doorstep-jig.musicxml", "0"),
    ]


def test_lines_come_in_order_where_one_is_asked_for(shelf: str, capsys: Capture) -> None:
    told = run(capsys, shelf, "--harp", "26", "--cores", "2", "--json", "--sort", "file")
    names = [json.loads(line)["file"] for line in told.splitlines()]
    assert len(names) == 11
    assert names == sorted(names)


@pytest.mark.usefixtures("here")
def test_rows_and_names_fit_the_table(tmp_path: Path, capsys: Capture) -> None:
    deep = tmp_path / ("long-" * 12)
    deep.mkdir()
    for number in range(5):
        shutil.copy(CORPUS / "doorstep-jig.musicxml", deep / f"tune-{number}.xml")
    told = run(capsys, str(tmp_path), "--harp", "26", "--rows", "3")
    assert max(map(len, told.splitlines()[1:])) <= 80
    assert "long-long-long-long-/tune-2.xml" in told
    assert "tune-3" not in told
    assert "  … and 2 more; --rows 5 shows all.\n" in told


@pytest.mark.usefixtures("here")
def test_results_are_kept_and_gone_on_with(
    shelf: str, tmp_path: Path, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    results = tmp_path / "results.jsonl"
    words = [shelf, "--harp", "26", "--results", str(results)]
    first = run(capsys, *words)
    kept = results.read_bytes()
    assert kept.count(b"\n") == 11

    def refuse(self: pools.LocalPool) -> Executor:
        class Nobody(AtOnce):
            def submit(self, *words: object, **others: object) -> None:  # type: ignore[override]
                raise AssertionError("nothing is left to do")

        return Nobody()

    monkeypatch.setattr(HerePool, "start", refuse)
    assert run(capsys, *words) == first
    assert results.read_bytes() == kept


@pytest.mark.usefixtures("here")
def test_the_player_of_a_harp_file_counts_on_that_harp(tmp_path: Path, capsys: Capture) -> None:
    shutil.copy(CORPUS / "the-mill-turns.musicxml", tmp_path)
    slow = tmp_path / "slow.toml"
    slow.write_text('name = "Slow"\nlowest = "C2"\nhighest = "A6"\ntuning = "E-flat"\nplayer = "5/1/1"\n')
    told = run(capsys, str(tmp_path), "--harp", "34 in E-flat", "--harp", str(slow), "--csv")
    verdicts = {row["harp"]: row["verdict"] for row in csv.DictReader(io.StringIO(told))}
    assert verdicts == {"34-string in E-flat": "with flips", "Slow in E-flat": "not as written"}
    same = run(
        capsys, str(tmp_path), "--harp", "34 in E-flat", "--harp", str(slow), "--csv", "--player", "steady"
    )
    assert len(same.splitlines()) == 2, "with one player these are one harp"


def test_a_cluster_does_the_work(shelf: str, tmp_path: Path, capsys: Capture) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1,
        threads_per_worker=2,
        processes=False,
        dashboard_address=None,
        local_directory=str(tmp_path / "dask"),
    ) as cluster:
        told = run(
            capsys, shelf, "--harp", "26", "--csv", "--sort", "file", "--dask", cluster.scheduler_address
        )
    rows = list(csv.DictReader(io.StringIO(told)))
    assert len(rows) == 11
    assert sum(row["verdict"] == "not vetted" for row in rows) == 6


MISTAKES = [
    (["--json", "--csv"], "--json and --csv both say how to print; leave out one of them."),
    (
        ["--sort", "size"],
        '--sort cannot be "size"; it is one of file, title, ease, flips, lost, up, notes, tempo.',
    ),
    (
        ["--cores", "2", "--dask", "x"],
        "--cores and --dask both say who does the work; leave out one of them.",
    ),
    (
        ["--dask", "nowhere"],
        'no Dask cluster answers at "nowhere"; give its address, such as "tcp://localhost:8786".',
    ),
    (
        ["--tempo-scale", "0"],
        "--tempo-scale cannot be '0'; give a number above 0 and up to 100, such as 0.8.",
    ),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_mistakes(
    words: list[str], sentence: str, shelf: str, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pools, "PATIENCE", 0.2)
    assert main(["shelf", shelf, *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")


def test_a_results_file_of_something_else_is_refused(shelf: str, tmp_path: Path, capsys: Capture) -> None:
    path = tmp_path / "tunes.csv"
    path.write_text("title\n")
    assert main(["shelf", shelf, "--results", str(path)]) == 2
    assert capsys.readouterr() == (
        "",
        f"{path}: this is no results file of a shelf; name another file, or a new one.\n",
    )
    assert path.read_text() == "title\n"


@pytest.mark.parametrize("how", ["interrupted", "killed"])
def test_a_run_that_is_stopped_leaves_nothing_behind(how: str, tmp_path: Path) -> None:
    folder = tmp_path / "shelf"
    folder.mkdir()
    for number in range(120):
        shutil.copy(CORPUS / "five-bridges.musicxml", folder / f"{number:03}.xml")
    results = tmp_path / "results.jsonl"
    words = [sys.executable, "-m", "harpkeys", "shelf", str(folder), "--harp", "26", "--cores", "1"]
    words += ["--results", str(results), "--json"]
    # Unbuffered, so that nothing that was read ahead is missing from what is read at the end.
    running = subprocess.Popen(
        words,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        bufsize=0,
        start_new_session=True,
        # Else interrupts are ignored where these tests run behind a shell's "&".
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert running.stdout is not None
    lines = [running.stdout.readline().decode() for _ in range(3)]
    if how == "interrupted":
        os.killpg(running.pid, signal.SIGINT)  # as Ctrl-C does
    else:
        os.kill(running.pid, signal.SIGKILL)
    out, err = (text.decode() for text in running.communicate(timeout=60))
    wait_for_the_end(running.pid)
    kept = results.read_text().splitlines()
    assert kept[:3] == [line.rstrip() for line in lines]
    if how == "killed":
        return
    assert running.returncode == 130
    said = re.fullmatch(r"Stopped after (\d+) of 120 files; they are kept in (.*)\.\n", err)
    assert said is not None
    assert said[2] == str(results)
    done = len(lines) + len(out.splitlines())
    assert done <= int(said[1]) <= done + 1 < 120
    assert all(json.loads(line)["verdict"] for line in [*lines, *out.splitlines()])
    assert int(said[1]) <= len(kept) <= int(said[1]) + 1


def wait_for_the_end(group: int) -> None:
    """Wait until no process of a group is left."""
    for _ in range(400):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    os.killpg(group, signal.SIGKILL)
    pytest.fail("a process is left")


def test_a_bar_is_for_terminals_only(tmp_path: Path) -> None:
    for number in range(3):
        shutil.copy(CORPUS / "doorstep-jig.musicxml", tmp_path / f"{number}.xml")
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "harpkeys", "shelf", str(tmp_path), "--cores", "1", "--csv"]
    finished = subprocess.run(words, stdout=subprocess.PIPE, stderr=theirs, text=True, timeout=60)
    os.close(theirs)
    with open(ours, "rb", buffering=0) as stream:
        bar = stream.read(100_000).decode()
    assert len(finished.stdout.splitlines()) == 4
    assert "Vetting 3 files" in bar
    assert "3/3" in bar
    assert "Vetting" not in finished.stdout

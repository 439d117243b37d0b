"""Files written whole or not at all, and archives that keep everything else that is in them."""

from __future__ import annotations

import io
import os
import random
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from harpkeys.errors import FileError, OptionError
from harpkeys.mark.files import output_path, packed_like, write_safely
from harpkeys.score.container import open_score

ROOT = Path(__file__).resolve().parents[2]
OWL = ROOT / "corpus" / "owl-light-lullaby.mxl"
KILLS = 12
SEED = 3

WRITER = """
import sys
from pathlib import Path
from harpkeys.mark.files import write_safely
path, size = Path(sys.argv[1]), int(sys.argv[2])
print("ready", flush=True)
number = 0
while True:
    number += 1
    write_safely(path, bytes([97 + number % 26]) * size, overwrite=True)
"""
"""Writes one file over and over, each time of another letter alone."""


def test_a_new_file_is_written(tmp_path: Path) -> None:
    path = tmp_path / "new.musicxml"
    write_safely(path, b"whole")
    assert path.read_bytes() == b"whole"
    assert os.listdir(tmp_path) == ["new.musicxml"]


def test_an_existing_file_is_not_replaced_unasked(tmp_path: Path) -> None:
    path = tmp_path / "old.musicxml"
    path.write_bytes(b"old")
    with pytest.raises(FileError) as caught:
        write_safely(path, b"new")
    assert caught.value.sentence == (
        f"{path}: the file exists already; allow --overwrite, or name another with --output."
    )
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["old.musicxml"]


def test_an_existing_file_is_replaced_when_asked_and_keeps_its_permissions(tmp_path: Path) -> None:
    path = tmp_path / "old.musicxml"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write_safely(path, b"new", overwrite=True)
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640


def test_folders_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        write_safely(tmp_path, b"", overwrite=True)
    assert caught.value.sentence == (
        f"{tmp_path}: this is a folder, so no file can be written there; name a file in it."
    )
    missing = tmp_path / "none" / "new.musicxml"
    with pytest.raises(FileError) as caught:
        write_safely(missing, b"")
    assert caught.value.sentence == f"{missing}: there is no such folder to write to; make it first."


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "old.musicxml"
    path.write_bytes(b"old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(FileError) as caught:
        write_safely(path, b"new", overwrite=True)
    assert caught.value.sentence == (
        f"{path}: the file cannot be written (No space left on device); write it somewhere else."
    )
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["old.musicxml"]


def test_a_killed_writer_leaves_a_whole_file(tmp_path: Path) -> None:
    """SIGKILL at random moments; what bears the name is one version from its first byte to its last."""
    path, size = tmp_path / "score.musicxml", 2_000_003
    path.write_bytes(b"-" * size)
    rng = random.Random(SEED)
    seen: set[int] = set()
    for _ in range(KILLS):
        command = [sys.executable, "-c", WRITER, str(path), str(size)]
        with subprocess.Popen(command, stdout=subprocess.PIPE) as writer:
            assert writer.stdout is not None
            assert writer.stdout.readline() == b"ready\n"
            time.sleep(rng.uniform(0.0, 0.1))
            writer.send_signal(signal.SIGKILL)
            writer.wait(timeout=30)
        data = path.read_bytes()
        assert len(data) == size
        assert data == data[:1] * size
        seen.add(data[0])
    assert len(seen) > 1  # the kills did fall among writes


def test_an_archive_keeps_its_other_members() -> None:
    opened = open_score(OWL)
    data = packed_like(opened, b"<score-partwise/>", Path("new.mxl"))
    assert data == packed_like(opened, b"<score-partwise/>", Path("new.mxl"))
    with zipfile.ZipFile(OWL) as before:
        names = before.namelist()
        others = {name: before.read(name) for name in names if name != opened.member}
        dates = [info.date_time for info in before.infolist()]
    assert others
    with zipfile.ZipFile(io.BytesIO(data)) as after:
        assert after.namelist() == names
        assert [info.date_time for info in after.infolist()] == dates
        assert {name: after.read(name) for name in others} == others
        assert b"<score-partwise/>" in after.read(opened.member)


def test_a_new_archive_can_be_opened_again(tmp_path: Path) -> None:
    opened = open_score(ROOT / "corpus" / "the-loom.musicxml")
    path = tmp_path / "new.mxl"
    write_safely(path, packed_like(opened, opened.data.rstrip(), path))
    again = open_score(path)
    assert again.is_archive
    assert again.data == opened.data
    with zipfile.ZipFile(path) as archive:
        first = archive.infolist()[0]
        assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)


def test_results_are_named_after_the_score() -> None:
    assert output_path(Path("a/tune.mxl"), None, "levers") == Path("a/tune.levers.mxl")
    assert output_path(Path("tune.levers.xml"), None, "cleared") == Path("tune.cleared.xml")
    assert output_path(Path("tune"), None, "levers") == Path("tune.levers.musicxml")
    assert output_path(Path("tune.xml"), Path("b.mxl"), "levers") == Path("b.mxl")
    with pytest.raises(OptionError) as caught:
        output_path(Path("tune.xml"), Path("b.pdf"), "levers")
    assert caught.value.sentence == ("--output cannot be 'b.pdf'; its name ends in .musicxml, .xml, .mxl.")

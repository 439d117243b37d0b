"""What `mark`, `print`, `sheet` and `report` write: the same bytes every time, whole or not at all."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

import pytest

from harpkeys.cli import main

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
FOG = CORPUS / "fog-on-the-cut.musicxml"

FILES = {
    "mark": ("a.musicxml", "a.mxl"),
    "print": ("a.pdf", "a.svg"),
    "sheet": ("a.pdf", "a.html", "a.txt", "a.csv"),
    "report": ("a.html",),
}
"""A file of each kind that each command writes."""

WRITING = [(command, name) for command, names in FILES.items() for name in names]


def written_by(seed: str, folder: Path) -> dict[str, bytes]:
    """All of these files, made by a process of its own."""
    code = (
        "import sys; from pathlib import Path; from harpkeys.cli import main\n"
        "for word in sys.argv[3:]:\n"
        "    command, name = word.split('/')\n"
        "    folder = Path(sys.argv[2], command)\n"
        "    folder.mkdir(exist_ok=True)\n"
        "    assert main([command, sys.argv[1], '-o', str(folder / name)]) == 0\n"
    )
    words = [f"{command}/{name}" for command, name in WRITING]
    folder.mkdir()
    subprocess.run(
        [sys.executable, "-c", code, str(FOG), str(folder), *words],
        env={**os.environ, "PYTHONHASHSEED": seed},
        stdout=subprocess.DEVNULL,
        check=True,
    )
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*.*")}


def test_two_processes_write_the_same_bytes(tmp_path: Path) -> None:
    first, second = (written_by(seed, tmp_path / seed) for seed in ("1", "2"))
    assert len(first) == len(WRITING)
    assert [name for name in first if first[name] != second.get(name)] == []


@pytest.mark.parametrize(("command", "name"), WRITING)
def test_a_full_disk_leaves_the_old_file(
    command: str,
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    target = tmp_path / name
    old = tmp_path / "a-1.svg" if name.endswith(".svg") else target
    old.write_bytes(b"as it was")

    def full(_: int) -> NoReturn:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    assert main([command, str(FOG), "-o", str(target), "--overwrite"]) == 2
    out, err = capsys.readouterr()
    assert (out, err) == (
        "",
        f"{old}: the file cannot be written (No space left on device); write it somewhere else.\n",
    )
    assert old.read_bytes() == b"as it was"
    assert list(tmp_path.iterdir()) == [old]


@pytest.mark.skipif(os.name != "posix", reason="kills by signal")
@pytest.mark.parametrize("command", FILES)
@pytest.mark.parametrize(("call", "after"), [("fsync", False), ("fsync", True), ("replace", True)])
def test_a_command_killed_while_it_writes_leaves_a_whole_file(
    command: str, call: str, after: bool, tmp_path: Path
) -> None:
    """SIGKILL before the new file is on the disk, before it gets its name, and right after that."""
    target = tmp_path / FILES[command][0]
    assert main([command, str(FOG), "-o", str(target)]) == 0
    new = target.read_bytes()
    target.write_bytes(b"as it was")
    code = (
        "import os, signal, sys; from harpkeys.cli import main\n"
        f"real = os.{call}\n"
        "def killed(*words):\n"
        f"    if {after}: real(*words)\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
        f"os.{call} = killed\n"
        "main(sys.argv[1:])\n"
    )
    words = [command, str(FOG), "-o", str(target), "--overwrite"]
    process = subprocess.run([sys.executable, "-c", code, *words], stdout=subprocess.DEVNULL, check=False)
    assert process.returncode == -signal.SIGKILL
    assert target.read_bytes() == (new if call == "replace" else b"as it was")


@pytest.mark.parametrize("command", ["mark", "report"])
def test_the_score_is_not_written_over_unasked(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A web page is no score, but a score may bear its name."""
    score = tmp_path / ("a.musicxml" if command == "mark" else "a.html")
    score.write_bytes(FOG.read_bytes())
    assert main([command, str(score), "-o", str(score)]) == 2
    assert capsys.readouterr().err == (
        f"{score}: the file exists already; allow --overwrite, or name another with --output.\n"
    )
    assert score.read_bytes() == FOG.read_bytes()
    other = tmp_path / f"link{score.suffix}"
    other.symlink_to(score)
    assert main([command, str(score), "-o", str(other)]) == 2
    assert score.read_bytes() == FOG.read_bytes()
    assert main([command, str(score), "-o", str(score), "--overwrite"]) == 0
    assert score.read_bytes() != FOG.read_bytes()

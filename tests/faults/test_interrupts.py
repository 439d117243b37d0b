"""Ctrl-C at any moment in the life of the process, from the first step of our own code to its very end.

Python's own start cannot be guarded by what it has not read yet, so each process tells when ours begins, and
is interrupted only then. It may be done before the signal comes (0), end by itself (130), or, where Python
has given up its handlers, by the signal, which a shell tells as 130 too. It never shows a traceback.
"""

from __future__ import annotations

import os
import runpy
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from harpkeys.choose.processes import LocalProcesses

ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "corpus"
FOG = str(CORPUS / "fog-on-the-cut.musicxml")
WRITTEN = "out.musicxml"
POINTS = 300 if os.environ.get("HARPKEYS_LONG") else 60

pytestmark = pytest.mark.skipif(os.name != "posix", reason="asks POSIX systems")

ENTRY = """
import os, runpy, signal, sys

def telling(number, handler):
    signal.signal = real
    before = real(number, handler)
    os.write(told, b"x")
    return before

told, real = int(sys.argv.pop(1)), signal.signal
signal.signal = telling
runpy.run_module("harpkeys", run_name="__main__", alter_sys=True)
"""
"""`python -m harpkeys`, telling when its guard stands."""

SIDE_BY_SIDE = f"""
from harpkeys.choose import side_by_side
side_by_side.PATIENCE = -1
{ENTRY}
"""
"""The same with work that is shared out to further processes at once."""

UNGUARDED = """
import os, sys
os.write(int(sys.argv.pop(1)), b"x")
from harpkeys.cli import main
sys.exit(main())
"""
"""The command line without its guard."""

SCRIPT = f"""
import _signal, os, runpy, sys

def telling(how, numbers):
    _signal.pthread_sigmask = real
    before = real(how, numbers)
    os.write(told, b"x")
    return before

told, real = int(sys.argv.pop(1)), _signal.pthread_sigmask
_signal.pthread_sigmask = telling
runpy.run_path({str(ROOT / "scripts" / "run.py")!r}, run_name="__main__")
"""
"""`python scripts/run.py`, telling when it holds interrupts back, which it does first."""


def begun(code: str, *words: str, cwd: Path) -> subprocess.Popen[bytes]:
    """A process in a group of its own whose code has just told that it begins."""
    reading, writing = os.pipe()
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(writing), *words],
        cwd=cwd,
        pass_fds=[writing],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        # A shell that runs the tests in the background has them ignore interrupts, which children inherit.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    os.close(writing)
    with open(reading, "rb") as stream:
        assert stream.read(1) == b"x", process.communicate()
    return process


def interrupted(code: str, *words: str, cwd: Path, after: float) -> tuple[int, str, str]:
    """Exit code, output and errors of a process whose group is interrupted after so many seconds."""
    process = begun(code, *words, cwd=cwd)
    time.sleep(after)
    os.killpg(process.pid, signal.SIGINT)  # it is not waited for yet, so the group is there
    out, err = process.communicate(timeout=120)
    return process.returncode, out.decode(), err.decode()


def moments(code: str, *words: str, cwd: Path, points: int) -> list[float]:
    """Seconds after which to interrupt, spread over the life of a process let alone and a little more."""
    process = begun(code, *words, cwd=cwd)
    start = time.monotonic()
    _, err = process.communicate(timeout=120)
    assert (process.returncode, err) == (0, b"")
    life = time.monotonic() - start
    return [life * 1.1 * point / points for point in range(points)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "points"),
    [
        (("vet", FOG), POINTS),
        (("--help",), POINTS // 3),
        (("mark", FOG, "-o", WRITTEN), POINTS // 3),
        (("shelf", str(CORPUS), "--harp", "26", "--cores", "2", "--csv"), POINTS // 3),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_an_interrupt_at_any_moment_is_quiet(words: tuple[str, ...], points: int, tmp_path: Path) -> None:
    target = tmp_path / WRITTEN
    ended = set()
    times = moments(ENTRY, *words, cwd=tmp_path, points=points)
    whole = target.read_bytes() if "mark" in words else b""
    for after in times:
        target.unlink(missing_ok=True)
        code, out, err = interrupted(ENTRY, *words, cwd=tmp_path, after=after)
        ended.add(code)
        assert code in (0, 130, -signal.SIGINT), (after, code, out, err)
        assert not err or words[0] == "shelf", (after, err)
        assert not err or (err.startswith("Stopped after ") and err.count("\n") == 1), (after, err)
        left = os.listdir(tmp_path)
        assert left in ([], [WRITTEN]), (after, left)
        assert not left or target.read_bytes() == whole
    assert 130 in ended


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [("compare", FOG, "--all", "--cores", "2", "--csv"), ("programme", FOG, FOG, FOG, "--cores", "2")],
    ids=lambda words: words[0],
)
def test_an_interrupt_of_several_processes_is_quiet(words: tuple[str, ...], tmp_path: Path) -> None:
    for after in moments(SIDE_BY_SIDE, *words, cwd=tmp_path, points=POINTS // 3):
        code, out, err = interrupted(SIDE_BY_SIDE, *words, cwd=tmp_path, after=after)
        assert code in (0, 130, -signal.SIGINT), (after, code, out, err)
        assert err == "", after


def test_a_cancelled_job_is_not_told_of_an_error() -> None:
    with LocalProcesses(1) as pool:
        executor = pool.start()
        jobs = [executor.submit(time.sleep, 0.1) for _ in range(6)]
        assert jobs[-1].cancel()
        jobs[-1].set_exception(RuntimeError("its process died"))
        assert jobs[-1].cancelled()
        assert jobs[0].result() is None


@pytest.mark.slow
def test_an_interrupt_of_the_script_is_quiet(tmp_path: Path) -> None:
    """It waits while Python starts for the second time, with the command."""
    run = runpy.run_path(str(ROOT / "scripts" / "run.py"))
    if not run["is_ready"]("", run["fingerprint"]()):
        pytest.skip("the tests do not run in the environment of the script, which would set one up")
    words = ("vet", FOG)
    for after in moments(SCRIPT, *words, cwd=tmp_path, points=POINTS // 2):
        code, out, err = interrupted(SCRIPT, *words, cwd=tmp_path, after=after)
        assert code in (0, 130, -signal.SIGINT), (after, code, out, err)
        assert err == "", after


def test_without_the_guard_there_is_a_traceback(tmp_path: Path) -> None:
    """That these tests can fail: Python imports the command line for longer than a signal takes to arrive."""
    _, _, err = interrupted(UNGUARDED, "vet", FOG, cwd=tmp_path, after=0)
    assert "Traceback" in err
    assert "KeyboardInterrupt" in err


IN_A_CALLBACK = """
import os, signal, sys, time, weakref
from harpkeys import __main__ as entry
from harpkeys.score import reader

class Thing:
    pass

def callback(reference):
    os.kill(os.getpid(), signal.SIGINT)
    for _ in range(1000):
        pass

def interrupt(path):
    thing = Thing()
    reference = weakref.ref(thing, callback)
    del thing
    time.sleep(60)

reader.read_score = interrupt
sys.exit(entry.main())
"""
"""An interrupt that comes while Python is in a callback out of which nothing is raised."""


def test_an_interrupt_that_cannot_be_raised_is_raised_later() -> None:
    done = subprocess.run(
        [sys.executable, "-c", IN_A_CALLBACK, "vet", FOG],
        capture_output=True,
        text=True,
        timeout=50,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


WHILE_IMPORTING = """
import os, signal, sys, time
from harpkeys import __main__ as entry
from harpkeys.score import reader

class Name:
    def __set_name__(self, owner, name):
        os.kill(os.getpid(), signal.SIGINT)
        for _ in range(1000):
            pass

def interrupt(path):
    import odd
    time.sleep(60)

sys.path.insert(0, ".")
reader.read_score = interrupt
sys.modules["name"] = type("Module", (), {"Name": Name})
sys.exit(entry.main())
"""
"""An interrupt that comes while a module is imported, in a place where Python makes a RuntimeError of it."""


def test_an_interrupt_of_an_import_is_no_other_error(tmp_path: Path) -> None:
    (tmp_path / "odd.py").write_text("from name import Name\nclass Odd:\n    it = Name()\n")
    done = subprocess.run(
        [sys.executable, "-c", WHILE_IMPORTING, "vet", FOG],
        capture_output=True,
        text=True,
        timeout=50,
        cwd=tmp_path,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")


def test_other_failures_that_cannot_be_raised_are_told() -> None:
    told = IN_A_CALLBACK.replace("os.kill(os.getpid(), signal.SIGINT)", "1 / 0").replace(
        "sleep(60)", "sleep(0)"
    )
    done = subprocess.run([sys.executable, "-c", told, "vet", FOG], capture_output=True, text=True)
    assert "ZeroDivisionError" in done.stderr


def test_where_interrupts_are_ignored_they_stay_so() -> None:
    """As in the background of a shell, where Ctrl-C is meant for another."""
    check = (
        "import signal, sys; from harpkeys import __main__ as entry; entry.main();"
        "print(signal.getsignal(signal.SIGINT) is signal.SIG_IGN)"
    )
    done = subprocess.run(
        [sys.executable, "-c", check, "--version"],
        capture_output=True,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_IGN),
    )
    assert (done.returncode, done.stdout.splitlines()[-1], done.stderr) == (0, "True", "")


def test_the_installed_command_is_the_guarded_one() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["scripts"] == {"harpkeys": "harpkeys.__main__:main"}


def test_nothing_is_imported_before_the_guard_stands() -> None:
    check = (
        "import os, sys; before = set(sys.modules); import harpkeys.__main__;"
        "print(sorted(set(sys.modules) - before))"
    )
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    assert done.stdout == "['harpkeys', 'harpkeys.__main__']\n"

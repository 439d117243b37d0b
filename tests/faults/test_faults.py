"""Work that is disturbed: full disks, closed pipes, odd locales and clocks, two runs at once, Ctrl-C.

Whatever happens, nothing that was there is lost, no half file is left, the exit code is one of those
documented (0, 2, 130) and no traceback is shown. Killing by signal is tested where files are written
(tests/mark, tests/cli/test_page_files.py, tests/shelf).
"""

from __future__ import annotations

import ast
import os
import signal
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CORPUS = ROOT / "corpus"
FOG = str(CORPUS / "fog-on-the-cut.musicxml")
HARPKEYS = [sys.executable, "-m", "harpkeys"]

posix = pytest.mark.skipif(os.name != "posix", reason="asks POSIX systems")

WRITING = {
    "mark": ("mark", FOG, "-o", "out.musicxml"),
    "transpose": ("transpose", FOG, "--by", "2", "-o", "out.musicxml"),
    "print": ("print", FOG, "-o", "out.pdf"),
    "sheet": ("sheet", FOG, "-o", "out.pdf"),
    "report": ("report", FOG, "-o", "out.html"),
    "tuning": ("tuning", "--pdf", "out.pdf"),
}
"""A command line for each command that writes a file."""

TELLING = {
    "vet": ("vet", FOG),
    "json": ("vet", FOG, "--json"),
    "compare": ("compare", FOG, "--tuning", "C", "--csv"),
    "keys": ("keys",),
    "shelf": ("shelf", str(CORPUS / "harps" / ".."), "--harp", "26", "--cores", "1", "--csv"),
    "help": ("vet", "--help"),
    "version": ("--version",),
}
"""A command line for each way to standard output."""

by_writing = pytest.mark.parametrize("words", WRITING.values(), ids=WRITING)
by_telling = pytest.mark.parametrize("words", TELLING.values(), ids=TELLING)


def run(*words: str, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*HARPKEYS, *words], capture_output=True, cwd=cwd, env={**os.environ, **environment}
    )


# Standard output.


@posix
@by_telling
def test_a_closed_pipe_is_no_error(words: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run([*HARPKEYS, *words], stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
@by_telling
def test_a_full_standard_output_is_told(words: tuple[str, ...]) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run([*HARPKEYS, *words], stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 2
    assert done.stderr == (
        b"standard output cannot be written (No space left on device); write it somewhere else.\n"
    )


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
def test_where_nothing_can_be_told_the_exit_code_tells() -> None:
    with open("/dev/full", "wb") as full:
        assert subprocess.run([*HARPKEYS, "vet", "nowhere"], stdout=full, stderr=full).returncode == 2
    closed = subprocess.run(["bash", "-c", f"{' '.join(HARPKEYS)} vet nowhere >&- 2>&-"])
    assert closed.returncode == 2


# Files.

LIMITED = (
    "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000));"
    "from harpkeys.cli import main; sys.exit(main(sys.argv[1:]))"
)
"""A process whose files may have a thousand bytes, as on a disk that is about to be full."""


@posix
@by_writing
def test_a_disk_that_fills_up_loses_nothing(words: tuple[str, ...], tmp_path: Path) -> None:
    target = tmp_path / words[-1]
    target.write_bytes(b"as it was")
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, *words, "--overwrite"], capture_output=True, text=True, cwd=tmp_path
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert (
        done.stderr
        == f"{target.name}: the file cannot be written (File too large); write it somewhere else.\n"
    )
    assert target.read_bytes() == b"as it was"
    assert os.listdir(tmp_path) == [target.name]


@posix
@by_writing
def test_names_and_folders_that_cannot_be(words: tuple[str, ...], tmp_path: Path) -> None:
    ending = Path(words[-1]).suffix
    (tmp_path / "file").write_bytes(b"no folder")
    cases = {
        f"file/out{ending}": "there is no such folder to write to; make it first.",
        f"{'x' * 300}{ending}": "the file cannot be written (File name too long); write it somewhere else.",
        f"/proc/out{ending}": "the file cannot be written (No such file or directory); write it somewhere "
        "else.",
    }
    for name, sentence in cases.items():
        if name.startswith("/proc") and not Path("/proc/self").exists():
            continue
        done = run(*words[:-1], name, cwd=tmp_path)
        assert (done.returncode, done.stdout) == (2, b"")
        assert done.stderr.decode() == f"{name}: {sentence}\n"
    assert (tmp_path / "file").read_bytes() == b"no folder"
    assert os.listdir(tmp_path) == ["file"]


WRITERS = {"mark.files", "shelf.results"}
"""The modules that write files: one that writes whole files or none, one that adds lines."""


def test_files_are_written_in_one_place_only() -> None:
    """Anything that opens a file to write it elsewhere would escape the tests of that place."""
    found = set()
    for path in (ROOT / "harpkeys").rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and writes(node):
                found.add(".".join(path.relative_to(ROOT / "harpkeys").with_suffix("").parts))
    assert found == WRITERS


def writes(call: ast.Call) -> bool:
    """Whether a call opens a file by its name to write it."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    if name in ("write_text", "write_bytes", "mkstemp", "NamedTemporaryFile"):
        return True
    if name != "open" or (call.args and isinstance(call.args[0], ast.Name) and call.args[0].id == "writing"):
        return False  # a pipe
    words = [*call.args, *(keyword.value for keyword in call.keywords)]
    modes = [word.value for word in words if isinstance(word, ast.Constant) and isinstance(word.value, str)]
    return any(set(mode) & set("wax+") and set(mode) <= set("rwaxbt+") for mode in modes)


def test_two_runs_at_once_leave_one_whole_file(tmp_path: Path) -> None:
    """Without --overwrite one of them has to give way; with it the last one counts."""
    alone = tmp_path / "alone.musicxml"
    assert run("mark", FOG, "-o", str(alone)).returncode == 0
    words = [*HARPKEYS, "mark", FOG, "-o", "out.musicxml"]
    for more, codes in (([], [0, 2]), (["--overwrite"], [0, 0])):
        runs = [
            subprocess.Popen([*words, *more], cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            for _ in range(2)
        ]
        said = [run.communicate() for run in runs]
        assert sorted(run.returncode for run in runs) == codes, said
        assert b"Traceback" not in b"".join(err for _, err in said)
        assert (tmp_path / "out.musicxml").read_bytes() == alone.read_bytes()
        assert sorted(os.listdir(tmp_path)) == ["alone.musicxml", "out.musicxml"]


# Locale and clock.

LOCALES = (
    {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8", "TZ": "Pacific/Kiritimati"},
    {"TZ": "nonsense", "SOURCE_DATE_EPOCH": "not a number"},
    {"SOURCE_DATE_EPOCH": "0"},
)


@pytest.mark.parametrize("environment", LOCALES, ids=lambda environment: "-".join(environment.values()))
def test_locale_and_time_zone_change_nothing(environment: dict[str, str], tmp_path: Path) -> None:
    plain = dict.fromkeys(("LC_ALL", "LANG", "TZ", "SOURCE_DATE_EPOCH"), "")
    page = ("report", FOG, "-o", str(tmp_path / "out.html"), "--overwrite")
    for words in (("vet", FOG, "--json"), ("vet", FOG), page):
        done = run(*words, **{**plain, **environment})
        assert (done.returncode, done.stderr) == (0, b"")
        if words == page:
            assert (tmp_path / "out.html").read_bytes() == usual_page()
        elif "--json" in words or environment.get("PYTHONUTF8") != "0":
            assert done.stdout == usual(words)
        else:
            assert done.stdout.isascii()
            assert len(done.stdout.splitlines()) == len(usual(words).splitlines())


@cache
def usual(words: tuple[str, ...]) -> bytes:
    """What a command says in a usual environment."""
    return run(*words, PYTHONUTF8="1").stdout


@cache
def usual_page() -> bytes:
    """The web page in a usual environment."""
    with tempfile.TemporaryDirectory() as folder:
        run("report", FOG, "-o", f"{folder}/out.html", PYTHONUTF8="1")
        return (Path(folder) / "out.html").read_bytes()


CLOCK = (
    "import sys, time, datetime\n"
    "ticks = [float(sys.argv[1])]\n"
    "def now():\n"
    "    ticks[0] += float(sys.argv[2])\n"
    "    return ticks[0]\n"
    "time.time = time.monotonic = time.perf_counter = now\n"
    "from harpkeys.cli import main\n"
    "sys.exit(main(sys.argv[3:]))\n"
)
"""A process whose clock starts somewhere and goes by so many seconds each time it is asked."""


@pytest.mark.parametrize(("start", "step"), [("0", "0"), ("4102444800", "-86400")])
def test_the_clock_changes_nothing(start: str, step: str, tmp_path: Path) -> None:
    page = ("report", FOG, "-o", str(tmp_path / "out.html"))
    for words in (("vet", FOG), page):
        done = subprocess.run([sys.executable, "-c", CLOCK, start, step, *words], capture_output=True)
        assert (done.returncode, done.stderr) == (0, b"")
        assert words == page or done.stdout == usual(words)
    assert (tmp_path / "out.html").read_bytes() == usual_page()


# Ctrl-C.

INTERRUPTED = """
import os, sys
from pathlib import Path
from harpkeys.cli import main

words, points, target = sys.argv[2:], int(sys.argv[1]), Path(sys.argv[-1])
count, stop = 0, None

def counting(frame, event, argument):
    global count
    if event == "call":
        count += 1
        if count == stop:
            raise KeyboardInterrupt

def once(at):
    global count, stop
    count, stop = 0, at
    sys.setprofile(counting)
    try:
        return main(words)
    finally:
        sys.setprofile(None)

sys.stdout = open(os.devnull, "w")
assert once(None) == 0
whole = target.read_bytes()
total = count
for point in range(points):
    target.unlink(missing_ok=True)
    code = once(2 + (total - 2) * point // points)
    assert code in (0, 130), (point, code)
    there = sorted(path.name for path in Path().iterdir())
    assert there in ([], [target.name]), there
    assert not there or target.read_bytes() == whole
    assert code == 130 or there
"""
"""Runs a command again and again, interrupted at one function call after another."""


@pytest.mark.parametrize("words", [WRITING["mark"], WRITING["report"]], ids=["mark", "report"])
def test_an_interrupt_anywhere_leaves_nothing_half_done(words: tuple[str, ...], tmp_path: Path) -> None:
    points = 400 if os.environ.get("HARPKEYS_LONG") else 12
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED, str(points), *words], capture_output=True, text=True, cwd=tmp_path
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Traceback" not in done.stderr


SIGNALLED = (
    "import os, signal, sys, importlib\n"
    "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    "module, name = sys.argv[1].rsplit('.', 1)\n"
    "def interrupt(*words, **named):\n"
    "    os.killpg(os.getpgid(0), signal.SIGINT)\n"
    "    signal.pause()\n"
    "setattr(importlib.import_module(module), name, interrupt)\n"
    "from harpkeys.cli import main\n"
    "sys.exit(main(sys.argv[2:]))\n"
)
"""A process whose whole group gets Ctrl-C's signal when it comes to a function."""

PLACES = {
    "reading": ("harpkeys.score.container.open_score", WRITING["mark"]),
    "planning": ("harpkeys.report.vet.make_plan", WRITING["report"]),
    "the engraver's child": ("verovio.toolkit", WRITING["print"]),
    "typesetting": ("typst.compile", WRITING["sheet"]),
    "writing": ("os.fsync", WRITING["print"]),
}


@posix
@pytest.mark.parametrize("place", PLACES)
def test_a_signal_ends_with_130(place: str, tmp_path: Path) -> None:
    name, words = PLACES[place]
    done = subprocess.run(
        [sys.executable, "-c", SIGNALLED, name, *words],
        capture_output=True,
        cwd=tmp_path,
        start_new_session=True,
        text=True,
    )
    assert (done.returncode, done.stderr) == (130, "")
    assert os.listdir(tmp_path) == []


def test_the_signals_are_those_of_posix() -> None:
    assert signal.SIGINT == 2
    assert 128 + signal.SIGINT == 130

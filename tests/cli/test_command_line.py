"""The command line itself: exit codes, whole error sentences, which stream gets what, help and terminals."""

from __future__ import annotations

import os
import pty
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from harpkeys import __version__, cli
from harpkeys.cli import main
from harpkeys.cli.terminal import Line, SignsOfLife, rendered, writable

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
QUAY = str(CORPUS / "down-the-quay-steps.musicxml")
HARPKEYS = [sys.executable, "-m", "harpkeys"]

SCORE = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <work><work-title>{title}</work-title></work>
  <part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>
  <part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
    <note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>
  </measure></part>
</score-partwise>
"""


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*HARPKEYS, *words], capture_output=True, text=True, encoding="utf-8", timeout=60)


MISTAKES = [
    (("vett",), "No such command 'vett', did you mean 'vet'; harpkeys --help lists what can be typed."),
    (("vet",), "Missing argument 'SCORE'; harpkeys vet --help lists what can be typed."),
    (
        ("vet", QUAY, "--nonsense"),
        "No such option: --nonsense; harpkeys vet --help lists what can be typed.",
    ),
    (
        ("vet", QUAY, "--effort", "-1"),
        "Invalid value for '--effort': -1 is not in the range x>=0; "
        "harpkeys vet --help lists what can be typed.",
    ),
    (
        ("vet", QUAY, "--harp", "34", "--lowest", "C2"),
        "--harp and --lowest both say which harp; leave out one of them.",
    ),
    (("vet", QUAY, "--strings", "34"), "--strings alone does not describe a harp; give --lowest too."),
    (("vet", QUAY, "--lowest", "C2"), "--lowest alone does not describe a harp; give --strings too."),
    (
        ("vet", QUAY, "--tempo", "fast"),
        "--tempo cannot be 'fast'; give a number above 0 and up to 1000, such as 96.",
    ),
    (
        ("vet", QUAY, "--tempo", "0"),
        "--tempo cannot be '0'; give a number above 0 and up to 1000, such as 96.",
    ),
    (
        ("vet", QUAY, "--tempo-scale", "nan"),
        "--tempo-scale cannot be 'nan'; give a number above 0 and up to 100, such as 0.8.",
    ),
    (
        ("vet", QUAY, "--span", "fifth"),
        "--span cannot be 'fifth'; it is one of octave, ninth, tenth, eleventh, twelfth.",
    ),
    (
        ("vet", QUAY, "--player", "swift"),
        'there is no player "swift"; the named ones are unhurried, steady and nimble, or give '
        "flip/leave/place in seconds, such as 0.5/0.1/0.25.",
    ),
    (("vet", QUAY, "--part", "flute"), "there is no part 'flute'; choose one of P1 (Harp)."),
    (
        ("vet", "no-such-score.musicxml"),
        "no-such-score.musicxml: there is no such file; check its name.",
    ),
    (
        ("vet", QUAY, "--harp", "no-such-harp.toml"),
        "no-such-harp.toml: there is no such file; check the path.",
    ),
]


@pytest.mark.parametrize(
    ("words", "sentence"), MISTAKES, ids=[" ".join(words).replace(QUAY, "SCORE") for words, _ in MISTAKES]
)
def test_a_mistake_is_one_sentence_and_nothing_else(
    words: tuple[str, ...], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    assert capsys.readouterr() == ("", sentence + "\n")


def test_the_process_ends_with_the_exit_code() -> None:
    finished = run("vet", "no-such-score.musicxml")
    assert (finished.returncode, finished.stdout) == (2, "")
    assert finished.stderr == "no-such-score.musicxml: there is no such file; check its name.\n"


def test_every_verdict_ends_well() -> None:
    for name, verdict in (("fog-on-the-cut", "Not as written"), ("lantern-waltz", "Plays as set")):
        finished = run("vet", str(CORPUS / f"{name}.musicxml"))
        assert (finished.returncode, finished.stderr) == (0, "")
        assert finished.stdout.splitlines()[1].startswith(verdict)


def test_without_words_it_helps(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith("Usage: harpkeys")
    assert all(name in out for name in cli.COMMANDS)


def test_help_of_a_command_fits_the_page(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["vet", "--help"]) == 0
    out = capsys.readouterr().out
    assert max(len(line) for line in out.splitlines()) <= 80
    for option in (
        "--harp",
        "--tuning",
        "--levers",
        "--lowest",
        "--strings",
        "--player",
        "--part",
        "--tempo",
    ):
        assert option in out
    for option in ("--tempo-scale", "--span", "--effort", "--json"):
        assert option in out


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"harpkeys {__version__}\n"


def test_only_the_command_asked_for_is_imported() -> None:
    check = (
        "import sys; from harpkeys.cli import main; main(['vet', sys.argv[1]]);"
        "print(sorted({'rich', 'pydantic', 'music21', 'verovio', 'typst', 'numpy'} & set(sys.modules)))"
    )
    finished = subprocess.run([sys.executable, "-c", check, QUAY], capture_output=True, text=True, check=True)
    assert finished.stdout.splitlines()[-1] == "[]"


def test_interrupted_is_130(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def interrupt(path: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("harpkeys.score.reader.read_score", interrupt)
    assert main(["vet", QUAY]) == 130
    assert capsys.readouterr() == ("", "")


def test_an_interrupt_from_outside_is_130() -> None:
    wait = (
        "import sys, time; from harpkeys.score import reader; from harpkeys.cli import main;"
        "reader.read_score = lambda path: (print('x', file=sys.stderr, flush=True), time.sleep(60));"
        "sys.exit(main(sys.argv[1:]))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", wait, "vet", QUAY],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        # A shell that runs the tests in the background has them ignore interrupts, which children inherit.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as process:
        assert process.stderr is not None
        assert process.stderr.readline() == b"x\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert (process.returncode, out, err) == (130, b"", b"")


def test_a_reader_who_leaves_early_is_no_error() -> None:
    score = str(CORPUS / "five-bridges.musicxml")
    process = subprocess.Popen(
        [*HARPKEYS, "vet", score, "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    process.stdout.close()
    assert process.stderr is not None
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait(timeout=60) == 0


def test_a_closed_standard_output_is_no_error() -> None:
    command = " ".join([*HARPKEYS, "vet", QUAY, ">&-"])
    finished = subprocess.run(["bash", "-c", command], capture_output=True, text=True, timeout=60)
    assert (finished.returncode, finished.stderr) == (0, "")


def test_text_is_plain_and_80_columns_when_piped(capsys: pytest.CaptureFixture[str]) -> None:
    paths = sorted(CORPUS.glob("*.musicxml"))
    assert len(paths) >= 10
    for path in paths:
        assert main(["vet", str(path)]) == 0
        out = capsys.readouterr().out
        assert out.replace("\n", "").isprintable()
        assert max(len(line) for line in out.splitlines()) <= 80, path.name
        assert not re.search(r"[ \t]$", out, re.MULTILINE), path.name


def test_a_hostile_title_cannot_reach_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "hostile.musicxml"
    path.write_text(SCORE.format(title="Red &#x9b;31m &#x202e;alert&#x85;"), encoding="utf-8")
    finished = run("vet", str(path))
    assert finished.returncode == 0
    assert finished.stdout.splitlines()[0] == "Red 31m alert"
    assert finished.stdout.replace("\n", "").isprintable()


def test_a_hostile_path_cannot_reach_the_terminal() -> None:
    finished = run("vet", "no\x1b[31m\nfile.musicxml")
    assert finished.returncode == 2
    assert finished.stderr.count("\n") == 1
    assert finished.stderr[:-1].isprintable()


def test_lines_lose_their_control_characters() -> None:
    assert rendered([Line("  a\x1b[31mb"), Line("c", "heading")], styled=False) == "  a[31mb\nc\n"
    assert rendered([Line("c", "heading"), Line("d")], styled=True) == "\x1b[1mc\x1b[0m\nd\n"


def test_signs_that_an_encoding_lacks_are_spelled() -> None:
    class Ascii:
        encoding = "ascii"

    assert writable("F♯4 on beat 2½ – B♭", Ascii()) == "F#4 on beat 2 1/2 - Bb"  # type: ignore[arg-type]
    finished = subprocess.run(
        [*HARPKEYS, "vet", QUAY],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=True,
    )
    assert b"up to G#4" in finished.stdout


def on_a_terminal(*words: str, **environment: str) -> str:
    """What a command shows on a pseudo terminal that is all three of its streams."""
    main_end, its_end = pty.openpty()
    env = {**os.environ, "TERM": "xterm", **environment}
    process = subprocess.Popen([*HARPKEYS, *words], stdin=its_end, stdout=its_end, stderr=its_end, env=env)
    os.close(its_end)
    shown = b""
    while True:
        try:
            piece = os.read(main_end, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(main_end)
    assert process.wait(timeout=60) == 0
    return shown.decode()


def test_a_terminal_gets_bold_headings_unless_it_does_not_want_them() -> None:
    assert "\x1b[1mDown the Quay Steps\x1b[0m" in on_a_terminal("vet", QUAY, NO_COLOR="")
    assert "\x1b[1m" not in on_a_terminal("vet", QUAY, NO_COLOR="1")
    assert "\x1b[1m" not in on_a_terminal("vet", QUAY, TERM="dumb", NO_COLOR="")


class Screen:
    """A stream that says it is a terminal."""

    encoding = "utf-8"

    def __init__(self, terminal: bool) -> None:
        self.terminal = terminal
        self.text = ""

    def isatty(self) -> bool:
        return self.terminal

    def write(self, text: str) -> None:
        self.text += text

    def flush(self) -> None:
        pass


def test_long_work_says_what_it_does_and_wipes_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harpkeys.cli.terminal.PATIENCE", 0.05)
    screen = Screen(terminal=True)
    with SignsOfLife(screen) as signs:  # type: ignore[arg-type]
        signs.say("Reading")
        deadline = time.monotonic() + 10
        while "Reading" not in screen.text and time.monotonic() < deadline:
            time.sleep(0.01)
        signs.say("Planning")
    assert screen.text == "\r\x1b[KReading …\r\x1b[KPlanning …\r\x1b[K"


def test_short_work_and_pipes_hear_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal, pipe = Screen(terminal=True), Screen(terminal=False)
    with SignsOfLife(terminal) as signs:  # type: ignore[arg-type]
        signs.say("Reading")
    monkeypatch.setattr("harpkeys.cli.terminal.PATIENCE", 0.0)
    with SignsOfLife(pipe) as signs:  # type: ignore[arg-type]
        signs.say("Reading")
        time.sleep(0.05)
    assert (terminal.text, pipe.text) == ("", "")


TUNES = "X:1\nT:One\nM:4/4\nL:1/4\nK:G\nGABc|dedB|\n\nX:2\nT:Two\nM:3/4\nL:1/4\nK:D\ndef|a3|\n"


def test_a_tune_of_an_abc_file_is_chosen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tunes.abc"
    path.write_text(TUNES, encoding="utf-8")
    for piece in ("2", "X:2", "x: 2"):
        assert main(["vet", str(path), "--piece", piece]) == 0
        assert capsys.readouterr().out.startswith("Two\nPlays as set")
    assert main(["vet", str(path)]) == 2
    several = "tunes.abc holds several pieces; choose one with --piece, such as --piece 1.\n"
    assert capsys.readouterr() == ("", several)
    assert main(["vet", str(path), "--piece", "9"]) == 2
    assert capsys.readouterr().err == 'tunes.abc holds no piece "9"; give the number in its X: field.\n'
    assert main(["vet", QUAY, "--piece", "2"]) == 2
    one = "--piece is for files of many tunes and this is one score; leave it out.\n"
    assert capsys.readouterr() == ("", one)

"""The README cannot drift: its commands are run, its output compared, its options held to the help."""

from __future__ import annotations

import importlib.util
import os
import re
import shlex
import shutil
from pathlib import Path
from types import ModuleType

import pytest

from harpkeys.cli import main
from harpkeys.harp.files import harp_of_text

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
COMMANDS = [line for kind, text in BLOCKS if kind == "sh" for line in text.splitlines()]
VETS = [
    command
    for command in COMMANDS
    if re.search(" (vet|shelf|compare|retune|keys|base|tuning|programme) ", command)
]


def words_of(command: str) -> list[str]:
    """The words that reach harpkeys when the bootstrap runs a command of the README."""
    words = shlex.split(command)
    assert words[:2] == ["python3", "scripts/run.py"]
    return words[2:]


def run_in_checkout(command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(ROOT)
    assert main(words_of(command)) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def bootstrap() -> ModuleType:
    spec = importlib.util.spec_from_file_location("run", ROOT / "scripts" / "run.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_two_commands_come_first() -> None:
    assert [words_of(command)[0] for command in COMMANDS[:2]] == ["vet", "test"]


@pytest.mark.parametrize("command", VETS)
def test_commands_run(
    command: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run_in_checkout(command, capsys, monkeypatch)


@pytest.mark.parametrize("command", [command for command in COMMANDS if " -o " in command])
def test_commands_write_what_they_name(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(ROOT / "corpus", tmp_path / "corpus")
    monkeypatch.chdir(tmp_path)
    words = words_of(command)
    target = words[words.index("-o") + 1]
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert f"Written to {target}." in out
    assert err == ""
    assert {path.name for path in tmp_path.iterdir()} == {"corpus", target}


def test_the_output_shown_is_the_output(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (shown,) = [text for kind, text in BLOCKS if kind == "text"]
    assert run_in_checkout(COMMANDS[0], capsys, monkeypatch) == shown


def test_the_harp_file_is_one() -> None:
    (text,) = [text for kind, text in BLOCKS if kind == "toml"]
    read = harp_of_text(text)
    assert (len(read.harp.strings), read.harp.tuning, read.harp.strings[5].lever) == (36, "E-flat", True)
    assert not any(string.lever for string in read.harp.strings[:5])
    assert read.player is not None
    assert read.player.name == "steady"


def test_options_are_those_of_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["vet", "--help"]) == 0
    offered = set(re.findall(r"^  (--[a-z-]+)", capsys.readouterr().out, re.MULTILINE))
    table = [line for line in README.splitlines() if line.startswith("| `--")]
    told = {option for line in table for option in re.findall(r"`(--[a-z-]+)`", line.split("|")[1])}
    assert told == offered


def test_links_lead_somewhere() -> None:
    targets = re.findall(r"\]\(([^)#:]+)\)", README)
    assert targets
    assert [target for target in targets if not (ROOT / target).exists()] == []


def test_the_bootstrap_hands_its_words_on(monkeypatch: pytest.MonkeyPatch) -> None:
    module = bootstrap()
    ran: list[tuple[list[str], str]] = []
    made: list[str] = []
    monkeypatch.setattr(module, "ensure_environment", made.append)
    monkeypatch.setattr(module, "run", lambda command, directory: ran.append((command, directory)) or 0)
    assert module.main(["vet", "a.musicxml", "--json"]) == 0
    assert module.main(["test", "-k", "x"]) == 0
    assert made == ["", "test"]
    assert ran[0] == ([module.venv_python(), "-m", "harpkeys", "vet", "a.musicxml", "--json"], os.getcwd())
    assert ran[1][0][1:3] == ["-m", "pytest"]
    assert ran[1][0][-2:] == ["-k", "x"]
    assert ran[1][1] == str(ROOT)


def test_the_bootstrap_says_what_a_python_lacks(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    module = bootstrap()
    monkeypatch.setattr(module, "is_ready", lambda extra, wanted: False)
    monkeypatch.setattr(module, "works", lambda python, name: name == "venv")
    assert module.main(["vet", "a.musicxml"]) == 2
    assert capsys.readouterr().err.splitlines()[-1] == (
        "This Python has no ensurepip module, so no private environment can be made; install it (on Debian "
        "and Ubuntu it is the package python3-venv) and run this again."
    )
    monkeypatch.setattr(module, "OLDEST", (4, 0))
    assert module.main(["test"]) == 2
    assert capsys.readouterr().err.startswith("harpkeys needs Python 4.0 or later and this is ")


def test_the_bootstrap_installs_again_when_requirements_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module = bootstrap()
    (tmp_path / "scripts").mkdir()
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    (tmp_path / ".venv" / "bin" / "python").touch()
    for name in ("pyproject.toml", "scripts/constraints.txt"):
        (tmp_path / name).write_text("one", encoding="utf-8")
    monkeypatch.setattr(module, "CHECKOUT", str(tmp_path))
    before = module.fingerprint()
    assert not module.is_ready("", before)
    Path(module.stamp_path("test")).write_text(before, encoding="utf-8")
    assert module.is_ready("", before)
    assert module.is_ready("test", before)
    (tmp_path / "pyproject.toml").write_text("two", encoding="utf-8")
    assert not module.is_ready("", module.fingerprint())


def test_constraints_cover_every_requirement() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    lines = (ROOT / "scripts" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = {line.split("==")[0] for line in lines if "==" in line}
    assert {re.split(r"[<>=]", requirement)[0] for requirement in wanted} <= pinned

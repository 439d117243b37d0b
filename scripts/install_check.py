"""Build the package, install it alone, and run the README's commands there.

    python scripts/install_check.py                       the oldest Python allowed and the newest found
    python scripts/install_check.py --python python3.13   these

What is committed is built: a source archive, and from that a wheel, so what the archive lacks is missed. Each
is installed into a fresh environment without the extras; there `pip check` has to pass, nothing of the tests
may be found, and every command of the README but the tests is run in a folder outside the checkout. The first
has to print what the README shows. Needs git and a package index.
"""

from __future__ import annotations

import argparse
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
OLDEST = (3, 11)
TEST_ONLY = (
    "pytest",
    "hypothesis",
    "ortools",
    "partitura",
    "jsonschema",
    "html5lib",
    "pypdf",
    "ruff",
    "mypy",
)


def interpreters() -> list[str]:
    """The oldest Python that may be used and the newest that is found, on the path and where pyenv keeps "
    "them."""
    found: dict[tuple[int, ...], str] = {}
    folders = [*os.environ.get("PATH", "").split(os.pathsep)]
    folders += map(str, Path.home().glob(".pyenv/versions/*/bin"))
    for folder in folders:
        for path in Path(folder or ".").glob("python3.*"):
            if re.fullmatch(r"python3\.\d+", path.name):
                version = version_of(str(path))
                if version >= OLDEST:
                    found.setdefault(version[:2], str(path))
    if not found:
        return [sys.executable]
    return list(dict.fromkeys((found[min(found)], found[max(found)])))


def version_of(python: str) -> tuple[int, ...]:
    """The version of an interpreter, (0,) where it does not run."""
    code = "import sys; print(*sys.version_info[:3])"
    done = subprocess.run([python, "-c", code], capture_output=True, text=True)
    return tuple(map(int, done.stdout.split())) if done.returncode == 0 else (0,)


def run(*words: str | Path, folder: Path) -> str:
    """What a command prints.

    Raises:
        SystemExit: it fails.
    """
    clean = {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}
    done = subprocess.run(
        [str(word) for word in words],
        cwd=folder,
        env={**clean, "PYTHONUTF8": "1"},
        capture_output=True,
        text=True,
    )
    if done.returncode:
        raise SystemExit(
            f"{shlex.join(map(str, words))} ended with {done.returncode}:\n{done.stdout}{done.stderr}"
        )
    return done.stdout


def environment(python: str, folder: Path) -> Path:
    """The interpreter of a new environment."""
    run(python, "-m", "venv", folder, folder=folder.parent)
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def built(python: str, work: Path) -> tuple[Path, Path]:
    """Source archive and wheel of what is committed."""
    run("git", "clone", "--quiet", "--no-hardlinks", ROOT, work / "checkout", folder=work)
    builder = environment(python, work / "builder")
    run(builder, "-m", "pip", "install", "--quiet", "build", folder=work)
    run(builder, "-m", "build", "--outdir", work / "dist", work / "checkout", folder=work)
    (archive,) = (work / "dist").glob("*.tar.gz")
    (wheel,) = (work / "dist").glob("*.whl")
    return archive, wheel


def readme_commands(readme: str) -> list[list[str]]:
    """The words that reach harpkeys in each of the README's commands but the tests."""
    blocks = re.findall(r"^```sh\n(.*?)^```$", readme, re.MULTILINE | re.DOTALL)
    lines = [
        shlex.split(line)[2:] for block in blocks for line in block.splitlines() if "scripts/run.py" in line
    ]
    return [words for words in lines if words != ["test"]]


def check(python: str, package: Path, work: Path) -> str:
    """Install a package alone and use it; a sentence about what was done.

    Raises:
        SystemExit: anything is not as it should be.
    """
    name = f"{'.'.join(map(str, version_of(python)[:2]))}-{package.name.rpartition('.')[2]}"
    own = environment(python, work / f"env-{name}")
    run(own, "-m", "pip", "install", "--quiet", package, folder=work)
    run(own, "-m", "pip", "check", folder=work)
    for module in TEST_ONLY:
        code = f"import importlib.util, sys; sys.exit(importlib.util.find_spec({module!r}) is not None)"
        run(own, "-c", code, folder=work)
    place = work / f"away-{name}"
    shutil.copytree(work / "checkout" / "corpus", place / "corpus")
    where = run(own, "-c", "import harpkeys; print(harpkeys.__file__)", folder=place)
    if str(work / f"env-{name}") not in where:
        raise SystemExit(f"the package is taken from {where}")
    readme = (work / "checkout" / "README.md").read_text(encoding="utf-8")
    commands = readme_commands(readme)
    script = own.with_name("harpkeys.exe" if os.name == "nt" else "harpkeys")
    outputs = [run(script, *words, folder=place) for words in commands]
    if f"```text\n{outputs[0]}```" not in readme:
        raise SystemExit(f"{shlex.join(commands[0])} does not print what the README shows:\n{outputs[0]}")
    for words in (("report", "corpus/five-bridges.musicxml"), ("print", "corpus/five-bridges.musicxml")):
        run(script, *words, folder=place)
    version = ".".join(map(str, version_of(python)))
    return f"{package.name} on Python {version}: installed alone, {len(commands) + 2} commands run."


def main(arguments: Sequence[str] | None = None) -> int:
    """Build and check.

    Returns:
        The exit code.
    """
    parser = argparse.ArgumentParser(description="Build the package, install it alone and use it.")
    parser.add_argument("--python", action="append", help="an interpreter to check on; may be given again")
    given = parser.parse_args(arguments)
    pythons = given.python or interpreters()
    with tempfile.TemporaryDirectory(prefix="install-check-") as folder:
        work = Path(folder)
        archive, wheel = built(pythons[0], work)
        for python in pythons:
            print(check(python, wheel, work), flush=True)
        print(check(pythons[-1], archive, work), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""How many planted faults the tests of a room find: a seeded sample of mutants, by mutmut.

    python scripts/mutants.py score --sample 200
    python scripts/mutants.py plan mark --sample 100 --seed 7

Works on a clone of what is committed, in a folder of its own, and prints the share that was found and the
changes that were not. Needs `pip install mutmut`; takes a second or two a mutant, so it is no part of CI.

Reference: mutmut 3.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

ROOMS = {
    "score": (
        ("score/route", "score/repeats", "score/endings", "score/clock"),
        ("tests/score/test_route.py", "tests/score/test_route_laws.py", "tests/score/test_clock.py"),
    ),
    "mark": (
        ("mark/insert", "mark/clear", "mark/cues", "mark/places", "mark/passes"),
        ("tests/mark",),
    ),
    "plan": (
        ("plan/schedule", "plan/windows", "plan/skeleton", "plan/alone", "plan/prices", "plan/reach"),
        ("tests/plan", "tests/outside/test_planner_exact.py"),
    ),
}
"""What is changed, and the tests that are to notice."""

CONFIGURATION = """
[tool.mutmut]
source_paths = {sources}
also_copy = ["harpkeys", "corpus", "scripts", "README.md", "DEVELOPERS.md"]
pytest_add_cli_args_test_selection = {tests}
pytest_add_cli_args = ["-n0", "-p", "no:cacheprovider"]
"""


def mutmut(*words: str, folder: Path) -> str:
    """Run mutmut in a folder; what it prints."""
    done = subprocess.run(
        [sys.executable, "-m", "mutmut", *words], cwd=folder, capture_output=True, text=True
    )
    return done.stdout


def endings(folder: Path) -> dict[str, int | None]:
    """How the tests ended for each mutant: 0 where none noticed, None where they were not run."""
    found: dict[str, int | None] = {}
    for path in (folder / "mutants").rglob("*.meta"):
        found.update(json.loads(path.read_text(encoding="utf-8"))["exit_code_by_key"])
    return found


def survey(room: str, sample: int, seed: int) -> None:
    """Change a room and tell how many of the changes are found."""
    sources, tests = ROOMS[room]
    with tempfile.TemporaryDirectory(prefix="mutants-") as work:
        folder = Path(work) / "clone"
        subprocess.run(["git", "clone", "--quiet", "--no-hardlinks", str(ROOT), str(folder)], check=True)
        paths = json.dumps([f"harpkeys/{source}.py" for source in sources])
        with (folder / "pyproject.toml").open("a", encoding="utf-8") as file:
            file.write(CONFIGURATION.format(sources=paths, tests=json.dumps(list(tests))))
        mutmut("run", "--max-children", "1", "none", folder=folder)
        names = sorted(endings(folder))
        chosen = random.Random(seed).sample(names, min(sample, len(names)))
        mutmut("run", "--max-children", "1", *chosen, folder=folder)
        ended = {name: code for name, code in endings(folder).items() if name in chosen}
        told = [name for name, code in ended.items() if code is not None]
        missed = sorted(name for name in told if ended[name] in (0, 33))
        print(
            f"{room}: {len(told)} of {len(names)} mutants tried, {len(told) - len(missed)} found", flush=True
        )
        for name in missed:
            lines = mutmut("show", name, folder=folder).splitlines()
            changed = [line for line in lines if line[:1] in "+-" and line[:3] not in ("+++", "---")]
            print(f"\n{name}" + (" (no test comes there)" if ended[name] == 33 else ""))
            print("\n".join(changed), flush=True)


def main() -> int:
    """Survey the rooms that are named.

    Returns:
        The exit code.
    """
    parser = argparse.ArgumentParser(description="Sample mutants and see whether tests find them.")
    parser.add_argument("room", nargs="*", default=list(ROOMS), help=", ".join(ROOMS))
    parser.add_argument("--sample", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    if importlib.util.find_spec("mutmut") is None:
        parser.error("mutmut is not installed; pip install mutmut")
    for room in given.room:
        survey(room, given.sample, given.seed)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

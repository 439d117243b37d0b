"""Long fuzzing runs of what reads files and words.

    python scripts/fuzz.py                       ten minutes over everything
    python scripts/fuzz.py --minutes 60 score    an hour of one target
    python scripts/fuzz.py --keep FOLDER         keeps what was found there

Each target of tests/fuzz/targets.py is guided by coverage where atheris is installed (`pip install
harpkeys[fuzz]`), starting from tests/fuzz/seeds/. "mutated" is scores changed by structure
(tests/fuzz/mutation.py), "pages" the pages made of such scores, each in a process of its own. Bounds: 60 s of
processor time and 4 GB an input. Ends with 1 where anything was found.

References: libFuzzer's options (LLVM), by way of atheris.
"""

from __future__ import annotations

import argparse
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FUZZ = ROOT / "tests" / "fuzz"
sys.path[:0] = [str(ROOT), str(FUZZ), str(ROOT / "tests")]

GUIDED = ("score", "tune", "archive", "harp", "words")
OTHERS = ("mutated", "pages")
SHARES = {"score": 3, "tune": 1, "archive": 1, "harp": 1, "words": 1, "mutated": 3, "pages": 1}
"""How the time is shared out."""

_ONE = """
import atheris, sys
with atheris.instrument_imports(include=["harpkeys"]):
    from targets import TARGETS, within_cpu_time
target = TARGETS[sys.argv.pop(1)]
def once(data):
    with within_cpu_time():
        target(data)
atheris.Setup(sys.argv, once)
atheris.Fuzz()
"""
"""A process that is guided by coverage; libFuzzer ends it."""

_PAGES = """
import resource, sys
resource.setrlimit(resource.RLIMIT_CPU, (60, 65))
resource.setrlimit(resource.RLIMIT_AS, (4 * 2**30, 4 * 2**30))
from harpkeys.cli import main
sys.exit(main(sys.argv[1:]))
"""


def guided(name: str, seconds: float, kept: Path) -> tuple[int, list[str]]:
    """Fuzz a target by coverage.

    Args:
        name: the target.
        seconds: how long.
        kept: where inputs that are finds are put.

    Returns:
        How many inputs were tried, and what was found.
    """
    found: list[str] = []
    tried = 0
    end = time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        grown = Path(folder) / "grown"
        shutil.copytree(FUZZ / "seeds" / name, grown)
        while (left := end - time.monotonic()) > 2 and len(found) < 20:
            options = [
                f"-max_total_time={int(left)}",
                "-timeout=120",
                "-rss_limit_mb=4096",
                "-max_len=20000",
                f"-artifact_prefix={kept}/{name}-",
                "-print_final_stats=1",
            ]
            done = subprocess.run(
                [sys.executable, "-c", _ONE, name, *options, str(grown)],
                capture_output=True,
                text=True,
                errors="replace",
                env=environment(),
            )
            said = done.stdout + done.stderr
            counted = re.search(r"number_of_executed_units:\s*(\d+)", said) or re.search(
                r"Done (\d+) runs", said
            )
            tried += int(counted[1]) if counted else 0
            if done.returncode == 0:
                break
            written = re.search(r"Test unit written to (\S+)", said)
            found.append(f"{name}: {written[1] if written else '?'}: {last_line(said)}")
    return tried, found


def last_line(said: str) -> str:
    """The exception that a traceback ends in."""
    lines = re.findall(r"^[\w.]*(?:Error|Exception|Interrupt)\b.*$", said, re.MULTILINE)
    return lines[-1][:300] if lines else said.strip().splitlines()[-1][:300]


def environment() -> dict[str, str]:
    """What a process needs to find the package and the targets."""
    import os

    return {**os.environ, "PYTHONPATH": ":".join([*map(str, sys.path[:3]), os.environ.get("PYTHONPATH", "")])}


def drawn(source: random.Random) -> tuple[int, list[tuple[int, int, int, int]]]:
    """A mutation as hypothesis would draw it, without its bookkeeping."""
    from mutation import SOURCES

    changes = [
        (source.randrange(9), source.randrange(2**16), source.randrange(2**16), source.randint(1, 40))
        for _ in range(source.randint(1, 12))
    ]
    return source.randrange(len(SOURCES)), changes


def mutated_scores(seconds: float, kept: Path, seed: int) -> tuple[int, list[str]]:
    """Change scores by structure; see `guided`."""
    import traceback

    from mutation import mutated
    from targets import TARGETS, within_cpu_time

    source, tried, found = random.Random(seed), 0, {}
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        data = mutated(*drawn(source))
        tried += 1
        if len(data) > 400_000:
            continue
        try:
            with within_cpu_time():
                TARGETS["score"](data)
        except Exception as error:
            frame = traceback.extract_tb(error.__traceback__)[-1]
            place = f"{Path(frame.filename).name}:{frame.lineno} {type(error).__name__}"
            if place not in found:
                (kept / f"mutated-{tried}.musicxml").write_bytes(data)
                found[place] = f"mutated: mutated-{tried}.musicxml: {place}: {str(error)[:200]}"
    return tried, list(found.values())


def pages(seconds: float, kept: Path, seed: int) -> tuple[int, list[str]]:
    """Make pages of changed scores in processes of their own; see `guided`."""
    from mutation import mutated

    source, tried = random.Random(seed), 0
    found: dict[str, str] = {}
    end = time.monotonic() + seconds
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.musicxml"
        while time.monotonic() < end:
            data = mutated(*drawn(source))
            if len(data) > 100_000:
                continue
            path.write_bytes(data)
            command, ending = source.choice(
                (("report", "html"), ("sheet", "pdf"), ("print", "svg"), ("print", "pdf"))
            )
            words = [
                command,
                str(path),
                "--part",
                "1",
                "--effort",
                "0",
                "--overwrite",
                "-o",
                f"{folder}/o.{ending}",
            ]
            done = subprocess.run(
                [sys.executable, "-c", _PAGES, *words], capture_output=True, text=True, env=environment()
            )
            tried += 1
            clean = done.returncode == 0 and not done.stderr
            told = done.returncode == 2 and done.stderr.count("\n") == 1 and not done.stdout
            if not clean and not told:
                what = f"{command} ended with {done.returncode}: {last_line(done.stderr or '?')}"
                if what not in found:
                    (kept / f"pages-{tried}.musicxml").write_bytes(data)
                    found[what] = f"pages: pages-{tried}.musicxml: {what}"
    return tried, list(found.values())


def main() -> int:
    """Run what is asked for and tell what it found.

    Returns:
        The exit code.
    """
    parser = argparse.ArgumentParser(description="Fuzz what reads files and words.")
    parser.add_argument("target", nargs="*", choices=[*GUIDED, *OTHERS, []], help="all where none is named")
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--keep", type=Path, help="folder for what is found; a temporary one where not given")
    given = parser.parse_args()
    wanted = given.target or [*GUIDED, *OTHERS]
    if find_spec("atheris") is None:
        print("atheris is not installed: nothing is guided by coverage")
        wanted = [name for name in wanted if name not in GUIDED]
    kept = given.keep or Path(tempfile.mkdtemp(prefix="fuzz-"))
    kept.mkdir(parents=True, exist_ok=True)
    share = 60 * given.minutes / max(sum(SHARES[name] for name in wanted), 1)
    counts: Counter[str] = Counter()
    found: list[str] = []
    for name in wanted:
        seconds = share * SHARES[name]
        if name in GUIDED:
            tried, finds = guided(name, seconds, kept)
        else:
            tried, finds = (mutated_scores if name == "mutated" else pages)(seconds, kept, given.seed)
        counts[name] = tried
        found += finds
        print(f"{name}: {tried} inputs, {len(finds)} finds", flush=True)
        for find in finds:
            print(f"  {find}", flush=True)
    print(f"seed {given.seed}, {sum(counts.values())} inputs, {len(found)} finds, kept in {kept}")
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main())

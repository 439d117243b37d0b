"""Running a check in a process of its own with bounded time and memory.

What is bounded is the processor time that the check itself uses, not the time that passes: a busy machine
fails nothing. The bounds are far above what a check takes and far below what an endless loop or an exploding
file would cost.

Reference: POSIX `setrlimit`, RLIMIT_CPU and RLIMIT_AS.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

CPU_SECONDS = 60
MEMORY = 4 * 2**30

TESTS = Path(__file__).parent

LIMITS = (
    "import resource\n"
    f"resource.setrlimit(resource.RLIMIT_CPU, ({CPU_SECONDS}, {CPU_SECONDS + 5}))\n"
    f"resource.setrlimit(resource.RLIMIT_AS, ({MEMORY}, {MEMORY}))\n"
)


def bounded(words: Sequence[str], **options: object) -> subprocess.CompletedProcess[str]:
    """Run the command line within the bounds.

    Args:
        words: what stands after the program's name.
        options: for `subprocess.run`.
    """
    code = f"{LIMITS}import sys\nfrom harpkeys.cli import main\nsys.exit(main(sys.argv[1:]))"
    return subprocess.run(  # type: ignore[call-overload, no-any-return]
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        **options,
    )


def call_bounded(file: str, function: str, *arguments: str) -> None:
    """Call a function of a test file within the bounds; fail as it does.

    Args:
        file: the test file.
        function: a name in it.
        arguments: what it is called with.
    """
    path = Path(file)
    code = (
        f"{LIMITS}import sys\nsys.path[:0] = {[str(path.parent), str(TESTS)]!r}\n"
        f"import {path.stem}\n{path.stem}.{function}(*sys.argv[1:])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, env=dict(os.environ)
    )
    assert done.returncode == 0, done.stderr[-3000:] or f"ended by signal {-done.returncode}"

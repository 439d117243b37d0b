"""`harpkeys keys` as it is typed."""

from __future__ import annotations

import json
import subprocess
import sys


def keys(*words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "harpkeys", "keys", *words]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=60)


def test_a_key_called_out() -> None:
    done = keys("capo 3, shapes of G", "--harp", "34-eb")
    assert done.returncode == 0
    assert done.stdout.startswith("Capo 3, shapes of G major: sounds B-flat major\nLevers up on A.\n")


def test_everything_fits_eighty_columns() -> None:
    for words in ((), ("--explain",), ("--tunings",), ("--harp", "22-fc")):
        done = keys(*words)
        assert (done.returncode, done.stderr) == (0, "")
        assert max(map(len, done.stdout.splitlines())) <= 80


def test_json_is_one_object() -> None:
    told = json.loads(keys("--json").stdout)
    assert told["format"] == "harpkeys/keys/1"
    majors = [one for one in told["harps"][0]["scales"] if one["kind"] == "major" and one["reached"]]
    assert len(majors) == 8  # a base of b fifths reaches the signatures b to b + 7


def test_a_mistake_is_one_sentence() -> None:
    done = keys("xyzzy")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1

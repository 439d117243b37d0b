"""The counts of signatures: made again by their script, and counted another way on a sample."""

from __future__ import annotations

import importlib.util
from collections import Counter
from pathlib import Path
from types import ModuleType

import pytest

from harpkeys.choose.signature_counts import FOLK_SIGNATURES

ROOT = Path(__file__).resolve().parents[2]


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_script_makes_the_module() -> None:
    counting = script("count_signatures")
    made = counting.module_text(counting.count_all())
    assert made == counting.MODULE.read_text(encoding="utf-8")


def test_there_are_tunes() -> None:
    assert sum(sum(counts.values()) for counts in FOLK_SIGNATURES.values()) > 10_000


# Fifths of the tonics, and fifths to take off for the mode: arithmetic, without the project's code.
TONICS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "Bb": -2, "Eb": -3, "Ab": -4}
MODES = {"": 0, "maj": 0, "m": 3, "min": 3, "dor": 2, "mix": 1, "phr": 4, "lyd": -1, "aeo": 3}


@pytest.mark.parametrize(
    "file", ["oneills1850/0051-0100.abc", "miscFolk/americanfifeopus.abc", "airdsAirs/book2.abc"]
)
def test_a_sample_counted_from_the_text(file: str) -> None:
    from music21 import corpus

    path = Path(corpus.__file__).parent / file
    expected: Counter[int] = Counter()
    waiting = False
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        if line.startswith("X:"):
            waiting = True
        elif line.startswith("K:") and waiting:
            waiting = False
            key = line[2:].partition("%")[0].strip()
            tonic = key[:2] if key[1:2] in ("#", "b") else key[:1]
            mode = key[len(tonic) :].strip().lower()[:3]
            expected[TONICS[tonic] - MODES[mode if mode in MODES else mode[:1]]] += 1
    assert expected.total() > 20
    assert script("count_signatures").count([path]) == expected

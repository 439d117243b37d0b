"""Short fuzzing: a few hundred mutated scores, the kept inputs, and nonsense that is made on purpose.

Long runs, guided by coverage where atheris is installed, are those of scripts/fuzz.py. What they start from,
and what they found, stands in `seeds/`, a folder for each target.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

sys.path.append(str(Path(__file__).parent))
sys.path.append(str(Path(__file__).parents[1]))

from bounded import call_bounded
from mutation import LARGEST, SOURCES, Operation, mutated, operations
from targets import SEEDS, TARGETS, TooSlowError, within_cpu_time

KEPT = sorted(path for path in SEEDS.glob("*/*") if path.is_file())

short = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@short
@given(st.integers(0, len(SOURCES) - 1), operations)
def test_mutated_scores(number: int, changes: list[Operation]) -> None:
    data = mutated(number, changes)
    if len(data) < 4 * LARGEST:
        with within_cpu_time():
            TARGETS["score"](data)


@short
@given(st.text(max_size=60))
def test_words(text: str) -> None:
    TARGETS["words"](text.encode("utf-8", "replace"))


TUNE_WORDS = (
    *"CDEFGABcdefgabzxZy|[]:&-~`$()<>/,'^_= \n",
    "[K:D]",
    "[M:3/4]",
    "\nK:Eb\n",
    "\nV:2\n",
    "[1",
    ":|[2",
    "(3",
    "{g}",
    '"Am"',
    "!fermata!",
    "=g'2",
    "Z3|",
    "[^CE]2-",
    "\\\n",
)


@settings(short, max_examples=60)
@given(st.lists(st.sampled_from(TUNE_WORDS), max_size=30))
def test_tunes(words: list[str]) -> None:
    TARGETS["tune"](f"X:1\nT:t\nM:4/4\nL:1/8\nK:G\n{''.join(words)}|]\n".encode())


HARP_LINES = (
    'lowest = "C2"',
    "strings = 34",
    'highest = "A6"',
    'tuning = "E-flat"',
    'levers = "all but C2"',
    "[player]",
    "flip = 0.6",
    "leave = 0.1",
    "place = nan",
    'player = "steady"',
    "[string.C2]",
    'tuned = "flat"',
    "lever = false",
    'name = "\\u0000"',
    "strings = 1979-05-27",
    "a.b.c = {d = []}",
    "[[string]]",
)


@short
@given(st.lists(st.sampled_from(HARP_LINES) | st.text(max_size=12), max_size=10))
def test_harp_files(lines: list[str]) -> None:
    TARGETS["harp"]("\n".join(lines).encode("utf-8", "replace"))


@pytest.mark.parametrize("path", KEPT, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_kept_inputs(path: Path) -> None:
    with within_cpu_time():
        TARGETS[path.parent.name](path.read_bytes())


def test_inputs_are_kept_for_every_target() -> None:
    assert {path.parent.name for path in KEPT} == set(TARGETS)


def test_a_slow_input_is_a_find() -> None:
    with pytest.raises(TooSlowError), within_cpu_time(0.2):
        endless()


def endless() -> None:
    while True:
        pass


# Nonsense on purpose. Each group is read in a process of its own with the bounds of tests/bounded.py.

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"


def document(bars: str) -> bytes:
    return (
        '<score-partwise><part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>'
        f'<part id="P1">{bars}</part></score-partwise>'
    ).encode()


def bar(body: str) -> str:
    return f"<measure>{body}</measure>"


def barline(inside: str, side: str = "right") -> str:
    return f'<barline location="{side}">{inside}</barline>'


OPEN = barline('<repeat direction="forward"/>', "left")
CLOSE = barline('<repeat direction="backward"/>')
ABSURD = (
    "0",
    "-1",
    "-999999999",
    "1e9",
    "NaN",
    "inf",
    "1/0",
    "9" * 15,
    "9" * 400,
    "0." + "0" * 14 + "1",
    "",
    "\u0663",
)


def numbers() -> list[bytes]:
    """Absurd numbers in each place of a bar where there is one."""
    places = (
        "<attributes><divisions>{}</divisions></attributes>" + NOTE,
        "<attributes><key><fifths>{}</fifths></key></attributes>" + NOTE,
        "<attributes><time><beats>{}</beats><beat-type>4</beat-type></time></attributes>" + NOTE,
        "<attributes><time><beats>4</beats><beat-type>{}</beat-type></time></attributes>" + NOTE,
        "<attributes><staves>{}</staves></attributes>" + NOTE,
        "<attributes><transpose><chromatic>{}</chromatic></transpose></attributes>" + NOTE,
        NOTE.replace("<duration>1", "<duration>{}"),
        NOTE.replace("<octave>4", "<octave>{}"),
        NOTE.replace("<octave>", "<alter>{}</alter><octave>"),
        NOTE + "<backup><duration>{}</duration></backup>" + NOTE,
        NOTE + "<forward><duration>{}</duration></forward>" + NOTE,
        '<sound tempo="{}"/>' + NOTE,
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{}</per-minute>"
        "</metronome></direction-type></direction>" + NOTE,
        OPEN + NOTE + barline('<repeat direction="backward" times="{}"/>'),
        barline('<ending number="{}" type="start"/>', "left") + NOTE,
    )
    return [document(bar(place.replace("{}", number))) for place in places for number in ABSURD]


def structures() -> list[bytes]:
    """Repeats, endings and jumps that make no sense, and bars without end."""
    first, second = (
        bar(
            barline(f'<ending number="{n}" type="start"/>', "left")
            + NOTE
            + barline(f'<ending number="{n}" type="stop"/>')
        )
        for n in (1, 2)
    )
    signs = ("dacapo", "dalsegno", "tocoda", "segno", "coda", "fine")
    jumps = "".join(f'<sound {sign}="{"yes" if sign in ("dacapo", "fine") else "a"}"/>' for sign in signs)
    return [
        document(first + second),
        document(second * 50 + bar(NOTE + CLOSE)),
        document(bar(NOTE + CLOSE) * 300),
        document(bar(OPEN + NOTE) * 300),
        document(bar(OPEN + NOTE) * 300 + bar(NOTE + CLOSE) * 300),
        document(bar(OPEN + NOTE + CLOSE) * 500),
        document(bar(jumps + NOTE) * 300),
        document(bar(NOTE + jumps + CLOSE) * 300),
        document(bar('<sound segno="a"/>' + NOTE + '<sound dalsegno="a"/>') * 500),
        document(bar('<sound coda="a"/>' + NOTE + '<sound tocoda="a"/>') * 500),
        document("<measure/>" * 20_000),
        document("<measure/>" * 1_000_000),
        document(bar("<note>" * 200 + "</note>" * 200)),
        document(bar(NOTE.replace("<duration>1", "<duration>1000000"))),
        document(bar("<note><grace/>" + NOTE[6:].replace("<duration>1</duration>", "")) * 800),
        document(bar(NOTE + NOTE.replace("<note>", "<note><chord/>") * 800)),
        document(bar((NOTE + "<backup><duration>1</duration></backup>") * 800)),
        document(bar(NOTE.replace("</note>", "<tie type='start'/><tie type='stop'/></note>")) * 800),
        b"<a>" * 100_000,
        b"<score-partwise>" + b"<part>" * 200 + b"</part>" * 200 + b"</score-partwise>",
        b"<score-timewise>" + b"<measure><part id='P1'/></measure>" * 3000 + b"</score-timewise>",
    ]


def read_all(group: str) -> None:
    for data in {"numbers": numbers, "structures": structures}[group]():
        with within_cpu_time():
            TARGETS["score"](data)


@pytest.mark.parametrize("group", ["numbers", "structures"])
def test_nonsense_on_purpose(group: str) -> None:
    call_bounded(__file__, "read_all", group)

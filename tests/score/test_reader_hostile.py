"""Small files made to cost a reader much: each is read, or refused, within bounds of time and memory.

Each check runs in a process of its own with the bounds of tests/bounded.py.
"""

from __future__ import annotations

import sys
from pathlib import Path
from unittest import mock

import pytest

sys.path.append(str(Path(__file__).parents[1]))

import bounded
from bounded import call_bounded
from told import told_score

from harpkeys.errors import ScoreError
from harpkeys.score import reader_combine
from harpkeys.score.container import parse_score_tree
from harpkeys.score.model import Score
from harpkeys.score.reader import score_from_tree
from harpkeys.score.reader_draft import MAX_SIGNS

LIST = '<part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>'
NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
REPEAT = (
    "<attributes><measure-style><measure-repeat type='start'>1</measure-repeat></measure-style></attributes>"
)


def read(bars: str, subset: str = "") -> Score:
    """The score of one part with these bars."""
    text = f'{subset}<score-partwise>{LIST}<part id="P1">{bars}</part></score-partwise>'
    return score_from_tree(parse_score_tree(text.encode()), "hostile")


def bar(body: str) -> str:
    """A bar."""
    return f'<measure number="1">{body}</measure>'


def white_space_without_end(name: str) -> None:
    text = NOTE.replace("<duration>", "<voice>1</voice><staff>1</staff><duration>")
    start = text.index(f"<{name}>") + len(name) + 2
    text = text[:start] + " " * 2_000_000 + "x" + text[start + 1 :]
    if name == "duration":
        with pytest.raises(ScoreError, match="is not a number of divisions"):
            read(bar(text))
    else:
        assert len(read(bar(text)).parts[0].notes) == 1


def words_without_end() -> None:
    words = "to " + " " * 500_000 + "coda, da   " + "rit " * 100_000 + "D.C. " * 100_000
    score = read(bar(f"<direction><direction-type><words>{words}</words></direction-type></direction>{NOTE}"))
    assert [jump.kind for jump in score.measures[0].jumps] == ["tocoda"]
    assert len(score.measures[0].jumps[0].words) == 200


def jumps_without_end() -> None:
    score = read(bar("".join(f'<sound segno="s{number}"/>' for number in range(50_000)) + NOTE))
    assert len(score.measures[0].jumps) == MAX_SIGNS


def brackets_without_end() -> None:
    start = '<barline><ending number="1" type="start"/></barline>'
    stop = '<barline><ending number="2" type="stop"/></barline>'
    assert read(bar((start + stop) * 30_000 + NOTE)).measures[0].ending == (1,)
    assert len(read(bar(start) * 30_000).measures) == 30_000


@mock.patch.object(reader_combine, "MAX_NOTES", 5_000)
def measure_repeats_count_as_notes() -> None:
    with pytest.raises(ScoreError) as caught:
        read(bar(NOTE * 1_000) + bar(REPEAT) + bar("") * 20_000)
    assert str(caught.value) == "the score has more than 5000 notes; split it into parts."
    assert len(read(bar(NOTE * 1_000) + bar(REPEAT) + bar("") * 3).parts[0].notes) == 5_000


def every_finer_duration_is_met_in_one_further_reading() -> None:
    # 0.1, 0.01, … each need more ticks than all before; the last needs 10 to the 12th, which is allowed.
    finer = "".join(NOTE.replace("<duration>1<", f"<duration>0.{'0' * digits}1<") for digits in range(12))
    score = read(bar(NOTE * 50_000 + finer))
    assert score.resolution == 10**12
    assert told_score(score)["notes"]["P1"][-1] == "1 5000011111111111/100000000000 1/1000000000000 C4"


def entities_without_end() -> None:
    subset = "".join(f'<!ENTITY e{number} "4">' for number in range(5_000))
    notes = "".join(NOTE.replace("<octave>4", f"<octave>&e{number};") for number in range(5_000))
    score = read(bar(notes), f"<!DOCTYPE score-partwise [{subset}]>")
    assert {str(note.pitch) for note in score.parts[0].notes} == {"C4"}


def a_loop_without_end() -> None:
    while True:
        pass


def more_memory_than_there_may_be() -> None:
    assert b"x" * (2 * bounded.MEMORY)


CHECKS = [
    *(("white_space_without_end", name) for name in ("duration", "octave", "staff", "voice")),
    ("words_without_end",),
    ("jumps_without_end",),
    ("brackets_without_end",),
    ("measure_repeats_count_as_notes",),
    ("every_finer_duration_is_met_in_one_further_reading",),
    ("entities_without_end",),
]


@pytest.mark.parametrize("check", CHECKS, ids="-".join)
def test_within_bounds(check: tuple[str, ...]) -> None:
    call_bounded(__file__, *check)


def test_a_loop_without_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    a_second = bounded.LIMITS.replace(f"({bounded.CPU_SECONDS}, {bounded.CPU_SECONDS + 5})", "(1, 2)")
    monkeypatch.setattr(bounded, "LIMITS", a_second)
    with pytest.raises(AssertionError, match="ended by signal"):
        call_bounded(__file__, "a_loop_without_end")


def test_memory_is_bounded() -> None:
    with pytest.raises(AssertionError, match="MemoryError"):
        call_bounded(__file__, "more_memory_than_there_may_be")

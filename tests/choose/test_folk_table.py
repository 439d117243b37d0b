"""The folk table's script on a sample, beside what music21 alone can tell.

Without levers a tune goes as set where every note is one of the open strings, which needs no planner: its
pitches are read by music21 straight from the ABC. With levers it goes as set where every note has the string
of its letter and no string is asked for two states; and it cannot be played where a pitch has no string.
"""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from test_signature_counts import script

SAMPLE = (
    "miscFolk/americanfifeopus.abc",  # some in two voices
    "miscFolk/northumbrianminstrelsyopus.abc",
    "nottingham-dataset/reelsa-c.abc",
)
FIRST = 15
"""Tunes taken of each file."""

SCALES = {"C": "CDEFGAB", "F": "CDEFGAb", "E-flat": "CDeFGab"}
"""Open notes, a small letter for a flat one."""

NATURAL = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
LEVERS = {"all": "CDEFGAB", "F C": "FC", "F C B": "FCB", "none": ""}
RANGES = {22: ("C3", "C6"), 26: ("C3", "G6"), 34: ("C2", "A6")}


@pytest.fixture(scope="module")
def folk() -> ModuleType:
    return script("folk_table")


@pytest.fixture(scope="module")
def tunes(folk: ModuleType) -> list[tuple[list[Any], list[int]]]:
    """music21's pitches of each tune of the sample, and the script's verdicts."""
    from music21 import chord, converter, corpus, harmony, note

    from harpkeys.score.abc_text import with_lasting_accidentals
    from harpkeys.score.notations import abc_tunes, gathered_voices, notation_pieces, text_of

    root = Path(corpus.__file__).parent
    instruments = folk.harps()
    found = []
    for name in SAMPLE:
        texts = dict(abc_tunes(text_of((root / name).read_bytes())))
        for piece, _ in zip(notation_pieces(root / name), range(FIRST), strict=False):
            assert piece.score is not None, piece.problem
            text = with_lasting_accidentals(gathered_voices(texts[piece.label]))
            stream = converter.parseData(text, format="abc")
            notes = stream.parts[0].recurse().getElementsByClass((note.Note, chord.Chord))
            # A chord symbol is a chord to music21, but nobody plucks it.
            played = [one for one in notes if not isinstance(one, harmony.ChordSymbol)]
            pitches = [pitch for one in played for pitch in one.pitches]
            found.append((pitches, folk.verdicts(piece.score, instruments)))
    return found


def open_strings(tuning: str, size: int) -> dict[str, int]:
    """The open note of every string by its name, worked out anew."""
    from music21 import pitch

    low, high = (pitch.Pitch(name).diatonicNoteNum for name in RANGES[size])
    flats = {letter.upper() for letter in SCALES[tuning] if letter.islower()}
    strings = {}
    for octave in range(1, 8):
        for letter, semitones in NATURAL.items():
            if low <= pitch.Pitch(f"{letter}{octave}").diatonicNoteNum <= high:
                strings[f"{letter}{octave}"] = 12 * (octave + 1) + semitones - (letter in flats)
    return strings


def test_the_sample_is_large_enough(tunes: list[tuple[list[Any], list[int]]]) -> None:
    assert len(tunes) > 2 * FIRST
    assert all(pitches for pitches, _ in tunes)


def test_without_levers_as_set_is_a_matter_of_notes(
    folk: ModuleType, tunes: list[tuple[list[Any], list[int]]]
) -> None:
    seen = set()
    for case, (tuning, levers, size) in enumerate(folk.CASES):
        if levers != "none":
            continue
        strings = set(open_strings(tuning, size).values())
        for pitches, verdicts in tunes:
            playable = {pitch.midi for pitch in pitches} <= strings
            assert verdicts[case] == (0 if playable else 3)
            seen.add(playable)
    assert seen == {True, False}


def test_with_levers_as_set_is_one_state_for_each_string(
    folk: ModuleType, tunes: list[tuple[list[Any], list[int]]]
) -> None:
    seen: dict[bool, int] = defaultdict(int)
    for case, (tuning, levers, size) in enumerate(folk.CASES):
        strings = open_strings(tuning, size)
        able = {
            midi + state
            for name, midi in strings.items()
            for state in ((0, 1) if name[0] in LEVERS[levers] else (0,))
        }
        for pitches, verdicts in tunes:
            states: dict[str, set[int]] = defaultdict(set)
            for pitch in pitches:
                name = f"{pitch.step}{pitch.octave}"
                states[name].add(round(pitch.midi) - strings.get(name, -99))
            own = all(
                wanted in ({0}, {1}) and (wanted == {0} or name[0] in LEVERS[levers])
                for name, wanted in states.items()
            )
            if own:
                assert verdicts[case] == 0
            if not {pitch.midi for pitch in pitches} <= able:
                assert verdicts[case] == 3
            seen[own] += 1
    assert min(seen[True], seen[False]) > 50


def test_lines_and_table(folk: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from music21 import corpus

    path = Path(corpus.__file__).parent / SAMPLE[2]
    results = tmp_path / "results.jsonl"
    results.write_text("".join(line + "\n" for line in folk.lines_of(path)), encoding="utf-8")
    lines = list(folk.collect([path], results, 1))
    assert [json.loads(line)["tune"] for line in lines] == ["X:80", "X:81"]
    counts = [
        folk.Counter(json.loads(line)["verdicts"][case] for line in lines) for case in range(len(folk.CASES))
    ]
    told = folk.table(counts).splitlines()
    assert told[0] == "| tuning | levers | 22 strings | 26 strings | 34 strings |"
    assert len(told) == 2 + len(folk.TUNINGS) * len(folk.LEVERS)
    # Cuckoo's Nest has C natural and C sharp, Little Czech Number G sharp and D sharp: never without levers.
    assert told[5] == "| C | none | 0 / 0 / 0 / 2 | 0 / 0 / 0 / 2 | 0 / 0 / 0 / 2 |"


def test_tunes_that_cannot_be_read_are_counted_by_reason(
    folk: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "miscFolk"
    folder.mkdir()
    tune = "X:{}\nT:Tune\nM:4/4\nL:1/4\nK:C\n{}\n\n"
    book = folder / "book.abc"
    book.write_text(tune.format(1, "CDEF|") + tune.format(2, "z4|") + tune.format(3, "z4|"))
    lines = [*folk.lines_of(book), *folk.lines_of(folder / "gone.abc")]
    problems = [json.loads(line).get("problem", "") for line in lines]
    assert [folk.reason_of(problem) for problem in problems] == [
        "",
        "this ABC holds no notes",
        "this ABC holds no notes",
        "the file cannot be read",
    ]
    results = tmp_path / "results.jsonl"
    results.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
    monkeypatch.setattr(
        "sys.argv", ["folk_table.py", "--results", str(results), "--collections", "miscFolk", "--files", "0"]
    )
    folk.main()
    told = capsys.readouterr().out.splitlines()
    assert told[:2] == [
        "1 tunes: miscFolk 1",
        "Left out: 3 (2: this ABC holds no notes; 1: the file cannot be read).",
    ]
    assert told[-1] == "| E-flat | none | 0 / 0 / 0 / 1 | 0 / 0 / 0 / 1 | 0 / 0 / 0 / 1 |"


def test_reasons_leave_out_where_and_what_music21_says(folk: ModuleType) -> None:
    problem = (
        "/tunes/ryan.abc, X:1: music21 cannot write this ABC as MusicXML (In part (None), measure (0): no.); "
        "check it in another program."
    )
    assert folk.reason_of(problem) == "music21 cannot write this ABC as MusicXML"
    assert folk.reason_of("the first voice has no notes.") == "the first voice has no notes"

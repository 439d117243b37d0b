"""Other notations through music21: tunes worked out by hand, and music21's own reading of its corpus."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree
from schema import schema_errors

from harpkeys.errors import FileError, ScoreError
from harpkeys.score.abc_text import with_lasting_accidentals, with_plain_bars
from harpkeys.score.model import Part, Score
from harpkeys.score.notations import (
    LIMITS,
    abc_tunes,
    gathered_voices,
    is_notation,
    notation_pieces,
    read_notation,
    text_of,
)
from harpkeys.score.route import perform

TWO_TUNES = """%abc-2.1
M:3/4
L:1/4

Words about the collection, which are no music: ABCDEFG.

X:1
T:First
K:G
G A B | G3 |: c ^c d | c3 :| F3 |]

Words between the tunes.

X:7
T:Second
M:2/4
K:Bb
B, E | =E e |
"""


def pitches(part: Part) -> list[str]:
    return [note.pitch.name for note in part.notes if note.pitch is not None]


def written(tmp_path: Path, name: str, content: str | bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_every_tune_of_an_abc_file(tmp_path: Path) -> None:
    first, second = read_notation(written(tmp_path, "two.abc", TWO_TUNES))
    assert (first.title, second.title) == ("First", "Second")
    # Without an accidental of its own a note has the key's; F is sharp in G, B and E are flat in B flat.
    assert pitches(first.parts[0]) == ["G4", "A4", "B4", "G4", "C5", "C#5", "D5", "C5", "F#4"]
    # By ABC 2.1 an accidental holds for its letter in every octave until the bar ends.
    assert pitches(second.parts[0]) == ["Bb3", "Eb4", "E4", "E5"]
    assert [key.fifths for score in (first, second) for key in score.parts[0].keys] == [1, -2]
    # M: of the file holds for the first tune, the second has its own.
    assert [score.measures[0].beats for score in (first, second)] == [(3, 4), (2, 4)]
    assert [measure.closes for measure in first.measures] == [0, 0, 0, 2, 0]
    assert [measure.opens for measure in first.measures] == [False, False, True, False, False]


@pytest.mark.parametrize(
    ("body", "numbers"),
    [
        ("C D E F|G A B c|c4|]", "1 2 3"),
        ("|:C D E F|G A B c|c4:|", "1 2 3"),
        ("E|C D E F|G A B c|c3|]", "0 1 2 3"),
        ("|:E|C D E F|G A B c|c3:|", "0 1 2 3"),
    ],
)
def test_bars_of_abc_are_counted_from_the_first_full_one(body: str, numbers: str, tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "t.abc", f"X:1\nT:t\nM:4/4\nL:1/4\nK:C\n{body}\n"))
    assert [measure.number for measure in score.measures] == numbers.split()
    assert [bar.get("number") for bar in score.tree.iter("measure")] == numbers.split()


def test_bars_of_two_voices_are_counted_alike(tmp_path: Path) -> None:
    tune = "X:1\nT:t\nM:4/4\nL:1/4\nK:C\nV:1\nc d e f|g4|c4|]\nV:2\nC4|C4|C4|]\n"
    (score,) = read_notation(written(tmp_path, "t.abc", tune))
    assert [bar.get("number") for bar in score.tree.iter("measure")] == ["1", "2", "3"] * 2


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("|:C D E F|G A B c:|", "1 2 1 2"),
        ("C D E F|G A B c:|", "1 2 1 2"),
        ("C D E F|:G A B c:|", "1 2 2"),
        ("C D E F:|:G A B c:|", "1 1 2 2"),
        ("|:C D E F|G4::G A B c|c4:|", "1 2 1 2 3 4 3 4"),
        ("V:1\n|:C D E F|G A B c:|\nV:2\n|:C4|C4:|", "1 2 1 2"),
        ("|:C D E F|1 G A B c:|2 c4|]", "1 2 1 3"),
        ("|:C4|D4|E4|F4[|]:|", "1 2 3 4 1 2 3 4"),
        ("C4|D4[|]\\\n|:E4|F4:[|]|]", "1 2 3 4 3 4"),
        ("C4|D4[|]E4|F4[|] |]", "1 2 3 4"),
    ],
)
def test_repeats_of_tunes_with_hardly_a_plain_bar_line(body: str, played: str, tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "t.abc", f"X:1\nT:t\nM:4/4\nL:1/4\nK:C\n{body}\n"))
    order = [score.measures[visit.measure].number for visit in perform(score).visits]
    assert order == played.split()


def test_music_without_bars_stays_without() -> None:
    tune = "X:1\nT:t\nM:C|\nL:1/2\nK:C\nz8 z8 f2 f3 e |]\n"
    assert with_plain_bars(tune) == tune


def test_what_abc_cannot_tell_is_said(tmp_path: Path) -> None:
    for score in read_notation(written(tmp_path, "two.abc", TWO_TUNES)):
        assert score.remarks[:2] == LIMITS["abc"]
    assert LIMITS["abc"][0] == (
        "It was read from ABC, which does not tell the hands: a part on one staff is for the right hand "
        "unless two parts are joined."
    )


def test_a_tune_ends_at_an_empty_line() -> None:
    tunes = dict(abc_tunes(TWO_TUNES))
    assert list(tunes) == ["X:1", "X:7"]
    assert "Words" not in "".join(tunes.values())
    assert tunes["X:1"].startswith("X:1\n%abc-2.1\nM:3/4\nL:1/4\nT:First\n")


@pytest.mark.parametrize(
    ("fields", "quarters"),
    [
        ("", "1/2"),  # a free meter: an eighth (ABC standard 2.1, section 3.1.7)
        ("M:none\n", "1/2"),
        ("M:C|\n", "1/2"),
        ("M:6/8\n", "1/2"),  # a meter of 0.75 or more: an eighth
        ("M:2/4\n", "1/4"),  # less than 0.75: a sixteenth
        ("L:1/4\n", "1"),
    ],
)
def test_notes_without_a_length_of_their_own(fields: str, quarters: str, tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "t.abc", f"X:1\nT:t\n{fields}K:G\nGAB c2d|e2d B3|\n"))
    notes = score.parts[0].notes
    assert Fraction(notes[0].duration, score.resolution) == Fraction(quarters)
    assert Fraction(notes[3].duration, score.resolution) == 2 * Fraction(quarters)


def test_a_file_without_numbers_is_one_tune(tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "bare.abc", "T:Bare\nM:4/4\nL:1/4\nK:C\nC D E F |]\n"))
    assert pitches(score.parts[0]) == ["C4", "D4", "E4", "F4"]


VOICES = """X:1
T:Two voices by turns
M:2/4
L:1/4
V:1
V:2
K:D
V:1
d f |
V:2
D F |
[V:1] a2 |]
[V:2] A2 |]
"""


def test_voices_that_take_turns_line_by_line(tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "voices.abc", VOICES))
    assert [pitches(part) for part in score.parts] == [["D5", "F#5", "A5"], ["D4", "F#4", "A4"]]
    assert [part.id for part in score.parts] == ["P1", "P2"]
    assert len(score.measures) == 2


def test_gathering_leaves_a_tune_of_one_voice_as_it_is() -> None:
    tune = "X:1\nM:2/4\nL:1/4\nK:C\nC D |\nE F |]\n"
    assert gathered_voices(tune) == tune


def test_a_tune_that_cannot_be_read_does_not_hold_up_the_others(tmp_path: Path) -> None:
    path = written(tmp_path, "odd.abc", TWO_TUNES.replace("G A B | G3 |: c ^c d | c3 :| F3 |]", "% nothing"))
    first, second = notation_pieces(path)
    assert (first.label, first.score) == ("X:1", None)
    assert first.problem == f"{path}, X:1: this ABC holds no notes; check that this is the file."
    assert second.score is not None
    with pytest.raises(ScoreError, match=re.escape(first.problem)) as caught:
        read_notation(path)
    assert caught.value.sentence == first.problem


def test_the_same_file_reads_the_same_twice(tmp_path: Path) -> None:
    path = written(tmp_path, "two.abc", TWO_TUNES)
    trees = [[etree.tostring(score.tree) for score in read_notation(path)] for _ in range(2)]
    assert trees[0] == trees[1]
    assert b"encoding-date" not in trees[0][0]


def test_what_is_made_is_valid_musicxml(tmp_path: Path) -> None:
    for text in (TWO_TUNES, VOICES):
        for score in read_notation(written(tmp_path, "two.abc", text)):
            assert schema_errors(score.tree) == []


MEI = """<?xml version="1.0" encoding="{encoding}"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0"><meiHead><fileDesc><titleStmt>
<title/></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>
<scoreDef meter.count="2" meter.unit="4" key.sig="1f"><staffGrp>
<staffDef n="1" lines="5" clef.shape="G" clef.line="2"/>
<staffDef n="2" lines="5" clef.shape="F" clef.line="4"/>
</staffGrp></scoreDef><section><measure n="1">
<staff n="1"><layer n="1">
<note pname="b" oct="4" dur="4" accid.ges="f"/><note pname="c" oct="5" dur="4"/></layer></staff>
<staff n="2"><layer n="1"><note pname="f" oct="3" dur="2"/></layer></staff>
</measure></section></score></mdiv></body></music></mei>
"""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_mei(tmp_path: Path, encoding: str) -> None:
    path = written(tmp_path, "small.mei", MEI.format(encoding=encoding).encode(encoding))
    (score,) = read_notation(path)
    assert score.title == "small"
    assert [pitches(part) for part in score.parts] == [["Bb4", "C5"], ["F3"]]
    assert score.remarks[0] == LIMITS["mei"][0]


KERN = (
    "**kern\t**kern\n*M2/4\t*M2/4\n*k[f#]\t*k[f#]\n=1\t=1\n2G\t4f#\n.\t4g\n=2\t=2\n2D\t2a\n==\t==\n*-\t*-\n"
)


def test_humdrum(tmp_path: Path) -> None:
    (score,) = read_notation(written(tmp_path, "small.krn", KERN))
    assert sorted(pitches(part) for part in score.parts) == [["F#4", "G4", "A4"], ["G3", "D3"]]
    assert {key.fifths for part in score.parts for key in part.keys} == {1}
    assert score.title == "small"


def test_midi_tells_sounds_not_spellings(tmp_path: Path) -> None:
    from music21 import note, stream, tempo

    sounds = stream.Stream(
        [tempo.MetronomeMark(number=100), *(note.Note(midi=k, quarterLength=1) for k in (60, 63, 67))]
    )
    sounds.write("midi", str(tmp_path / "small.mid"))
    (score,) = read_notation(tmp_path / "small.mid")
    assert [note.pitch.midi for note in score.parts[0].notes if note.pitch is not None] == [60, 63, 67]
    assert score.tempos[0].bpm == 100
    assert score.title == "small"
    assert score.remarks[1] == (
        "MIDI tells sounds, not spellings: sharps and flats are music21's choice, and so are note values, "
        "which it rounds."
    )


def test_pitches_are_music21s_on_its_corpus() -> None:
    from music21 import chord, converter, corpus, harmony, note

    path = Path(corpus.__file__).parent / "nottingham-dataset" / "reelsa-c.abc"
    texts = [text for _, text in abc_tunes(text_of(path.read_bytes()))]
    scores: tuple[Score, ...] = read_notation(path)
    for text, score in zip(texts, scores, strict=True):
        read = converter.parseData(with_lasting_accidentals(text), format="abc")
        notes = read.recurse().getElementsByClass((note.Note, chord.Chord))
        played = [one for one in notes if not isinstance(one, harmony.ChordSymbol)]
        expected = [one.nameWithOctave.replace("-", "b") for each in played for one in each.pitches]
        assert pitches(score.parts[0]) == expected
        assert len(expected) > 50


def test_encodings_of_abc(tmp_path: Path) -> None:
    for data in ("T:Dún\n".encode("latin-1"), "T:Dún\n".encode("utf-8-sig"), "T:Dún\r\n".encode("utf-16")):
        assert text_of(data) == "T:Dún\n"


MISTAKES = [
    (
        "missing.abc",
        None,
        "the file cannot be read (No such file or directory); check the path and its permissions.",
    ),
    (
        "a.musicxml",
        b"",
        "this is no notation that is read; its name has to end in .abc, .mid, .midi, .mei, .krn.",
    ),
]


@pytest.mark.parametrize(("name", "content", "sentence"), MISTAKES)
def test_files_that_cannot_be_opened(tmp_path: Path, name: str, content: bytes | None, sentence: str) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FileError, match=re.escape(f"{path}: {sentence}")):
        read_notation(path)


@pytest.mark.parametrize("name", ["noise.mid", "noise.mei", "noise.krn"])
def test_noise_is_one_sentence(tmp_path: Path, name: str) -> None:
    path = written(tmp_path, name, b"\x00\x01noise\xff" * 20)
    with pytest.raises(ScoreError) as caught:
        read_notation(path)
    sentence = caught.value.sentence
    assert sentence.startswith(f"{path}: ")
    assert "\n" not in sentence
    assert sentence.endswith(".")


def test_names_of_notations() -> None:
    assert is_notation(Path("a.ABC"))
    assert is_notation(Path("b.midi"))
    assert not is_notation(Path("c.musicxml"))

"""`harpkeys transpose`: what can be asked for, what is written where, and what is said."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from harpkeys.cli import main
from harpkeys.cli.transpose import semitones_of, signature_of
from harpkeys.errors import OptionError
from harpkeys.score.model import KeySignature
from harpkeys.score.reader import read_score

CORPUS = Path(__file__).resolve().parents[2] / "corpus"


@pytest.fixture
def mill(tmp_path: Path) -> Path:
    """The Mill Turns, in E minor, where files may be written."""
    return Path(shutil.copy(CORPUS / "the-mill-turns.musicxml", tmp_path))


def opening(path: Path) -> tuple[int | None, str | None]:
    key = read_score(path).parts[0].keys[0]
    return key.fifths, key.mode


ASKED = [
    (["--by", "-2"], "in-D-minor", -1, "Moved down a tone, now in D minor; 113 notes."),
    (["--by", "down a tone"], "in-D-minor", -1, "Moved down a tone, now in D minor; 113 notes."),
    (["--by", "up a minor third"], "in-G-minor", -2, "Moved up a minor third, now in G minor; 113 notes."),
    (["--by", "12"], "up-12", 1, "Moved up an octave, now in E minor; 113 notes."),
    (["--to", "A"], "in-A-minor", 0, "Moved up a fourth, now in A minor; 113 notes."),
    (["--to", "a minor", "--way", "down"], "in-A-minor", 0, "Moved down a fifth, now in A minor; 113 notes."),
    (["--to", "Bb"], "in-B-flat-minor", -5, "Moved down a tritone, now in B-flat minor; 113 notes."),
    (["--to", "d sharp"], "in-D-sharp-minor", 6, "Moved down a semitone, now in D-sharp minor; 113 notes."),
    (["--to", "E-flat"], "in-E-flat-minor", -6, "Moved down a semitone, now in E-flat minor; 113 notes."),
]


@pytest.mark.parametrize(("words", "name", "fifths", "sentence"), ASKED, ids=[" ".join(a[0]) for a in ASKED])
def test_what_is_asked_is_written_beside_the_score(
    words: list[str],
    name: str,
    fifths: int,
    sentence: str,
    mill: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["transpose", str(mill), *words]) == 0
    out, err = capsys.readouterr()
    assert (out.splitlines()[0], err) == (sentence, "")
    target = mill.with_name(f"the-mill-turns.{name}.musicxml")
    assert opening(target) == (fifths, "minor")
    assert {path.name for path in mill.parent.iterdir()} == {mill.name, target.name}


def test_a_compressed_score_stays_one(tmp_path: Path) -> None:
    owl = Path(shutil.copy(CORPUS / "owl-light-lullaby.mxl", tmp_path))
    target = tmp_path / "owl.mxl"
    assert main(["transpose", str(owl), "--by", "1", "-o", str(target)]) == 0
    assert target.read_bytes().startswith(b"PK")
    before, after = (read_score(path).parts[0].notes for path in (owl, target))
    assert [note.onset for note in after] == [note.onset for note in before]
    pairs = [(one.pitch, other.pitch) for one, other in zip(before, after, strict=True)]
    assert {other.midi - one.midi for one, other in pairs if one is not None and other is not None} == {1}


def test_the_transposed_score_can_be_marked_at_once(mill: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = mill.with_name("marked.musicxml")
    assert main(["transpose", str(mill), "--to", "A", "--mark", "--harp", "34", "-o", str(target)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Plays with 3 lever flips" in out
    assert main(["transpose", str(mill), "--to", "A", "-o", str(mill.with_name("plain.musicxml"))]) == 0
    capsys.readouterr()
    cleared = mill.with_name("cleared.musicxml")
    assert main(["mark", str(target), "--clear", "-o", str(cleared)]) == 0
    assert cleared.read_bytes() == mill.with_name("plain.musicxml").read_bytes()


def test_nothing_is_overwritten_unasked(mill: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = mill.with_name("mine.musicxml")
    target.write_text("mine")
    words = ["transpose", str(mill), "--by", "2", "-o", str(target)]
    assert main(words) == 2
    assert capsys.readouterr() == (
        "",
        f"{target}: the file exists already; allow --overwrite, or name another with --output.\n",
    )
    assert target.read_text() == "mine"
    assert main([*words, "--overwrite"]) == 0
    assert opening(target) == (3, "minor")


MISTAKES = [
    ([], "say either how far to move the score or to which key; give one of --by and --to."),
    (
        ["--by", "2", "--to", "G"],
        "say either how far to move the score or to which key; give one of --by and --to.",
    ),
    (["--by", "0"], "a move by 0 semitones moves nothing; give another number with --by."),
    (["--by", "37"], "a score is not moved by 37 semitones; move it by at most 36."),
    (["--by", "far"], "--by cannot be 'far'; give semitones such as -2, or words such as \"down a tone\"."),
    (["--to", "H"], '--to cannot be \'H\'; name a key, such as "G", "B-flat" or "E minor".'),
    (["--to", "D7"], '--to cannot be \'D7\'; name a key, such as "G", "B-flat" or "E minor".'),
    (
        ["--to", "G major"],
        'the score is in E minor, which moving does not make major; name the tonic alone, such as "G".',
    ),
    (["--to", "E"], "the score is in that key already; use --by to move it by octaves."),
    (["--to", "C-flat"], "the key 'C-flat' has 10 sharps or flats; name the key that sounds the same."),
    (["--to", "G", "--way", "left"], "--way cannot be 'left'; it is one of up, down, near."),
    (["--by", "1", "--part", "flute"], "there is no part 'flute'; choose one of P1 (Harp)."),
    (
        ["--by", "1", "-o", "out.pdf"],
        "--output cannot be 'out.pdf'; its name ends in .musicxml, .xml, .mxl.",
    ),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES, ids=[" ".join(m[0]) or "nothing" for m in MISTAKES])
def test_mistakes_are_one_sentence(
    words: list[str], sentence: str, mill: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["transpose", str(mill), *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")
    assert [path.name for path in mill.parent.iterdir()] == [mill.name]


@pytest.mark.parametrize(
    ("text", "wanted"), [("-2", -2), ("+5", 5), ("up an octave", 12), ("down three semitones", -3)]
)
def test_distances(text: str, wanted: int) -> None:
    assert semitones_of(text) == wanted


def key(fifths: int | None, mode: str | None) -> KeySignature:
    return KeySignature(0, 0, None, fifths, mode, (0,) * 7)


SIGNATURES = [
    ("G", 0, "major", 1),
    ("G", 0, None, 1),
    ("G", 0, "minor", -2),
    ("G", 0, "dorian", -1),
    ("G minor", 0, None, -2),
    ("B flat", 0, "mixolydian", -3),
    ("F# minor", 0, "minor", 3),
]


@pytest.mark.parametrize(("text", "fifths", "mode", "wanted"), SIGNATURES)
def test_a_tonic_alone_keeps_the_mode(text: str, fifths: int, mode: str | None, wanted: int) -> None:
    assert signature_of(text, key(fifths, mode)) == wanted


def test_a_mixed_signature_names_no_key_to_start_from() -> None:
    with pytest.raises(OptionError) as caught:
        signature_of("G", key(None, None))
    assert caught.value.sentence == (
        "the score opens with a mixed key signature; use --by to say how far to move it."
    )

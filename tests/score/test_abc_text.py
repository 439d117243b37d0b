"""What ABC means by the standard, worked out by hand, where music21 would read it otherwise."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from schema import schema_errors

from harpkeys.report.performance import Performance, perform_part
from harpkeys.score.abc_text import readable, with_fields_on_lines, with_lasting_accidentals, with_rests
from harpkeys.score.notations import LIMITS, abc_tunes, gathered_voices, read_notation, text_of

HEAD = "X:1\nT:t\nM:4/4\nL:1/4\nK:C\n"


def performed(folder: Path, body: str, head: str = HEAD) -> Performance:
    path = folder / "t.abc"
    path.write_text(f"{head}{body}\n")
    (score,) = read_notation(path)
    return perform_part(score)


def names(performance: Performance) -> str:
    return " ".join(pluck.pitch.name for pluck in performance.plucks)


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("^F2 F2|F4|G4|]", "F#4 F#4 F4 G4"),
        ("^F2 f2|F4|G4|]", "F#4 F#5 F4 G4"),  # in every octave, the default of section 11.3
        ("_B B =B B|B4|G4|]", "Bb4 Bb4 B4 B4 B4 G4"),
        ("[^FA]2 F2|F4|G4|]", "F#4 A4 F#4 F4 G4"),
        ("{^F}G2 F2|F4|G4|]", "F#4 G4 F#4 F4 G4"),
        ("^F2 [FA]2|[FA]4|G4|]", "F#4 F#4 A4 F4 A4 G4"),
        ("[^FA] [F=A] A F|F4|G4|]", "F#4 A4 F#4 A4 A4 F#4 F4 G4"),
        ("^F4-|F2 =F2|F4|]", "F#4 F4 F4"),
        ("^F4-|F2 G2|F4|]", "F#4 G4 F4"),
        ("[^FA]4-|[FA]2 =F2|F4|]", "F#4 A4 F#4 A4 F4 F4"),
        ("^F4|[1 F4:|[2 ^G4|G4|]", "F#4 F4 F#4 G#4 G4"),
        ("^F2::F2|F4|G4:|]", "F#4 F#4 F4 F4 G4 F4 F4 G4"),
    ],
)
def test_accidentals_last_until_the_bar_ends(body: str, played: str, tmp_path: Path) -> None:
    assert names(performed(tmp_path, body)) == played
    for version in ("%abc-1.6\n", "%abc-2.1\n", "%abc\n"):
        assert names(performed(tmp_path, body, version + HEAD)) == played


def test_that_they_do_is_what_collections_count_on() -> None:
    """Those who wrote out O'Neill's and Ryan's tunes often cancel an accidental within its bar."""
    from music21 import corpus

    root = Path(corpus.__file__).parent
    cancelled = 0
    for path in [*root.glob("oneills1850/*.abc"), *root.glob("ryansMammoth/*.abc")]:
        for _, tune in abc_tunes(text_of(path.read_bytes())):
            music = [line for line in tune.split("\n") if not re.match("[A-Za-z]:|%", line)]
            for bar in " ".join(music).split("|"):
                cancelled += bool(re.search(r"\^([A-Ga-g]).*=\1", bar))
    assert cancelled > 100


@pytest.mark.parametrize(
    ("body", "played", "keys"),
    [
        ("C4|[K:D]F4|C4|]", "C4 F#4 C#4", [(0, 0), (1, 2)]),
        ("C4|F4|\nK:D\nF4|C4|]", "C4 F4 F#4 C#4", [(0, 0), (2, 2)]),
        ("C4|F4|[K:Eb]\nE4|A4|]", "C4 F4 Eb4 Ab4", [(0, 0), (2, -3)]),
        ("C4|[K: G dorian ] B4|F4|]", "C4 Bb4 F4", [(0, 0), (1, -1)]),
    ],
)
def test_the_key_may_change(body: str, played: str, keys: list[tuple[int, int]], tmp_path: Path) -> None:
    performance = performed(tmp_path, body)
    assert names(performance) == played
    assert [(key.measure, key.fifths) for key in performance.part.keys] == keys


def test_unit_meter_and_tempo_may_change(tmp_path: Path) -> None:
    body = "C4|[L:1/8]F8|[M:3/4]C4D2|[Q:1/4=40][L:1/4]E3|]"
    performance = performed(tmp_path, body)
    quarters = [(pluck.onset_tick, pluck.end_tick) for pluck in performance.plucks]
    one = performance.score.resolution
    assert quarters == [(k * one, n * one) for k, n in ((0, 4), (4, 8), (8, 10), (10, 11), (11, 14))]
    assert [measure.beats for measure in performance.score.measures] == [(4, 4), (4, 4), (3, 4), (3, 4)]
    assert [performance.tempo_at(pluck) for pluck in performance.plucks] == [90, 90, 90, 90, 40]


@pytest.mark.parametrize(
    ("body", "starts"),
    [
        ("C4|Z|D4|]", (0, 8)),
        ("C4|Z3|D4|]", (0, 16)),
        ("C4|[M:3/4]Z2|D3|]", (0, 10)),
        ("C4|[L:1/8]Z2|D8|]", (0, 12)),
        ("C4|x4|D4|]", (0, 8)),
        ("C2 x2|x D x2|]", (0, 5)),
        ('C4|"Zx"z4|D4|]', (0, 8)),
    ],
)
def test_rests_take_their_time(body: str, starts: tuple[int, ...], tmp_path: Path) -> None:
    performance = performed(tmp_path, body)
    one = performance.score.resolution
    assert [pluck.onset_tick // one for pluck in performance.plucks] == list(starts)


DOUBLE = ("::", ":|:", ":||:")
"""Section 4.8: "The variants ::, :|: and :||: are all equivalent", :: being short for :| followed by |:."""


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("C D E F{}G4:|", "C4 D4 E4 F4 C4 D4 E4 F4 G4 G4"),
        ("C D E F{}G2 A2|c4|]", "C4 D4 E4 F4 C4 D4 E4 F4 G4 A4 C5"),
        ("C4H{}D4:|", "C4 C4 D4 D4"),  # H, a fermata (section 4.14), over the bar line
        ("C4|\nF2{}G4|A4|]", "C4 F4 C4 F4 G4 A4"),
        ("C4|\nF{}G4|A4|]", "C4 F4 C4 F4 G4 A4"),  # section 3: in the body A to G name no field
        ("[CF]4{}G4:|", "C4 F4 C4 F4 G4 G4"),
    ],
)
def test_a_double_repeat_after_any_letter(body: str, played: str, tmp_path: Path) -> None:
    for sign in DOUBLE:
        assert names(performed(tmp_path, body.format(sign))) == played


@pytest.mark.parametrize(
    ("body", "played"),
    [
        ("C4:|", "C4 C4"),
        ("|:C2 E2:|]", "C4 E4 C4 E4"),
        ("C3 F::", "C4 F4 C4 F4"),
        ("C4|]", "C4"),
        (":|C4|]", "C4"),
    ],
)
def test_a_tune_of_one_bar_may_be_repeated(body: str, played: str, tmp_path: Path) -> None:
    performance = performed(tmp_path, body)
    assert names(performance) == played
    assert not any("understood" in remark for remark in performance.score.remarks)
    assert schema_errors(performance.score.tree) == []


def test_two_voices_of_one_bar_may_be_repeated(tmp_path: Path) -> None:
    path = tmp_path / "t.abc"
    path.write_text(f"{HEAD}V:1\nc4:|\nV:2\nC4:|\n")
    (score,) = read_notation(path)
    repeats = [repeat.get("direction") for repeat in score.tree.iter("repeat")]
    assert repeats == ["backward", "backward"]
    assert [measure.closes for measure in score.measures] == [2]


@pytest.mark.parametrize(
    ("body", "played"),
    [
        # Section 4.8: bar lines may have any shape of |, [ or ] and :, "e.g. |[| or [|:::".
        ("C4||:D4|E4:|", "C4 D4 E4 D4 E4"),
        ("C4[|:D4|E4:|]", "C4 D4 E4 D4 E4"),
        ("C4|]:D4|E4:||", "C4 D4 E4 D4 E4"),
        ("C4:[|D4|E4|[|", "C4 C4 D4 E4"),
        ("C4|D4| :|E4|]", "C4 D4 C4 D4 E4"),
        ("C4|1 D4|\n:|2 E4|]", "C4 D4 C4 E4"),
        ("C4|D4|\\\n  :|E4|]", "C4 D4 C4 D4 E4"),
        # What is no bar line stays: tuplets, endings, words.
        ("(3:2:3CDE C2|(3::DEF F2:|", "C4 D4 E4 C4 D4 E4 F4 F4 C4 D4 E4 C4 D4 E4 F4 F4"),
        ("|:C4|1D4:|2E4|]", "C4 D4 C4 E4"),
        ('C4"A::B"|D4|E4|]', "C4 D4 E4"),
        ("C4|D4|\nA: a place\nF:http://x\nE4|]", "C4 D4 E4"),
    ],
)
def test_bar_lines_of_any_shape(body: str, played: str, tmp_path: Path) -> None:
    performance = performed(tmp_path, body)
    assert names(performance) == played
    assert not any("understood" in remark for remark in performance.score.remarks)


@pytest.mark.parametrize(
    ("body", "played"),
    [
        # Section 4.8: "from the beginning of the tune, or from the latest double bar line or end of repeated
        # section".
        ("C4|D4|E4:|", "C4 D4 E4 C4 D4 E4"),
        ("C4||D4|E4:|", "C4 D4 E4 D4 E4"),
        ("C4|]\nD4|E4:|F4:|", "C4 D4 E4 D4 E4 F4 F4"),
        ("C4|D4:|E4||F4:|G4|]", "C4 D4 C4 D4 E4 F4 F4 G4"),
        ("|:C4||D4|E4:|", "C4 D4 E4 C4 D4 E4"),
        ("C4||D4|:E4:|F4||", "C4 D4 E4 E4 F4"),
        ('C4"||"|D4|E4:|', "C4 D4 E4 C4 D4 E4"),
        ("C4[|]|D4|E4:|", "C4 D4 E4 C4 D4 E4"),
    ],
)
def test_a_repeat_goes_back_to_the_latest_double_bar_line(body: str, played: str, tmp_path: Path) -> None:
    assert names(performed(tmp_path, body)) == played


@pytest.mark.parametrize("sign", [*"~.HLMOPSTuv", *"IJKNQRUVWhijklmnopqrstw", '">"', '">2"', '"(>)"'])
def test_signs_cost_no_note_and_make_none(sign: str, tmp_path: Path) -> None:
    """The letters of section 4.14, those that section 4.16 leaves to be named, and words of 4.19."""
    body = f"C2 {sign}D2|E2 {sign}[FA]2|({sign}^G2 {sign}c2)|]"
    assert names(performed(tmp_path, body)) == "C4 D4 E4 F4 A4 G#4 C5"


def test_what_of_a_tune_was_lost_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As music21 would read them without help."""
    monkeypatch.setattr("harpkeys.score.notations.readable", lambda tune: tune)
    remarks = performed(tmp_path, "C4|D4|C D E F::G4:|").score.remarks
    assert remarks[2] == "Of this tune's 7 notes only 5 were understood: compare it with the page."
    remarks = performed(tmp_path, "C2:|D2:|").score.remarks
    assert remarks[2] == (
        "Repeats of this tune were not all understood: compare the order of its bars with the page."
    )


def test_remarks_among_the_notes_are_no_notes(tmp_path: Path) -> None:
    assert names(performed(tmp_path, "C4|[r: abe]F4|[I:setbarnb 10]C4|]")) == "C4 F4 C4"


def test_words_and_names_of_signs_stay() -> None:
    tune = f'{HEAD}"Zx"C!x!D|E4|\nw: Zx x [K:D]\n%x\n'
    assert with_rests(tune) == tune
    assert with_fields_on_lines(tune) == tune
    assert with_rests(f"{HEAD}Z2|x2|\n") == f"{HEAD}z4|z4|z2|\n"
    assert with_rests("X:1\nM:none\nK:C\nZ2|\n") == "X:1\nM:none\nK:C\nZ2|\n"
    assert with_rests("X:1\nM:6/8\nK:C\nZ\n") == "X:1\nM:6/8\nK:C\nz6\n"
    assert with_rests("X:1\nM:2/4\nK:C\nZ\n") == "X:1\nM:2/4\nK:C\nz8\n"


def test_voices_keep_their_own_fields() -> None:
    tune = gathered_voices(f"{HEAD}V:1\nC4|[K:G]F4|\nV:2\nZ2|\n")
    assert readable(tune) == ("X:1\n%abc-2.1\nT:t\nM:4/4\nL:1/4\nK:C\nV:1\nC4|\nK:G\nK:G\nF4|\nV:2\nz4|z4|\n")


def test_odd_tunes_are_left_in_one_piece() -> None:
    for tune in ("", "K:C", "K:C\n", "X:1", "X:1\nC", "M:0/4\nL:1/0\nK:C\nZ99999999999|[K:", "[K:D]\n\nK:"):
        assert isinstance(readable(tune), str)
        assert len(readable(tune)) < 10_000
    for many in ("[K:", "[", '"', "!a", "[^F", "Z9999|", "^F-|", "x"):
        assert len(readable(f"{HEAD}{many * 50_000}\n")) < 2_000_000  # and in no time
    assert with_lasting_accidentals("X:1\n%abc-1.6\nK:C\n") == "X:1\n%abc-2.1\nK:C\n"


def test_what_is_not_read_is_said() -> None:
    assert LIMITS["abc"][1] == (
        "Of ABC's signs, ornaments, fermatas, jumps (D.C., D.S.), ties of chords, voices laid over one "
        "another (&), repeats of more than two rounds (|::), endings for several rounds ([1,3), the order of "
        "parts (P:) and accidentals added to a key are not read."
    )

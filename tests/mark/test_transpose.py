"""Transposed documents: what moves, worked out by hand, and that nothing else does."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from schema import schema_errors
from transposing_engines import canonical, still

from harpkeys.choose.transposition import Move, move_of, moved_first_key, moved_plucks
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp
from harpkeys.mark.document import marked_document
from harpkeys.mark.files import packed_like
from harpkeys.mark.transpose import REMARKS, Transposed, transposed
from harpkeys.report.performance import Performance, perform_part
from harpkeys.report.vet import find_signatures, played_part, vet
from harpkeys.score.container import Opened, open_score, parse_score_tree, read_tree
from harpkeys.score.parts import choose_part
from harpkeys.score.reader import score_from_tree

TESTS = Path(__file__).resolve().parents[1]
SCORES = sorted(
    [
        *TESTS.parent.joinpath("corpus").glob("*.m*xl"),
        *TESTS.joinpath("score", "data").glob("*.musicxml"),
    ]
)

WITH_KEYS = [path for path in SCORES if b"<fifths>" in open_score(path).data]

PAGE = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>
  <part id="P1">
    <measure number="1">
      {music}
    </measure>
  </part>
</score-partwise>
"""

C_MAJOR = "<attributes><divisions>1</divisions><key><fifths>0</fifths></key></attributes>"


def note(step: str, octave: int, alter: str = "", after: str = "", signs: str = "") -> str:
    alter = f"<alter>{alter}</alter>" if alter else ""
    pitch = f"<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>"
    signs = f"<notations>{signs}</notations>" if signs else ""
    return f"<note>{pitch}<duration>1</duration><type>quarter</type>{after}{signs}</note>"


def page(*music: str) -> str:
    return PAGE.format(music="\n      ".join(music))


def moved(document: str, semitones: int) -> Transposed:
    tree = parse_score_tree(document.encode())
    return transposed(tree, move_of(score_from_tree(tree, ""), [0], semitones))


def after(document: str, semitones: int) -> str:
    result = moved(document, semitones)
    assert schema_errors(result.tree) == []
    return text_of(result, document)


def text_of(result: Transposed, original: str) -> str:
    """A result as it is written to the file."""
    opened = Opened(Path("page.musicxml"), original.encode())
    return packed_like(opened, result.document, Path("page.musicxml")).decode()


def test_a_step_up_by_hand() -> None:
    """C major up a tone is D major: F sharp needs no sign there, F natural does, B flat becomes C natural."""
    before = page(
        C_MAJOR,
        note("E", 4),
        note("F", 4, "1", "<accidental>sharp</accidental>"),
        note("B", 4, "-1", '<accidental parentheses="yes">flat</accidental>'),
        note("B", 4),
    )
    assert after(before, 2) == page(
        C_MAJOR.replace("<fifths>0", "<fifths>2"),
        note("F", 4, "1"),
        note("G", 4, "1", "<accidental>sharp</accidental>"),
        note("C", 5, "", '<accidental parentheses="yes">natural</accidental>'),
        note("C", 5, "1"),
    )


def test_white_space_stays_where_elements_come_and_go() -> None:
    before = page(
        C_MAJOR,
        "<note>\n        <pitch>\n          <step>B</step>\n          <octave>4</octave>\n        </pitch>\n"
        "        <duration>1</duration>\n      </note>",
    )
    between = after(before, 2)
    assert "<step>C</step>\n          <alter>1</alter>\n          <octave>5</octave>" in between
    tree = parse_score_tree(between.encode())
    assert text_of(transposed(tree, Move(-2, -1)), between) == before


SIGNS = [
    ("sharp", "1", "F", "natural"),  # F sharp down a semitone in the key of B: F natural
    ("double-sharp", "2", "F", "sharp"),
    ("natural-sharp", "1", "F", "natural"),
    ("natural", "0", "F", "flat"),
    ("flat", "-1", "F", "flat-flat"),
    ("flat-flat", "-2", "F", "triple-flat"),
    ("natural-flat", "-1", "F", "flat-flat"),
    ("quarter-sharp", "0.5", "F", "quarter-flat"),
    ("sharp-down", "0.75", "F", "natural-down"),
]


@pytest.mark.parametrize(("sign", "alter", "step", "wanted"), SIGNS, ids=[row[0] for row in SIGNS])
def test_a_sign_moves_as_its_note_does(sign: str, alter: str, step: str, wanted: str) -> None:
    """From C sharp major to C major every letter stays and every alteration falls by one."""
    before = page(
        C_MAJOR.replace("<fifths>0", "<fifths>7"),
        note(step, 4, "" if alter == "0" else alter, f"<accidental>{sign}</accidental>"),
    )
    document = after(before, -1)
    assert f"<accidental>{wanted}</accidental>" in document
    assert "<fifths>0</fifths>" in document


def test_a_sign_without_a_counterpart_stays_and_is_told() -> None:
    before = page(C_MAJOR, note("F", 4, "0.3", "<accidental>sori</accidental>"))
    result = moved(before, 1)
    assert "<accidental>sori</accidental>" in result.document.decode()
    assert result.remarks == (REMARKS["sign"],)
    assert moved(before, 12).remarks == ()


def test_ornaments_take_the_sign_of_the_note_they_add() -> None:
    """In F major up a tone to G: a trill on A with B natural becomes one on B with C sharp."""
    trill = (
        "<ornaments><trill-mark/><accidental-mark>{}</accidental-mark>"
        '<turn/><accidental-mark placement="above">{}</accidental-mark>'
        '<accidental-mark placement="below">{}</accidental-mark></ornaments>'
    )
    key = C_MAJOR.replace("<fifths>0", "<fifths>{}")
    before = page(key.format(-1), note("A", 4, signs=trill.format("natural", "flat", "sharp")))
    assert after(before, 2) == page(
        key.format(1), note("B", 4, signs=trill.format("sharp", "natural", "sharp"))
    )


def test_an_editorial_sign_above_the_staff_is_for_the_note_itself() -> None:
    before = page(C_MAJOR, note("F", 4, signs="<accidental-mark>sharp</accidental-mark>"))
    assert "<accidental-mark>natural</accidental-mark>" in after(before, 10)  # F in C is E flat in B flat


def test_chord_symbols_move_by_root_and_bass_alone() -> None:
    """D minor seventh over F, its fifth lowered, its root shown as text; up a fourth G minor over B flat."""
    symbol = (
        '<harmony><root><root-step text="{0}">{0}</root-step></root><kind text="m7">minor-seventh</kind>'
        "<bass><bass-step>{1}</bass-step>{2}</bass>"
        "<degree><degree-value>5</degree-value><degree-alter>-1</degree-alter>"
        "<degree-type>alter</degree-type></degree></harmony>"
    )
    before = page(C_MAJOR, symbol.format("D", "F", ""), note("D", 4))
    assert after(before, 5) == page(
        C_MAJOR.replace("<fifths>0", "<fifths>-1"),
        symbol.format("G", "B", "<bass-alter>-1</bass-alter>"),
        note("G", 4),
    )


def test_figured_bass_moves_by_the_note_over_the_bass() -> None:
    """In A minor a sharp alone over E asks for G sharp; in F minor, over C, for E natural."""
    figures = "<figured-bass><figure><prefix>{}</prefix></figure></figured-bass>"
    before = page(C_MAJOR, figures.format("sharp"), note("E", 3))
    assert after(before, -4) == page(
        C_MAJOR.replace("<fifths>0", "<fifths>-4"), figures.format("natural"), note("C", 3)
    )


def test_a_signature_takes_its_cancelled_one_along() -> None:
    later = "<attributes><key><cancel>{}</cancel><fifths>{}</fifths></key></attributes>"
    before = page(C_MAJOR, note("C", 4), later.format(0, -3), note("C", 4))
    assert after(before, 2) == page(
        C_MAJOR.replace("<fifths>0", "<fifths>2"), note("D", 4), later.format(2, -1), note("D", 4)
    )


def test_a_mixed_signature_moves_letter_by_letter() -> None:
    """B flat and F sharp up a tone: B flat becomes C natural, which needs no sign, F sharp G sharp, and E
    natural F sharp. (B natural is not in it, or C would be sharp.)"""
    sign = "<key-step>{}</key-step><key-alter>{}</key-alter>"
    octave = '<key-octave number="{}">{}</key-octave>'
    attributes = "<attributes><divisions>1</divisions><key>{}</key></attributes>"
    before = page(
        attributes.format(
            sign.format("B", -1) + sign.format("F", 1) + octave.format(1, 4) + octave.format(2, 5)
        ),
        note("G", 4),
    )
    assert after(before, 2) == page(
        attributes.format(sign.format("G", 1) + sign.format("F", 1) + octave.format(1, 5)), note("A", 4)
    )


def test_a_score_without_a_signature_gets_one() -> None:
    before = page("<attributes><divisions>1</divisions></attributes>", note("B", 4))
    result = moved(before, 2)
    assert (
        result.document.decode().splitlines()[1:]
        == page(
            "<attributes><divisions>1</divisions><key><fifths>2</fifths></key></attributes>",
            note("C", 5, "1"),
        ).splitlines()[1:]
    )
    assert result.remarks == (REMARKS["key"],)
    assert moved(before, 12).remarks == ()


def test_a_bar_without_attributes_gets_its_signature_before_the_music() -> None:
    before = page("<direction><direction-type><words>Air</words></direction-type></direction>", note("C", 4))
    assert "<attributes><key><fifths>-2</fifths></key></attributes>\n      <direction>" in after(before, -2)


def test_beyond_seven_signs_the_section_is_spelled_twelve_fifths_away() -> None:
    """E flat with a section in E, up to G: four fifths, which would make it G sharp, so it is A flat."""
    later = "<attributes><key><fifths>{}</fifths></key></attributes>"
    tie = '<tie type="{}"/>'
    held = note("G", 4, "1").replace("</duration>", "</duration>" + tie.format("start"))
    tied = note("G", 4, "1").replace("</duration>", "</duration>" + tie.format("stop"))
    before = page(C_MAJOR.replace("<fifths>0", "<fifths>-3"), held, later.format(4), tied, note("E", 4))
    result = moved(before, 4)
    text = result.document.decode()
    assert "<fifths>1</fifths>" in text
    assert "<fifths>-4</fifths>" in text
    assert "<step>B</step><alter>1</alter><octave>4</octave>" in text
    # The tied note is C now, which is natural in A flat and needs no sign; the last one is A flat.
    assert "<step>C</step><octave>5</octave>" in text
    assert "<step>A</step><alter>-1</alter><octave>4</octave>" in text
    assert "accidental" not in text
    assert result.remarks == (REMARKS["turned"],)


def test_a_note_tied_into_another_spelling_gets_the_sign_it_needs() -> None:
    later = "<attributes><key><fifths>{}</fifths></key></attributes>"
    held = note("A", 4).replace("</duration>", '</duration><tie type="start"/>')
    tied = note("A", 4).replace("</duration>", '</duration><tie type="stop"/>')
    before = page(C_MAJOR.replace("<fifths>0", "<fifths>-3"), held, later.format(4), tied)
    # A natural in E major is the fourth, and so is D flat in A flat major.
    assert "<accidental>" not in after(before, 4)
    held, tied = (text.replace("<step>A</step>", "<step>A</step><alter>1</alter>") for text in (held, tied))
    before = page(C_MAJOR.replace("<fifths>0", "<fifths>-3"), held, later.format(4), tied)
    assert after(before, 4).count("<accidental>natural</accidental>") == 1  # D natural in A flat major


def test_percussion_and_tablature_stay() -> None:
    clef = C_MAJOR.replace("</key>", "</key><clef><sign>{}</sign></clef>")
    unpitched = "<note><unpitched/><duration>1</duration></note>"
    for music in (
        (clef.format("TAB"), note("E", 3)),
        (clef.format("percussion"), note("C", 4)),
        (clef.format("percussion"), unpitched),
    ):
        result = moved(page(*music), 2)
        assert result.notes == 0
        assert text_of(result, page(*music)) == page(*music)
    assert moved(page(clef.format("TAB"), note("E", 3)), 2).remarks == (REMARKS["unmoved"],)


def test_a_transposing_part_moves_as_written() -> None:
    """A clarinet in B flat written in D, up a semitone: E flat, where the sounding keys are C and D flat."""
    attributes = (
        "<attributes><divisions>1</divisions><key><fifths>{}</fifths></key>"
        "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes>"
    )
    before = page(attributes.format(2), note("F", 4, "1"))
    assert after(before, 1) == page(attributes.format(-3), note("G", 4))


def test_notes_beyond_what_musicxml_can_write_are_refused() -> None:
    with pytest.raises(OptionError) as caught:
        moved(page(C_MAJOR, note("C", 9)), 12)
    assert caught.value.sentence == (
        "a move by +12 semitones takes notes of part P1 out of the octaves 0 to 9; transpose by less."
    )


def test_marks_of_an_earlier_plan_go() -> None:
    path = TESTS.parent / "corpus" / "the-mill-turns.musicxml"
    score = score_from_tree(read_tree(open_score(path)), path.stem)
    marked = marked_document(vet(score, find_harp("34"), players_first()))
    result = transposed(parse_score_tree(marked), move_of(score, [0], 2))
    assert REMARKS["marks"] in result.remarks
    plain = transposed(score.tree, move_of(score, [0], 2))
    assert canonical(result.tree) == canonical(plain.tree)


def players_first() -> Any:
    from harpkeys.harp.players import DEFAULT_PLAYER

    return DEFAULT_PLAYER


@cache
def tree_of(path: Path) -> Any:
    return read_tree(open_score(path))


@pytest.mark.parametrize("path", WITH_KEYS, ids=lambda path: path.stem)
@pytest.mark.parametrize("semitones", [-12, -5, 1, 3])
def test_there_and_back_is_the_same_document(path: Path, semitones: int) -> None:
    tree = tree_of(path)
    score = score_from_tree(tree, "")
    move = move_of(score, [0], semitones)
    there = transposed(tree, move)
    before = canonical(tree)
    if {REMARKS["turned"], REMARKS["key"], REMARKS["sign"]} & set(there.remarks):
        pytest.skip("the way there respells or adds")
    back = transposed(there.tree, Move(-move.semitones, -move.letters))
    assert canonical(back.tree) == before


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_nothing_else_is_touched_and_valid_stays_valid(path: Path) -> None:
    tree = tree_of(path)
    score = score_from_tree(tree, "")
    before = canonical(tree)
    for semitones in (-3, 6):
        result = transposed(tree, move_of(score, [0], semitones))
        if REMARKS["key"] not in result.remarks:
            assert still(result.tree) == still(tree)
        if not schema_errors(tree):
            assert schema_errors(result.tree) == []
    assert canonical(tree) == before


KEYLESS_AND_TRANSPOSING = "transpose-without-diatonic"
"""A transposing part without a signature gets one for its written notes; a harp's part is never such."""


@pytest.mark.parametrize("path", SCORES, ids=lambda path: path.stem)
def test_what_is_played_is_what_the_moved_plucks_say(path: Path) -> None:
    tree = tree_of(path)
    score = score_from_tree(tree, "")
    try:
        parts = choose_part(score, None)
    except Exception:
        parts = (0,)
    if score.parts[parts[0]].id == "" or not any(n.pitch for n in score.parts[parts[0]].notes):
        pytest.skip("nothing to play")
    name = score.parts[parts[0]].id
    here = perform_part(score, name)
    for semitones in (-11, -4, 2, 6):
        move = move_of(score, here.parts, semitones)
        there = perform_part(score_from_tree(transposed(tree, move).tree, ""), name)
        assert without_nodes(there) == [replace(pluck, note=None) for pluck in moved_plucks(here, move)]
        if path.stem == KEYLESS_AND_TRANSPOSING:
            continue
        keys = find_signatures(played_part(there), find_harp("34"))
        assert (keys[0].key.alters if keys else None) == moved_first_key(here, move)


def without_nodes(performance: Performance) -> list[Any]:
    return [replace(pluck, note=None) for pluck in performance.plucks]

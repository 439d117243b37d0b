"""Reading what is invalid, hostile or merely odd: survived with a remark, or one clear sentence.

These documents are not in `data/` because the MusicXML schema rightly rejects most of them.
"""

from __future__ import annotations

import dataclasses
import gc
from pathlib import Path

import pytest
from lxml import etree
from told import told_score

from harpkeys.errors import ScoreError
from harpkeys.score import reader, reader_walk
from harpkeys.score.container import parse_score_tree
from harpkeys.score.model import Note, Score
from harpkeys.score.reader import read_score, score_from_tree
from harpkeys.score.reader_note import NoteInMaking

LIST = '<part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>'
FOUR = "<time><beats>4</beats><beat-type>4</beat-type></time>"


def attributes(divisions: str = "1") -> str:
    """Attributes with these divisions, in 4/4."""
    return f"<attributes><divisions>{divisions}</divisions>{FOUR}</attributes>"


def note(duration: str = "4", pitch: str = "<step>C</step><octave>4</octave>", more: str = "") -> str:
    """A note."""
    return f"<note><pitch>{pitch}</pitch><duration>{duration}</duration>{more}</note>"


def document(*measures: str, head: str = "") -> str:
    """A score of one part with these bars, numbered from 1."""
    bars = "".join(f'<measure number="{n}">{body}</measure>' for n, body in enumerate(measures, 1))
    return f'<score-partwise version="4.0">{head}{LIST}<part id="P1">{bars}</part></score-partwise>'


def read(text: str) -> Score:
    """The score of a document."""
    return score_from_tree(parse_score_tree(text.encode()), "untitled")


def notes(text: str) -> list[str]:
    """The notes of its first part, told."""
    return told_score(read(text))["notes"]["P1"]


def sentence(text: str) -> str:
    """The sentence that reading ends in."""
    with pytest.raises(ScoreError) as caught:
        read(text)
    return str(caught.value)


@pytest.mark.parametrize("divisions", ["0", "-4", "x", "", "1e9", "99999999999999999999", "1/2", "NaN"])
def test_divisions_that_are_no_positive_number(divisions: str) -> None:
    assert sentence(document(attributes() + note(), attributes(divisions) + note())) == (
        f"part P1, measure 2: the divisions {divisions!r} are not a positive number; export the score again."
    )


def test_divisions_without_a_bearable_common_measure() -> None:
    primes = ("999983", "999979", "999961")
    bars = [attributes(prime) + note() for prime in primes]
    assert sentence(document(*bars)) == (
        "the divisions of its parts have no bearable common measure; export the score again."
    )


@pytest.mark.parametrize("duration", ["-1", "abc", "1e5", "1,5", "4 4", "0x10", "Infinity"])
def test_durations_that_are_no_number(duration: str) -> None:
    assert sentence(document(attributes() + note(), note(duration))) == (
        f"part P1, measure 2: the duration {duration!r} is not a number of divisions; mend it in the file."
    )


def test_durations_beyond_any_score() -> None:
    assert sentence(document(attributes() + note("1000001"))) == (
        "part P1, measure 1: the duration '1000001' is longer than any score; mend it in the file."
    )


def test_durations_without_a_bearable_common_measure() -> None:
    assert sentence(document(attributes("7") + note("0.000000000000001"))) == (
        "part P1, measure 1: the divisions of its parts have no bearable common measure; "
        "export the score again."
    )


def test_a_file_is_named_in_front(tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    path.write_text(document(attributes("0") + note()), "utf-8")
    with pytest.raises(ScoreError) as caught:
        read_score(path)
    assert str(caught.value) == (
        f"{path}, part P1, measure 1: the divisions '0' are not a positive number; export the score again."
    )


@pytest.mark.parametrize(
    "text",
    [
        f'<score-partwise version="4.0">{LIST}</score-partwise>',
        f'<score-partwise version="4.0">{LIST}<part id="P1"/></score-partwise>',
        f'<score-timewise version="4.0">{LIST}</score-timewise>',
        "<score-partwise/>",
    ],
)
def test_a_score_without_measures(text: str) -> None:
    assert sentence(text) == "the score has no measures; export it again."


def test_too_many_bars(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_walk, "MAX_MEASURES", 3)
    assert len(read(document(*[""] * 3)).measures) == 3
    assert sentence(document(*[""] * 4)) == (
        "part P1, measure 3: the score has more than 3 bars; split it into parts."
    )


def test_too_many_notes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader_walk, "MAX_NOTES", 3)
    assert len(notes(document(attributes() + note() * 3))) == 3
    assert sentence(document(attributes() + note() * 4)).endswith(
        "the score has more than 3 notes; split it into parts."
    )


def test_too_many_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader, "MAX_PARTS", 1)
    text = document(note()).replace("</score-partwise>", '<part id="P2"/></score-partwise>')
    assert sentence(text) == "the score has more than 1 parts; split it."


@pytest.mark.parametrize(
    "pitch",
    [
        "<step>H</step><octave>4</octave>",
        "<step/><octave>4</octave>",
        "<step>C</step>",
        "<step>C</step><octave>four</octave>",
        "<step>C</step><octave>400</octave>",
        "<step>C</step><alter>sharp</alter><octave>4</octave>",
        "<step>C</step><alter>99</alter><octave>4</octave>",
        "<step>CD</step><octave>4</octave>",
    ],
)
def test_unreadable_pitches_are_left_out_with_a_remark(pitch: str) -> None:
    told = told_score(read(document(attributes() + note("2", pitch) + note("2"))))
    assert told["notes"]["P1"] == ["1 0 2 unpitched", "1 2 2 C4"]
    assert told["remarks"] == ["A note's pitch cannot be read; the note is left out."]


def test_white_space_and_case_in_pitches_are_survived() -> None:
    pitch = "<step> c\n</step><alter> 1 </alter><octave>\t4 </octave>"
    assert notes(document(attributes(" 2 ") + note(" 4\n", pitch))) == ["1 0 2 C#4"]


def test_missing_durations_are_those_of_the_printed_note() -> None:
    def printed(kind: str, more: str = "") -> str:
        return f"<note><pitch><step>C</step><octave>4</octave></pitch><type>{kind}</type>{more}</note>"

    triplet = (
        "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    )
    text = document(
        attributes()
        + printed("half")
        + printed("quarter", "<dot/>")
        + printed("eighth", triplet)
        + printed("?")
    )
    told = told_score(read(text))
    assert told["notes"]["P1"] == ["1 0 2 C4", "1 2 3/2 C4", "1 7/2 1/3 C4", "1 23/6 0 C4"]
    assert told["remarks"] == ["4 notes have no duration: their printed values count."]


def test_a_backup_past_the_start_of_the_bar_stops_there() -> None:
    told = told_score(
        read(document(attributes() + note("1") + "<backup><duration>3</duration></backup>" + note()))
    )
    assert told["notes"]["P1"] == ["1 0 1 C4", "1 0 4 C4"]
    assert told["remarks"] == ["A backup goes back past the start of its bar; it stops there."]


def test_notes_outside_every_bar_are_left_out() -> None:
    text = document(attributes() + note()).replace('<part id="P1">', f'<part id="P1">{attributes()}{note()}')
    told = told_score(read(text))
    assert told["notes"]["P1"] == ["1 0 4 C4"]
    assert told["remarks"] == ["A note stands outside every bar; it is left out."]


def test_a_chord_note_without_a_note_before() -> None:
    assert notes(document(attributes() + note("2", more="").replace("<note>", "<note><chord/>"))) == [
        "1 0 2 C4 chord"
    ]


@pytest.mark.parametrize("staff", ["0", "-1", "x", "", "1000"])
def test_odd_staff_numbers_are_the_first_staff(staff: str) -> None:
    assert notes(document(attributes() + note(more=f"<staff>{staff}</staff>"))) == ["1 0 4 C4"]


def test_a_part_that_the_part_list_does_not_know() -> None:
    text = document(attributes() + note()).replace(LIST, "")
    assert told_score(read(text))["parts"] == ["P1  staves=1"]


def test_a_part_without_id_and_equal_ids() -> None:
    text = document(attributes() + note())
    text = text.replace(
        "</score-partwise>", '<part id="P1"><measure/></part><part><measure/></part></score-partwise>'
    )
    score = read(text)
    assert [part.id for part in score.parts] == ["P1", "P1", ""]
    assert [len(part.notes) for part in score.parts] == [1, 0, 0]


@pytest.mark.parametrize("root", ["partwise", "timewise"])
@pytest.mark.parametrize("form", ["default", "prefix"])
def test_namespaces_are_survived(root: str, form: str) -> None:
    inner = attributes("2") + note("8", more="<tie type='start'/>")
    if root == "partwise":
        body = f'<part id="P1"><measure number="7">{inner}</measure></part>'
    else:
        body = f'<measure number="7"><part id="P1">{inner}</part></measure>'
    text = f"<score-{root}><movement-title>Song</movement-title>{LIST}{body}</score-{root}>"
    if form == "default":
        text = text.replace(f"<score-{root}>", f'<score-{root} xmlns="urn:music">', 1)
    else:
        text = text.replace("</", "</m:").replace("<", "<m:").replace("<m:/m:", "</m:")
        text = text.replace(f"<m:score-{root}>", f'<m:score-{root} xmlns:m="urn:music">', 1)
    told = told_score(read(text))
    assert told["notes"] == {"P1": ["1 0 4 C4 tie>"]}
    assert told["measures"] == ["7 4 4/4"]
    assert (told["title"], told["parts"]) == ("Song", ["P1 Harp staves=1"])


def test_entities_that_the_document_defines_are_read_without_expanding_the_tree() -> None:
    subset = '<!DOCTYPE score-partwise [<!ENTITY oct "5"><!ENTITY len "2"><!ENTITY nest "&len;">]>'
    text = subset + document(
        attributes() + note("&len;", "<step>C</step><octave>&oct;</octave>") + note("2"),
        head="<movement-title>&oct;</movement-title>",
    )
    score = read(text)
    assert told_score(score)["notes"]["P1"] == ["1 0 2 C5", "1 2 2 C4"]
    assert b"&oct;" in etree.tostring(score.tree)


def test_an_entity_bomb_in_texts_stays_small() -> None:
    subset = '<!ENTITY a0 "0123456789">' + "".join(
        f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 4)
    )
    text = f"<!DOCTYPE score-partwise [{subset}]>" + document(
        attributes() + note("4", "<step>C</step><octave>&a3;</octave>")
    )
    score = read(text)
    assert score.parts[0].notes[0].pitch is None


def test_places_of_directions_stay_within_the_bar() -> None:
    sound = (
        "<direction><direction-type><words>x</words></direction-type><offset>{}</offset>"
        '<sound tempo="60"/></direction>'
    )
    text = document(attributes() + sound.format(99) + note() + sound.format(-99))
    assert told_score(read(text))["tempos"] == ["1 4 60 sound", "1 0 60 sound"]


@pytest.mark.parametrize("number", ["1-3", "1, 2, 3", "1,2,3", "1.2.3.", "1. - 3.", "1–3"])
def test_ending_numbers(number: str) -> None:
    text = document(f'<barline location="left"><ending number="{number}" type="start"/></barline>{note()}')
    assert read(text).measures[0].ending == (1, 2, 3)


@pytest.mark.parametrize("number", ["x", "", "0", "-", "99999", "3-1"])
def test_unreadable_ending_numbers(number: str) -> None:
    text = document(f'<barline location="left"><ending number="{number}" type="start"/></barline>{note()}')
    assert read(text).measures[0].ending == (1,)


def test_hostile_numbers_of_repeats_and_endings_are_bounded() -> None:
    text = document(
        f'{note()}<barline><ending number="1-99" type="stop"/>'
        '<repeat direction="backward" times="999999999"/></barline>'
    )
    assert read(text).measures[0].closes == 99
    assert read(text).measures[0].ending == tuple(range(1, 100))


def test_unreadable_keys_and_times_are_left_out() -> None:
    text = document(
        "<attributes><divisions>1</divisions><key><fifths>x</fifths></key><key><fifths>99</fifths></key>"
        "<time><beats>4</beats><beat-type>0</beat-type></time></attributes>" + note()
    )
    told = told_score(read(text))
    assert told["keys"]["P1"] == []
    assert told["measures"] == ["1 4 -"]
    assert told["remarks"] == [
        "2 key signatures cannot be read and are ignored.",
        "A time signature cannot be read and is ignored.",
    ]


def test_a_note_made_quickly_is_the_note_that_the_class_makes() -> None:
    values = (1, 2, 3, None, 2, "5", False, True, False, True, False, True, False, "sharp", None, "node")
    made = NoteInMaking(*values)  # type: ignore[arg-type]
    made.__class__ = Note  # type: ignore[assignment]
    plain = Note(*values)  # type: ignore[arg-type]
    assert type(made) is Note
    assert made == plain
    assert hash(made) == hash(plain)
    assert repr(made) == repr(plain)
    assert [getattr(made, field.name) for field in dataclasses.fields(Note)] == list(values)
    assert dataclasses.replace(made, measure=9) == dataclasses.replace(plain, measure=9)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.measure = 2


def test_garbage_collection_is_left_as_it_was() -> None:
    text = document(attributes() + note())
    assert gc.isenabled()
    read(text)
    assert gc.isenabled()
    with pytest.raises(ScoreError):
        read(document(attributes("0")))
    assert gc.isenabled()
    gc.disable()
    try:
        read(text)
        assert not gc.isenabled()
    finally:
        gc.enable()


def test_reading_twice_gives_equal_scores() -> None:
    text = document(attributes("3") + note("5") + note("7"))
    assert read(text) == read(text)

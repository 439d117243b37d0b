"""Where marks go in the file: odd roots, encodings, joined parts, empty bars; and marks that others rewrote.

References: MusicXML 4.0 (order in a bar, timewise scores), W3C Canonical XML.
"""

from __future__ import annotations

import random
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import page_replay
import pytest
from lxml import etree
from marked_pages import given_up, rig_of
from music21_notes import package_folder, package_scores
from schema import schema_errors

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.clear import clear_marks
from harpkeys.mark.document import cleared_document, marked_document, marked_tree, serialised
from harpkeys.mark.files import packed_like
from harpkeys.mark.style import MarkStyle
from harpkeys.mark.words import LABELS
from harpkeys.report.model import Report
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.container import open_score, parse_score_tree
from harpkeys.score.reader import read_score, score_from_tree

NAMESPACE = "http://example.org/musicxml"
HEAD = '<part-list><score-part id="P1"><part-name>Härp</part-name></score-part></part-list>'
TWO = (
    '<part-list><score-part id="P1"><part-name>Upper</part-name></score-part>'
    '<score-part id="P2"><part-name>Lower</part-name></score-part></part-list>'
)


def note(name: str, length: int, *extra: str, chord: bool = False) -> str:
    """A note by letter, sign and octave; "r" for a rest."""
    if name == "r":
        return f"<note><rest/><duration>{length}</duration></note>"
    alter = f"<alter>{name.count('#') - name.count('b')}</alter>" if len(name) > 2 else ""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave>"
        f"</pitch><duration>{length}</duration>{''.join(extra)}</note>"
    )


def start(divisions: int = 1, staves: int = 1) -> str:
    """Attributes of a first bar, and a slow tempo."""
    many = f"<staves>{staves}</staves>" if staves > 1 else ""
    return (
        f"<attributes><divisions>{divisions}</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        f'{many}</attributes><sound tempo="40"/>'
    )


def partwise(*parts: list[str], head: str = HEAD) -> str:
    """A score of parts, each the insides of its bars."""
    body = ""
    for number, bars in enumerate(parts, 1):
        inside = "".join(f'<measure number="{k}">{bar}</measure>' for k, bar in enumerate(bars, 1))
        body += f'<part id="P{number}">{inside}</part>'
    return f'<score-partwise version="4.0">{head}{body}</score-partwise>'


def timewise(*parts: list[str], head: str = HEAD) -> str:
    """The same bar by bar."""
    body = ""
    for k in range(len(parts[0])):
        inside = "".join(f'<part id="P{number}">{bars[k]}</part>' for number, bars in enumerate(parts, 1))
        body += f'<measure number="{k + 1}">{inside}</measure>'
    return f'<score-timewise version="4.0">{head}{body}</score-timewise>'


BARS = [start() + note("G5", 4), note("A5", 2) + note("r", 2), note("G#5", 4), note("A5", 4), note("G5", 4)]
"""The G string goes up and down again; on a harp in C nothing else plays G sharp."""


REPEATED = (
    '<attributes><measure-style><measure-repeat type="start">1</measure-repeat></measure-style></attributes>'
    "<forward><duration>{length}</duration></forward>"
)
STOP = '<attributes><measure-style><measure-repeat type="stop"/></measure-style></attributes>'
"""A bar that is printed as a repeat of the one before, and the sign that ends it."""


def report_of(document: str | bytes, part: str | None = None) -> Report:
    """Vet a document on a harp in C."""
    data = document.encode() if isinstance(document, str) else document
    score = score_from_tree(parse_score_tree(data), "test")
    return vet(score, find_harp("34"), DEFAULT_PLAYER, Wishes(part=part, effort=0))


def canonical(tree: Any) -> bytes:
    """W3C Canonical XML, comments included, in which entities stand for their texts."""
    parser = etree.XMLParser(resolve_entities=True, no_network=True)
    resolved = etree.fromstring(etree.tostring(tree), parser).getroottree()
    return etree.tostring(resolved, method="c14n", with_comments=True)


def own_words(root: Any) -> list[Any]:
    """The words of marks."""
    marks = [words for words in root.iter("{*}words") if any(sign in words.text for sign in "↑↓")]
    return [words for words in root.iter("{*}words") if "Levers up" in words.text] + marks


def brought_back(report: Report, document: bytes) -> bool:
    """Whether clearing gives back what was read."""
    cleared, _ = cleared_document(parse_score_tree(document))
    return canonical(parse_score_tree(cleared)) == canonical(report.performance.score.tree)


@pytest.mark.parametrize("form", [partwise, timewise])
def test_both_roots(form: Any) -> None:
    report = report_of(form(BARS))
    document = marked_document(report)
    tree = parse_score_tree(document)
    assert schema_errors(tree) == []
    assert [words.text for words in own_words(tree.getroot())] == [
        "Tuning C. Levers up: none.",
        "G♯5 ↑",
        "G♮5 ↓",
    ]
    for words in own_words(tree.getroot()):
        following = words.getparent().getparent().getnext()
        assert following.tag == "note"
        assert following.find("chord") is None
    assert brought_back(report, document)


def test_a_namespace() -> None:
    text = partwise(BARS).replace("<score-partwise ", f'<score-partwise xmlns="{NAMESPACE}" ')
    report = report_of(text)
    document = marked_document(report)
    root = parse_score_tree(document).getroot()
    assert len(own_words(root)) == 3
    assert {words.tag for words in own_words(root)} == {f"{{{NAMESPACE}}}words"}
    assert b"ns0:" not in document
    assert brought_back(report, document)


ENCODINGS = {
    "UTF-8": "utf-8",
    "UTF-16": "utf-16",
    "ISO-8859-1": "iso-8859-1",
    "US-ASCII": "ascii",
}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_everything_around_the_root_and_the_encoding_stay(encoding: str, tmp_path: Path) -> None:
    text = (
        f'<?xml version="1.0" encoding="{encoding}" standalone="no"?>\n<?before root?>\n'
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd" [<!ENTITY who "somebody">]>\n<!-- a comment -->\n'
        + partwise(BARS)
        .replace("Härp", "H&#228;rp of &who;")
        .replace("<note>", "<!-- note --><?pi x?><note>", 1)
        + "\n<!-- after -->"
    )
    source = tmp_path / "score.musicxml"
    source.write_bytes(text.encode(ENCODINGS[encoding]))
    report = vet(read_score(source), find_harp("34"), DEFAULT_PLAYER)
    document = marked_document(report)
    before, after = report.performance.score.tree, parse_score_tree(document)
    assert after.docinfo.encoding == before.docinfo.encoding
    assert after.docinfo.doctype == before.docinfo.doctype
    assert after.docinfo.standalone is False
    assert b"who" in document.replace(b"\x00", b"")
    assert [words.text for words in own_words(after.getroot())][1:] == ["G♯5 ↑", "G♮5 ↓"]
    assert brought_back(report, document)


def test_line_ends_stay(tmp_path: Path) -> None:
    text = partwise(BARS).replace("><", ">\r\n<") + "\r\n"
    source = tmp_path / "score.musicxml"
    source.write_bytes(text.encode())
    opened = open_score(source)
    report = vet(read_score(source), find_harp("34"), DEFAULT_PLAYER)
    packed = packed_like(opened, marked_document(report), tmp_path / "marked.musicxml")
    assert packed.count(b"\n") == packed.count(b"\r\n") > text.count("\r\n")
    assert packed.endswith(b"</score-partwise>\r\n")


def test_marks_never_part_a_chord() -> None:
    chords = [note("C4", 4) + note("E4", 4, chord=True) + note(name, 4, chord=True) for name in ("G4", "G#4")]
    report = report_of(partwise([start() + chords[0], chords[1]]))
    root = parse_score_tree(marked_document(report)).getroot()
    assert [words.text for words in own_words(root)] == ["Tuning C. Levers up: none.", "G♯4 ↑"]
    for words in own_words(root):
        assert words.getparent().getparent().getnext().find("chord") is None


# Joined parts and empty bars.


def test_a_place_that_only_the_other_part_has_is_reached_by_steps() -> None:
    """The G string is played in the upper part; the lower part, which gets the cue, has nothing there."""
    upper = [start(2) + note("r", 4) + note("G4", 4), note("G#4", 8)]
    lower = [start(3) + note("C3", 12), note("C3", 12)]
    report = report_of(partwise(upper, lower, head=TWO), "P1+P2")
    document = marked_document(report)
    tree = parse_score_tree(document)
    assert schema_errors(tree) == []
    bar = tree.find("part[@id='P2']/measure")
    assert [child.tag for child in bar][-3:] == ["backup", "direction", "forward"]
    assert [step.findtext("duration") for step in (bar[-3], bar[-1])] == ["6", "6"]
    assert brought_back(report, document)
    again = report_of(document, "P1+P2")
    assert again.plan.flips == report.plan.flips
    assert canonical(parse_score_tree(marked_document(again))) == canonical(tree)


def test_where_steps_would_be_no_whole_divisions_the_other_part_bears_the_cue() -> None:
    """The place is two thirds of a quarter into the bar, the lower part counts in quarters."""
    upper = [start(3) + note("r", 2) + note("G4", 10), note("G#4", 12)]
    lower = [start(1) + note("C3", 4), note("C3", 4)]
    report = report_of(partwise(upper, lower, head=TWO), "P1+P2")
    document = marked_document(report)
    cue = own_words(parse_score_tree(document).getroot())[1].getparent().getparent()
    assert cue.get("placement") == "below"
    assert cue.getparent().getparent().get("id") == "P1"
    assert cue.getnext().findtext("pitch/step") == "G"
    assert brought_back(report, document)


def test_a_bar_under_a_repeat_sign() -> None:
    """Bar 2 is played like bar 1 but has nothing printed; the cue in it stands there all the same."""
    bars = [start() + note("G4", 4), REPEATED.format(length=4), STOP + note("G#4", 4)]
    report = report_of(partwise(bars))
    document = marked_document(report)
    bar = parse_score_tree(document).findall("part/measure")[1]
    assert [child.tag for child in bar] == ["attributes", "forward", "backup", "direction", "forward"]
    assert brought_back(report, document)


def test_a_place_that_no_part_bears_is_told_by_an_offset(tmp_path: Path) -> None:
    """Bar 2 of the upper part is printed as a repeat of bar 1, whose second note stands at two thirds of a
    quarter; the lower part counts in quarters. music21 (10.x) finds the cue at that place all the same."""
    upper = [start(3) + note("r", 2) + note("G4", 10), REPEATED.format(length=12), STOP + note("G#4", 12)]
    lower = [start(1) + note("C3", 4), note("C3", 4), note("C3", 4)]
    report = report_of(partwise(upper, lower, head=TWO), "P1+P2")
    document = marked_document(report)
    tree = parse_score_tree(document)
    assert schema_errors(tree) == []
    bar = tree.findall("part[@id='P1']/measure")[1]
    assert [child.tag for child in bar] == ["attributes", "forward", "direction"]
    assert float(bar[-1].findtext("offset")) == -10  # thirds of a quarter from the end of four quarters
    target = tmp_path / "marked.musicxml"
    target.write_bytes(document)
    said = [(k, word) for k, bar in enumerate(page_replay.read_page(target, 0, 1)) for word in bar.words]
    assert [(k, word.onset, word.text) for k, word in said if "↑" in word.text] == [
        (1, Fraction(2, 3), "G♯4 ↑")
    ]
    assert brought_back(report, document)


def test_an_offset_stands_before_the_staff() -> None:
    """Bar 2 repeats bar 1 and changes to counting in quarters, in which its second note has no place; the cue
    is on the lower of two staves, and MusicXML 4.0 wants the offset first."""
    upper, lower = "<voice>1</voice><staff>1</staff>", "<voice>2</voice><staff>2</staff>"
    back = "<backup><duration>{}</duration></backup>".format
    change = "<attributes><divisions>1</divisions></attributes>"
    report = report_of(
        partwise(
            [
                start(3, 2) + note("r", 2, upper) + note("G4", 10, upper) + back(12) + note("r", 12, lower),
                change + REPEATED.format(length=4),
                STOP + note("G#4", 4, upper) + back(4) + note("C3", 4, lower),
            ]
        )
    )
    document = marked_document(report)
    tree = parse_score_tree(document)
    assert schema_errors(tree) == []
    cue = own_words(tree.getroot())[1].getparent().getparent()
    assert [child.tag for child in cue] == ["direction-type", "offset", "staff"]
    assert brought_back(report, document)


def test_the_setting_stands_where_there_are_bars() -> None:
    """The upper of two joined parts, where its words would be, has none; without them no mark is cleared."""
    lower = [start() + note("G4", 4), note("A4", 4), note("G#4", 4)]
    report = report_of(partwise([], lower, head=TWO), "P1+P2")
    document = marked_document(report)
    words = [words.text for words in own_words(parse_score_tree(document).getroot())]
    assert words == ["Tuning C. Levers up: none.", "G♯4 ↑"]
    assert brought_back(report, document)


@pytest.mark.slow
def test_joined_parts_sound_as_planned(tmp_path: Path) -> None:
    """Two voices of chorales and madrigals as a harp's right and left hand, read back from the page."""
    names = [name for name in package_scores() if name.startswith("corpus/")]
    names = [name for name in names if (package_folder() / name).stat().st_size < 20_000]
    flips = steps = files = 0
    for name in random.Random(4).sample(names, 40):
        score = read_score(package_folder() / name)
        single = [part.id for part in score.parts if part.staves == 1]
        if len(single) < 2 or len(set(single)) < len(single):
            continue
        wishes = Wishes(part=f"{single[0]}+{single[-1]}", effort=0)
        report = vet(score, find_harp("34 in E-flat"), DEFAULT_PLAYER, wishes)
        style = MarkStyle(LABELS[files % len(LABELS)])
        tree = marked_tree(report.performance, report.plan, style)
        target = tmp_path / "marked.musicxml"
        target.write_bytes(serialised(tree))
        bars = page_replay.read_page(target, *report.performance.parts)
        order = [visit.measure for visit in report.performance.timeline.visits]
        missed, _ = page_replay.replay(bars, order, rig_of(report.plan.harp))
        found = Counter((miss.bar, miss.number, miss.onset, miss.midi) for miss in missed)
        assert found - given_up(report) == Counter(), name
        assert brought_back(report, serialised(tree)), name
        files += 1
        flips += len(report.plan.flips)
        cues = [words.getparent().getparent() for words in own_words(tree.getroot())[1:]]
        steps += sum(cue.getprevious() is not None and cue.getprevious().tag == "backup" for cue in cues)
    assert files > 15
    assert flips > 100
    assert steps > 10


# Marks that another program rewrote.


def rewritten(document: bytes) -> Any:
    """A marked tree as a program leaves it that keeps words and places but no attributes."""
    tree = parse_score_tree(document)
    for words in own_words(tree.getroot()):
        words.attrib.clear()
        words.set("default-y", "12.5")
    return tree


def test_marks_that_lost_their_attributes_are_replaced_all_the_same() -> None:
    report = report_of(partwise(BARS))
    document = marked_document(report)
    again = report_of(etree.tostring(rewritten(document)))
    assert canonical(parse_score_tree(marked_document(again))) == canonical(parse_score_tree(document))
    tree = rewritten(document)
    assert clear_marks(tree.getroot()) == 3
    assert canonical(tree) == canonical(report.performance.score.tree)


def test_words_of_the_same_form_stay_in_a_score_that_is_not_marked() -> None:
    """Somebody's own boxed "F♯4 ↑" is no mark of ours: nothing says that the file is marked."""
    theirs = (
        '<direction placement="above"><direction-type><words enclosure="rectangle" font-style="normal">F♯4 ↑'
        "</words></direction-type></direction>"
    )
    tree = parse_score_tree(partwise([start() + theirs + note("G5", 4)]).encode())
    before = canonical(tree)
    assert clear_marks(tree.getroot()) == 0
    assert canonical(tree) == before


def test_another_part_keeps_its_marks() -> None:
    """Two harps in one score are marked one after the other."""
    document = marked_document(report_of(partwise(BARS, BARS, head=TWO), "P1"))
    both = marked_document(report_of(document, "P2"))
    root = parse_score_tree(both).getroot()
    assert [len(own_words(part)) for part in root.findall("part")] == [3, 3]
    first_again = marked_document(report_of(both, "P1"))
    assert canonical(parse_score_tree(first_again)) == canonical(parse_score_tree(both))
    assert clear_marks(root) == 6

"""Marks where no note stands: the divisions in force, an offset as the last resort; text that is not ours.

Reference: MusicXML 4.0, `divisions` (they hold until they change), `offset` (in divisions).
"""

from __future__ import annotations

from test_insert import TWO, note, own_words, partwise, report_of, start

from harpkeys.mark.clear import clear_marks
from harpkeys.mark.document import marked_document
from harpkeys.score.container import parse_score_tree


def test_steps_count_in_the_divisions_of_the_bar_before() -> None:
    """Divisions change in bar 2 and hold in bar 3, where the cue is: two quarters are four of them."""
    upper = [start(2) + note("r", 8), note("r", 8), note("r", 4) + note("G4", 4), note("G#4", 8)]
    change = "<attributes><divisions>2</divisions></attributes>"
    lower = [start(3) + note("C3", 12), change + note("C3", 8), note("C3", 8), note("C3", 8)]
    report = report_of(partwise(upper, lower, head=TWO), "P1+P2")
    bar = parse_score_tree(marked_document(report)).findall("part[@id='P2']/measure")[2]
    assert [child.tag for child in bar] == ["note", "backup", "direction", "forward"]
    assert [bar[1].findtext("duration"), bar[3].findtext("duration")] == ["4", "4"]


def test_an_offset_is_the_last_resort() -> None:
    """Bar 2 repeats bar 1 by sign and counts in quarters, so that two thirds of one cannot be stepped to."""
    sign = (
        "<attributes><divisions>1</divisions><measure-style><measure-repeat type='start'>1</measure-repeat>"
        "</measure-style></attributes><forward><duration>4</duration></forward>"
    )
    stop = "<attributes><measure-style><measure-repeat type='stop'/></measure-style></attributes>"
    first = start(3) + note("r", 2) + note("G4", 10)
    report = report_of(partwise([first, sign, stop + note("G#4", 4)]))
    document = marked_document(report)
    bar = parse_score_tree(document).findall("part/measure")[1]
    assert [child.tag for child in bar] == ["attributes", "forward", "direction"]
    assert bar[-1].findtext("offset") == "-3.333333"  # two thirds less four quarters
    assert report_of(document).plan.criteria == report.plan.criteria


def test_text_behind_a_mark_stays() -> None:
    tree = parse_score_tree(marked_document(report_of(partwise([start() + note("G4", 4), note("G#4", 4)]))))
    cue = own_words(tree.getroot())[1].getparent().getparent()
    cue.tail = "stray"
    assert clear_marks(tree.getroot()) == 2
    assert [text for text in tree.getroot().itertext() if "stray" in text] == ["stray"]


def test_text_behind_a_mark_that_is_first_in_its_bar_stays() -> None:
    tree = parse_score_tree(marked_document(report_of(partwise([start() + note("G4", 4), note("G#4", 4)]))))
    cue = own_words(tree.getroot())[1].getparent().getparent()
    bar = cue.getparent()
    bar.insert(0, cue)
    bar.text, cue.tail = "before ", "behind"
    assert clear_marks(tree.getroot()) == 2
    assert bar.text == "before behind"


def test_marks_stand_on_lines_of_their_own_where_notes_do() -> None:
    bars = [start() + note("G4", 4), note("G#4", 4)]
    lines = partwise([bar.replace("<note>", "\n      <note>") + "\n    " for bar in bars])
    tree = parse_score_tree(marked_document(report_of(lines)))
    for words in own_words(tree.getroot()):
        mark = words.getparent().getparent()
        assert mark.tail == "\n      "
        assert mark.getprevious().tail == "\n      "
    flat = parse_score_tree(marked_document(report_of(partwise(bars))))
    assert all(words.getparent().getparent().tail is None for words in own_words(flat.getroot()))

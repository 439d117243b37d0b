"""Notes played on strings of other letters: what the setting says, what stands at notes, how long it holds.

On a harp in C, B flat can only be A raised, and F sharp only F raised (G is never lowered).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import page_replay
import pytest
from lxml import etree
from marked_pages import SCORES, given_up, report_on, rig_of
from score.builders import QUARTER, bars, note, part, score, tempo

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.document import marked_tree, serialised
from harpkeys.mark.neighbours import moved_notes, neighbours_of
from harpkeys.mark.style import MarkStyle
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, perform_part

HARP = find_harp("34")
HERON = next(path for path in SCORES if path.stem == "heron-standing")


def performed(route: str, *notes: tuple[int, float, str]) -> tuple[Performance, Plan]:
    """Notes as (bar from 1, quarters, name), each a quarter long."""
    written = [note(name, onset, 1, measure=bar - 1) for bar, onset, name in notes]
    performance = perform_part(score(bars(route), part(*written), tempos=(tempo(40),)))
    return performance, make_plan(performance.plucks, HARP, DEFAULT_PLAYER, effort=0)


def said(performance: Performance, plan: Plan) -> list[tuple[int, Fraction, tuple[int, ...], list[str]]]:
    """What stands at single notes: bar from 1, quarters, passes, strings."""
    return [
        (
            one.measure + 1,
            Fraction(one.tick, QUARTER),
            one.passes,
            [HARP.strings[string].name for string in one.strings],
        )
        for one in neighbours_of(performance, plan, moved_notes(performance, plan))
    ]


def moved(performance: Performance, plan: Plan) -> dict[str, str]:
    """What the setting says."""
    return {pitch.name: HARP.strings[string].name for pitch, string in moved_notes(performance, plan).items()}


def test_a_note_always_played_elsewhere_is_named_once() -> None:
    performance, plan = performed("- - -", (1, 0, "Bb4"), (2, 0, "Bb4"), (3, 0, "Bb4"), (3, 1, "C5"))
    assert moved(performance, plan) == {"Bb4": "A4"}
    assert said(performance, plan) == []


def test_a_rare_note_is_named_where_it_stands() -> None:
    performance, plan = performed("- - -", (1, 0, "Bb4"), (3, 2, "Bb4"))
    assert moved(performance, plan) == {}
    assert said(performance, plan) == [(1, 0, (), ["A4"]), (3, 2, (), ["A4"])]


def test_words_hold_to_the_end_of_the_bar() -> None:
    performance, plan = performed("- -", (1, 0, "Bb4"), (1, 3, "Bb4"))
    assert said(performance, plan) == [(1, 0, (), ["A4"])]


def test_notes_of_a_chord_are_named_together() -> None:
    notes = [note("Bb3", 0, 1), note("Bb4", 0, 1, chord=True)]
    performance = perform_part(score(None, part(*notes)))
    plan = make_plan(performance.plucks, HARP, DEFAULT_PLAYER, effort=0)
    assert said(performance, plan) == [(1, 0, (), ["A3", "A4"])]


def changed(performance: Performance, plan: Plan, plays: dict[int, str]) -> Plan:
    """The plan with some plucks on other strings, whatever the levers would say."""
    names = [string.name for string in HARP.strings]
    new = list(plan.plays)
    for pluck, name in plays.items():
        new[pluck] = (names.index(name), 0)
    return replace(plan, plays=tuple(new))


def test_a_return_to_the_own_string_is_told_within_a_bar_only() -> None:
    performance, plan = performed("- -", (1, 0, "F4"), (1, 1, "F4"), (1, 2, "F4"), (2, 0, "F4"))
    plan = changed(performance, plan, {0: "E4", 1: "F4", 2: "F4", 3: "F4"})
    assert said(performance, plan) == [(1, 0, (), ["E4"]), (1, 1, (), ["F4"])]


def test_passes_are_named_where_they_differ() -> None:
    performance, plan = performed("|:-:|", (1, 0, "F4"), (1, 1, "F4"))
    plan = changed(performance, plan, {0: "F4", 1: "F4", 2: "E4", 3: "E4"})
    assert said(performance, plan) == [(1, 0, (2,), ["E4"])]
    plan = changed(performance, plan, {0: "E4", 1: "F4", 2: "E4", 3: "E4"})
    assert said(performance, plan) == [(1, 0, (), ["E4"]), (1, 1, (1,), ["F4"])]


@pytest.mark.parametrize("left_out", ["setting", "note"])
def test_a_page_that_does_not_say_so_plays_wrong(left_out: str, tmp_path: Path) -> None:
    """The replay plays every note on its own string unless it is told otherwise."""
    report = report_on(HERON, "34")
    lost = given_up(report)
    tree = marked_tree(report.performance, report.plan, MarkStyle())
    order = [visit.measure for visit in report.performance.timeline.visits]
    path = tmp_path / "marked.musicxml"
    for fault in (False, True):
        if fault and left_out == "setting":
            setting = next(words for words in tree.iter("words") if words.text.startswith("Tuning"))
            start, end = setting.text.split("Play every"), ","
            setting.text = f"{start[0]}Play every{start[1].partition(end)[2]}"
        elif fault:
            cue = next(words for words in tree.iter("words") if words.text.startswith("on "))
            cue.getparent().getparent().getparent().remove(cue.getparent().getparent())
        path.write_bytes(serialised(tree))
        missed, _ = page_replay.replay(page_replay.read_page(path, 0), order, rig_of(report.plan.harp))
        found = Counter((miss.bar, miss.number, miss.onset, miss.midi) for miss in missed)
        assert bool(found - lost) is fault


def test_without_neighbours_nothing_is_said_of_them() -> None:
    report = report_on(HERON, "34")
    document = serialised(marked_tree(report.performance, report.plan, MarkStyle(neighbours=False)))
    words = [" ".join(words.text.split()) for words in etree.fromstring(document).iter("words")]
    assert not [text for text in words if "Play every" in text or text.startswith("on ")]

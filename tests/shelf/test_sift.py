"""Keeping and ordering rows, on rows made by hand."""

from __future__ import annotations

from typing import Any

import pytest
from shelves import INSTRUMENTS

from harpkeys.errors import OptionError
from harpkeys.shelf.model import Finding, Row
from harpkeys.shelf.sift import condition_of, in_order, kept, names_of

BASE: dict[str, Any] = {
    "title": "T",
    "part": "P1",
    "measures": 1,
    "plucks": 4,
    "bpm": 90.0,
    "verdict": "as set",
    "lost": 0,
    "lost_auxiliaries": 0,
    "cuts": 0,
    "flips": 0,
    "off_string": 0,
    "right_hand": 0,
    "levers_up": 0,
    "ceiling": None,
    "spot": None,
    "proved": True,
    "effort": 0,
}

NAMES = names_of([("26", INSTRUMENTS[1]), ("34 in E-flat", INSTRUMENTS[2])])


def row(file: str, label: str = "26", **told: Any) -> Row:
    return Row(file, "d", f"{file} {label}", label, Finding(**{**BASE, **told}))


def problem(file: str, label: str = "26") -> Row:
    return Row(file, "d", file, label, None, "it is broken.")


EASY = row("easy")
FLIPS = row("flips", verdict="with flips", flips=3)
CUTS = row("cuts", verdict="with cuts", flips=2, cuts=1)
LOST = row("lost", verdict="not as written", lost=1)
BAD = problem("bad")
ALL = (EASY, FLIPS, CUTS, LOST, BAD)


def chosen(*texts: str, most_flips: int | None = None, rows: tuple[Row, ...] = ALL) -> list[str]:
    conditions = [condition_of(text, NAMES) for text in texts]
    return [one.file for one in rows if kept([one], conditions, most_flips)]


@pytest.mark.parametrize(
    ("text", "files"),
    [
        ("as set", ["easy"]),
        ("Playable as set on the 26-string in C", ["easy"]),
        ("playable", ["easy", "flips", "cuts"]),
        ("with flips", ["flips"]),
        ("with cuts on 26", ["cuts"]),
        ("not as written  on  26 in c", ["lost"]),
        ("not vetted", ["bad"]),
        ("playable on 34 in E-flat", []),
    ],
)
def test_conditions(text: str, files: list[str]) -> None:
    assert chosen(text) == files


def test_few_flips() -> None:
    assert chosen(most_flips=2) == ["easy", "cuts"]
    assert chosen("playable on 26", most_flips=0) == ["easy"]


def test_every_condition_has_to_hold_for_some_row_of_the_file() -> None:
    both = (row("x", "26", verdict="with flips", flips=1), row("x", "34 E-flat"))
    on_both = [condition_of(text, NAMES) for text in ("with flips on 26", "as set on 34 in E-flat")]
    assert kept(both, on_both) == both
    assert kept(both, [condition_of("as set", NAMES)]) == both[1:]
    assert kept(both, [condition_of("as set on 26", NAMES)]) == ()
    assert kept(both[:1], on_both) == ()


def test_names_of_harps() -> None:
    for name in ("26", "26 in C", "the 26-string in C", "26-String in C"):
        assert condition_of(f"as set on {name}", NAMES).labels == {"26"}
    twice = names_of([("26", INSTRUMENTS[1]), ("26", INSTRUMENTS[2])])
    assert condition_of("as set on 26", twice).labels == {"26", "34 E-flat"}


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "easy",
            '--only cannot be "easy"; it is one of as set, with flips, with cuts, not as written, not vetted '
            'and playable, and may go on with a harp, such as "as set on 26".',
        ),
        (
            "as set on 38",
            '--only names the harp "38", which is none of this run\'s; name one of 26 and 34 E-flat.',
        ),
    ],
)
def test_what_no_condition_means(text: str, sentence: str) -> None:
    with pytest.raises(OptionError) as raised:
        condition_of(text, NAMES)
    assert raised.value.sentence == sentence


def files_in(order: str, *, reverse: bool = False, rows: tuple[Row, ...] = ALL) -> list[str]:
    return [one[0].file for one in in_order([(row,) for row in rows], order, reverse=reverse)]


def test_orders() -> None:
    assert files_in("file") == ["bad", "cuts", "easy", "flips", "lost"]
    assert files_in("file", reverse=True) == ["lost", "flips", "easy", "cuts", "bad"]
    assert files_in("ease") == ["easy", "flips", "cuts", "lost", "bad"]
    assert files_in("ease", reverse=True) == ["lost", "cuts", "flips", "easy", "bad"]
    assert files_in("flips") == ["easy", "lost", "cuts", "flips", "bad"]
    many = (
        row("a", title="b", plucks=9, levers_up=3, bpm=60.0),
        row("b", title="A", plucks=5, levers_up=5, bpm=70.0),
        row("c", title="c", plucks=7, levers_up=4, bpm=50.0, lost_auxiliaries=2),
    )
    assert files_in("title", rows=many) == ["b", "a", "c"]
    assert files_in("notes", rows=many) == ["b", "c", "a"]
    assert files_in("up", rows=many) == ["a", "c", "b"]
    assert files_in("tempo", rows=many) == ["c", "a", "b"]
    assert files_in("lost", rows=many, reverse=True) == ["c", "a", "b"]


def test_files_go_by_their_best_row() -> None:
    one = (row("one", "26", flips=9), row("one", "34", flips=1), problem("one", "36"))
    two = (row("two", "26", flips=2), row("two", "34", flips=3))
    assert in_order([two, one], "flips") == [one, two]
    assert in_order([two, one], "flips", reverse=True) == [one, two]


def test_no_such_order() -> None:
    with pytest.raises(
        OptionError,
        match=r'^--sort cannot be "size"; it is one of file, title, ease, flips, lost, up, notes, tempo\.$',
    ):
        in_order([], "size")

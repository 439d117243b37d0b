"""The performed order of bars."""

from __future__ import annotations

import pytest
from score.builders import BAR, score
from score.route_cases import ENDINGS, JUMPS, PLAIN_ORDERS

from harpkeys.errors import ScoreError
from harpkeys.score.model import Jump, Measure
from harpkeys.score.route import MOST_VISITS, Visit, effective_jumps, perform


def order_of(text: str) -> str:
    return " ".join(str(visit.measure + 1) for visit in perform(score(text)).visits)


@pytest.mark.parametrize(
    ("text", "expected"),
    [*PLAIN_ORDERS.values(), *ENDINGS.values(), *JUMPS.values()],
    ids=[*PLAIN_ORDERS, *ENDINGS, *JUMPS],
)
def test_order(text: str, expected: str) -> None:
    assert order_of(text) == expected


def test_passes_and_starts() -> None:
    assert perform(score("|:- [1-:| [2-")).visits == (
        Visit(0, 1, 0),
        Visit(1, 1, BAR),
        Visit(0, 2, 2 * BAR),
        Visit(2, 1, 3 * BAR),
    )


def test_the_length_is_that_of_all_visits() -> None:
    assert perform(score("|:- -:| -")).length == 5 * BAR
    assert perform(score("")).length == 0


def test_bars_of_different_lengths() -> None:
    measures = (Measure(0, "0", 12), Measure(1, "1", 48, opens=True, closes=2), Measure(2, "2", 0))
    assert [visit.start for visit in perform(score(measures)).visits] == [0, 12, 60, 108]


@pytest.mark.parametrize(
    ("text", "bar"), [("|:-:|20001", 1), ("- |:- -:|20001 |:-:|9", 3), ("|:- |:-:|200 -:|120", 2)]
)
def test_too_many_bars_are_a_mistake(text: str, bar: int) -> None:
    with pytest.raises(ScoreError) as caught:
        perform(score(text))
    assert caught.value.sentence == (
        f"measure {bar}: with its repeats played the score has more than 20,000 bars; check its repeat "
        "marks, above all here, and how many times each is to be played."
    )


def test_as_many_bars_as_are_allowed() -> None:
    assert len(perform(score(f"|:-:|{MOST_VISITS}")).visits) == MOST_VISITS


def test_many_printed_bars_are_no_mistake() -> None:
    long = perform(score("- " * (MOST_VISITS + 1)))
    assert len(long.visits) == MOST_VISITS + 1


@pytest.mark.parametrize("word", ["-:|", "|:-:|", "segno+ds", "to+coda+ds+segno", "|:-"])
def test_a_score_full_of_marks_ends(word: str) -> None:
    assert len(perform(score(f"{word} " * 9000)).visits) >= 9000


def test_very_many_endings_of_one_repeat() -> None:
    # The numbers make no sense, so that each ending is played in its turn; the walk goes straight to it.
    assert order_of("- " + "[1-:| " * 3000) == " ".join(f"1 {ending}" for ending in range(2, 3002))


REMARKS = {
    "words": (
        "segno to'To_Coda' ds'D.S._al_Coda' coda",
        (
            'Bar 3: the words "D.S. al Coda" are taken as a jump to the segno at bar 1, '
            "as no sound element says more.",
            'Bar 2: the words "To Coda" are taken as a jump to the coda at bar 4, '
            "as no sound element says more.",
        ),
    ),
    "da capo al fine": (
        "fine'Fine' dc'D.C._al_Fine'",
        (
            'Bar 2: the words "D.C. al Fine" are taken as a jump back to the start, '
            "as no sound element says more.",
            'Bar 1: the words "Fine" are taken as the end, as no sound element says more.',
        ),
    ),
    "a coda sign": (
        "to'coda_sign' dc coda",
        ("Bar 1: a coda sign is taken as a jump to the coda at bar 3, as no sound element says more.",),
    ),
    "words that change nothing are not told": ("fine'Fine' to'To_Coda' coda", ()),
    "sound elements need no remark": ("segno to ds coda", ()),
    "no segno": ("- ds", ("Bar 2: a jump to a segno that is nowhere is taken to the start.",)),
    "no coda": ("to dc", ("Bar 1: a jump to a coda that is nowhere is left out.",)),
    "endings without a repeat": (
        "- [1- [2-",
        ("Bar 2: the endings have no repeat and are played in a row.",),
    ),
}


@pytest.mark.parametrize(("text", "expected"), REMARKS.values(), ids=REMARKS)
def test_remarks(text: str, expected: tuple[str, ...]) -> None:
    assert perform(score(text)).remarks == expected


def test_sound_elements_decide_against_words_of_the_same_sort() -> None:
    dacapo, words = Jump("dacapo"), Jump("dalsegno", words="D.S.")
    fine = Jump("fine", words="Fine")
    assert effective_jumps(Measure(0, "1", BAR, jumps=(words, fine, dacapo))) == (dacapo, fine)
    assert order_of("- segno ds'D.S.'+dc -") == "1 2 3 1 2 3 4"

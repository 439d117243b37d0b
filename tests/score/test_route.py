"""The performed order of bars, each expectation worked out by hand from section 2 of the planning problem.

Bars are numbered from 1 as printed; the shorthand is that of `builders.bars`.
"""

from __future__ import annotations

import pytest
from score.builders import BAR, score

from harpkeys.errors import ScoreError
from harpkeys.score.model import Jump, Measure
from harpkeys.score.route import MOST_VISITS, Visit, effective_jumps, perform

PLAIN_ORDERS = {
    "no marks": ("- - -", "1 2 3"),
    "one repeat": ("- |:-:| -", "1 2 2 3"),
    "repeat from the start": ("- -:| -", "1 2 1 2 3"),
    "unopened repeat returns to the end of the previous one": ("- |:- -:| - -:| -", "1 2 3 2 3 4 5 4 5 6"),
    "unopened repeat after an unopened one": ("-:| -:| -", "1 1 2 2 3"),
    "times": ("|:- -:|4 -", "1 2 1 2 1 2 1 2 3"),
    "times one is no repeat": ("|:- -:|1 -", "1 2 3"),
    "opened but never closed": ("- |:- -", "1 2 3"),
    "opened twice, closed once": ("|:- |:- -:| -", "1 2 3 2 3 4"),
    "nested": ("|:- |:-:| -:| -", "1 2 2 3 1 2 2 3 4"),
    "nested with times": ("|:- |:-:|3 -:| -", "1 2 2 2 3 1 2 2 2 3 4"),
    "nested deeper": ("|:- |:- |:-:| -:| -:|", "1 2 3 3 4 2 3 3 4 5 1 2 3 3 4 2 3 3 4 5"),
}

ENDINGS = {
    "two endings": ("|:- [1-:| [2- -", "1 2 1 3 4"),
    "two endings from the start": ("- [1-:| [2- -", "1 2 1 3 4"),
    "longer endings": ("|:- [1- [1-:| [2- [2- -", "1 2 3 1 4 5 6"),
    "three endings": ("|:- [1-:| [2-:| [3- -", "1 2 1 3 1 4 5"),
    "one ending for two rounds": ("|:- [1,2-:|3 [3- -", "1 2 1 2 1 3 4"),
    "endings number the rounds even where times is the plain two": ("|:- [1,2-:| [3- -", "1 2 1 2 1 3 4"),
    "alternating endings": ("|:- [1,3-:| [2,4-:| -", "1 2 1 3 1 2 1 3 4"),
    "last ending with a backward repeat": ("|:- [1-:| [2-:| -", "1 2 1 3 4"),
    "one printed ending": ("|:- [1-:| - -", "1 2 1 3 4"),
    "one printed ending for two of three rounds": ("|:- [1,2-:|3 - -", "1 2 1 2 1 3 4"),
    "one printed ending for all rounds": ("|:- [1,2-:| -", "1 2 1 2 3"),
    "next repeat starts at the end of the endings": ("|:- [1-:| [2- - -:| -", "1 2 1 3 4 5 4 5 6"),
    "endings side by side of two repeats": ("|:- [1-:| [2- |:[1-:| [2- -", "1 2 1 3 4 4 5 6"),
    "repeat inside an ending": ("|:- [1- |:[1-:| [1-:| [2- -", "1 2 3 3 4 1 5 6"),
    "nested endings": ("|:- |:- [1-:| [2- -:| -", "1 2 3 2 4 5 1 2 3 2 4 5 6"),
    "endings without a repeat": ("- [1- [2- -", "1 2 3 4"),
    "first ending numbered two": ("|:- [2-:| [2- -", "1 2 1 3 4"),
    "both endings numbered one": ("|:- [1-:| [1- -", "1 2 1 3 4"),
    "endings numbered two and three": ("|:- [2-:| [3- -", "1 2 1 3 4"),
    "first ending returns though all rounds are its own": ("|:- [1,2-:| [2- -", "1 2 1 3 4"),
    "an ending skipped by the numbers is taken in order": ("- [1-:| [4-:| [2- -", "1 2 1 3 1 4 5"),
    "an ending no round reaches is no ending": ("- [1-:| [2- [3- -", "1 2 1 3 4 5"),
    "endings that do not return before one that does": (
        "- [1- [2-:| -",
        "1 2 3 1 2 3 4",
    ),
    "second ending alone": ("|:- -:| [2- -", "1 2 1 2 3 4"),
}

JUMPS = {
    "trade.md, last line": ("- to dc coda", "1 2 3 1 2 4"),
    "da capo": ("- - dc -", "1 2 3 1 2 3 4"),
    "da capo al fine": ("- fine - dc", "1 2 3 4 1 2"),
    "fine is ignored before the jump": ("fine - dc", "1 2 3 1"),
    "fine without any jump": ("- fine -", "1 2 3"),
    "dal segno": ("- segno - ds -", "1 2 3 4 2 3 4 5"),
    "dal segno al fine": ("- segno fine ds", "1 2 3 4 2 3"),
    "dal segno al coda": ("- segno to - ds coda -", "1 2 3 4 5 2 3 6 7"),
    "to coda is ignored before the jump": ("to - dc coda", "1 2 3 1 4"),
    "segno and jump in one bar": ("- segno+ds -", "1 2 2 3"),
    "a jump is taken once": ("- dc dc -", "1 2 1 2 3 1 2 3 4"),
    "two jumps in one bar": ("- dc+ds segno", "1 2 1 2 3"),
    "jump waits for the last pass of its bar": ("|:- dc -:| -", "1 2 3 1 2 1 2 3 4"),
    "jump waits for all enclosing repeats": ("|:- |:dc:| -:| -", "1 2 2 3 1 2 2 1 2 3 4"),
    "no repeats after the jump": ("|:- -:| - dc", "1 2 1 2 3 4 1 2 3 4"),
    "last ending after the jump": ("|:- [1-:| [2- fine dc", "1 2 1 3 4 5 1 3 4"),
    "one printed ending is skipped after the jump": ("|:- [1-:| fine dc", "1 2 1 3 4 1 3"),
    "third ending after the jump": ("|:- [1,2-:| [3- dc", "1 2 1 2 1 3 4 1 3 4"),
    "fine inside a repeat": ("|:- fine:| - dc", "1 2 1 2 3 4 1 2"),
    "da capo in a first ending": ("- [1dc [2- -", "1 2 1 3 4"),
    "jump in a first ending that also repeats": ("|:- [1dc:| [2- -", "1 2 1 3 4"),
    "jump in the second ending": ("|:- [1-:| [2dc -", "1 2 1 3 1 3 4"),
    "jump into a first ending plays it": ("- |:- [1segno:| [2- ds", "1 2 3 2 4 5 3 4 5"),
    "repeat in the coda is not taken": ("- to dc |:coda:| -", "1 2 3 1 2 4 5"),
    "segno after the last note belongs to the next bar": (f"segno@{BAR} - ds -", "1 2 3 2 3 4"),
    "segno at the very end has no next bar": (f"ds segno@{BAR}", "1 2"),
    "named signs": (
        "- segno=a to=a segno=b to=b ds=b ds=a coda=b coda=a",
        "1 2 3 4 5 6 4 5 8 9",
    ),
    "names not matched go to the nearest": ("segno - segno ds=x -", "1 2 3 4 3 4 5"),
    "coda before its jump": ("coda - to dc -", "1 2 3 4 1 2 3 1 2 3 4 5"),
    "to coda without a coda": ("to dc -", "1 2 1 2 3"),
    "dal segno without a segno": ("- ds -", "1 2 1 2 3"),
    "coda sign beside to coda is not the target": ("to+coda dc coda", "1 2 1 3"),
    "fine beats to coda and jump": ("- fine+to+dc coda", "1 2 1 2"),
}


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


@pytest.mark.parametrize("text", ["|:-:|20001", "|:- |:-:|200 -:|120"])
def test_too_many_bars_are_a_mistake(text: str) -> None:
    with pytest.raises(ScoreError) as caught:
        perform(score(text))
    assert caught.value.sentence == (
        "with its repeats played the score has more than 20,000 bars; check its repeat marks, "
        "above all how many times each is to be played."
    )


def test_as_many_bars_as_are_allowed() -> None:
    assert len(perform(score(f"|:-:|{MOST_VISITS}")).visits) == MOST_VISITS


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

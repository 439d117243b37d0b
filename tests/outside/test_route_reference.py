"""The performed order of bars beside that of music21 and partitura.

Every case where one of them says something else stands in a table here with what it says and why it is not
followed; wherever no line stands, they must agree. Neither reads the rules of the planning problem, but
each knows what repeats, endings and jumps mean in common practice.

Set HARPKEYS_WHOLE_CORPUS=1 to compare all of music21's MusicXML corpus (about half an hour).
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from pathlib import Path

import pytest
from route_readers import music21_order, our_order, partitura_order, spans
from route_scores import musicxml
from score.builders import bars
from score.route_cases import ENDINGS, JUMPS, PLAIN_ORDERS

from harpkeys.score.reader import read_score

CASES = {**PLAIN_ORDERS, **ENDINGS, **JUMPS}

TO_THE_START = (
    "an unopened backward repeat goes to the start, past earlier repeats (the planning problem says not)"
)
LONE_ENDING = "an ending that is alone is not repeated at all"
TIMES = "times is not read: every repeat is played twice"
NESTS = "a forward repeat inside a repeat is taken for the end of the outer one"
UNOPENED_AFTER_ENDINGS = "goes back into the last ending, not behind it"
UNPLAYED_ENDINGS = "endings are not resolved where a jump stands in the score: they are played in a row"
BARE_JUMP = "a jump without a Fine is not followed"
ONE_JUMP = "several jumps are not followed"
CODA_REPEAT = "repeats behind the coda sign are taken (the planning problem takes none after a jump)"
REFUSAL = "refuses marks that do not make one clear whole"
RIGHT_FORWARD = "a forward repeat on a right barline is taken for a backward one"
SOUND_ONLY = "a jump is not followed that a sound element tells and words do not"
IMAGINED = "a forward repeat without a backward one, or endings without one, are given one"

MUSIC21: dict[str, tuple[str, str]] = {
    "unopened repeat returns to the end of the previous one": ("1-3 2-5 1-3 2-6", TO_THE_START),
    "unopened repeat after an unopened one": ("1 1-2 1 1-3", TO_THE_START),
    "opened but never closed": ("ExpanderException", REFUSAL),
    "a second ending in the first bar": ("ExpanderException", REFUSAL),
    "da capo in the second ending of three": ("ExpanderException", REFUSAL),
    "opened twice, closed once": ("ExpanderException", REFUSAL),
    "alternating endings": ("ExpanderException", REFUSAL),
    "one printed ending": ("1-4", LONE_ENDING),
    "one printed ending for two of three rounds": ("1-2 1-4", LONE_ENDING),
    "next repeat starts at the end of the endings": ("1-2 1 3-5 1-2 1 3-6", TO_THE_START),
    "endings side by side of two repeats": ("1-2 1 3-6", "sees one row of endings across the forward repeat"),
    "repeat inside an ending": ("1-4 1-3 5-6", "the repeat inside the ending is lost"),
    "repeat inside an ending, from the start": ("1-4 1-3 5-6", "the repeat inside the ending is lost"),
    "repeat inside an ending, endings misnumbered": ("ExpanderException", REFUSAL),
    "not too short where the next ending is no later one": ("ExpanderException", REFUSAL),
    "segno and jump in one bar after another segno": ("ExpanderException", REFUSAL),
    "first ending numbered two": ("ExpanderException", REFUSAL),
    "both endings numbered one": ("ExpanderException", REFUSAL),
    "endings numbered two and three": ("ExpanderException", REFUSAL),
    "first ending returns though all rounds are its own": ("ExpanderException", REFUSAL),
    "an ending skipped by the numbers is taken in order": ("ExpanderException", REFUSAL),
    "an ending no round reaches is no ending": ("ExpanderException", REFUSAL),
    "endings that do not return before one that does": ("ExpanderException", REFUSAL),
    "a first ending drawn too short": ("ExpanderException", REFUSAL),
    "not too short where no ending follows the repeat": ("ExpanderException", REFUSAL),
    "not too short where another repeat opens": ("ExpanderException", REFUSAL),
    "second ending alone": ("ExpanderException", REFUSAL),
    "a jump is taken once": ("1-4", ONE_JUMP),
    "two jumps in one bar": ("1-3", ONE_JUMP),
    "jump waits for the last pass of its bar": ("IndexError", REFUSAL),
    "jump waits for all enclosing repeats": ("IndexError", REFUSAL),
    "last ending after the jump": ("1-2 1-5 1-4", UNPLAYED_ENDINGS),
    "one printed ending is skipped after the jump": ("1-2 1-4 1-3", UNPLAYED_ENDINGS),
    "third ending after the jump": ("1-2 1-4 1-4", UNPLAYED_ENDINGS),
    "da capo in a first ending": ("ExpanderException", REFUSAL),
    "jump in a first ending that also repeats": ("1-2 1-2 1-4", UNPLAYED_ENDINGS),
    "jump in the second ending": ("1-2 1-3 1-4", UNPLAYED_ENDINGS),
    "jump into a first ending plays it": ("1-3 2-5 3-5", UNPLAYED_ENDINGS),
    "repeat in the coda is not taken": ("1-3 1-2 4 4-5", CODA_REPEAT),
    "segno after the last note belongs to the next bar": (
        "1-3 1-4",
        "a segno belongs to the bar it is written in",
    ),
    "named signs": ("1-9", ONE_JUMP),
    "names not matched go to the nearest": ("ExpanderException", REFUSAL),
    "coda before its jump": ("1-4 1 3-5", "the first coda sign is taken for the jump, whichever it is"),
    "to coda without a coda": ("ExpanderException", REFUSAL),
    "dal segno without a segno": ("ExpanderException", REFUSAL),
    "coda sign beside to coda is not the target": ("ExpanderException", REFUSAL),
    "fine beats to coda and jump": (
        "1-2 1-3",
        "goes by the words D.C. al Coda, and finds one coda sign beside them",
    ),
}
"""What music21 says of a case, and why it is not followed."""

PARTITURA: dict[str, tuple[str, str]] = {
    "times": ("1-2 1-3", TIMES),
    "times one is no repeat": ("1-2 1-3", TIMES),
    "opened but never closed": ("1-3 2-3", IMAGINED),
    "opened twice, closed once": ("1 1-3 2-4", IMAGINED),
    "nested": ("1 1-2 2-3 3-4", NESTS),
    "nested with times": ("1 1-2 2-3 3-4", NESTS),
    "nested deeper": ("1 1-2 2-3 3-4 4-5 5", NESTS),
    "one printed ending": ("1-4", LONE_ENDING),
    "one printed ending for two of three rounds": ("1-2 1-4", LONE_ENDING),
    "next repeat starts at the end of the endings": ("1-2 1 3-5 3-6", UNOPENED_AFTER_ENDINGS),
    "endings side by side of two repeats": ("IndexError", REFUSAL),
    "endings from the first bar on": ("IndexError", REFUSAL),
    "a second ending in the first bar": ("IndexError", REFUSAL),
    "da capo in the second ending of three": ("1-2 1 3 1 4-5", IMAGINED),
    "repeat inside an ending": ("IndexError", REFUSAL),
    "repeat inside an ending, from the start": ("IndexError", REFUSAL),
    "repeat inside an ending, endings misnumbered": ("IndexError", REFUSAL),
    "not too short where the next ending is no later one": ("1-6", "the repeat is lost"),
    "segno and jump in one bar after another segno": ("1-4", BARE_JUMP),
    "nested endings": ("1 1-3 2 4-5 4-6", NESTS),
    "endings without a repeat": ("1-2 1 3-4", IMAGINED),
    "first ending numbered two": ("1-2 4", "leaves the ending out whose number has not come"),
    "both endings numbered one": ("IndexError", REFUSAL),
    "endings numbered two and three": ("1-2 4", "leaves the ending out whose number has not come"),
    "first ending returns though all rounds are its own": ("IndexError", REFUSAL),
    "an ending skipped by the numbers is taken in order": ("IndexError", REFUSAL),
    "an ending no round reaches is no ending": ("1-2 1 3 1 4-5", IMAGINED),
    "endings that do not return before one that does": ("1-2 1 3-4", IMAGINED),
    "a first ending drawn too short": ("IndexError", REFUSAL),
    "not too short where another repeat opens": ("IndexError", REFUSAL),
    "second ending alone": ("IndexError", REFUSAL),
    "trade.md, last line": ("1-4", BARE_JUMP),
    "da capo": ("1-4", BARE_JUMP),
    "dal segno": ("1-5", BARE_JUMP),
    "dal segno al coda": ("1-7", BARE_JUMP),
    "to coda is ignored before the jump": ("1-4", BARE_JUMP),
    "segno and jump in one bar": ("1-3", BARE_JUMP),
    "a jump is taken once": ("1-4", BARE_JUMP),
    "two jumps in one bar": ("1-3", BARE_JUMP),
    "jump waits for all enclosing repeats": ("1 1-2 2-3 3-4", NESTS),
    "one printed ending is skipped after the jump": ("1-4 1-3", LONE_ENDING),
    "jump in the second ending": ("1-2 1 3-4", BARE_JUMP),
    "jump into a first ending plays it": ("1-3 2 4-5 3 2 4-5", "the repeat is taken after the jump"),
    "repeat in the coda is not taken": ("1-5", BARE_JUMP),
    "segno after the last note belongs to the next bar": ("1-4", BARE_JUMP),
    "segno at the very end has no next bar": ("KeyError", REFUSAL),
    "named signs": ("1-9", "only signs named segno and coda are read"),
    "names not matched go to the nearest": ("1-5", "only signs named segno and coda are read"),
    "coda before its jump": ("1-5", BARE_JUMP),
    "to coda without a coda": ("IndexError", REFUSAL),
    "dal segno without a segno": ("IndexError", REFUSAL),
    "coda sign beside to coda is not the target": ("1-3", BARE_JUMP),
    "fine beats to coda and jump": ("1-3", BARE_JUMP),
}
"""What partitura says of a case, and why it is not followed."""


@pytest.fixture
def page(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a shorthand as a MusicXML file."""

    def write(text: str) -> Path:
        path = tmp_path / "page.musicxml"
        path.write_text(musicxml(bars(text)), encoding="utf-8")
        return path

    return write


def test_every_disagreement_is_about_a_case() -> None:
    assert set(MUSIC21) | set(PARTITURA) <= set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_the_cases(name: str, page: Callable[[str], Path]) -> None:
    text, order = CASES[name]
    expected = spans([int(bar) for bar in order.split()])
    path = page(text)
    assert our_order(path) == expected
    assert music21_order(path) == MUSIC21.get(name, (expected, ""))[0]
    assert partitura_order(path) == PARTITURA.get(name, (expected, ""))[0]


def made_up(seed: int) -> str:
    """Bars with plain repeats, times and endings, each repeat opened, in a shorthand."""
    chance = random.Random(seed)
    words: list[str] = []
    for _ in range(chance.randint(1, 5)):
        sort = chance.choice(("plain", "repeat", "times", "endings", "three endings", "double ending"))
        inner = ["-"] * chance.randint(0, 3)
        if sort == "plain":
            words += ["-", *inner]
        elif sort in ("repeat", "times"):
            words += ["|:-", *inner, "-:|" + (str(chance.randint(3, 5)) if sort == "times" else "")]
        else:
            number = "1,2" if sort == "double ending" else "1"
            words += ["|:-", *inner, *[f"[{number}-"] * chance.randint(0, 2), f"[{number}-:|"]
            if sort == "three endings":
                words.append("[2-:|")
            words += ["[2-" if sort == "endings" else "[3-", "-"]
    return " ".join(words)


@pytest.mark.parametrize("seed", range(30))
def test_made_up_repeats(seed: int, page: Callable[[str], Path]) -> None:
    text = made_up(seed)
    path = page(text)
    ours = our_order(path)
    assert ours == music21_order(path)
    if ":|3" not in text and ":|4" not in text and ":|5" not in text:
        assert ours == partitura_order(path)


def made_up_jump(seed: int) -> str:
    """Bars with repeats but no endings and one da capo or dal segno, to a Fine, a coda or the end."""
    chance = random.Random(seed)
    rows = [["-"] * chance.randint(1, 3) for _ in range(4)]
    for row in rows[:3]:
        if chance.random() < 0.4:
            row[0] = "|:" + row[0]
            row[-1] += ":|"
    goal = chance.choice(("fine", "coda", "end"))
    segno = chance.random() < 0.5
    # Inside a repeat music21 refuses a jump, so that the jump stands in a bar of its own.
    if segno:
        rows[0].insert(0, "segno")
    if goal == "fine":
        rows[1].append("fine")
        rows[3] = rows[3][: chance.choice((0, 0, 3))]
    elif goal == "coda":
        rows[1].append("to")
        rows[3].insert(0, "coda")
    rows[2].append("ds" if segno else "dc")
    return " ".join(word for row in rows for word in row)


@pytest.mark.parametrize("seed", range(30))
def test_made_up_jumps(seed: int, page: Callable[[str], Path]) -> None:
    text = made_up_jump(seed)
    path = page(text)
    ours = our_order(path)
    assert ours == music21_order(path)
    if text.endswith(("dc", "ds")):  # partitura follows a jump only where nothing stands behind it
        assert ours == partitura_order(path)


@pytest.mark.parametrize("name", ["dal segno al coda", "dal segno al fine", "da capo al fine", "da capo"])
def test_words_alone_give_the_same_order(name: str, tmp_path: Path) -> None:
    text, order = CASES[name]
    path = tmp_path / "page.musicxml"
    path.write_text(musicxml(bars(text), sound=False), encoding="utf-8")
    expected = spans([int(bar) for bar in order.split()])
    assert our_order(path) == expected
    assert music21_order(path) == expected


def music21_folder() -> Path:
    import music21

    return Path(music21.__file__).parent


LILYPOND: dict[str, tuple[str, str, str, str]] = {
    "45a-SimpleRepeat": ("1 1 1 1 1-2", "", "1 1-2", TIMES),
    "45b-RepeatWithAlternatives": ("1-2 1 3-4", "", "", ""),
    "45c-RepeatMultipleTimes": (
        "1-3 2-3 2-3 2-3 2-7 4-7 4-8",
        "1-3 2-3 2-3 2-3 2-7 1-3 2-3 2-3 2-3 2-7 1-3 2-3 2-3 2-3 2-8",
        "1-3 2-7 4-8",
        f"music21: {TO_THE_START}; partitura: {TIMES}",
    ),
    "45d-Repeats-Nested-Alternatives": (
        "1-2 1 3-11 6-12",
        "ExpanderException",
        "IndexError",
        "endings 1 2 3 of which 2 does not return, then 1 and 5: both refuse",
    ),
    "45e-Repeats-Nested-Alternatives": (
        "1-2 1 3-5 5-7 6 8-9 8-10",
        "1-2 1 3-5 5-9 8-10",
        "1-2 1 3-5 5-9 8-10",
        LONE_ENDING,
    ),
    "45f-Repeats-InvalidEndings": ("1-4 1-2 5", "ExpanderException", "RecursionError", REFUSAL),
    "45g-Repeats-NotEnded": (
        "1-2",
        "ExpanderException",
        "1-2 2",
        f"music21: {REFUSAL}; partitura: {IMAGINED}",
    ),
}
"""LilyPond's MusicXML test suite, section 45: our order, music21's and partitura's where they differ, and
why."""


@pytest.mark.parametrize("name", LILYPOND)
def test_lilyponds_suite(name: str) -> None:
    path = music21_folder() / "musicxml" / "lilypondTestSuite" / f"{name}.xml"
    ours, theirs, others, _ = LILYPOND[name]
    assert our_order(path) == ours
    assert music21_order(path) == (theirs or ours)
    assert partitura_order(path) == (others or ours)


def test_lilyponds_suite_is_whole() -> None:
    found = (music21_folder() / "musicxml" / "lilypondTestSuite").glob("45*.xml")
    assert {path.stem for path in found} == set(LILYPOND)


CORPUS_MUSIC21 = {
    "beethoven/opus132": REFUSAL,
    "beethoven/opus18no1/movement3": TO_THE_START,
    "beethoven/opus18no3": REFUSAL,
    "beethoven/opus18no4": RIGHT_FORWARD,
    "beethoven/opus18no5": REFUSAL,
    "beethoven/opus59no2/movement3": UNPLAYED_ENDINGS,
    "haydn/opus74no1/movement3": REFUSAL,
    "haydn/opus74no1/movement4": REFUSAL,
    "joplin/maple_leaf_rag": LONE_ENDING,
    "mozart/k156/movement2": TO_THE_START,
    "mozart/k458/movement1": REFUSAL,
    "mozart/k458/movement2": REFUSAL,
    "mozart/k80/movement1": TO_THE_START,
    "mozart/k80/movement3": TO_THE_START,
    "mozart/k80/movement4": TO_THE_START,
    "schumann_clara/polonaise_op1n1": TO_THE_START,
    "schumann_clara/polonaise_op1n2": TO_THE_START,
    "schumann_clara/polonaise_op1n3": SOUND_ONLY,
    "schumann_clara/polonaise_op1n4": SOUND_ONLY,
    "schumann_robert/opus41no1/movement2": TO_THE_START,
    "trecento/PMFC_06_Giovanni-04_De_Come_Dolce_Mente": TO_THE_START,
    "trecento/PMFC_06_Piero_1-All_onbra d_un perlato": TO_THE_START,
    "trecento/PMFC_06_Piero_6a-Quando_laire_comenca": TO_THE_START,
    "trecento/PMFC_23_22-Kyrie Summe Clementissime": TO_THE_START,
}
"""Where music21 differs in its own corpus, and why."""

CORPUS_PARTITURA = {
    "beethoven/opus132": REFUSAL,
    "beethoven/opus18no3": REFUSAL,
    "beethoven/opus18no4": RIGHT_FORWARD,
    "beethoven/opus18no5": REFUSAL,
    "beethoven/opus59no2/movement3": BARE_JUMP,
    "haydn/opus74no1/movement3": "an ending without a number stops it",
    "haydn/opus74no1/movement4": IMAGINED,
    "joplin/maple_leaf_rag": LONE_ENDING,
    "mozart/k458/movement1": "an ending without a number stops it",
    "mozart/k458/movement2": "an ending without a number stops it",
    "mozart/k80/movement4": BARE_JUMP,
    "trecento/PMFC_13_01-Kyrie-Summe-Clementissime": TIMES,
}
"""Where partitura differs in music21's corpus, and why."""

SMALL = (
    "bach/bwv103.6",
    "bach/bwv244.15",
    "bach/bwv308",
    "bach/bwv96.6",
    "mozart/k156/movement2",
    "mozart/k458/movement2",
    "mozart/k80/movement4",
    "schumann_clara/polonaise_op1n4",
    "trecento/PMFC_13_01-Kyrie-Summe-Clementissime",
)
"""Small files of the corpus, for every run."""


def compare(path: Path, name: str) -> list[str]:
    """What is unexpected about a file of the corpus."""
    ours = our_order(path)
    unexpected = []
    for reference, order, known in (
        ("music21", music21_order(path), CORPUS_MUSIC21),
        ("partitura", partitura_order(path), CORPUS_PARTITURA),
    ):
        if (order != ours) != (name in known):
            unexpected.append(f"{name}: {ours}, {reference} {order}")
    return unexpected


@pytest.mark.parametrize("name", SMALL)
def test_small_files_of_the_corpus(name: str) -> None:
    assert compare(music21_folder() / "corpus" / f"{name}.mxl", name) == []


@pytest.mark.skipif("HARPKEYS_WHOLE_CORPUS" not in os.environ, reason="takes half an hour")
def test_the_whole_corpus() -> None:
    root = music21_folder() / "corpus"
    names: set[str] = set()
    unexpected: list[str] = []
    for path in sorted(root.rglob("*")):
        if path.suffix not in (".mxl", ".xml", ".musicxml"):
            continue
        measures = read_score(path).measures
        if any(measure.opens or measure.closes or measure.ending or measure.jumps for measure in measures):
            name = path.relative_to(root).with_suffix("").as_posix()
            names.add(name)
            unexpected += compare(path, name)
    assert unexpected == []
    assert len(names) > 200
    assert set(CORPUS_MUSIC21) | set(CORPUS_PARTITURA) <= names

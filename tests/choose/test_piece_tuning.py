"""The tuning for a piece: the search equals planning every tuning, and its words say what to do."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations, product
from pathlib import Path

import pytest

from harpkeys.choose.piece_tuning import PieceTuning, TuningSearch, tuning_for
from harpkeys.choose.retuning import retuning_text, retunings
from harpkeys.cli import main
from harpkeys.cli.retune_view import search_lines
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.harp.tunings import make_harp, relevered, retuned
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, perform_part
from harpkeys.score.container import parse_score_tree
from harpkeys.score.reader import read_score, score_from_tree

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
PLAYER = Player("made up", flip=300, leave=50, place=100)

NOTE = (
    "<note>{chord}<pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
    "<duration>{length}</duration><voice>1</voice><staff>1</staff></note>"
)
PAGE = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Harp</part-name></score-part>'
    '</part-list><part id="P1"><measure number="1"><attributes><divisions>4</divisions></attributes>'
    '<sound tempo="100"/>{notes}</measure></part></score-partwise>'
)


def random_piece(rng: random.Random, strings: tuple[HarpString, ...]) -> Performance:
    """Some ten notes on and about a few strings, so that tunings matter."""
    notes = []
    for _ in range(rng.randint(6, 12)):
        diatonic = rng.choice(strings).diatonic
        alter = rng.choice((-1, -1, 0, 0, 0, 1, 1))
        notes.append(
            NOTE.format(
                chord="<chord/>" if notes and rng.random() < 0.2 else "",
                step="CDEFGAB"[diatonic % 7],
                alter=alter,
                octave=diatonic // 7,
                length=rng.choice((1, 2, 4, 6)),
            )
        )
    document = PAGE.format(notes="".join(notes))
    return perform_part(score_from_tree(parse_score_tree(document.encode()), ""))


def random_case(seed: int) -> tuple[Performance, Harp]:
    """A small harp with some levers in some tuning, and a piece for it."""
    rng = random.Random(f"piece tuning {seed}")
    count = rng.randint(3, 9)
    levers = rng.choice(("all", "none", "F C", "E B"))
    low = rng.choice(("C4", "E4", "F3"))
    harp = make_harp("small", low, count, tuning=rng.choice(("C", "E-flat", "F")))
    with_lever = {"all": range(7), "none": (), "F C": (3, 0), "E B": (2, 6)}[levers]
    strings = tuple(replace(string, lever=string.diatonic % 7 in with_lever) for string in harp.strings)
    return random_piece(rng, strings), replace(harp, strings=strings)


def all_tunings(strung: Harp, singles: int) -> Iterator[Harp]:
    """Every tuning there is to search, told once more."""
    letters = sorted({string.diatonic % 7 for string in strung.strings})
    seen = set()
    for alters in product((-1, 0, 1), repeat=len(letters)):
        rule = dict(zip(letters, alters, strict=True))
        seen.add(tuple(rule[string.diatonic % 7] for string in strung.strings))
    own = tuple(string.tuned for string in strung.strings)
    for count in range(singles + 1):
        for chosen in combinations(range(len(own)), count):
            for alters in product((-1, 0, 1), repeat=count):
                tuned = list(own)
                for index, alter in zip(chosen, alters, strict=True):
                    tuned[index] = alter
                seen.add(tuple(tuned))
    for tuned in seen:
        pairs = zip(strung.strings, tuned, strict=True)
        yield replace(strung, strings=tuple(replace(string, tuned=alter) for string, alter in pairs))


Key = tuple[int, ...]


def exhaustive(
    performance: Performance, strung: Harp, singles: int
) -> tuple[list[tuple[int, Key]], tuple[Key, int, int] | None]:
    """The front and what tuning up would add, by planning every tuning."""
    down: dict[int, Key] = {}
    up: list[tuple[Key, int, int]] = []
    for harp in all_tunings(strung, singles):
        plan = make_plan(performance.plucks, harp, PLAYER, effort=50)
        assert plan.proved
        key = plan.criteria.key
        changes = [a.tuned - b.tuned for a, b in zip(harp.strings, strung.strings, strict=True)]
        changed, raised = sum(map(bool, changes)), sum(change > 0 for change in changes)
        if raised:
            up.append((key, raised, changed))
        else:
            down[changed] = min(key, down.get(changed, key))
    front: list[tuple[int, Key]] = []
    for changed in sorted(down):
        if not front or down[changed] < front[-1][1]:
            front.append((changed, down[changed]))
    best_up = min(up) if up else None
    return front, best_up if best_up is not None and best_up[0] < front[-1][1] else None


def told(tuning: PieceTuning) -> tuple[int, Key]:
    return tuning.retuned, tuning.plan.criteria.key


@pytest.mark.parametrize("seed", range(40))
def test_the_search_equals_planning_every_tuning(seed: int) -> None:
    performance, strung = random_case(seed)
    singles = seed % 3
    search = tuning_for(performance, strung, PLAYER, singles, effort=50)
    front, upward = exhaustive(performance, strung, singles)
    assert [told(tuning) for tuning in search.front] == front
    assert search.proved
    assert all(not tuning.tuned_up for tuning in search.front)
    if upward is None:
        assert search.upward is None
    else:
        assert search.upward is not None
        key = search.upward.plan.criteria.key
        assert (key, search.upward.tuned_up, search.upward.retuned) == upward
    assert search.tunings == len(list(all_tunings(strung, singles)))
    assert search.planned < search.tunings


def test_the_cases_are_worth_searching() -> None:
    """Else the test above would say little."""
    lengths, upward = [], 0
    for seed in range(40):
        performance, strung = random_case(seed)
        search = tuning_for(performance, strung, PLAYER, seed % 3)
        lengths.append(len(search.front))
        upward += search.upward is not None
    assert max(lengths) >= 3
    assert sum(length > 1 for length in lengths) >= 10
    assert upward >= 10


def test_each_plan_of_the_front_is_the_one_that_its_tuning_gets() -> None:
    search = searched("rain-on-the-skylight", "all", 0)
    for tuning in search.front:
        again = retuned(search.strung, tuning.plan.harp.tuning)
        assert again.strings == tuning.plan.harp.strings
        plan = make_plan(search.performance.plucks, again, DEFAULT_PLAYER)
        assert plan.criteria == tuning.plan.criteria
        assert plan.bound == tuning.plan.bound


@cache
def searched(name: str, levers: str, singles: int) -> TuningSearch:
    harp = relevered(find_harp("34"), levers)
    performance = perform_part(read_score(CORPUS / f"{name}.musicxml"))
    return tuning_for(performance, harp, DEFAULT_PLAYER, singles)


def test_a_piece_in_b_flat_on_a_harp_in_c() -> None:
    """As strung, raised A and D strings stand in for B flat and E flat where they have time. With both tuned
    flat the harp is in the key of the piece, and only the B flat below its lowest string is lost."""
    search = searched("rain-on-the-skylight", "all", 0)
    assert [(t.retuned, t.plan.harp.tuning, t.plan.criteria.lost) for t in search.front] == [
        (0, "C", 8),
        (4, "F", 4),
        (9, "B-flat", 1),
    ]
    assert search.advised is search.best
    assert [reason for reason in search.best.plan.lost if reason is not None] == ["below"]
    assert search.upward is None


def test_no_strings_are_retuned_for_little() -> None:
    """Nine strings lose 11 notes, which is clearly better than 18 but hardly better than the 13 of six."""
    performance = perform_part(read_score(CORPUS / "rain-on-the-skylight.musicxml"))
    search = tuning_for(performance, find_harp("22-fc"), DEFAULT_PLAYER, 1)
    lost = [(tuning.retuned, tuning.plan.criteria.lost) for tuning in search.front]
    assert lost == [(0, 31), (1, 25), (3, 18), (6, 13), (9, 11)]
    assert search.advised is search.front[3]
    one = replace(search, front=search.front[:2])
    assert one.advised is search.front[0], "six notes of 31 are not worth a string"
    assert replace(search, front=search.front[:3]).advised is search.front[2]


def test_single_strings_before_letters() -> None:
    search = searched("rain-on-the-skylight", "none", 2)
    names = [[search.strung.strings[i].name for c in t.changes for i in c.strings] for t in search.front]
    assert names[:3] == [[], ["B4"], ["B3", "B4"]]


def test_strings_tuned_up_are_told_apart_and_never_advised() -> None:
    search = searched("the-mill-turns", "none", 0)
    assert search.advised is search.front[0]
    assert search.upward is not None
    assert [retuning_text(search.strung, change) for change in search.upward.changes] == [
        "every F string up a semitone, to F sharp"
    ]
    text = "\n".join(line.text for line in search_lines(search))
    assert text.splitlines()[1] == "Retune nothing: no retuning makes it so much easier that it is worth it."
    assert "Only by tuning strings up\n  Every F string up a semitone, to F sharp: 2 notes lost" in text
    assert "Do not tune a string above the pitch it is made for" in text


def test_a_harp_in_e_flat_comes_back_up_only_with_the_caution() -> None:
    """Without levers a harp in E flat comes to G major only by tuning strings up."""
    strung = relevered(retuned(find_harp("34"), "E-flat"), "none")
    performance = perform_part(read_score(CORPUS / "lantern-waltz.musicxml"))
    search = tuning_for(performance, strung, DEFAULT_PLAYER)
    assert all(tuning.tuned_up == 0 for tuning in search.front)
    assert search.upward is not None
    assert search.upward.tuned_up > 0


def test_what_to_do_is_said_string_by_string() -> None:
    lines = [line.text for line in search_lines(searched("rain-on-the-skylight", "all", 0))]
    assert lines[:3] == [
        "Rain on the Skylight",
        "Tune every E string down a semitone, to E flat, and every B string down a",
        "semitone, to B flat.",
    ]
    start = lines.index("Before you start")
    assert lines[start : start + 5] == [
        "Before you start",
        "  - every E string down a semitone, to E flat: E6 (4), E5 (11), E4 (18), E3 (25)",
        "    and E2 (32); the piece plays only E5 and E3 of them.",
        "  - every B string down a semitone, to B flat: B5 (7), B4 (14), B3 (21) and B2",
        "    (28).",
    ]
    assert all(len(line) <= 80 for line in lines)
    plucked = {
        search_string.name
        for search_string in searched("rain-on-the-skylight", "all", 0).strung.strings
        for pluck in searched("rain-on-the-skylight", "all", 0).performance.plucks
        if pluck.pitch.diatonic == search_string.diatonic
    }
    assert {"E5", "E3"} <= plucked
    assert not {"E6", "E4", "E2"} & plucked


def test_retunings_by_letter_and_by_string() -> None:
    """E flat to a tuning in C but for one B: E and A up, B up but for B2; and F down two semitones."""
    before = retuned(find_harp("34"), "E-flat with F4 sharp")
    after = retuned(find_harp("34"), "C with B2 flat, F4 flat")
    found = retunings(before, after)
    assert [retuning_text(before, change) for change in found] == [
        "every E string up a semitone, to E natural",
        "F4 (17) down a whole tone, to F flat",
        "every A string up a semitone, to A natural",
        "B5 (7), B4 (14) and B3 (21) up a semitone, to B natural",
    ]


def test_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["retune", str(CORPUS / "rain-on-the-skylight.musicxml"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["format"] == "harpkeys/retune/1"
    assert (data["advised"], data["proved"], data["upward"], data["cautions"]) == (2, True, None, [])
    best = data["front"][2]
    assert best["tuning"] == "B-flat"
    assert [string["name"] for string in best["strings"]] == [
        *("E2", "B2", "E3", "B3", "E4", "B4", "E5", "B5", "E6"),
    ]
    assert best["strings"][0] == {"name": "E2", "number": 32, "from": 0, "to": -1, "played": False}


def test_mistakes_are_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["retune", str(CORPUS / "the-loom.musicxml"), "--single", "4"]) == 2
    assert capsys.readouterr() == (
        "",
        "4 single strings are more than are searched; give a number up to 3.\n",
    )
    with pytest.raises(OptionError):
        tuning_for(searched("the-loom", "all", 0).performance, find_harp("34"), DEFAULT_PLAYER, -1)

"""Comparisons: every cell is the plan that vet makes, no choice is beaten, advice keeps to its rule."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from harpkeys.choose.compare import Cell, Comparison, compare, every_signature, usual_tunings
from harpkeys.choose.grid import Case, Grid
from harpkeys.choose.recommend import clearly_easier, distance_text, easiest, recommend
from harpkeys.choose.transposition import Move, choose_move, move_of, moved_first_key, moved_plucks
from harpkeys.cli import main
from harpkeys.cli.compare import semitone_range
from harpkeys.cli.compare_view import comparison_lines
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER, PLAYERS
from harpkeys.harp.tunings import parse_tuning, relevered, retuned
from harpkeys.mark.transpose import transposed
from harpkeys.plan.ceiling import tempo_ceiling
from harpkeys.plan.model import Criteria
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, beat_moments, perform_part
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.container import parse_score_tree
from harpkeys.score.reader import read_score, score_from_tree

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
STRUNG = find_harp("34")


@cache
def performed(name: str) -> Performance:
    return perform_part(read_score(CORPUS / f"{name}.musicxml"))


@cache
def compared(name: str, low: int, high: int) -> Comparison:
    return compare(performed(name), STRUNG, DEFAULT_PLAYER, semitones=range(low, high + 1))


# Each cell is a plan of its own.


@pytest.mark.parametrize("name", ["the-mill-turns", "rain-on-the-skylight", "cellar-and-attic", "the-loom"])
def test_each_cell_is_what_vet_says_of_the_transposed_score(name: str) -> None:
    performance = performed(name)
    comparison = compared(name, -2, 6)
    assert len(comparison.cells) == 5 * 9
    for cell in comparison.cells[::4]:
        tree = transposed(performance.score.tree, cell.move).tree
        harp = retuned(STRUNG, cell.tuning)
        report = vet(score_from_tree(tree, ""), harp, DEFAULT_PLAYER, Wishes(effort=cell.effort))
        assert report.plan == cell.plan
        assert report.tempo.ceiling == cell.ceiling
        assert report.verdict == cell.verdict
        found = report.keys[0].key
        assert cell.key is not None
        assert (found.fifths, found.mode) == (cell.key.fifths, cell.key.mode)


@pytest.mark.parametrize(
    ("name", "levers"),
    [
        ("five-bridges", "all"),
        ("magpies-minuet", "F C B"),
        ("fog-on-the-cut", "none"),
        ("twice-round-the-well", "all"),
    ],
)
def test_shared_plans_are_those_that_each_cell_would_get_alone(name: str, levers: str) -> None:
    performance = performed(name)
    harp = relevered(STRUNG, levers)
    tunings = [*usual_tunings(harp), *map(parse_tuning, ("free: Bb F#", "E-flat with B2 natural", "C-sharp"))]
    cases = [
        Case(retuned(harp, tuning), move_of(performance.score, performance.parts, semitones))
        for tuning in tunings
        for semitones in (-12, -5, -2, 0, 1, 3, 6, 10, 24)
    ]
    planned = Grid(performance, DEFAULT_PLAYER).answers(cases, 0)
    assert planned.shapes < len(cases)
    for case, answer in zip(cases, planned.answers, strict=True):
        plucks = moved_plucks(performance, case.move)
        alone = make_plan(
            plucks,
            case.harp,
            DEFAULT_PLAYER,
            effort=0,
            first_key_alters=moved_first_key(performance, case.move),  # type: ignore[arg-type]
            beats=beat_moments(performance),
        )
        assert answer.plan == alone
        assert answer.ceiling == tempo_ceiling(alone, plucks, performance.at_factor)


def test_several_processes_give_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    performance = performed("crossing-lane")
    cases = [
        Case(retuned(STRUNG, tuning), move_of(performance.score, performance.parts, semitones))
        for tuning in ("C", "E-flat")
        for semitones in range(-3, 4)
    ]
    alone = Grid(performance, DEFAULT_PLAYER).answers(cases, 0)
    monkeypatch.setattr("harpkeys.choose.side_by_side.PATIENCE", 0)
    together = Grid(performance, DEFAULT_PLAYER, 2).answers(cases, 0)
    assert (alone.processes, together.processes) == (1, 2)
    assert together.answers == alone.answers


def test_moving_music_and_tuning_alike_changes_nothing() -> None:
    """Up a tone and tuned in D for C: the same plan a string higher."""
    performance = performed("lantern-waltz")
    move = move_of(performance.score, performance.parts, 2)
    cases = [Case(STRUNG, Move()), Case(retuned(STRUNG, "D"), move)]
    planned = Grid(performance, DEFAULT_PLAYER).answers(cases, 0)
    assert planned.shapes == 1
    first, second = (answer.plan for answer in planned.answers)
    assert [play and (play[0] + 1, play[1]) for play in first.plays] == list(second.plays)


PART = (
    '<part id="{id}"><measure number="1"><attributes><divisions>1</divisions><key><fifths>-3</fifths></key>'
    '</attributes>{first}</measure><measure number="2"><attributes><key><fifths>4</fifths></key></attributes>'
    "{second}</measure></part>"
)
TWO_HANDS = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Upper</part-name></score-part>'
    '<score-part id="P2"><part-name>Lower</part-name></score-part></part-list>{parts}</score-partwise>'
)


def notes(*names: str) -> str:
    """Quarters: "E4", "Bb3", "F#5"."""
    alters = {"": 0, "b": -1, "#": 1}
    return "".join(
        f"<note><pitch><step>{name[0]}</step><alter>{alters[name[1:-1]]}</alter><octave>{name[-1]}</octave>"
        "</pitch><duration>1</duration></note>"
        for name in names
    )


@pytest.mark.parametrize("part", ["P1", "P1+P2"])
def test_sections_spelled_twelve_fifths_away_are_planned_as_they_are_written(part: str) -> None:
    """E flat with a bar in E, moved to G: the bar is in A flat, not in G sharp, for each of joined parts."""
    upper = PART.format(id="P1", first=notes("Eb5", "G4", "Bb4"), second=notes("E5", "G#4", "B4", "D#5"))
    lower = PART.format(id="P2", first=notes("Eb3", "Bb3"), second=notes("E3", "A3", "C#4"))
    document = TWO_HANDS.format(parts=upper + lower)
    score = score_from_tree(parse_score_tree(document.encode()), "")
    performance = perform_part(score, part)
    comparison = compare(performance, STRUNG, DEFAULT_PLAYER, semitones=range(-4, 5))
    turned = 0
    for cell in comparison.cells:
        there = score_from_tree(transposed(score.tree, cell.move).tree, "")
        turned += any(cell.move.turn(key.fifths) for key in score.parts[0].keys)
        wishes = Wishes(part=part, effort=cell.effort)
        assert vet(there, retuned(STRUNG, cell.tuning), DEFAULT_PLAYER, wishes).plan == cell.plan
    assert turned >= 5


def test_a_limit_that_is_given_holds_for_every_cell() -> None:
    comparison = compare(performed("the-mill-turns"), STRUNG, DEFAULT_PLAYER, effort=0)
    assert {cell.effort for cell in comparison.cells} == {0}


# Which tunings, how spelled.


def test_the_usual_tunings_and_the_harps_own() -> None:
    assert [tuning.name for tuning in usual_tunings(STRUNG)] == ["C", "E-flat", "F", "A-flat", "B-flat"]
    own = retuned(STRUNG, "free: Bb F#")
    assert usual_tunings(own)[0].name == own.tuning
    assert " ".join(tuning.name for tuning in every_signature()) == (
        "C-flat G-flat D-flat A-flat E-flat B-flat F C G D A E B F-sharp C-sharp"
    )


SPELLINGS = [
    (0, [], 0, 0),
    (1, [0], 1, -5),  # C to D flat, five flats, not C sharp with seven sharps
    (6, [0], 3, 6),  # a tie of six sharps and six flats: the sharper, since levers raise
    (-1, [0], -1, 5),  # C to B
    (2, [-3], 1, -1),
    (-6, [2], -3, -4),  # D to A flat
    (12, [5], 7, 5),
    (1, [2, -2], 1, -3),  # D to E flat
]


@pytest.mark.parametrize(("semitones", "keys", "letters", "fifths"), SPELLINGS)
def test_the_opening_signature_gets_the_fewest_signs(
    semitones: int, keys: list[int], letters: int, fifths: int
) -> None:
    move = choose_move(semitones, keys)
    assert (move.letters, (keys or [0])[0] + move.fifths) == (letters, fifths)


def test_of_two_with_as_many_signs_the_other_signatures_decide() -> None:
    """C to F sharp or G flat, and F to B (5 signs) or C flat (7), but G to C sharp (7) or D flat (5)."""
    assert choose_move(6, [0, -1]).fifths == 6
    assert choose_move(6, [0, 1]).fifths == -6


# Rank, choices, advice.


def test_cells_are_ranked_and_no_choice_is_beaten() -> None:
    cells = compared("rain-on-the-skylight", -3, 3).cells
    choices = {*compared("rain-on-the-skylight", -3, 3).choices}
    assert [cell.rank for cell in cells] == sorted(cell.rank for cell in cells)

    def weighed(cell: Cell) -> tuple[tuple[int, ...], int, int, int]:
        return cell.plan.criteria.key, abs(cell.move.semitones), cell.retuned, cell.tuned_up

    def beats(one: Cell, other: Cell) -> bool:
        """Told once more, from the definition."""
        mine, theirs = weighed(one), weighed(other)
        lost = mine[0][0] + mine[0][1], theirs[0][0] + theirs[0][1]
        lighter = one.up <= other.up or lost[0] < lost[1]
        strictly = mine != theirs or one.up < other.up
        return all(a <= b for a, b in zip(mine, theirs, strict=True)) and lighter and strictly

    for index, cell in enumerate(cells):
        beaten = any(beats(other, cell) for other in cells)
        twin = any(weighed(other) == weighed(cell) and other.up == cell.up for other in cells[:index])
        assert (index in choices) == (not beaten and not twin)


def cell_with(criteria: Criteria, semitones: int = 0, retuned_strings: int = 0, tuned_up: int = 0) -> Cell:
    cell = compared("lantern-waltz", 0, 0).cells[0]
    return replace(
        cell,
        plan=replace(cell.plan, criteria=criteria),
        move=choose_move(semitones, [1]),
        retuned=retuned_strings,
        tuned_up=tuned_up,
    )


def criteria(lost: int = 0, cuts: int = 0, flips: int = 0, off_string: int = 0) -> Criteria:
    return Criteria(lost, 0, cuts, flips, off_string, 0)


CLEAR = [
    (criteria(lost=3), criteria(lost=4), False),  # a quarter of the losses
    (criteria(lost=2, flips=9), criteria(lost=3), True),  # a third
    (criteria(lost=4), criteria(lost=3, flips=30), False),
    (criteria(cuts=0, flips=12), criteria(cuts=1, flips=2), True),
    (criteria(flips=7), criteria(flips=10), False),  # three of ten are less than a third
    (criteria(flips=6), criteria(flips=9), True),
    (criteria(flips=1), criteria(flips=3), False),  # two are not felt,
    (criteria(flips=0), criteria(flips=2), True),  # unless they are the last
    (criteria(flips=0), criteria(flips=1), False),
    (criteria(off_string=1), criteria(flips=1, off_string=4), True),
]


@pytest.mark.parametrize(("one", "other", "wanted"), CLEAR)
def test_what_is_clearly_easier(one: Criteria, other: Criteria, wanted: bool) -> None:
    assert clearly_easier(one, other) is wanted


def test_trouble_is_taken_only_for_something() -> None:
    as_it_is = cell_with(criteria(flips=9))
    near = cell_with(criteria(flips=6), semitones=2)
    far = cell_with(criteria(flips=5), semitones=5)
    tuned = cell_with(criteria(flips=3), retuned_strings=14)
    up = cell_with(criteria(flips=0), retuned_strings=5, tuned_up=5)
    assert easiest([far, near, as_it_is]) is near
    assert easiest([far, near, as_it_is, tuned]) is tuned
    # Tuning strings up comes last, and is recommended only where it saves what no other choice does.
    assert easiest([far, near, as_it_is, tuned, up]) is up
    assert easiest([tuned, cell_with(criteria(flips=3), retuned_strings=5, tuned_up=5)]) is tuned


def test_the_advice_is_told_with_reason_and_price() -> None:
    advice = recommend(compared("rain-on-the-skylight", -3, 3))
    assert advice.what == "Play it a tone higher, in C major, with the harp as it is strung."
    assert advice.why == (
        "Nothing lost, 2 lever flips, the tightest with 1.9 s to spare.",
        "As written and as strung: 8 notes lost, 2 ringing notes cut short, 8 lever flips, 18 notes on a "
        "neighbouring string.",
        "The flips still fit at 2.85 times the tempo.",
    )
    assert advice.price == (
        "It sounds a tone higher than written, so others who play or sing along have to move too, and it has "
        "to be read from a transposed score.",
    )
    assert [text for text, _ in advice.otherwise] == [
        "At the written pitch: tune the harp to B-flat and play it as written (1 note lost, 2 lever flips)."
    ]


def test_lost_notes_are_told_with_the_reason() -> None:
    advice = recommend(compared("fog-on-the-cut", 0, 0))
    reasons = [reason for reason in advice.cell.plan.lost if reason is not None]
    assert (reasons.count("no time"), reasons.count("clash"), len(reasons)) == (3, 1, 4)
    assert advice.why[0] == (
        "4 notes lost (3 for lack of time, 1 clashing with another on its string), 1 lever flip, 1 note on a "
        "neighbouring string."
    )
    assert advice.price[-1] == "4 notes cannot be played; vet says which and what would mend it."


def test_tuning_up_carries_the_caution() -> None:
    flat = retuned(STRUNG, "E-flat")
    advice = recommend(compare(performed("lantern-waltz"), flat, DEFAULT_PLAYER, [parse_tuning("C")]))
    assert advice.cautions == (
        "Do not tune a string above the pitch it is made for: it may break and it loads the soundboard, "
        "wound strings most of all; ask the maker or a technician if unsure, and protect your eyes.",
    )
    assert advice.price[0] == (
        "14 strings to retune before: every E string up a semitone, to E natural; every A string up a "
        "semitone, to A natural; every B string up a semitone, to B natural."
    )


def test_distances_are_told_as_musicians_do() -> None:
    assert [distance_text(n) for n in (1, -2, 6, 7, 12, -14, 24, 25)] == [
        *("a semitone", "a tone", "a tritone", "a fifth", "an octave", "an octave and a tone"),
        *("2 octaves", "2 octaves and a semitone"),
    ]


# The command.


def test_json_and_csv_tell_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    words = [
        "compare",
        str(CORPUS / "the-loom.musicxml"),
        "--transpose",
        "-1..2",
        "--tuning",
        "F",
        "--tuning",
        "C",
    ]
    assert main([*words, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert main([*words, "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert data["format"] == "harpkeys/compare/1"
    assert len(rows) == len(data["cells"]) == 8
    for number, (row, cell) in enumerate(zip(rows, data["cells"], strict=True), 1):
        assert row["rank"] == str(number)
        assert (row["tuning"], int(row["semitones"])) == (cell["tuning"], cell["semitones"])
        assert (row["best"] == "yes") is cell["best"] is (number - 1 in data["choices"])
        for name in ("lost", "cuts", "flips", "off_string", "right_hand"):
            assert int(row[name]) == cell["criteria"][name]
        assert int(row["levers_up"]) == len(cell["starting_levers"])
        assert int(row["strings_retuned"]) == len(cell["retuned"])
        assert (row["proved"] == "yes") is cell["proved"]
        assert row["tempo_ceiling"] == ("" if cell["tempo_ceiling"] is None else str(cell["tempo_ceiling"]))


def test_the_table_marks_choices_and_says_how_many_rows_it_hides() -> None:
    comparison = compared("the-mill-turns", -12, 12)
    lines = [line.text for line in comparison_lines(comparison, recommend(comparison), 3)]
    start = next(number for number, line in enumerate(lines) if line.startswith("125 choices"))
    assert " ".join(lines[start + 1].split()) == "tuning pitch key lost cut flips up tune hardest to"
    shown = {*range(3), *comparison.choices}
    body = lines[start + 2 : start + 2 + len(shown)]
    assert sum(line.startswith("  *") for line in body) == len(comparison.choices)
    assert body[0] == "  *  C       0      Em      0    0      3   5     0  19: 0.45 s  1.42"
    assert lines[start + 2 + len(shown)] == f"  … and {125 - len(shown)} more; --rows 125 shows all."
    assert all(len(line) <= 80 for line in lines)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [(None, (0, 0)), ("-3..3", (-3, 3)), ("+2", (2, 2)), ("-12 to 12", (-12, 12)), ("0…5", (0, 5))],
)
def test_ranges_of_semitones(text: str | None, wanted: tuple[int, int]) -> None:
    found = semitone_range(text)
    assert (found[0], found[-1]) == wanted


@pytest.mark.parametrize("text", ["", "3..-3", "a tone", "-40..0", "1..2..3", "0..99"])
def test_ranges_that_cannot_be_read(text: str) -> None:
    with pytest.raises(OptionError) as caught:
        semitone_range(text)
    assert caught.value.sentence == (
        f"--transpose cannot be {text!r}; give semitones from -36 to 36, the lower first, such as -3..3."
    )


MISTAKES = [
    (["--json", "--csv"], "--json and --csv both say how to print; leave out one of them."),
    (["--all", "--tuning", "C"], "--all and --tuning both say which tunings; leave out one of them."),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_mistakes_are_one_sentence(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", str(CORPUS / "the-loom.musicxml"), *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")


def test_a_quicker_player_never_does_worse() -> None:
    """A law that holds of best plans: less time to flip leaves every plan possible."""
    slow = compare(performed("heron-standing"), STRUNG, PLAYERS[0], semitones=range(-1, 2))
    quick = compare(performed("heron-standing"), STRUNG, PLAYERS[2], semitones=range(-1, 2))
    by_case = {(cell.tuning, cell.move): cell for cell in quick.cells}
    pairs = [(cell, by_case[cell.tuning, cell.move]) for cell in slow.cells]
    assert all(one.plan.proved and other.plan.proved for one, other in pairs)
    assert all(other.plan.criteria.key[:3] <= one.plan.criteria.key[:3] for one, other in pairs)
    assert len(pairs) == 15

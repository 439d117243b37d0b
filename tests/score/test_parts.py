"""Choosing the harp's part."""

from __future__ import annotations

import pytest

from harpkeys.errors import PartError
from harpkeys.score.model import Part, Score
from harpkeys.score.parts import choose_part, is_harp


def part(identity: str, name: str = "", staves: int = 1, program: int | None = None, sound: str = "") -> Part:
    """A part without notes."""
    return Part(identity, name, staves, (), (), program, sound)


def score(*parts: Part) -> Score:
    """A score of these parts."""
    return Score("", 1, parts, ())


FLUTE = part("P1", "Flute", program=74)
HARP = part("P2", "Harp", staves=2)
PIANO = part("P3", "Piano", staves=2, program=1)

HARP_NAMES = (
    "Harp",
    "HARP 1",
    "Lever Harp",
    "lever-harp",
    "Celtic harps",
    "Harp (C)",
    "Harfe",
    "Hakenharfe",
    "Harfen",
    "Harpe celtique",
    "Harpes",
    "Arpa",
    "Arpa celtica",
    "Arpe",
    "Harpa",
    "Harppu",
    "Hárfa",
    "Telyn",
    "Clàrsach",
    "clarsach",
    "Cláirseach",
    "Telenn",
    "Арфа",
    "Άρπα",
    "竖琴",
    "竪琴",
    "ハープ",
    "하프",
    "Hp.",
    "Hrp. 1",
)

OTHER_NAMES = (
    "",
    "Harpsichord",
    "Harmonica",
    "Harmonium",
    "Autoharp",
    "Jew's harp",
    "Mouth Harp",
    "Blues harp",
    "Sharp",
    "Arpeggione",
    "Piano",
    "Harpeji",
    "C#arp",
    "Horn",
)


@pytest.mark.parametrize("name", HARP_NAMES)
def test_harp_names(name: str) -> None:
    assert is_harp(part("P1", name))


@pytest.mark.parametrize("name", OTHER_NAMES)
def test_other_names(name: str) -> None:
    assert not is_harp(part("P1", name))


def test_sound_and_program_tell_a_harp() -> None:
    assert is_harp(part("P1", "Part 1", sound="pluck.harp"))
    assert is_harp(part("P1", "Part 1", sound="pluck.harp.folk-harp"))
    assert is_harp(part("P1", "", program=47))
    assert not is_harp(part("P1", "", program=46))
    assert not is_harp(part("P1", "Harpsichord", program=47))
    assert not is_harp(part("P1", "", sound="pluck.guitar"))


def test_the_part_that_names_itself_a_harp() -> None:
    assert choose_part(score(FLUTE, PIANO, HARP), None) == (2,)
    assert choose_part(score(FLUTE, part("P9", "Celtic harp")), None) == (1,)


def test_the_first_of_several_harps() -> None:
    assert choose_part(score(FLUTE, HARP, part("P5", "Harp 2", staves=2))) == (1,)
    assert choose_part(score(part("P5", "Harp"), HARP)) == (0,)


def test_two_one_staff_harps_are_the_users_choice() -> None:
    with pytest.raises(PartError) as caught:
        choose_part(score(FLUTE, part("P2", "Harp right"), part("P3", "Harp left")))
    assert str(caught.value) == (
        "two one-staff parts are for harp: P2 (Harp right), P3 (Harp left); "
        'join them with --part "P2+P3", or name one.'
    )


def test_the_only_part() -> None:
    assert choose_part(score(FLUTE)) == (0,)


def test_the_only_part_with_two_staves() -> None:
    assert choose_part(score(FLUTE, PIANO)) == (1,)
    assert choose_part(score(FLUTE, PIANO), "  ") == (1,)


@pytest.mark.parametrize(
    "parts",
    [(FLUTE, part("P2", "Oboe")), (PIANO, part("P4", "Celesta", staves=2)), (FLUTE, part("P5", "Organ", 3))],
)
def test_no_telling(parts: tuple[Part, ...]) -> None:
    with pytest.raises(PartError) as caught:
        choose_part(score(*parts))
    labels = ", ".join(f"{part.id} ({part.name})" for part in parts)
    assert str(caught.value) == f"no telling which part is the harp's; choose one of {labels}."


@pytest.mark.parametrize(
    ("wanted", "index"),
    [("P3", 2), ("p3", 2), ("piano", 2), ("PIANO ", 2), ("3", 2), ("1", 0), ("Flute", 0), (" P2", 1)],
)
def test_wanted_by_id_name_or_number(wanted: str, index: int) -> None:
    assert choose_part(score(FLUTE, HARP, PIANO), wanted) == (index,)


def test_an_id_goes_before_a_number() -> None:
    assert choose_part(score(part("2", "Harp"), part("1", "Flute")), "1") == (1,)


def test_a_name_with_a_plus_is_one_part() -> None:
    assert choose_part(score(FLUTE, part("P2", "Flute+Oboe")), "flute+oboe") == (1,)


def test_two_one_staff_parts_are_joined_in_the_order_given() -> None:
    both = score(part("P1", "Left"), FLUTE, part("P3", "Right"))
    assert choose_part(both, "P3+P1") == (2, 0)
    assert choose_part(both, "right + left") == (2, 0)
    assert choose_part(both, "3+1") == (2, 0)


@pytest.mark.parametrize(
    ("wanted", "sentence"),
    [
        ("Oboe", "there is no part 'Oboe'; choose one of P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("4", "there is no part '4'; choose one of P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("0", "there is no part '0'; choose one of P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("P1+", "there is no part ''; choose from P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("P1+P9", "there is no part 'P9'; choose from P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("P1+P1", "a part cannot be joined with itself; choose two of P1 (Flute), P2 (Harp), P3 (Piano)."),
        ("P1+P2+P3", 'more than two parts are joined; join two one-staff parts, such as "P1+P2".'),
        (
            "P1+P2",
            "part P2 (Harp) has 2 staves, so it cannot be joined; "
            "name it alone, or join two one-staff parts.",
        ),
    ],
)
def test_wrong_wishes(wanted: str, sentence: str) -> None:
    with pytest.raises(PartError) as caught:
        choose_part(score(FLUTE, HARP, PIANO), wanted)
    assert str(caught.value) == sentence


def test_one_name_for_several_parts() -> None:
    with pytest.raises(PartError) as caught:
        choose_part(score(FLUTE, part("P2", "flute")), "FLUTE")
    assert str(caught.value) == ("several parts are named 'FLUTE'; choose one of P1 (Flute), P2 (flute).")


def test_long_lists_are_cut() -> None:
    many = score(*(part(f"P{number}") for number in range(1, 31)))
    with pytest.raises(PartError, match=r"P19, P20 and 10 more\.$"):
        choose_part(many)

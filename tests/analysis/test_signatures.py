"""Key signatures of a part and their levers."""

from __future__ import annotations

from harpkeys.analysis.signatures import find_signatures
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.tunings import key_alterations
from harpkeys.score.model import KeySignature, Part


def part_with(*keys: KeySignature) -> Part:
    return Part("P1", "Harp", 2, (), keys)


def signature(measure: int, fifths: int, *, onset: int = 0, staff: int | None = None) -> KeySignature:
    return KeySignature(measure, onset, staff, fifths, "major", key_alterations(fifths))


def test_levers_by_string_for_each_signature() -> None:
    harp = find_harp("22")
    keys = (signature(0, 2), signature(8, -1), signature(12, 0))
    first, flat, last = find_signatures(part_with(*keys), harp)
    assert (first.key, flat.key, last.key) == keys
    assert first.reached
    assert first.levers(harp) == ("C3", "F3", "C4", "F4", "C5", "F5", "C6")
    assert not flat.reached
    assert flat.out_of_reach(harp) == ("B3", "B4", "B5")
    assert last.levers(harp) == last.out_of_reach(harp) == ()


def test_page_order_and_single_staves() -> None:
    keys = (signature(4, 1, onset=6), signature(4, 2, staff=2), signature(0, 0))
    found = find_signatures(part_with(*keys), find_harp("34"))
    assert [(one.key.measure, one.key.onset, one.key.staff, one.key.fifths) for one in found] == [
        (0, 0, None, 0),
        (4, 0, 2, 2),
        (4, 6, None, 1),
    ]


def test_a_key_without_fifths_is_read_by_its_letters() -> None:
    key = KeySignature(0, 0, None, None, None, (0, 0, -1, 1, 0, 0, 0))
    harp = find_harp("22 in B-flat")
    (found,) = find_signatures(part_with(key), harp)
    assert found.reached
    assert found.levers(harp) == ("F3", "B3", "F4", "B4", "F5", "B5")


def test_a_part_without_signatures() -> None:
    assert find_signatures(part_with(), find_harp("34")) == ()

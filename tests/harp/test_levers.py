"""Reading which strings have a lever, and saying it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harpkeys.errors import HarpError
from harpkeys.harp.levers import levers_text, parse_levers
from harpkeys.harp.model import Harp, HarpString
from harpkeys.harp.tunings import make_harp
from harpkeys.pitch import diatonic_name

MEND = 'write "all", "none", letters such as "F C", strings such as "F4 C5", or "all but C2 D2"'
C4, COUNT = 28, 8  # C4 to C5


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("all", "C4 D4 E4 F4 G4 A4 B4 C5"),
        ("NONE", ""),
        ("F C B", "C4 F4 B4 C5"),
        ("F+C", "C4 F4 C5"),
        ("FCB", "C4 F4 B4 C5"),
        ("f", "F4"),
        ("F4, C5", "F4 C5"),
        ("F4-A4", "F4 G4 A4"),
        ("F4 to A4 C", "C4 F4 G4 A4 C5"),
        ("all but C4 D4 E4", "F4 G4 A4 B4 C5"),
        ("all except C4-E4", "F4 G4 A4 B4 C5"),
        ("C F but C4", "F4 C5"),
        ("none but F", ""),
    ],
)
def test_levers_are_read(text: str, names: str) -> None:
    found = parse_levers(text, C4, COUNT)
    assert " ".join(diatonic_name(d) for d in sorted(found)) == names


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", f'the levers "" name no string; {MEND}.'),
        ("all but", f'the levers "all but" name no string; {MEND}.'),
        ("all but C but D", f'the levers "all but C but D" say "but" twice; {MEND}.'),
        ("X", f'"X" in the levers "X" cannot be read; {MEND}.'),
        ("F#4", f'"F#4" in the levers "F#4" cannot be read; {MEND}.'),
        ("all F", f'"all" in the levers "all F" cannot be read; {MEND}.'),
        ("C4-D4-E4", f'"C4-D4-E4" in the levers "C4-D4-E4" cannot be read; {MEND}.'),
        ("F3", 'the levers "F3" name F3, which the harp does not have; its strings are C4 to C5.'),
        ("A4-F4", 'the levers "A4-F4" run downwards; write the lower string first.'),
    ],
)
def test_wrong_levers_are_told(text: str, sentence: str) -> None:
    with pytest.raises(HarpError) as caught:
        parse_levers(text, C4, COUNT)
    assert str(caught.value) == sentence


def test_a_letter_the_harp_lacks() -> None:
    with pytest.raises(HarpError) as caught:
        parse_levers("F C", C4, 3)
    assert str(caught.value) == f'the harp has no F string for the levers "F C"; {MEND}.'


@pytest.mark.parametrize(
    "text", ["all", "none", "F", "F C G", "all but B", "F4 C5", "all but C2 D2 E2", "F2 C3 F3 C4"]
)
def test_levers_are_said_in_the_shortest_way(text: str) -> None:
    assert levers_text(make_harp("Rowan", "C2", 34, levers=text)) == text


@given(st.integers(0, 40), st.lists(st.booleans(), min_size=1, max_size=30))
def test_what_is_said_reads_back(lowest: int, levers: list[bool]) -> None:
    harp = Harp("h", "C", tuple(HarpString(lowest + k, 0, lever) for k, lever in enumerate(levers)))
    found = parse_levers(levers_text(harp), lowest, len(levers))
    assert found == {string.diatonic for string in harp.strings if string.lever}


@given(st.text(max_size=30))
def test_any_text_is_read_or_told(text: str) -> None:
    try:
        found = parse_levers(text, C4, COUNT)
    except HarpError:
        return
    assert found <= set(range(C4, C4 + COUNT))

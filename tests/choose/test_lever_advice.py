"""Advice on base tunings.

The rules are the module's own (stated assumptions); the results are held to the trade notes where these
speak: usual base tunings for full lever sets E-flat and C; with partial sets or none C, or F when the B
strings are tuned flat.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from harpkeys.choose.called_out import parse_called
from harpkeys.choose.lever_advice import advise, commonest_half, counted_signatures, judge
from harpkeys.choose.scales import Scale
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp
from harpkeys.harp.tunings import relevered
from harpkeys.pitch import LETTERS


def harp_with(levers: str) -> Harp:
    return relevered(find_harp("26"), levers)


def keys(text: str) -> tuple[Scale, ...]:
    found = tuple(parse_called(word).sounding[0] for word in text.split(", "))
    return tuple(scale for scale in found if isinstance(scale, Scale))


ADVICE = [
    # Levers, usual keys, tuning for a learner, tuning for an experienced player.
    ("all", "", "C", "E-flat"),
    ("F C", "", "C", "C"),
    ("F C B", "", "F", "F"),
    ("F", "", "C", "C"),
    ("F C G", "", "C", "C"),
    ("none", "C, A minor", "C", "C"),
    ("none", "F", "F", "F"),
    ("all", "G, D", "C", "E-flat"),
    ("all", "F, Bb, G minor", "B-flat", "E-flat"),
    ("all", "Eb, C minor", "E-flat", "E-flat"),
    # Only C and F reach six sharps, and C has the fewer levers up.
    ("all", "F#", "C", "F"),
]


@pytest.mark.parametrize(("levers", "usual", "learner", "experienced"), ADVICE)
def test_advice(levers: str, usual: str, learner: str, experienced: str) -> None:
    advice = advise(harp_with(levers), keys(usual) if usual else ())
    assert (advice.learner.harp.tuning, advice.experienced.harp.tuning) == (learner, experienced)


def test_a_base_of_b_fifths_reaches_eight_signatures() -> None:
    # Arithmetic.
    for tuning, fifths in (("C", 0), ("F", -1), ("B-flat", -2), ("E-flat", -3), ("A-flat", -4)):
        judged = judge(harp_with("all"), tuning, ())
        assert judged.signatures == tuple(range(fifths, fifths + 8))


def test_the_share_of_tunes_is_the_sum_of_their_counts() -> None:
    counts = counted_signatures()
    judged = judge(harp_with("F C"), "C", ())
    assert judged.tunes == counts[0] + counts[1] + counts[2]
    up = Fraction(counts[1] + 2 * counts[2], judged.tunes)
    assert judged.common_up == up


def test_levers_up_on_average_over_the_usual_keys() -> None:
    # From E-flat G needs four letters, D five (Shabkie, "Alternate E-flat tuning").
    judged = judge(harp_with("all"), "E-flat", keys("G, D"))
    assert judged.levers_up == Fraction(9, 2)
    assert judged.missed == ()


def test_usual_keys_out_of_reach_are_named() -> None:
    judged = judge(harp_with("F C"), "C", keys("G, F, A minor, A harmonic minor"))
    assert [scale.name for scale in judged.missed] == ["F major", "A harmonic minor"]
    assert judged.levers_up == Fraction(1, 2)


def test_levers_that_are_never_used() -> None:
    in_c = judge(harp_with("F C B"), "C", ())
    in_f = judge(harp_with("F C B"), "F", ())
    assert [LETTERS[letter] for letter in in_c.idle] == ["B"]
    assert in_f.idle == ()
    # A usual key may use a lever that no signature needs.
    in_g = judge(harp_with("F G"), "C", keys("A harmonic minor"))
    assert in_g.idle == ()


def test_the_commonest_half_is_half() -> None:
    counts = counted_signatures()
    half = commonest_half()
    covered = sum(counts[scale.fifths] for scale in half)
    assert 2 * covered >= counts.total()
    assert 2 * (covered - counts[half[-1].fifths]) < counts.total()
    assert all(scale.kind == "major" for scale in half)

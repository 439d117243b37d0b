"""Laws that hold whatever the score: changes after which nothing may change, or nothing may get worse.

The scores are the demo scores on the harps of their sidecars and seeded ones of music21's corpus (all of them
with HARPKEYS_WHOLE_CORPUS=1). The laws follow from the planning problem: what can be played under the
stricter conditions can be played under the easier ones as it stands. Of plans that are not proved only the
bounds are compared.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from typing import Any

import law_scores as laws
import pytest
from law_scores import PIECES, Piece, is_no_worse, is_the_same, performed, plan_of, planned, played

from harpkeys.choose.transposition import Move
from harpkeys.errors import OptionError
from harpkeys.mark.document import marked_tree, serialised
from harpkeys.mark.transpose import REMARKS, transposed
from harpkeys.plan.model import Plan
from harpkeys.report.performance import Performance
from harpkeys.score.container import parse_score_tree

by_piece = pytest.mark.parametrize("piece", PIECES, ids=str)
by_document = pytest.mark.parametrize(
    "piece", list({piece.path: piece for piece in PIECES}.values()), ids=str
)


def sounds(performance: Performance) -> list[tuple[Any, ...]]:
    """What is played, whatever the order within one moment."""
    return sorted((p.onset, p.end, p.pitch.midi, p.hand, str(p.kind)) for p in performance.plucks)


@pytest.mark.parametrize("move", [Move(12, 7), Move(5, 3), Move(-7, -4), Move(2, 1)], ids=str)
@by_piece
def test_transposing_score_and_harp_together_changes_nothing(piece: Piece, move: Move) -> None:
    harp = laws.moved(piece.harp, move.letters, move.semitones)
    try:
        result = transposed(piece.tree, move)
    except OptionError:
        pytest.skip("a note would leave the octaves that can be written")
    if REMARKS["unmoved"] in result.remarks:
        pytest.skip("percussion, which is not moved")
    if harp is None or any("respelled" in remark or "twelve fifths" in remark for remark in result.remarks):
        pytest.skip("beyond single signs")
    performance = played(result.tree, piece.part)
    after, before = sounds(performance), sounds(performed(piece))
    assert after == [(o, e, midi + move.semitones, *rest) for o, e, midi, *rest in before]
    assert is_the_same(planned(performance, harp, piece.player), plan_of(piece))


@by_piece
def test_adding_unused_strings_changes_nothing(piece: Piece) -> None:
    performance = performed(piece)
    harp = laws.with_unused_strings(piece.harp, {pluck.pitch.midi for pluck in performance.plucks})
    if len(harp.strings) == len(piece.harp.strings):
        pytest.skip("every string that could be added sounds a pitch of the piece")
    assert is_the_same(planned(performance, harp, piece.player), plan_of(piece))


@pytest.mark.parametrize("scale", [Fraction(9, 10), Fraction(1, 2), Fraction(1, 5)], ids=str)
@by_piece
def test_a_slower_tempo_is_never_worse(piece: Piece, scale: Fraction) -> None:
    """A flip that starts at f may start at f / scale; what that gains is far more than rounding can cost."""
    performance = played(piece.tree, piece.part, scale)
    assert is_no_worse(planned(performance, piece.harp, piece.player), plan_of(piece))


@by_piece
def test_adding_levers_is_never_worse(piece: Piece) -> None:
    performance = performed(piece)
    fewer = laws.without_levers(piece.harp, str(piece))
    before = planned(performance, fewer, piece.player)
    assert is_no_worse(plan_of(piece), before)
    for harp in laws.with_levers(fewer, str(piece)):
        assert is_no_worse(planned(performance, harp, piece.player), before)


@pytest.mark.parametrize("time", ["flip", "leave", "place"])
@by_piece
def test_a_slower_hand_is_never_better(piece: Piece, time: str) -> None:
    slower = replace(piece.player, **{time: getattr(piece.player, time) * 3 // 2 + 100})
    assert is_no_worse(plan_of(piece), planned(performed(piece), piece.harp, slower))


@by_document
def test_a_repeat_written_out_gives_the_plan_of_the_repeat(piece: Piece) -> None:
    if not laws.has_jumps(piece.tree) or laws.has_metronomes_only(piece.tree):
        pytest.skip("nothing to write out")
    performance = played(laws.written_out(piece.tree), piece.part)
    assert len(performance.timeline.visits) == len(performance.score.measures)
    assert sounds(performance) == sounds(performed(piece))
    assert is_the_same(planned(performance, piece.harp, piece.player), plan_of(piece))


@by_document
def test_the_order_of_parts_in_the_file_changes_nothing(piece: Piece) -> None:
    score = performed(piece).score
    if len(score.parts) < 2:
        pytest.skip("one part")
    chosen = "+".join(score.parts[index].id for index in performed(piece).parts)
    performance = played(laws.parts_reversed(piece.tree), chosen)
    assert sounds(performance) == sounds(performed(piece))
    assert is_the_same(planned(performance, piece.harp, piece.player), plan_of(piece))


@by_document
def test_the_order_of_voices_in_the_file_changes_nothing(piece: Piece) -> None:
    tree, changed = laws.voices_reversed(piece.tree)
    if not changed:
        pytest.skip("no bar of several voices")
    performance = played(tree, piece.part)
    assert sounds(performance) == sounds(performed(piece))
    assert is_the_same(planned(performance, piece.harp, piece.player), plan_of(piece))


@by_piece
def test_a_marked_score_vets_like_the_unmarked(piece: Piece) -> None:
    before = plan_of(piece)
    tree = parse_score_tree(serialised(marked_tree(performed(piece), before)))
    performance = played(tree, piece.part)
    assert [p.pitch.midi for p in performance.plucks] == [p.pitch.midi for p in performed(piece).plucks]
    after = planned(performance, piece.harp, piece.player)
    assert (after.criteria, after.proved, after.flips) == (before.criteria, before.proved, before.flips)


# That the laws are asked at all, and can fail.


def test_each_law_meets_scores_that_it_is_about() -> None:
    trees = {piece.path: piece.tree for piece in PIECES}.values()
    met: Counter[str] = Counter()
    for tree in trees:
        met["jumps"] += laws.has_jumps(tree) and not laws.has_metronomes_only(tree)
        met["voices"] += laws.voices_reversed(tree)[1] > 0
        met["parts"] += len(tree.getroot().findall("part")) > 1
    assert min(met["jumps"], met["voices"], met["parts"]) >= 3, met
    assert sum(plan_of(piece).proved for piece in PIECES) >= len(PIECES) * 3 // 4
    assert sum(bool(plan_of(piece).flips) for piece in PIECES) >= 10


def worsened(plan: Plan) -> Plan:
    """A plan with a flip more than there is."""
    criteria = replace(plan.criteria, flips=plan.criteria.flips + 1)
    return replace(plan, criteria=criteria, bound=criteria.key)


def test_a_planted_fault_is_seen() -> None:
    for piece in PIECES:
        plan = plan_of(piece)
        if plan.proved:
            assert is_the_same(plan, plan)
            assert not is_the_same(plan, worsened(plan))
            assert is_no_worse(plan, worsened(plan))
            assert not is_no_worse(worsened(plan), plan)

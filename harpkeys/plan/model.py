"""A lever plan as a value, and the criteria by which plans are compared.

Words and rules are those of the planning problem, sections 4 to 6. Times are whole milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from harpkeys.harp.model import Harp, Player
from harpkeys.score.pluck import Hand

LostReason = Literal["below", "above", "no lever", "clash", "no time"]


@dataclass(frozen=True, slots=True)
class Flip:
    """One lever movement.

    Attributes:
        id: its index in playing order.
        string: index of the string, lowest 0.
        to: the state it brings, 0 down or 1 up.
        hand: the hand that makes it.
        start: when it starts.
        after: id of the last pluck played on the string before it (the one of latest end among equals).
        before: id of the next pluck played on the string after it, which it prepares.
        cut: how much of the ringing note is cut off, 0 for a clean flip.
        is_cut: whether it starts before the note it follows has ended.
        slack: how much later it could start with everything else in place.
    """

    id: int
    string: int
    to: int
    hand: Hand
    start: int
    after: int
    before: int
    cut: int
    is_cut: bool
    slack: int


@dataclass(frozen=True, slots=True)
class Criteria:
    """What a plan costs. `key` is compared lexicographically, smaller is better."""

    lost: int
    lost_auxiliaries: int
    cuts: int
    flips: int
    off_string: int
    right_hand: int

    @property
    def key(self) -> tuple[int, int, int, int, int, int]:
        """The six criteria in order: lost, lost auxiliaries, cuts, flips + off-string, flips, right hand."""
        return (
            self.lost,
            self.lost_auxiliaries,
            self.cuts,
            self.flips + self.off_string,
            self.flips,
            self.right_hand,
        )


@dataclass(frozen=True, slots=True)
class Layers:
    """Which layers of the planner were needed.

    Attributes:
        clusters: contested clusters left after the fast path.
        searched: how many of them the cluster search settled.
        solved: how many of them went to the solver.
    """

    clusters: int = 0
    searched: int = 0
    solved: int = 0


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan for a list of plucks on a harp by a player.

    Attributes:
        harp, player: whom it is for.
        plays: for each pluck the (string index, state) it is played on, or None where it is lost.
        lost: for each pluck why it is lost, None where it is played.
        starting: state of every string at the start.
        flips: in playing order.
        criteria: what it costs (with all loss weights 1; weights steer the choice, not this count).
        bound: six criteria that no plan undercuts in lexicographic order, losses counted by their weights.
        proved: whether the plan costs no more than `bound`.
        layers: which layers were needed.
    """

    harp: Harp
    player: Player
    plays: tuple[tuple[int, int] | None, ...]
    lost: tuple[LostReason | None, ...]
    starting: tuple[int, ...]
    flips: tuple[Flip, ...]
    criteria: Criteria
    bound: tuple[int, int, int, int, int, int]
    proved: bool
    layers: Layers = Layers()

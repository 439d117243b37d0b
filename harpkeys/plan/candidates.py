"""Which string can give which pluck, and which strings must be thought about at all.

A pluck's candidates are every (string, state) that sounds its pitch (section 2 of the planning problem).
Most strings of most pieces are asked for one state only; they cost nothing and need no thought. The rest,
with the strings they share a pitch with, fall into **chains**: sets of strings whose choices hang together
through shared pitches. Chains meet only where their flips want the same hand at the same time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from harpkeys.harp.model import Harp
from harpkeys.plan.cost import LOST, LOST_AUXILIARY, OFF_STRING
from harpkeys.plan.model import LostReason
from harpkeys.score.pluck import Pluck

Candidate = tuple[int, int]
"""A string's index and a lever state."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A pluck that needs thought.

    Attributes:
        pluck: its id.
        onset, end: milliseconds.
        candidates: where it can be played; the string it is written on first, where that is one.
        own: the string it is written on, None outside the harp.
        price: packed cost of losing it.
    """

    pluck: int
    onset: int
    end: int
    candidates: tuple[Candidate, ...]
    own: int | None
    price: int


@dataclass(frozen=True, slots=True)
class Chain:
    """Strings whose choices hang together, and the plucks they could play, by onset.

    Attributes:
        strings: string indexes, ascending.
        choices: the plucks in performed order.
    """

    strings: tuple[int, ...]
    choices: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class Sorted:
    """The plucks of a piece sorted by how much thought they need.

    Attributes:
        plays: the (string, state) of each pluck that needs none; None for lost ones and for those in chains.
        lost: why a pluck without candidates is lost; None for all others.
        cost: packed cost of these: losses and off-string plucks that no plan avoids.
        chains: the rest.
    """

    plays: list[Candidate | None]
    lost: list[LostReason | None]
    cost: int
    chains: tuple[Chain, ...]


def candidate_table(harp: Harp) -> dict[int | Fraction, tuple[Candidate, ...]]:
    """Every (string, state) by the MIDI number it sounds."""
    table: dict[int | Fraction, list[Candidate]] = {}
    for index, string in enumerate(harp.strings):
        down = string.down
        table.setdefault(down, []).append((index, 0))
        if string.lever:
            table.setdefault(down + 1, []).append((index, 1))
    return {midi: tuple(candidates) for midi, candidates in table.items()}


def price_of(pluck: Pluck, weight: int) -> int:
    """Packed cost of losing a pluck."""
    return weight * (LOST_AUXILIARY if pluck.kind == "auxiliary" else LOST)


def sort_plucks(plucks: Sequence[Pluck], harp: Harp, weights: Sequence[int] | None = None) -> Sorted:
    """Settle every pluck that needs no thought and gather the rest into chains.

    A string that all plucks written on it want in one state, and that no contested string shares a pitch
    with, plays them all at no cost; that is the least any plan can pay, so nothing is lost by settling it.

    Args:
        plucks: in performed order.
        harp: the harp.
        weights: loss weight of each pluck, 1 where None.

    Returns:
        What is settled, and the chains.
    """
    table = candidate_table(harp)
    lowest, count = harp.lowest, len(harp.strings)
    plays: list[Candidate | None] = [None] * len(plucks)
    lost: list[LostReason | None] = [None] * len(plucks)
    wanted = [0] * count
    cost = 0
    memo: dict[int, tuple[tuple[Candidate, ...], int]] = {}
    found: list[tuple[Candidate, ...]] = []
    for position, pluck in enumerate(plucks):
        pitch = pluck.pitch
        entry = memo.get(id(pitch))
        if entry is None:
            own = pitch.diatonic - lowest
            candidates = table.get(pitch.midi, ())
            if len(candidates) > 1:
                candidates = tuple(sorted(candidates, key=lambda c, own=own: (c[0] != own, c)))  # type: ignore[misc]
            entry = memo[id(pitch)] = (candidates, own)
        candidates, own = entry
        found.append(candidates)
        if candidates:
            first = plays[position] = candidates[0]
            wanted[first[0]] |= 1 << first[1]
            if first[0] != own:
                cost += OFF_STRING
        else:
            lost[position] = "below" if own < 0 else "above" if own >= count else "no lever"
            cost += price_of(pluck, weights[position] if weights else 1)
    contested = {index for index, states in enumerate(wanted) if states == 3}
    if not contested:
        return Sorted(plays, lost, cost, ())
    chain_of = _grow(contested, set(found))
    members: dict[int, list[Choice]] = {}
    for position, candidates in enumerate(found):
        if not candidates or candidates[0][0] not in chain_of:
            continue
        pluck = plucks[position]
        own = pluck.pitch.diatonic - lowest
        if candidates[0][0] != own:
            cost -= OFF_STRING
        plays[position] = None
        members.setdefault(chain_of[candidates[0][0]], []).append(
            Choice(
                position,
                pluck.onset,
                pluck.end,
                candidates,
                own if 0 <= own < count else None,
                price_of(pluck, weights[position] if weights else 1),
            )
        )
    strings: dict[int, list[int]] = {}
    for index, root in chain_of.items():
        strings.setdefault(root, []).append(index)
    chains = tuple(Chain(tuple(sorted(strings[root])), tuple(members[root])) for root in sorted(members))
    return Sorted(plays, lost, cost, chains)


def _grow(contested: set[int], shared: set[tuple[Candidate, ...]]) -> dict[int, int]:
    """The chain (named by its lowest string) of every string reachable from a contested one."""
    root: dict[int, int] = {}

    def find(index: int) -> int:
        while root.get(index, index) != index:
            index = root[index]
        return index

    for candidates in shared:
        if len(candidates) > 1:
            names = sorted({find(string) for string, _ in candidates})
            for name in names:
                root[name] = names[0]
            for string, _ in candidates:
                root.setdefault(string, names[0])
    alive = {find(index) for index in contested}
    strings = set(root) | contested
    return {index: find(index) for index in strings if find(index) in alive}

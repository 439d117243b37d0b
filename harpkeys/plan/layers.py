"""A chain unrolled in time: one layer per onset, with the sensible ways to play it.

At one onset each string of a chain stands in one state, so each way to play a layer gives every string at
most one state; of the ways that leave the strings alike (same states, same latest ends) only the cheapest is
kept. Losing the longer of two plucks that share a string, a state and an onset is a way of its own, since the
string may then change earlier.
"""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.plan.candidates import Candidate, Chain, Choice
from harpkeys.plan.cost import OFF_STRING
from harpkeys.plan.windows import Fits, release_of

Effect = tuple[int, int] | None
"""What a way to play does to a string: the state it needs and the latest end, or nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Node:
    """A string played at a layer in a state: all that later changes of that string depend on.

    Attributes:
        position: the string's position in its chain.
        state: 0 down, 1 up.
        layer: index of the layer.
        end: latest end of the plucks played there, milliseconds.
        release: first moment the string may change.
        fits: earliest start of a flip by each tier: clean left, clean right, cut left, cut right.
    """

    position: int
    state: int
    layer: int
    end: int
    release: int
    fits: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """One way to play a layer.

    Attributes:
        cost: packed cost of what is lost or played off its string.
        nodes: the strings it plays.
        plays: (pluck id, candidate) of each pluck played.
    """

    cost: int
    nodes: tuple[Node, ...]
    plays: tuple[tuple[int, Candidate], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """All plucks of a chain at one onset.

    Attributes:
        index: its place in the chain.
        onset: milliseconds.
        latest: last moment at which a flip that prepares it can start.
        ways: how it can be played, cheapest first.
        choices: its plucks.
        skip: packed cost of losing all of it.
    """

    index: int
    onset: int
    latest: int
    ways: tuple[Way, ...]
    choices: tuple[Choice, ...]
    skip: int


def unroll(chain: Chain, fits: tuple[Fits, Fits], flip: int) -> tuple[Layer, ...]:
    """The layers of a chain, by onset.

    Args:
        chain: the chain.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """
    positions = {string: place for place, string in enumerate(chain.strings)}
    layers: list[Layer] = []
    choices = chain.choices
    start = 0
    while start < len(choices):
        onset = choices[start].onset
        stop = start + 1
        while stop < len(choices) and choices[stop].onset == onset:
            stop += 1
        group = choices[start:stop]
        index = len(layers)
        nodes: dict[tuple[int, int, int], Node] = {}
        ways = tuple(
            Way(
                cost, tuple(_node(nodes, p, e, onset, index, fits) for p, e in enumerate(effects) if e), plays
            )
            for effects, (cost, plays) in _ways(group, positions)
        )
        layers.append(Layer(index, onset, onset - flip, ways, group, sum(choice.price for choice in group)))
        start = stop
    return tuple(layers)


def _node(
    nodes: dict[tuple[int, int, int], Node],
    position: int,
    effect: tuple[int, int],
    onset: int,
    layer: int,
    fits: tuple[Fits, Fits],
) -> Node:
    state, end = effect
    key = (position, state, end)
    node = nodes.get(key)
    if node is None:
        left, right = fits
        release = release_of(onset, end)
        four = (left.earliest(end), right.earliest(end), left.earliest(release), right.earliest(release))
        node = nodes[key] = Node(position, state, layer, end, release, four)
    return node


_Plays = tuple[tuple[int, Candidate], ...]


def _ways(
    group: tuple[Choice, ...], positions: dict[int, int]
) -> list[tuple[tuple[Effect, ...], tuple[int, _Plays]]]:
    """The cheapest way for each effect on the strings, without those that another beats outright."""
    table: dict[tuple[Effect, ...], tuple[int, _Plays]] = {(None,) * len(positions): (0, ())}
    for choice in group:
        grown: dict[tuple[Effect, ...], tuple[int, _Plays]] = {}
        for effects, (cost, plays) in table.items():
            _offer(grown, effects, cost + choice.price, plays)
            for candidate in choice.candidates:
                string, state = candidate
                place = positions[string]
                effect = effects[place]
                if effect is not None and effect[0] != state:
                    continue
                end = choice.end if effect is None or effect[1] < choice.end else effect[1]
                after = (*effects[:place], (state, end), *effects[place + 1 :])
                price = cost if string == choice.own else cost + OFF_STRING
                _offer(grown, after, price, (*plays, (choice.pluck, candidate)))
        table = grown
    ranked = sorted(table.items(), key=lambda item: item[1][0])
    kept: list[tuple[tuple[Effect, ...], tuple[int, _Plays]]] = []
    for effects, value in ranked:
        if not any(_no_worse(other, effects) for other, _ in kept):
            kept.append((effects, value))
    return kept


def _offer(
    table: dict[tuple[Effect, ...], tuple[int, _Plays]], effects: tuple[Effect, ...], cost: int, plays: _Plays
) -> None:
    known = table.get(effects)
    if known is None or cost < known[0]:
        table[effects] = (cost, plays)


def _no_worse(one: tuple[Effect, ...], other: tuple[Effect, ...]) -> bool:
    """Whether `one` leaves every string in the same state and free at least as early as `other`."""
    for mine, theirs in zip(one, other, strict=True):
        if mine is None or theirs is None:
            if mine is not theirs:
                return False
        elif mine[0] != theirs[0] or mine[1] > theirs[1]:
            return False
    return True

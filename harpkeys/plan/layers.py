"""A chain unrolled in time: one layer per run of its skeleton, with the ways to play it and what they leave.

A **node** is a string played at a layer in a state; with it stands what later changes of that string depend
on: from when on a flip by each tier fits, given the free time that string may use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harpkeys.plan.candidates import Candidate, Chain
from harpkeys.plan.skeleton import Ransoms, Skeleton, skeleton_of
from harpkeys.plan.windows import Fits


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
        ransom: upper limit of what it costs to follow any other label on this string from here: to lose all
            plucks of the other state until a flip fits, and then the dearest flip.
    """

    position: int
    state: int
    layer: int
    end: int
    release: int
    fits: tuple[int, int, int, int]
    ransom: int


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
    """All plucks of a chain in one run.

    Attributes:
        index: its place in the chain.
        latest: last moment at which a flip that prepares it can start, milliseconds.
        ways: how it can be played, cheapest first.
    """

    index: int
    latest: int
    ways: tuple[Way, ...]


def unroll(chain: Chain, fits: tuple[Fits, Fits], flip: int) -> tuple[Layer, ...]:
    """The layers of a chain that has both hands to itself.

    Args:
        chain: the chain.
        fits: usable stretches of the left and right hand.
        flip: time to move a lever, milliseconds.
    """
    return flesh_out(skeleton_of(chain, fits, flip), [fits] * len(chain.strings))


def flesh_out(skeleton: Skeleton, fits: Sequence[tuple[Fits, Fits]]) -> tuple[Layer, ...]:
    """The layers of a skeleton.

    Args:
        skeleton: the chain cut into runs.
        fits: for each string of the chain, the stretches of the left and right hand that it may use, among
            those for which the skeleton was made.
    """
    layers: list[Layer] = []
    for index, (latest, shapes) in enumerate(zip(skeleton.latests, skeleton.shapes, strict=True)):
        nodes: dict[tuple[int, int, int, int], Node] = {}
        ways = []
        for effects, (cost, plays) in shapes:
            played = [
                _node(nodes, place, effect, index, fits, skeleton.ransoms)
                for place, effect in enumerate(effects)
                if effect
            ]
            ways.append(Way(cost, tuple(played), plays))
        layers.append(Layer(index, latest, tuple(ways)))
    return tuple(layers)


def _node(
    nodes: dict[tuple[int, int, int, int], Node],
    position: int,
    effect: tuple[int, int, int],
    layer: int,
    fits: Sequence[tuple[Fits, Fits]],
    ransoms: Ransoms,
) -> Node:
    key = (position, *effect)
    node = nodes.get(key)
    if node is None:
        state, end, release = effect
        left, right = fits[position]
        four = (left.earliest(end), right.earliest(end), left.earliest(release), right.earliest(release))
        ransom = ransoms.of(position, state, layer, min(four[2], four[3]))
        node = nodes[key] = Node(position, state, layer, end, release, four, ransom)
    return node

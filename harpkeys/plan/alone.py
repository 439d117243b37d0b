"""The best plan of one chain if it had both hands to itself: a shortest path over its layers.

State: for each string of the chain the node it was last played at (its state, and from when it may change).
Recurrence, over layers in order of onset: a label (cost, nodes) is extended by each way to play the layer;
where a string must change state between its last node and this layer, the cheapest tier of flip that fits
between them is added, and without one the extension is not possible. The answer is the cheapest label after
the last layer. Not counted: that two flips may want the same hand at once; `clusters` sees to that, so the
cost found here is a lower bound for the chain in any plan.

Pruning: a label is dropped when another is cheaper by at least what it takes to follow it. That is nothing
for a string in the same state that can change at least as early by every tier (compared by the earliest start
of a flip, so labels that differ only by time in which no hand is free count as equal). Any other string can
be **ransomed**: from the cheaper label, lose what the other plays on it until a flip fits, then flip; from
there on both go alike. A first pass keeps a few labels a layer; if it ever dropped one for
want of room, its answer is only an upper limit, and a second pass keeps everything that does not exceed it.
`most_labels` bounds the second pass; where it bites, `Path.bound` says what is still known.

Cost: linear in layers times labels; one label a state is the rule, a few where losing a note could make room.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from harpkeys.plan.cost import TIERS
from harpkeys.plan.layers import Layer, Node, Way
from harpkeys.plan.prices import Prices

FEW_LABELS = 40
MOST_LABELS = 3000

ArcKey = tuple[int, int, int, int]
"""A change: the string's position, layer and end of the node before it, layer after it."""

Forbidden = Mapping[ArcKey, frozenset[int]]
"""Tiers that a change may not use."""

Tainted = Mapping[tuple[int, int, int], int]
"""Nodes (by position, layer, end) from which some change is forbidden, with the last layer it leads to."""

Move = tuple[Node, int, int]
"""A change: the node before, the index of the layer after, the tier."""

Label = tuple[int, tuple[Node | None, ...], "Label | None", Way | None, tuple[Move, ...]]
"""Cost, last nodes, the label before, the way taken, the changes made."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What flips may do and pay; tiers are forbidden or priced, not both.

    Attributes:
        forbidden: tiers not to be used for certain changes; None without.
        tainted: the nodes from which they are forbidden.
        prices: of the hands' time; None where it is free.
    """

    forbidden: Forbidden | None = None
    tainted: Tainted | None = None
    prices: Prices | None = None


FREE = Rules()
"""Nothing is forbidden, and time costs nothing."""


@dataclass(frozen=True, slots=True)
class Change:
    """A flip as the path wants it.

    Attributes:
        before: the node it leaves.
        layer: index of the layer it prepares.
        latest: last moment it can start.
        tier: 0 clean left, 1 clean right, 2 cut left, 3 cut right.
    """

    before: Node
    layer: int
    latest: int
    tier: int

    @property
    def key(self) -> ArcKey:
        """The change without its tier."""
        return (self.before.position, self.before.layer, self.before.end, self.layer)

    @property
    def earliest(self) -> int:
        """First moment its tier allows."""
        return self.before.end if self.tier < 2 else self.before.release


@dataclass(frozen=True, slots=True)
class Path:
    """A way through all layers.

    Attributes:
        cost: packed cost.
        bound: packed cost that no plan of this chain alone undercuts (equal to `cost` unless labels ran out).
        ways: the way taken at each layer.
        changes: the flips, in order of the layers they prepare.
    """

    cost: int
    bound: int
    ways: tuple[Way, ...]
    changes: tuple[Change, ...]


def best_path(
    layers: Sequence[Layer],
    strings: int,
    forbidden: Forbidden | None = None,
    most_labels: int = MOST_LABELS,
    prices: Prices | None = None,
) -> Path:
    """The cheapest path through the layers of a chain.

    Args:
        layers: the chain unrolled.
        strings: how many strings it has.
        forbidden: tiers not to be used for certain changes.
        most_labels: how many labels a layer may keep.
        prices: what flips pay for the hands' time, counted as cost; None for nothing.
    """
    rules = Rules(forbidden, _tainted(forbidden) if forbidden else None, prices)
    labels, dropped = _sweep(layers, strings, rules, FEW_LABELS, None)
    best = labels[0]
    if dropped is not None:
        labels, dropped = _sweep(layers, strings, rules, most_labels, best[0])
        if labels and labels[0][0] < best[0]:
            best = labels[0]
    bound = best[0] if dropped is None else min(best[0], dropped)
    return _trace(best, layers, bound)


def path_within(layers: Sequence[Layer], strings: int, limit: int) -> Path | None:
    """The cheapest path that costs no more than a packed limit; None without one.

    Args:
        layers: the chain unrolled.
        strings: how many strings it has.
        limit: packed cost.
    """
    labels, _ = _sweep(layers, strings, FREE, MOST_LABELS, limit)
    return _trace(labels[0], layers, labels[0][0]) if labels else None


def least_costs(layers: Sequence[Layer], strings: int, rules: Rules) -> list[int]:
    """For each layer what everything before it costs at least, packed.

    Args:
        layers: the chain unrolled.
        strings: how many strings it has.
        rules: what flips may do and pay.
    """
    costs: list[int] = []
    labels: list[Label] = [(0, (None,) * strings, None, None, ())]
    dropped: int | None = None
    for layer in layers:
        costs.append(labels[0][0] if dropped is None else min(labels[0][0], dropped))
        labels, least = _extended(labels, layer, rules, FEW_LABELS, None)
        if least is not None and (dropped is None or least < dropped):
            dropped = least
    return costs


def _sweep(
    layers: Sequence[Layer],
    strings: int,
    rules: Rules,
    room: int,
    limit: int | None,
) -> tuple[list[Label], int | None]:
    """Labels after the last layer, cheapest first, and the cheapest label dropped for want of room."""
    labels: list[Label] = [(0, (None,) * strings, None, None, ())]
    dropped: int | None = None
    for layer in layers:
        labels, least = _extended(labels, layer, rules, room, limit)
        if least is not None and (dropped is None or least < dropped):
            dropped = least
        if not labels:
            break
    return labels, dropped


def _extended(
    labels: list[Label],
    layer: Layer,
    rules: Rules,
    room: int,
    limit: int | None,
) -> tuple[list[Label], int | None]:
    """Labels carried over one layer, cheapest first, and the cheapest of those dropped for want of room."""
    grown: list[Label] = []
    for label in labels:
        for way in layer.ways:
            extended = extend(label, way, layer, rules)
            if extended is not None and (limit is None or extended[0] <= limit):
                grown.append(extended)
    if len(grown) > 1:
        grown = undominated(grown, rules, layer.index)
    return (grown[:room], grown[room][0]) if len(grown) > room else (grown, None)


def extend(label: Label, way: Way, layer: Layer, rules: Rules) -> Label | None:
    """A label carried over one layer; None where a string cannot change in time."""
    cost, nodes = label[0] + way.cost, label[1]
    if not way.nodes:
        return (cost, nodes, label, way, ())
    changes: tuple[Move, ...] = ()
    latest = layer.latest
    forbidden, prices = rules.forbidden, rules.prices
    for node in way.nodes:
        last = nodes[node.position]
        if last is not None and last.state != node.state:
            if prices is not None:
                flip = prices.flip_from(last, latest)
                if flip is None:
                    return None
                cost += flip[1]
                changes = (*changes, (last, layer.index, flip[0]))
                continue
            fits = last.fits
            shut = forbidden.get((last.position, last.layer, last.end, layer.index)) if forbidden else None
            for tier in (0, 1, 2, 3):
                if fits[tier] <= latest and (shut is None or tier not in shut):
                    break
            else:
                return None
            cost += TIERS[tier]
            changes = (*changes, (last, layer.index, tier))
    if len(nodes) == 1:
        return (cost, way.nodes, label, way, changes)
    after = list(nodes)
    for node in way.nodes:
        after[node.position] = node
    return (cost, tuple(after), label, way, changes)


def undominated(labels: list[Label], rules: Rules, layer: int | None = None) -> list[Label]:
    """The labels, cheapest first, without those that another beats.

    Args:
        labels: labels after one layer.
        rules: what flips may do and pay.
        layer: index of the layer; None to drop only what is beaten outright, without ransom.
    """
    labels.sort(key=_cost_of)
    kept: list[Label] = []
    for label in labels:
        cost, nodes = label[0], label[1]
        for other in kept:
            if _follows(other[1], nodes, 0 if layer is None else cost - other[0], rules, layer):
                break
        else:
            kept.append(label)
    return kept


def _cost_of(label: Label) -> int:
    return label[0]


def _follows(
    one: tuple[Node | None, ...],
    other: tuple[Node | None, ...],
    spare: int,
    rules: Rules,
    layer: int | None,
) -> bool:
    """Whether going on from `one` is never dearer than from `other` by more than `spare`."""
    tainted, dearest = rules.tainted, rules.prices.most if rules.prices is not None else 0
    for mine, theirs in zip(one, other, strict=True):
        if mine is theirs or mine is None:
            continue
        if theirs is not None and mine.state == theirs.state:
            a, b, c, d = mine.fits
            e, f, g, h = theirs.fits
            as_early = a <= e and b <= f and c <= g and d <= h
        else:
            as_early = False
        if not as_early:
            spare -= mine.ransom + dearest
            if spare < 0:
                return False
        if tainted and layer is not None and tainted.get((mine.position, mine.layer, mine.end), -1) > layer:
            return False
    return True


def _tainted(forbidden: Forbidden) -> Tainted:
    tainted: dict[tuple[int, int, int], int] = {}
    for position, layer, end, target in forbidden:
        key = (position, layer, end)
        tainted[key] = max(target, tainted.get(key, -1))
    return tainted


def _trace(label: Label, layers: Sequence[Layer], bound: int) -> Path:
    cost = label[0]
    ways: list[Way] = []
    changes: list[Change] = []
    step: Label | None = label
    while step is not None and step[3] is not None:
        ways.append(step[3])
        changes.extend(Change(node, after, layers[after].latest, tier) for node, after, tier in step[4])
        step = step[2]
    ways.reverse()
    changes.reverse()
    return Path(cost, bound, tuple(ways), tuple(changes))

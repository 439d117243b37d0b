"""The plans of a cluster as columns and rows of an integer model.

Columns: a way for each layer, a link (and for a change one column for each option) for each string. Rows: one
way a layer; each string's links form one path from start to end; a way that plays a node needs the string's
path to pass through it (passing without playing does no harm: it only binds the string more); two flips of
one hand do not overlap, checked at each slot that a crowded stretch offers. That is a time-indexed model,
whose linear relaxation is close to its integer optimum.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from harpkeys.plan.alone import Change, Path
from harpkeys.plan.clusters import Table
from harpkeys.plan.cost import TIERS, Vector, unpack
from harpkeys.plan.layers import Layer, Node, Way
from harpkeys.plan.network import Link, Option


@dataclass(frozen=True, slots=True)
class Row:
    """A linear constraint.

    Attributes:
        low, high: what the sum may be.
        columns, weights: what is summed.
        span: the hand and the last millisecond of the span in which it lets one flip begin, if it does.
    """

    low: float
    high: float
    columns: Sequence[int]
    weights: Sequence[float]
    span: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """Columns and rows as they are gathered.

    Attributes:
        costs: criteria of each column.
        rows: the constraints.
        ways: (chain, layer, way, column) of each way to play a layer.
        steps: (link, option, column) of each step of a string.
    """

    costs: list[Vector]
    rows: list[Row]
    ways: list[tuple[int, int, Way, int]]
    steps: list[tuple[Link, Option | None, int]]


def build(
    members: Sequence[int], links: Sequence[Link], options: Mapping[Link, Sequence[Option]], table: Table
) -> Model:
    """The model of some chains.

    Args:
        members: indexes of the chains.
        links: the steps their strings may take.
        options: how each change among them can be made.
        table: what every cluster needs.
    """
    model = Model([], [], [], [])
    through: dict[Node, list[int]] = {}
    out_of: dict[Node, list[int]] = {}
    opening: dict[tuple[int, int], list[int]] = {}
    slots: dict[int, dict[int, list[int]]] = {0: {}, 1: {}}
    for link in links:
        for option in options.get(link, (None,)):
            column = len(model.costs)
            model.costs.append(unpack(TIERS[option.tier]) if option is not None else (0, 0, 0, 0, 0, 0))
            model.steps.append((link, option, column))
            if link.source is None:
                opening.setdefault((link.chain, link.position), []).append(column)
            else:
                out_of.setdefault(link.source, []).append(column)
            if link.target is not None:
                through.setdefault(link.target, []).append(column)
            if option is not None and option.slot is not None:
                hand, start = option.slot
                slots[hand].setdefault(start, []).append(column)
    for columns in opening.values():
        model.rows.append(Row(1.0, 1.0, columns, [1.0] * len(columns)))
    for node in through.keys() | out_of.keys():
        inward, outward = through.get(node, []), out_of.get(node, [])
        weights = [1.0] * len(inward) + [-1.0] * len(outward)
        model.rows.append(Row(0.0, 0.0, inward + outward, weights))
    _hand_rows(model, slots, table.flip)
    _way_rows(model, members, through, table)
    model.rows.sort(key=lambda row: list(row.columns))
    return model


def _hand_rows(model: Model, slots: Mapping[int, Mapping[int, list[int]]], flip: int) -> None:
    """At each slot, at most one flip of the hand is under way."""
    for hand, by_start in slots.items():
        starts = sorted(by_start)
        first = 0
        for index, start in enumerate(starts):
            while starts[first] <= start - flip:
                first += 1
            columns = [column for s in starts[first : index + 1] for column in by_start[s]]
            if len(columns) > 1:
                # The latest span of a flip's length that holds the same starts.
                last = starts[first] + flip - 1
                if index + 1 < len(starts):
                    last = min(last, starts[index + 1] - 1)
                model.rows.append(Row(0.0, 1.0, columns, [1.0] * len(columns), (hand, last)))


def _way_rows(model: Model, members: Sequence[int], through: Mapping[Node, list[int]], table: Table) -> None:
    """One way a layer, and paths that pass through what it plays."""
    for chain in members:
        for layer in table.chains[chain].layers:
            chosen: list[int] = []
            playing: dict[Node, list[int]] = {}
            for way in layer.ways:
                if any(node not in through for node in way.nodes):
                    continue
                column = len(model.costs)
                model.costs.append(unpack(way.cost))
                model.ways.append((chain, layer.index, way, column))
                chosen.append(column)
                for node in way.nodes:
                    playing.setdefault(node, []).append(column)
            model.rows.append(Row(1.0, 1.0, chosen, [1.0] * len(chosen)))
            for node, columns in playing.items():
                inward = through[node]
                weights = [1.0] * len(inward) + [-1.0] * len(columns)
                model.rows.append(Row(0.0, float("inf"), inward + columns, weights))


def read_plan(model: Model, values: Sequence[float], members: Sequence[int], table: Table) -> dict[int, Path]:
    """The paths that a solution stands for, without flips that serve nothing it plays."""
    ways: dict[int, dict[int, Way]] = {chain: {} for chain in members}
    changes: dict[int, list[Change]] = {chain: [] for chain in members}
    for chain, layer, way, column in model.ways:
        if values[column] > 0.5:
            ways[chain][layer] = way
    for link, option, column in model.steps:
        if option is not None and link.change is not None and values[column] > 0.5:
            change = link.change
            changes[link.chain].append(Change(change.before, change.layer, change.latest, option.tier))
    paths = {}
    for chain in members:
        layers = table.chains[chain].layers
        taken = tuple(ways[chain][layer.index] for layer in layers)
        needed = [
            change
            for position in range(table.chains[chain].strings)
            for change in _needed(position, layers, taken, changes[chain])
        ]
        needed.sort(key=lambda change: (change.layer, change.before.position))
        cost = sum(way.cost for way in taken) + sum(TIERS[change.tier] for change in needed)
        paths[chain] = Path(cost, cost, taken, tuple(needed))
    return paths


def _needed(
    position: int, layers: Sequence[Layer], ways: Sequence[Way], changes: Sequence[Change]
) -> Iterator[Change]:
    """The changes of a string that what it plays asks for.

    A solution that is not the best may change a string for a node that it passes through without playing. Of
    the changes between two nodes played, one is enough if their states differ, and none if not; it may be
    made at any time those had.
    """
    own = sorted((c for c in changes if c.before.position == position), key=lambda change: change.layer)
    index = 0
    last: Node | None = None
    for layer, way in zip(layers, ways, strict=True):
        node = next((node for node in way.nodes if node.position == position), None)
        if node is None:
            continue
        first = index
        while index < len(own) and own[index].layer <= layer.index:
            index += 1
        if last is not None and last.state != node.state:
            best = min(own[first:index], key=lambda change: change.tier)
            clean = best.tier >= 2 and best.earliest >= last.end
            yield Change(last, layer.index, layer.latest, best.tier - 2 if clean else best.tier)
        last = node

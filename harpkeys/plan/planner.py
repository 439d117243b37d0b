"""The lever plan of a piece: which string plays each pluck, and when which lever moves.

Solves sections 4 and 5 of the planning problem. The steps, each in its own module:

1. `candidates`: plucks that need no thought are settled; the strings that must change state, with those they
   share pitches with, fall into chains.
2. `layers`, `alone`: each chain alone is a shortest path. The sum of their costs is a lower bound.
3. `schedule`: if all flips wanted fit both hands, the bound is met and the plan is proved best: the **fast
   path**, near-linear in the number of plucks. The usual harp piece ends here.
4. `clusters`: chains whose flips collide are planned together, by a search over conflicts or, where that
   grows too large, by the `solver`, a mixed-integer model imported only then.
5. `timing`: start times with the most room, on a beat where that costs nothing.

`effort` bounds steps 3 and 4 by counted work, not by the clock, so the same input gives the same plan on
every machine. What is not proved within it is returned with `proved` false and the bound beside it.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from harpkeys.harp.model import Harp, Player
from harpkeys.plan.alone import best_path
from harpkeys.plan.candidates import Candidate, Sorted, candidate_table, sort_plucks
from harpkeys.plan.clusters import Settled, Table, settle, unrolled_chain
from harpkeys.plan.cost import unpack
from harpkeys.plan.hand_time import free_stretches
from harpkeys.plan.model import Criteria, Flip, Layers, LostReason, Plan
from harpkeys.plan.timing import time_flips
from harpkeys.plan.windows import HANDS, Fits, fits_of, release_of
from harpkeys.score.pluck import Pluck

DEFAULT_EFFORT = 5
"""Work limit unless told otherwise."""


def make_plan(
    plucks: Sequence[Pluck],
    harp: Harp,
    player: Player,
    *,
    weights: Sequence[int] | None = None,
    effort: int = DEFAULT_EFFORT,
    first_key_alters: Sequence[int] | None = None,
    beats: Sequence[int] = (),
) -> Plan:
    """The best plan for a list of plucks on a harp by a player.

    Args:
        plucks: in performed order, ids counting from 0.
        harp: strings and levers.
        player: the three times.
        weights: loss weight of each pluck, whole and at least 0; 1 each where None.
        effort: work limit for contested clusters; 0 takes the first plan found.
        first_key_alters: alteration of each letter C..B in the first key signature, by which strings that
            are never plucked stand.
        beats: moments of the beats in milliseconds, ascending; flips prefer them.

    Returns:
        The plan, with its bound.
    """
    stretches = free_stretches(plucks, player)
    fits = fits_of(stretches, player.flip)
    settled = sort_plucks(plucks, harp, weights)
    parts: list[Settled] = []
    clashing: set[int] = set()
    if settled.chains:
        chains = tuple(unrolled_chain(chain, fits, player.flip) for chain in settled.chains)
        clashing.update(*(chain.skeleton.clashing for chain in chains))
        alone = {index: best_path(chain.layers, chain.strings) for index, chain in enumerate(chains)}
        parts = settle(alone, Table(chains, fits, player.flip), effort)
    bound = settled.cost + sum(part.bound for part in parts)
    cost = settled.cost + sum(part.cost for part in parts)
    plays = _plays(settled, parts)
    flips = _flips(plucks, harp, player, plays, _tiers(settled, parts), fits, beats)
    lost = _reasons(plucks, harp, plays, settled.lost, clashing)
    return Plan(
        harp=harp,
        player=player,
        plays=tuple(plays),
        lost=lost,
        starting=_starting(harp, plays, first_key_alters),
        flips=flips,
        criteria=_criteria(plucks, harp, plays, flips),
        bound=unpack(bound),
        proved=bound == cost,
        layers=Layers(
            clusters=sum(part.layer != "alone" for part in parts),
            searched=sum(part.layer == "search" for part in parts),
            solved=sum(part.layer == "solver" for part in parts),
        ),
    )


def _plays(settled: Sorted, parts: Sequence[Settled]) -> list[Candidate | None]:
    plays = settled.plays
    for part in parts:
        for path in part.paths.values():
            for way in path.ways:
                for pluck, candidate in way.plays:
                    plays[pluck] = candidate
    return plays


def _tiers(settled: Sorted, parts: Sequence[Settled]) -> dict[int, list[int]]:
    """The tiers of the changes of each string, in playing order."""
    tiers: dict[int, list[int]] = {}
    for part in parts:
        for chain, path in part.paths.items():
            strings = settled.chains[chain].strings
            for change in path.changes:
                tiers.setdefault(strings[change.before.position], []).append(change.tier)
    return tiers


def _flips(
    plucks: Sequence[Pluck],
    harp: Harp,
    player: Player,
    plays: Sequence[Candidate | None],
    tiers: dict[int, list[int]],
    fits: tuple[Fits, Fits],
    beats: Sequence[int],
) -> tuple[Flip, ...]:
    """The flips that the plays need, by the hands and kinds that were settled, timed and in order."""
    wanted: tuple[list[tuple[int, int, int, int, int]], list[tuple[int, int, int, int, int]]] = ([], [])
    last: dict[int, tuple[int, int, int, int]] = {}
    for pluck, play in zip(plucks, plays, strict=True):
        if play is None or play[0] not in tiers:
            continue
        string, state = play
        before = last.get(string)
        if before is not None and before[0] != state:
            tier = tiers[string].pop(0)
            latest = pluck.onset - player.flip
            wanted[tier & 1].append((string, state, before[3], pluck.id, tier))
            before = None
        if before is None or before[1] != pluck.onset or before[2] < pluck.end:
            last[string] = (state, pluck.onset, pluck.end, pluck.id)
    flips: list[Flip] = []
    for hand in (0, 1):
        windows = []
        for _, _, after, before_id, tier in wanted[hand]:
            onset, end = plucks[after].onset, plucks[after].end
            latest = plucks[before_id].onset - player.flip
            windows.append((end if tier < 2 else release_of(onset, end), latest))
        timed = time_flips(windows, fits[hand], player.flip, beats)
        for (string, state, after, before_id, _), time in zip(wanted[hand], timed, strict=True):
            end = plucks[after].end
            is_cut = time.start < end
            cut = min(end, plucks[before_id].onset) - time.start if is_cut else 0
            flips.append(
                Flip(0, string, state, HANDS[hand], time.start, after, before_id, cut, is_cut, time.slack)
            )
    flips.sort(key=lambda flip: (flip.start, flip.string))
    return tuple(replace(flip, id=index) for index, flip in enumerate(flips))


def _reasons(
    plucks: Sequence[Pluck],
    harp: Harp,
    plays: Sequence[Candidate | None],
    outside: Sequence[LostReason | None],
    clashing: Set[int],
) -> tuple[LostReason | None, ...]:
    """Why each lost pluck is lost.

    A pluck in reach clashes where each of its strings is played in the other state at the same moment, and no
    amount of time would let all plucks of that moment be played; else there was no time for a flip.
    """
    reasons = list(outside)
    open_cases = [pluck for pluck, play in zip(plucks, plays, strict=True) if play is None]
    open_cases = [pluck for pluck in open_cases if reasons[pluck.id] is None]
    if not open_cases:
        return tuple(reasons)
    moments = {pluck.onset for pluck in open_cases}
    standing = {
        (pluck.onset, play[0]): play[1]
        for pluck, play in zip(plucks, plays, strict=True)
        if play is not None and pluck.onset in moments
    }
    table = candidate_table(harp)
    for pluck in open_cases:
        clash = pluck.id in clashing and all(
            standing.get((pluck.onset, string), state) != state for string, state in table[pluck.pitch.midi]
        )
        reasons[pluck.id] = "clash" if clash else "no time"
    return tuple(reasons)


def _starting(
    harp: Harp, plays: Sequence[Candidate | None], first_key_alters: Sequence[int] | None
) -> tuple[int, ...]:
    """The state of every string before the first pluck."""
    states: list[int] = []
    for string in harp.strings:
        wanted = first_key_alters[string.diatonic % 7] if first_key_alters is not None else string.tuned
        states.append(1 if string.lever and wanted == string.tuned + 1 else 0)
    seen: set[int] = set()
    for play in plays:
        if play is not None and play[0] not in seen:
            seen.add(play[0])
            states[play[0]] = play[1]
    return tuple(states)


def _criteria(
    plucks: Sequence[Pluck], harp: Harp, plays: Sequence[Candidate | None], flips: Sequence[Flip]
) -> Criteria:
    lowest = harp.lowest
    lost = auxiliaries = off_string = 0
    for pluck, play in zip(plucks, plays, strict=True):
        if play is None:
            if pluck.kind == "auxiliary":
                auxiliaries += 1
            else:
                lost += 1
        elif play[0] != pluck.pitch.diatonic - lowest:
            off_string += 1
    return Criteria(
        lost=lost,
        lost_auxiliaries=auxiliaries,
        cuts=sum(flip.is_cut for flip in flips),
        flips=len(flips),
        off_string=off_string,
        right_hand=sum(flip.hand == "right" for flip in flips),
    )

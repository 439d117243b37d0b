"""A tuning for one piece: which strings to retune before it begins, so that it goes as well as it can.

Searched are all tunings by letter (each letter flat, natural, sharp or as it is strung) and, on request, all
in which up to so many single strings are retuned. The result is a **front**: for no string retuned, and for
each larger number of strings that brings a better plan, the best plan with no more strings than that. Strings
are only tuned down or left; what tuning strings up would add stands beside it, with its caution.

No plan is made where a bound shows that it cannot be better, cheapest bound first:

1. every pluck that no string can give is lost, and every one that its own string cannot give is off-string;
2. each chain of strings alone (as the planner's first step finds it) costs at least its shortest path; what a
   chain costs depends on its own strings' tuning only, so it is worked out once for all tunings that share
   it.

Whatever is left is planned in full. So the front is that of planning every tuning, which a test does.

References: the planning problem, sections 2 to 5; cautions as the trade notes grade them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

from harpkeys.choose.compare import FIRST_EFFORT, worth_more_work
from harpkeys.choose.recommend import clearly_easier
from harpkeys.choose.retuning import Retuning, retunings
from harpkeys.choose.transposition import STAYS, moved_first_key
from harpkeys.errors import OptionError
from harpkeys.harp.model import Harp, Player
from harpkeys.harp.tunings import tuning_of_strings
from harpkeys.pitch import Pitch
from harpkeys.plan.alone import best_path
from harpkeys.plan.candidates import Chain, price_of, sort_plucks
from harpkeys.plan.cost import OFF_STRING, pack
from harpkeys.plan.hand_time import free_stretches
from harpkeys.plan.layers import unroll
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import DEFAULT_EFFORT, make_plan
from harpkeys.plan.windows import fits_of
from harpkeys.report.performance import Performance, beat_moments
from harpkeys.score.pluck import Pluck

MOST_SINGLES = 3
"""Most single strings that are searched."""

Tuned = tuple[int, ...]
"""Alteration of every string, lowest first."""


@dataclass(frozen=True, slots=True)
class PieceTuning:
    """A tuning for the piece, and what it comes to.

    Attributes:
        plan: the plan; its harp is the harp so tuned.
        changes: what is retuned from the harp as it is strung, letter by letter.
        retuned: how many strings that are.
        tuned_up: how many of them go up.
        played: of the retuned strings those that the plan plays, lowest first.
    """

    plan: Plan
    changes: tuple[Retuning, ...]
    retuned: int
    tuned_up: int
    played: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TuningSearch:
    """What the search found.

    Attributes:
        performance: what is played.
        strung: the harp as it is strung.
        player: whose times count.
        front: the harp as it is first; then each a better plan with more strings retuned, none of them up.
        upward: a still better plan, which tunes strings up; None where there is none.
        tunings: how many tunings were searched.
        planned: how many of them were planned.
        proved: whether the front is known to be the best.
    """

    performance: Performance
    strung: Harp
    player: Player
    front: tuple[PieceTuning, ...]
    upward: PieceTuning | None
    tunings: int
    planned: int
    proved: bool

    @property
    def best(self) -> PieceTuning:
        """The best plan without tuning a string up, with the fewest strings retuned."""
        return self.front[-1]

    @property
    def advised(self) -> PieceTuning:
        """The first of the front that is clearly easier than the harp as strung, and than which none after it
        is clearly easier; the harp as strung where none is."""
        costs = [tuning.plan.criteria for tuning in self.front]
        found = 0
        for index, cost in enumerate(costs):
            if not index or clearly_easier(cost, costs[0]):
                found = index
                if not any(clearly_easier(later, cost) for later in costs[index + 1 :]):
                    break
        return self.front[found]


def tuning_for(
    performance: Performance,
    strung: Harp,
    player: Player,
    singles: int = 0,
    effort: int | None = None,
    say: Callable[[str], None] = lambda stage: None,
) -> TuningSearch:
    """Search the tuning for a piece.

    Args:
        performance: what is played.
        strung: the harp as it is strung.
        player: whose times count.
        singles: up to how many single strings may be retuned too; 0 for whole letters only.
        effort: the planner's work limit; None for the usual one, which is not spent on hopeless tunings.
        say: told the stages as they start.

    Returns:
        The front, and what tuning strings up would add.

    Raises:
        OptionError: more single strings than are searched.
    """
    if not 0 <= singles <= MOST_SINGLES:
        raise OptionError(
            f"{singles} single strings are more than are searched", f"give a number up to {MOST_SINGLES}"
        )
    say("Bounding what each tuning can give")
    search = _Search(performance, strung, player, effort, say)
    wanted = dict.fromkeys((*_by_letter(strung), *_by_string(strung, singles)))
    front, upward = search.run(list(wanted))
    return TuningSearch(
        performance, strung, player, front, upward, len(wanted), search.planned, search.is_proved
    )


def _by_letter(strung: Harp) -> Iterator[Tuned]:
    """Every tuning in which the strings of each letter are alike or as they are strung."""
    letters = [string.diatonic % 7 for string in strung.strings]
    own = tuple(string.tuned for string in strung.strings)
    present = sorted(set(letters))
    for alters in product((None, -1, 0, 1), repeat=len(present)):
        by_letter = dict(zip(present, alters, strict=True))
        chosen = [by_letter[letter] for letter in letters]
        yield tuple(old if new is None else new for old, new in zip(own, chosen, strict=True))


def _by_string(strung: Harp, singles: int) -> Iterator[Tuned]:
    """Every tuning in which up to so many strings are not as they are strung."""
    own = tuple(string.tuned for string in strung.strings)
    for count in range(1, singles + 1):
        for strings in combinations(range(len(own)), count):
            others = [[alter for alter in (-1, 0, 1) if alter != own[string]] for string in strings]
            for alters in product(*others):
                tuned = list(own)
                for string, alter in zip(strings, alters, strict=True):
                    tuned[string] = alter
                yield tuple(tuned)


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A tuning, with what it asks of the player and what it costs at least.

    Attributes:
        tuned: alterations of the strings.
        up: how many strings go up.
        retuned: how many strings change.
        tie: what decides between tunings of equal plans and as many strings: fewer semitones in all, then the
            higher strings.
        least: packed cost by the first bound.
    """

    tuned: Tuned
    up: int
    retuned: int
    tie: tuple[object, ...]
    least: int


class _Search:
    """The search, with what it works out once."""

    def __init__(
        self,
        performance: Performance,
        strung: Harp,
        player: Player,
        effort: int | None,
        say: Callable[[str], None],
    ) -> None:
        self.performance = performance
        self.strung = strung
        self.player = player
        self.effort = effort
        self.say = say
        self.planned = 0
        self.is_proved = True
        self._fits = fits_of(free_stretches(performance.plucks, player), player.flip)
        self._beats = beat_moments(performance)
        self._chains: dict[tuple[tuple[int, int], ...], int] = {}
        self._first_key = moved_first_key(performance, STAYS)

    def run(self, tunings: Sequence[Tuned]) -> tuple[tuple[PieceTuning, ...], PieceTuning | None]:
        """The front, and the best plan that tunes strings up if it is better than all of that."""
        own = tuple(string.tuned for string in self.strung.strings)
        floor = _Floor(self.performance.plucks, self.strung)
        candidates = [_candidate(tuned, own, floor) for tuned in tunings]
        found: list[PieceTuning] = []
        best: tuple[int, tuple[object, ...]] | None = None
        down = sorted((c for c in candidates if not c.up), key=lambda c: c.retuned)
        for retuned, group in _groups(down):
            best = None if best is None else (best[0], ())
            better = self._best_of(group, best)
            if better is not None:
                plan, best = better
                found.append(self._told(plan))
                self.say(f"Retuning {retuned} strings helps")
        if best is None:  # the harp as it is strung is always among the tunings
            raise AssertionError("no tuning was planned")
        proved = self.is_proved
        upward = self._best_of([c for c in candidates if c.up], (best[0], ()), upward=True)
        self.is_proved = proved
        return tuple(found), None if upward is None else self._told(upward[0])

    def _best_of(
        self,
        group: Iterable[_Candidate],
        best: tuple[int, tuple[object, ...]] | None,
        *,
        upward: bool = False,
    ) -> tuple[Plan, tuple[int, tuple[object, ...]]] | None:
        """The best plan of some tunings if it is better than what is known.

        Args:
            group: the tunings.
            best: packed cost and tie of the best plan so far; a tie of () is better than any other.
            upward: whether the number of strings retuned and tuned up decides between equal plans.

        Returns:
            The plan with its packed cost and tie, None where none is better.
        """
        found: Plan | None = None
        bounded: list[tuple[int, tuple[object, ...], _Candidate]] = []
        for candidate in sorted(group, key=lambda c: c.least):
            if best is not None and candidate.least > best[0]:
                break
            tie = (candidate.up, candidate.retuned, *candidate.tie) if upward else candidate.tie
            bounded.append((self._bound(candidate), tie, candidate))
        for bound, tie, candidate in sorted(bounded, key=lambda one: one[:2]):
            if best is not None and (bound, tie) >= best:
                continue
            plan, cost, least = self._plan(candidate.tuned, None if best is None else best[0])
            if best is None or (cost, tie) < best:
                found, best = plan, (cost, tie)
            if least < min(cost, best[0]):
                self.is_proved = False
        return None if found is None or best is None else (found, best)

    def _bound(self, candidate: _Candidate) -> int:
        """Packed cost of every chain alone: no plan in this tuning costs less."""
        harp = self._harp(candidate.tuned)
        settled = sort_plucks(self.performance.plucks, harp)
        return settled.cost + sum(self._alone(chain, candidate.tuned) for chain in settled.chains)

    def _alone(self, chain: Chain, tuned: Tuned) -> int:
        key = tuple((string, tuned[string]) for string in chain.strings)
        known = self._chains.get(key)
        if known is None:
            layers = unroll(chain, self._fits, self.player.flip)
            known = self._chains[key] = best_path(layers, len(chain.strings)).bound
        return known

    def _plan(self, tuned: Tuned, limit: int | None) -> tuple[Plan, int, int]:
        """The plan in a tuning, its packed cost, and what is known to be the least."""
        self.planned += 1
        harp = self._harp(tuned)
        plan = self._made(harp, FIRST_EFFORT)
        again = worth_more_work(plan) if self.effort is None else not plan.proved
        if again and (limit is None or pack(plan.bound) < limit):
            plan = self._made(harp, DEFAULT_EFFORT if self.effort is None else self.effort)
        return plan, pack(plan.criteria.key), pack(plan.bound)

    def _made(self, harp: Harp, effort: int) -> Plan:
        return make_plan(
            self.performance.plucks,
            harp,
            self.player,
            effort=effort,
            first_key_alters=self._first_key,  # type: ignore[arg-type]
            beats=self._beats,
        )

    def _harp(self, tuned: Tuned) -> Harp:
        strings = tuple(
            string if string.tuned == alter else replace(string, tuned=alter)
            for string, alter in zip(self.strung.strings, tuned, strict=True)
        )
        return replace(self.strung, strings=strings)

    def _told(self, plan: Plan) -> PieceTuning:
        name = tuning_of_strings(plan.harp.strings).name
        plan = replace(plan, harp=replace(plan.harp, tuning=name))
        changes = retunings(self.strung, plan.harp)
        strings = [index for change in changes for index in change.strings]
        used = {play[0] for play in plan.plays if play is not None}
        return PieceTuning(
            plan,
            changes,
            len(strings),
            sum(len(change.strings) for change in changes if change.change > 0),
            tuple(sorted(used & set(strings))),
        )


def _candidate(tuned: Tuned, own: Tuned, floor: _Floor) -> _Candidate:
    changes = [
        (index, new - old) for index, (old, new) in enumerate(zip(own, tuned, strict=True)) if new != old
    ]
    return _Candidate(
        tuned,
        sum(change > 0 for _, change in changes),
        len(changes),
        (sum(abs(change) for _, change in changes), tuple(-index for index, _ in reversed(changes)), tuned),
        floor.of(tuned),
    )


def _groups(candidates: Sequence[_Candidate]) -> Iterator[tuple[int, list[_Candidate]]]:
    """Candidates by how many strings they retune, fewest first."""
    groups: dict[int, list[_Candidate]] = {}
    for candidate in candidates:
        groups.setdefault(candidate.retuned, []).append(candidate)
    yield from sorted(groups.items())


class _Floor:
    """The first bound: what each tuning costs at least because strings cannot give what is asked of them.

    Args:
        plucks: in performed order.
        strung: the harp.
    """

    def __init__(self, plucks: Sequence[Pluck], strung: Harp) -> None:
        counts: dict[Pitch, tuple[int, int]] = {}
        for pluck in plucks:
            price, count = counts.get(pluck.pitch, (0, 0))
            counts[pluck.pitch] = price + price_of(pluck, 1), count + 1
        self._costs = [(price, OFF_STRING * count) for price, count in counts.values()]
        pitches = list(counts)
        self._gives: list[dict[int, tuple[int, int]]] = []
        for string in strung.strings:
            masks: dict[int, tuple[int, int]] = {}
            for alter in (-1, 0, 1):
                down = replace(string, tuned=alter).down
                sounds = (down, down + 1) if string.lever else (down,)
                given = own = 0
                for bit, pitch in enumerate(pitches):
                    if pitch.midi in sounds:
                        given |= 1 << bit
                        if pitch.diatonic == string.diatonic:
                            own |= 1 << bit
                masks[alter] = given, own
            self._gives.append(masks)
        self._everything = (1 << len(pitches)) - 1

    def of(self, tuned: Tuned) -> int:
        """Packed cost that no plan in a tuning undercuts."""
        given = own = 0
        for masks, alter in zip(self._gives, tuned, strict=True):
            mask, mine = masks[alter]
            given |= mask
            own |= mine
        lost = self._everything & ~given
        off = given & ~own
        return self._sum(lost, 0) + self._sum(off, 1)

    def _sum(self, mask: int, which: int) -> int:
        total = 0
        while mask:
            low = mask & -mask
            total += self._costs[low.bit_length() - 1][which]
            mask ^= low
        return total

"""The performed order of the bars: repeats, endings and jumps taken in turn.

The rules are those of section 2 of the planning problem; where it is silent, these hold:

- Repeats nest: a backward repeat closes the latest forward repeat still open.
- Neighbouring endings are alternatives of one repeat. It is played up to its highest number; where only one
  ending is printed, as often as its backward repeat says, and what follows the ending is the other
  alternative. Endings without any repeat or jump are played in a row, and numbers that make no sense give
  way to the order of printing, with a remark.
- Marks act bar by bar: fine, to coda and jumps at the end of their bar, segno and coda at its start (after
  the last note of a bar they mean the next one).
- Every jump and every to-coda is taken at most once, so the performance ends.
- A jump to a sign that is nowhere goes to the start (segno) or is left out (coda), with a remark.

References: MusicXML 4.0, elements repeat, ending and sound. That repeats are not taken after a jump, and
that the last ending is played then, is common practice, as the planning problem states it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from harpkeys.errors import ScoreError, located
from harpkeys.score.endings import Bracket
from harpkeys.score.model import Jump, Measure, Score
from harpkeys.score.repeats import Layout, lay_out
from harpkeys.score.texts import plain_text

MOST_VISITS = 20_000
"""More performed bars than this, and than four times the bars printed, are taken for a mistake in the repeat
marks; long symphonies stay far below."""

CODA_SIGN = "coda sign"
"""The words of a jump to the coda that only its sign gives."""

_LEAPS = ("dacapo", "dalsegno")


@dataclass(frozen=True, slots=True)
class Visit:
    """One bar as it is played.

    Attributes:
        measure: index of the printed measure.
        number: its pass, counted from 1.
        start: performed tick at which it starts.
    """

    measure: int
    number: int
    start: int


@dataclass(frozen=True, slots=True)
class Timeline:
    """The bars in performed order.

    Attributes:
        visits: every bar as often as it is played.
        remarks: sentences about what was assumed.
        length: performed ticks in all.
    """

    visits: tuple[Visit, ...]
    remarks: tuple[str, ...] = ()
    length: int = 0


def perform(score: Score) -> Timeline:
    """Lay the bars of a score in performed order.

    Args:
        score: as printed.

    Returns:
        The timeline; its remarks name every mark that was obeyed though only words give it.

    Raises:
        ScoreError: the repeats make the score longer than `most_visits`.
    """
    walk = _Walk(score.measures)
    walk.run()
    visits: list[Visit] = []
    counts = [0] * len(score.measures)
    start = 0
    for index in walk.order:
        counts[index] += 1
        visits.append(Visit(index, counts[index], start))
        start += score.measures[index].length
    return Timeline(tuple(visits), (*walk.layout.remarks, *walk.remarks), start)


def effective_jumps(measure: Measure) -> tuple[Jump, ...]:
    """The jumps and targets of a bar that count: of each sort those of sound elements, else those of
    words."""
    chosen: list[Jump] = []
    for kinds in (_LEAPS, ("tocoda",), ("fine",), ("segno",), ("coda",)):
        sort = [jump for jump in measure.jumps if jump.kind in kinds]
        sounding = [jump for jump in sort if not jump.words]
        chosen += sounding or sort
    return tuple(chosen)


def most_visits(printed: int) -> int:
    """The most performed bars that are believed of a score with so many printed bars."""
    return max(MOST_VISITS, 4 * printed)


class _Walk:
    """A reader of the page who counts the rounds of each repeat and remembers the jumps already taken."""

    def __init__(self, measures: tuple[Measure, ...]) -> None:
        self.measures = measures
        self.layout: Layout = lay_out(measures)
        self.order: list[int] = []
        self.remarks: list[str] = []
        self._rounds = [1] * len(self.layout.sections)
        self._jumped = False
        self._taken: set[tuple[int, int]] = set()
        self._jumps = {bar: effective_jumps(measure) for bar, measure in enumerate(measures) if measure.jumps}
        self._targets = _targets(measures)
        self._endings = {
            (bracket.row, number): bracket.start
            for row in self.layout.rows
            for bracket in row.brackets
            for number in bracket.numbers
        }

    def run(self) -> None:
        """Walk from the first bar to the end.

        Raises:
            ScoreError: the walk is longer than `most_visits`.
        """
        at, landed, end = 0, False, len(self.measures)
        most = most_visits(end)
        while at < end:
            bracket = self.layout.brackets[at]
            if bracket is not None and not landed and at != (played := self._played(bracket)):
                at = played
                continue
            if len(self.order) == most:
                with located(self._most_returned_from()):
                    raise ScoreError(
                        f"with its repeats played the score has more than {most:,} bars",
                        "check its repeat marks, above all here, and how many times each is to be played",
                    )
            self.order.append(at)
            at, landed = self._after(at)

    def _most_returned_from(self) -> str:
        """The bar from which the walk went back most often, as a place in an error."""
        returns = Counter(at for at, after in pairwise(self.order) if after <= at)
        measure = self.measures[returns.most_common(1)[0][0]]
        return f"measure {plain_text(measure.number)[:40] or measure.index + 1}"

    def _played(self, bracket: Bracket) -> int:
        """Where to go on at an ending reached from the left: to it, to a later one of its row, or behind
        the row."""
        row = self.layout.rows[bracket.row]
        which = self.layout.section_of_row[bracket.row]
        if which is None:
            last_only = self._jumped and row.has_jump
            return row.brackets[-1].start if last_only else bracket.start
        number = row.rounds if self._jumped else self._rounds[which]
        start = self._endings.get((bracket.row, number), -1)
        return start if start >= bracket.start else row.end + 1

    def _after(self, at: int) -> tuple[int, bool]:
        """The bar that follows bar `at`, and whether it is played even if it starts an ending of other
        rounds."""
        jumps = self._jumps.get(at, ())
        if self._jumped:
            for jump in jumps:
                if jump.kind == "fine":
                    self._say(at, jump, "the end")
                    return len(self.measures), False
            for place, jump in enumerate(jumps):
                if jump.kind == "tocoda" and (at, place) not in self._taken:
                    self._taken.add((at, place))
                    coda = self._coda(at, jump)
                    if coda is not None:
                        return coda, True
        for place, jump in enumerate(jumps):
            if jump.kind in _LEAPS and (at, place) not in self._taken and self._is_last_pass(at):
                self._taken.add((at, place))
                self._jumped = True
                return (self._segno(at, jump) if jump.kind == "dalsegno" else self._start(at, jump)), True
        return self._repeat(at)

    def _repeat(self, at: int) -> tuple[int, bool]:
        """Go back where a repeat ends in bar `at` and is not done, else on."""
        which = self.layout.closes[at]
        if which is None or self._jumped:
            return at + 1, False
        section = self.layout.sections[which]
        if self._rounds[which] >= section.rounds:
            return at + 1, False
        self._rounds[which] += 1
        for inner in self.layout.inside(which):
            self._rounds[inner] = 1
        ending = self.layout.brackets[section.start]
        return section.start, ending is None or ending.row != section.row

    def _is_last_pass(self, at: int) -> bool:
        """Whether no repeat brings bar `at` back once more."""
        if self._jumped:
            return True
        for which, section in enumerate(self.layout.sections):
            if section.start <= at <= section.end and self._rounds[which] < self.layout.last_round(
                section, at
            ):
                return False
        return True

    def _start(self, at: int, jump: Jump) -> int:
        self._say(at, jump, "a jump back to the start")
        return 0

    def _segno(self, at: int, jump: Jump) -> int:
        """The bar a dal segno goes to: the sign of its name, else any, the nearest before it first."""
        bars = self._targets.get(("segno", jump.name)) or self._targets.get(("segno", None), [])
        if not bars:
            self.remarks.append(f"{self._bar(at)}: a jump to a segno that is nowhere is taken to the start.")
            return 0
        target = bars[max(bisect_right(bars, at) - 1, 0)]
        self._say(at, jump, f"a jump to the segno at bar {self.measures[target].number}")
        return target

    def _coda(self, at: int, jump: Jump) -> int | None:
        """The bar a to-coda goes to: the sign of its name, else any, the nearest after it first."""
        for name in (jump.name, None):
            bars = self._targets.get(("coda", name), [])
            after, before = bisect_right(bars, at), bisect_left(bars, at) - 1
            if after < len(bars) or before >= 0:
                target = bars[after] if after < len(bars) else bars[before]
                self._say(at, jump, f"a jump to the coda at bar {self.measures[target].number}")
                return target
        self.remarks.append(f"{self._bar(at)}: a jump to a coda that is nowhere is left out.")
        return None

    def _say(self, at: int, jump: Jump, meaning: str) -> None:
        """Remark on a mark that is obeyed though no sound element gives it."""
        if jump.words:
            what = f'the words "{jump.words}" are' if jump.words != CODA_SIGN else "a coda sign is"
            remark = f"{self._bar(at)}: {what} taken as {meaning}, as no sound element says more."
            self.remarks.append(remark)

    def _bar(self, at: int) -> str:
        return f"Bar {self.measures[at].number}"


def _targets(measures: tuple[Measure, ...]) -> dict[tuple[str, str | None], list[int]]:
    """The bars that start with a segno or coda, in page order, by kind and name, and by kind and None for
    all."""
    found: dict[tuple[str, str | None], set[int]] = {}
    for bar, measure in enumerate(measures):
        for jump in effective_jumps(measure) if measure.jumps else ():
            if jump.kind in ("segno", "coda"):
                # Behind the last note of a bar a sign means the next one.
                late = 0 < measure.length <= jump.onset and bar + 1 < len(measures)
                for name in (jump.name, None):
                    found.setdefault((jump.kind, name), set()).add(bar + late)
    return {sign: sorted(bars) for sign, bars in found.items()}

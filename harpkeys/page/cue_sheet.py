"""The cue sheet: what a player wants to know of a piece at one glance, as a value.

Its views (plain text, CSV, HTML, print) and the web report only read it. Places are those of the printed
cues: bar and beat of the note or rest at which a cue stands; its lever moves after the notes there. A bar
that is played more than once names the pass. Flips stand in playing order and are numbered from 1; like
passages are told once, with every place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from harpkeys.harp.model import STATE_NAMES, UP
from harpkeys.harp.naming import listed
from harpkeys.harp.players import player_text
from harpkeys.mark.cues import Cue, cues_of
from harpkeys.mark.elements import FLAG_COLOUR
from harpkeys.page.engrave import excerpts
from harpkeys.pitch import Pitch
from harpkeys.plan.model import Flip
from harpkeys.plan.passages import Passage, Reason
from harpkeys.report import words
from harpkeys.report.model import FlipTime, Report
from harpkeys.report.vet import RAISING
from harpkeys.score.beats import beat_at, number_text
from harpkeys.score.pluck import Hand

LONGEST_EXCERPT = 4
"""Bars of an excerpt; a longer passage shows its first ones."""

TECHNICIAN = (
    "A lever that buzzes or sounds out of tune is a technician's job. If your hands hurt, stop and rest."
)
"""Two independent sources for the first, one for the second."""


@dataclass(frozen=True, slots=True)
class SheetFlip:
    """A lever flip as a player reads it.

    Attributes:
        number: its place in playing order, from 1.
        measure: index of the printed bar in which its cue stands.
        bar: that bar's printed number.
        beat: the beat at which the cue stands, exactly.
        time: "2nd" where the bar is played more than once, else "".
        string: index of the string.
        string_name: "F4".
        string_number: counted from the highest string.
        to: the state it brings, 0 down or 1 up.
        sounds: what the string then sounds.
        hand: the hand that makes it.
        rest, rest_beats: the hand's written rest there, in milliseconds and in beats.
        free, free_beats: the hand's time between plucks there.
        cut: milliseconds of a ringing note that are cut off, 0 for a clean flip.
        is_cut: whether it cuts one.
        joined: whether it stands in one cue with the flip before it.
    """

    number: int
    measure: int
    bar: str
    beat: Fraction
    time: str
    string: int
    string_name: str
    string_number: int
    to: int
    sounds: Pitch
    hand: Hand
    rest: int
    rest_beats: Fraction
    free: int
    free_beats: Fraction
    cut: int
    is_cut: bool
    joined: bool = False

    @property
    def direction(self) -> str:
        """ "up" or "down"."""
        return STATE_NAMES[self.to]

    @property
    def arrow(self) -> str:
        """ "↑" or "↓", as on the marked page."""
        return "↑" if self.to == UP else "↓"

    @property
    def bar_text(self) -> str:
        """The bar with its pass: "12, 2nd time"."""
        return f"{self.bar}, {self.time} time" if self.time else self.bar

    @property
    def beat_text(self) -> str:
        """The beat, "3" or "3½"."""
        return number_text(words.near_beat(self.beat))

    @property
    def kind(self) -> str:
        """ "clean", or what it cuts: "cuts 0.3 s"."""
        return f"cuts {words.seconds_text(self.cut)}" if self.is_cut else "clean"


@dataclass(frozen=True, slots=True)
class SheetPlace:
    """Where a flagged passage stands.

    Attributes:
        text: "bar 2 beat 1 to 4 (2nd time)".
        first, last: indices of its first and last printed bar.
    """

    text: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class SheetPassage:
    """A flagged passage, with every place where the same is to be said.

    Attributes:
        places: where, in performed order.
        reason: why its notes are lost, or "cut".
        say: what happens, a sentence.
        mend: what would mend it, clauses.
    """

    places: tuple[SheetPlace, ...]
    reason: Reason
    say: str
    mend: tuple[str, ...]

    @property
    def where(self) -> str:
        """Every place: "Bar 2 beat 1; bar 10 beat 1"."""
        return words.capital("; ".join(place.text for place in self.places))

    @property
    def mend_sentence(self) -> str:
        """What would mend it, as a sentence."""
        return f"{words.capital('; or '.join(self.mend))}."

    @property
    def excerpt(self) -> tuple[int, int]:
        """First and last bar of the excerpt that shows its first place."""
        place = self.places[0]
        return place.first, min(place.last, place.first + LONGEST_EXCERPT - 1)


@dataclass(frozen=True, slots=True)
class CueSheet:
    """A cue sheet.

    Attributes:
        report: what vet found.
        cues: what is printed in the marked score.
        flips: in playing order.
        passages: what is flagged.
        tints: colour of each flagged note, by the number of the `<note>` in the document.
        lost: numbers of the notes that are lost, which stand in brackets.
        cautions: sentences about the safety of harp and player.
    """

    report: Report = field(repr=False)
    cues: tuple[Cue, ...]
    flips: tuple[SheetFlip, ...]
    passages: tuple[SheetPassage, ...]
    tints: tuple[tuple[int, str], ...] = ()
    lost: frozenset[int] = frozenset()
    cautions: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Title of the piece, with the part's name where there are several."""
        part = words.part_text(self.report)
        return self.report.performance.score.title + (f" ({part})" if part else "")

    @property
    def parts(self) -> tuple[str, ...]:
        """Ids of the parts that are played."""
        performance = self.report.performance
        return tuple(performance.score.parts[index].id for index in performance.parts)

    @property
    def busy(self) -> frozenset[int]:
        """Indices of the bars with a cue."""
        return frozenset(cue.measure for cue in self.cues)

    @property
    def passages_heading(self) -> str:
        """Heading over the passages."""
        lost = any(passage.reason != "cut" for passage in self.passages)
        return "What cannot be played as written" if lost else "Notes cut short"

    def facts(self) -> tuple[tuple[str, str], ...]:
        """What stands at the head: harp, tuning, setting, player, tempo, each with its label."""
        report = self.report
        return (
            ("Harp", f"{words.harp_text(report.harp)}."),
            ("Tuning", f"{words.tuning_text(report.harp)}."),
            ("Setting", f"{words.setting_text(report)}."),
            ("Player", f"{player_text(report.player)}."),
            ("Tempo", f"{words.opening_tempo(report)}."),
        )


def make_cue_sheet(report: Report) -> CueSheet:
    """The cue sheet of a report.

    Args:
        report: what vet found.
    """
    cues = cues_of(report.performance, report.plan)
    tints, lost = _flagged_notes(report)
    return CueSheet(
        report,
        cues,
        tuple(_flips(report, cues)),
        tuple(_passages(report)),
        tints,
        lost,
        (*(report.cautions or (RAISING,)), TECHNICIAN),
    )


def excerpt_drawings(
    sheet: CueSheet, xml: str | bytes, *, width: float, staff: float = 5.5
) -> tuple[str, ...]:
    """An engraved excerpt for each flagged passage, its flagged notes coloured and lost ones in brackets.

    Args:
        sheet: the cue sheet.
        xml: the marked score.
        width: largest width in millimetres.
        staff: height of a staff in millimetres.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    if not sheet.passages:
        return ()
    ranges = [passage.excerpt for passage in sheet.passages]
    return excerpts(
        xml,
        ranges,
        width=width,
        staff=staff,
        parts=sheet.parts,
        tints=dict(sheet.tints),
        brackets=sheet.lost,
    )


def _flips(report: Report, cues: Sequence[Cue]) -> Iterator[SheetFlip]:
    place_of = {flip: cue for cue in cues for move in cue.moves for flip in move.flips}
    again = words.bars_played_again(report)
    before: tuple[Cue | None, int] = (None, 0)
    for flip, time in zip(report.plan.flips, report.flip_times, strict=True):
        cue = place_of[flip.id]
        visit = _visit_of(report, cue, time)
        here = (cue, visit)
        yield _flip(report, flip, time, cue, visit, again, joined=here == before)
        before = here


def _visit_of(report: Report, cue: Cue, time: FlipTime) -> int:
    """The visit on which a cue is read for a flip: the last of its bar up to where the flip starts."""
    visits = report.performance.timeline.visits
    return next(k for k in range(time.moment.visit, -1, -1) if visits[k].measure == cue.measure)


def _flip(
    report: Report, flip: Flip, time: FlipTime, cue: Cue, visit: int, again: frozenset[int], *, joined: bool
) -> SheetFlip:
    performance, harp = report.performance, report.harp
    measure = performance.score.measures[cue.measure]
    number = performance.timeline.visits[visit].number
    string = harp.strings[flip.string]
    return SheetFlip(
        number=flip.id + 1,
        measure=cue.measure,
        bar=measure.number,
        beat=beat_at(measure, cue.tick, performance.score.resolution),
        time=words.ordinal(number) if cue.measure in again else "",
        string=flip.string,
        string_name=string.name,
        string_number=harp.number(flip.string),
        to=flip.to,
        sounds=string.sounding(flip.to),
        hand=flip.hand,
        rest=time.rest,
        rest_beats=time.rest_beats,
        free=time.free,
        free_beats=time.free_beats,
        cut=flip.cut,
        is_cut=flip.is_cut,
        joined=joined,
    )


def _passages(report: Report) -> Iterator[SheetPassage]:
    """Like passages told once; a place that is flagged on every pass does not name them."""
    told: dict[tuple[Reason, str, tuple[str, ...]], list[Passage]] = {}
    for passage in report.passages:
        told.setdefault((passage.reason, passage.say, passage.mend), []).append(passage)
    for (reason, say, mend), alike in told.items():
        yield SheetPassage(tuple(_places(report, alike)), reason, say, mend)


def _places(report: Report, alike: Iterable[Passage]) -> Iterator[SheetPlace]:
    score = report.performance.score
    counts = Counter(visit.measure for visit in report.performance.timeline.visits)
    passes: dict[tuple[int, int, int, int], list[int]] = {}
    texts: dict[tuple[int, int, int, int], str] = {}
    for passage in alike:
        start, end = passage.start, passage.end
        key = (start.measure, start.tick, end.measure, end.tick)
        passes.setdefault(key, []).append(start.number)
        texts[key] = words.stretch_text(score, start, end)
    for key, numbers in passes.items():
        text, different = texts[key], sorted(set(numbers))
        if len(different) < counts[key[0]]:
            text += f" ({listed([words.ordinal(number) for number in different])} time)"
        yield SheetPlace(text, key[0], key[2])


def _flagged_notes(report: Report) -> tuple[tuple[tuple[int, str], ...], frozenset[int]]:
    """Colours of the flagged notes, and which of them are lost, by number in the document."""
    nodes: dict[object, bool] = {}
    for passage in report.passages:
        for pluck in passage.plucks:
            note = report.performance.plucks[pluck].note
            if note is not None:
                nodes[note.node] = nodes.get(note.node, False) or passage.reason != "cut"
    if not nodes:
        return (), frozenset()
    numbers = {
        number: nodes[node]
        for number, node in enumerate(report.performance.score.tree.getroot().iter("{*}note"))
        if node in nodes
    }
    tints = tuple((number, FLAG_COLOUR) for number in numbers)
    return tints, frozenset(number for number, lost in numbers.items() if lost)

"""The lever strip: for each string that moves, over the time of the performance, how its lever stands.

Time runs from left to right in performed bars, broken into lines of equal scale. Each string that moves
anywhere has a row in every line, the highest on top. A thick black band says that the lever is up, a thin
line that it is down; the note that sounds stands on it. A flip is an upright stroke with its number; a last
row shows where notes are flagged. Nothing is told by colour, and every flip and flag is a link that tells
itself.

Conventions: a line is 1000 units wide; x is performed ticks. A jump in the order of the bars is a double
stroke.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import quoteattr

from harpkeys.harp.model import UP
from harpkeys.harp.naming import note_text
from harpkeys.page import svg
from harpkeys.page.cue_sheet import CueSheet, SheetFlip
from harpkeys.page.text_width import text_width
from harpkeys.report import words
from harpkeys.report.model import Report
from harpkeys.report.performance import Performance

WIDE, LEFT, RIGHT = 1000.0, 92.0, 12.0
"""Width of a line, and room beside the time."""

MOST_BARS, DENSE_BARS = 32, 16
"""Bars in a line, and in a line of a piece with many flips."""

DENSE = 0.4
"""From so many flips a bar on a piece has many."""

ROW, BAND, HEAD = 40.0, 14.0, 24.0
"""Height of a row, of the band for a lever that is up, and of the bar numbers above the rows."""

SIZE = 13.0
"""Em of the lettering."""

PALE = "#777777"


@dataclass(frozen=True, slots=True)
class StripLine:
    """One line of the strip.

    Attributes:
        drawing: an SVG document.
        title: "Bars 1 to 32".
    """

    drawing: str
    title: str


@dataclass(frozen=True, slots=True)
class _Span:
    """The visits of a line, and where its ticks stand.

    Attributes:
        first, last: indices of visits.
        start, end: performed ticks.
        scale: units of a tick.
    """

    first: int
    last: int
    start: int
    end: int
    scale: float

    def x(self, tick: float) -> float:
        """Where a performed tick stands."""
        return LEFT + (min(max(tick, self.start), self.end) - self.start) * self.scale

    def holds(self, tick: float) -> bool:
        """Whether a tick is in this line."""
        return self.start <= tick < self.end


@dataclass(frozen=True, slots=True)
class _Event:
    """A flip on the time line."""

    tick: float
    flip: SheetFlip


def strip_lines(
    sheet: CueSheet, target: Callable[[int], str], prefix: str = "strip"
) -> tuple[StripLine, ...]:
    """The strip, line by line; nothing where no lever moves and nothing is flagged.

    Args:
        sheet: the cue sheet.
        target: the id to which a link to a printed bar leads, by the bar's index.
        prefix: start of the ids in the drawings.
    """
    if not sheet.flips and not sheet.passages:
        return ()
    clock = sheet.report.performance.clock
    events: dict[int, list[_Event]] = {}
    for flip, planned in zip(sheet.flips, sheet.report.plan.flips, strict=True):
        events.setdefault(flip.string, []).append(_Event(float(clock.tick_at(planned.start)), flip))
    strings = sorted(events, reverse=True)
    lines = []
    for number, span in enumerate(_spans(sheet.report.performance, len(sheet.flips)), 1):
        title = _title(sheet.report.performance, span)
        parts = [
            *_frame(sheet.report.performance, span, len(strings) + bool(sheet.passages)),
            *(
                piece
                for row, string in enumerate(strings)
                for piece in _row(sheet.report, span, row, string, events[string], target)
            ),
            *(_flags(sheet, span, len(strings), target) if sheet.passages else ()),
        ]
        high = HEAD + ROW * (len(strings) + bool(sheet.passages)) + 4
        lines.append(StripLine(_document(parts, high, title, f"{prefix}-{number}"), title))
    return tuple(lines)


def strip_key(sheet: CueSheet) -> str:
    """How to read the strip: of its signs those that it shows."""
    flip = "An upright stroke with its number is a flip"
    flag = "triangle with ! a flagged bar"
    said = []
    if sheet.flips:
        said.append("A thick black band: the lever is up; a thin line: it is down.")
        said.append(f"{flip}, a {flag}; both lead" if sheet.passages else f"{flip} and leads")
    else:
        said.append(f"A {flag.replace('! a', '! is a')} and leads")
    said[-1] += " to the bar."
    order = [visit.measure for visit in sheet.report.performance.timeline.visits]
    if any(after != before + 1 for before, after in pairwise(order)):
        said.append("A double stroke is a jump in the order of the bars.")
    return " ".join(said)


def strip_in_words(sheet: CueSheet) -> tuple[str, ...]:
    """What the strip shows, a sentence for each string that moves, the highest first."""
    sentences = []
    for string in sorted({flip.string for flip in sheet.flips}, reverse=True):
        flips = [flip for flip in sheet.flips if flip.string == string]
        start = "up" if sheet.report.plan.starting[string] == UP else "down"
        moves = [
            f"{flip.direction} in bar {flip.bar_text}, to {note_text(flip.sounds)} (flip {flip.number})"
            for flip in flips
        ]
        name = f"String {flips[0].string_name} ({flips[0].string_number})"
        sentences.append(f"{name}: lever {start} at the start; {'; '.join(moves)}.")
    return tuple(sentences)


def _spans(performance: Performance, flips: int) -> Iterator[_Span]:
    """Lines of as many bars each, all in the scale of the longest."""
    timeline = performance.timeline
    visits = timeline.visits
    most = DENSE_BARS if flips > DENSE * len(visits) else MOST_BARS
    count = -(-len(visits) // most)
    bounds = [round(k * len(visits) / count) for k in range(count + 1)]
    ticks = [visits[bound].start if bound < len(visits) else timeline.length for bound in bounds]
    longest = max((after - before for before, after in pairwise(ticks)), default=1)
    scale = (WIDE - LEFT - RIGHT) / max(longest, 1)
    for k in range(count):
        yield _Span(bounds[k], bounds[k + 1] - 1, ticks[k], ticks[k + 1], scale)


def _title(performance: Performance, span: _Span) -> str:
    measures, visits = performance.score.measures, performance.timeline.visits
    first, last = (measures[visits[k].measure].number for k in (span.first, span.last))
    return f"Levers in bar {first}" if span.first == span.last else f"Levers in bars {first} to {last}"


def _document(parts: Sequence[str], high: float, title: str, name: str) -> str:
    size = f'viewBox="0 0 {svg.number(WIDE)} {svg.number(high)}" width="190mm" height="{high * 0.19:.2f}mm"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="group" aria-labelledby={quoteattr(name)}>'
        f"<title id={quoteattr(name)}>{svg.escaped(title)}</title>{''.join(parts)}</svg>"
    )


def _frame(performance: Performance, span: _Span, rows: int) -> Iterator[str]:
    """Barlines and bar numbers."""
    visits, measures = performance.timeline.visits, performance.score.measures
    foot = HEAD + rows * ROW
    labels: list[tuple[bool, float, str]] = []
    for index in range(span.first, span.last + 1):
        visit, x = visits[index], span.x(visits[index].start)
        jumps = index > 0 and visit.measure != visits[index - 1].measure + 1
        yield svg.line(x, HEAD - 5, x, foot, PALE, 0.6)
        if jumps:
            yield svg.line(x - 3, HEAD - 5, x - 3, foot, svg.INK, 1.6)
        again = (
            f" ({words.ordinal(visit.number)})" if visit.number > 1 and (jumps or index == span.first) else ""
        )
        labels.append((not (jumps or index == span.first), x, measures[visit.measure].number + again))
    yield svg.line(span.x(span.end), HEAD - 5, span.x(span.end), foot, PALE, 0.6)
    yield _words("bar", LEFT - 8, HEAD - 9, anchor="end")
    taken: list[tuple[float, float]] = []
    for _, x, label in sorted(labels):
        right = x + text_width(label, SIZE)
        if all(right + 6 < low or x > high + 6 for low, high in taken) and right < WIDE:
            taken.append((x, right))
            yield _words(label, x, HEAD - 9)


def _row(
    report: Report,
    span: _Span,
    row: int,
    string: int,
    events: Sequence[_Event],
    target: Callable[[int], str],
) -> Iterator[str]:
    """The lever of one string in one line."""
    harp = report.harp
    low = HEAD + (row + 1) * ROW - 8
    name = f"{harp.strings[string].name} ({harp.number(string)})"
    yield _words(name, LEFT - 8, low - 3, anchor="end", heavy=True)
    state = report.plan.starting[string]
    here = [event for event in events if span.holds(event.tick)]
    for event in events:
        if event.tick < span.start:
            state = event.flip.to
    ends = [span.start, *(event.tick for event in here), span.end]
    states = [state, *(event.flip.to for event in here)]
    for place, stands in enumerate(states):
        note = note_text(harp.strings[string].sounding(stands))
        yield from _stretch(span.x(ends[place]), span.x(ends[place + 1]), low, stands, note)
    before = float("-inf")
    for event in here:
        x = span.x(event.tick)
        yield _flip_mark(event.flip, x, low, target(event.flip.measure), named=x - before > 22)
        before = x


def _stretch(left: float, right: float, low: float, state: int, note: str) -> Iterator[str]:
    """A stretch of time in one state."""
    fits = right - left > text_width(note, SIZE) + 8
    if state == UP:
        yield svg.box(left, low - BAND, right - left, BAND, svg.INK)
        if fits:
            yield _words(note, left + 4, low - 2.8, ink="#ffffff")
    else:
        yield svg.line(left, low - 0.8, right, low - 0.8, svg.INK, 1.6)
        if fits:
            yield _words(note, left + 4, low - 4)


def _flip_mark(flip: SheetFlip, x: float, low: float, target: str, *, named: bool) -> str:
    """An upright stroke with an arrowhead and the flip's number, as a link to its bar."""
    top = low - BAND - 9
    tip, wing = (top - 3, 8.0) if flip.to == UP else (low + 6, -8.0)
    head = svg.points([(x, tip), (x - 5, tip + wing), (x + 5, tip + wing)])
    label = (
        f"Flip {flip.number}: string {flip.string_name} {flip.direction} to {note_text(flip.sounds)}, "
        f"bar {flip.bar_text}, beat {flip.beat_text}, {flip.hand} hand"
    )
    drawn = svg.line(x, top, x, low + 2, svg.INK, 2.4) + f'<polygon points="{head}" fill="{svg.INK}"/>'
    number = _words(str(flip.number), x + 7, top + 5, heavy=True) if named else ""
    reach = (
        f'<rect x="{svg.number(x - 8)}" y="{svg.number(top - 6)}" width="20" height="{ROW:g}" opacity="0"/>'
    )
    return _linked(target, label, f"{reach}{drawn}{number}")


def _flags(sheet: CueSheet, span: _Span, row: int, target: Callable[[int], str]) -> Iterator[str]:
    """Where notes are flagged, a sign for each bar, as a link to it."""
    plucks = sheet.report.performance.plucks
    low = HEAD + (row + 1) * ROW - 8
    yield _words("flagged", LEFT - 8, low, anchor="end", heavy=True)
    seen: set[int] = set()
    visits, measures = sheet.report.performance.timeline.visits, sheet.report.performance.score.measures
    for passage in sheet.report.passages:
        for pluck in passage.plucks:
            place = plucks[pluck].place
            if place.visit in seen or not span.first <= place.visit <= span.last:
                continue
            seen.add(place.visit)
            # At the very start of a line the sign would stand in the name of its row.
            x = max(span.x(plucks[pluck].onset_tick), LEFT + 7)
            corners = svg.points([(x, low - 13), (x - 7, low + 1), (x + 7, low + 1)])
            shape = f'<polygon points="{corners}" fill="#ffffff" stroke="{svg.INK}" stroke-width="1.4"/>'
            mark = _words("!", x, low - 0.5, anchor="middle", heavy=True)
            label = f"Flagged in bar {measures[visits[place.visit].measure].number}: {passage.say}"
            yield _linked(target(place.measure), label, shape + mark)


def _linked(target: str, label: str, drawn: str) -> str:
    """A link in a drawing; its title is what a pointer shows and what is read aloud."""
    name = quoteattr("".join(sign for sign in label if svg.allowed(ord(sign))))
    return f'<a href="#{target}" aria-label={name}><title>{svg.escaped(label)}</title>{drawn}</a>'


def _words(
    text: str, x: float, base: float, *, anchor: str = "start", ink: str = svg.INK, heavy: bool = False
) -> str:
    return svg.text(text, x, base, SIZE, font=svg.WORD_FONT, anchor=anchor, ink=ink, heavy=heavy)

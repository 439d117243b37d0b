"""Putting parts together: bars, endings, jumps, tempi and measure repeats that all parts count for.

Signs that nothing explains are settled here:

- A segno sign, or a lone coda sign, is a target.
- Where exactly two coda signs stand unexplained, no jump to the coda and no other coda target is given, and a
  D.C. or D.S. leads to a coda (its words say so, or it has none), the first is the jump and the second the
  target.
- A target that stands at the very end of a bar belongs to the next bar.
- A bracket that is opened but never closed ends at a backward repeat, or before the bracket with the next
  number; without either it covers its first bar.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from harpkeys.errors import ScoreError
from harpkeys.score.model import Jump, Measure, Note, TempoMark
from harpkeys.score.reader_draft import MAX_NOTES, BarDraft, JumpDraft, PartDraft, Shared

TARGETS = ("segno", "coda")


def combine_measures(parts: list[PartDraft], shared: Shared) -> tuple[Measure, ...]:
    """The printed bars as all parts together tell them.

    Args:
        parts: the parts, walked.
        shared: what they share; remarks are counted there.

    Returns:
        As many bars as the longest part has.

    Raises:
        ScoreError: an empty bar's time signature is no whole number of any ticks.
    """
    count = max(len(part.bars) for part in parts)
    if any(len(part.bars) != count for part in parts):
        shared.counts["bars"] += 1
    columns = [[part.bars[index] for part in parts if index < len(part.bars)] for index in range(count)]
    lengths = [_length(column, shared) for column in columns]
    endings = _all_endings(parts, shared)
    jumps = _all_jumps(columns, lengths)
    measures = []
    for index, column in enumerate(columns):
        implicit = opens = False
        closes = 0
        beats = None
        for bar in column:
            implicit = implicit or bar.implicit
            opens = opens or bar.opens
            closes = max(closes, bar.closes)
            beats = beats or bar.beats
        measures.append(
            Measure(
                index,
                column[0].number,
                lengths[index],
                beats,
                implicit,
                opens,
                closes,
                endings.get(index, ()),
                jumps.get(index, ()),
            )
        )
    return tuple(measures)


def _length(column: list[BarDraft], shared: Shared) -> int:
    """Ticks of a bar's longest content, of its time signature where all parts are empty (4/4 without one)."""
    longest = max([bar.length for bar in column])
    if longest:
        return longest
    beats = next((bar.beats for bar in column if bar.beats is not None), (4, 4))
    return shared.whole_ticks(Fraction(4 * beats[0], beats[1]))


def _all_endings(parts: list[PartDraft], shared: Shared) -> dict[int, tuple[int, ...]]:
    """The ending numbers of every bar that has some in any part."""
    found: dict[int, set[int]] = {}
    for part in parts:
        if any(bar.endings for bar in part.bars):
            for index, numbers in enumerate(_endings(part.bars, shared)):
                if numbers:
                    found.setdefault(index, set()).update(numbers)
    return {index: tuple(sorted(numbers)) for index, numbers in found.items()}


def _endings(bars: list[BarDraft], shared: Shared) -> list[tuple[int, ...]]:
    """The ending numbers of every bar of a part."""
    found: list[tuple[int, ...]] = [()] * len(bars)
    current: tuple[int, ...] = ()
    last_numbers: tuple[int, ...] = ()
    last_bar = -2
    for index, bar in enumerate(bars):
        starts = [ending for ending in bar.endings if ending.kind == "start"]
        stops = [ending for ending in bar.endings if ending.kind != "start"]
        if starts or (stops and not current):
            numbers = (starts or stops)[0].numbers
            if not numbers:
                shared.places.add(("ending", index, 0))
                numbers = (last_numbers[-1] + 1,) if last_numbers and last_bar == index - 1 else (1,)
            closed = bool(stops) or _closes_later(bars, index, numbers)
            current = last_numbers = numbers
            if not closed:
                shared.places.add(("bracket", index, 0))
                found[index] = numbers
                last_bar, current = index, ()
                continue
        if current:
            found[index] = current
            last_bar = index
            if stops or bar.closes:
                current = ()
    return found


def _closes_later(bars: list[BarDraft], start: int, numbers: tuple[int, ...]) -> bool:
    """Whether the bracket that starts in this bar has an end: a stop, a backward repeat, the next bracket."""
    for index in range(start, len(bars)):
        bar = bars[index]
        following = [ending.numbers for ending in bar.endings if ending.kind == "start" and index > start]
        if following:
            return bool(following[0]) and following[0][0] == numbers[-1] + 1
        if bar.closes or any(ending.kind != "start" for ending in bar.endings):
            return True
    return False


def _all_jumps(columns: list[list[BarDraft]], lengths: list[int]) -> dict[int, tuple[Jump, ...]]:
    """The jumps and targets of every bar that has some."""
    drafts: dict[int, list[JumpDraft]] = {}
    for index, column in enumerate(columns):
        for bar in column:
            if bar.jumps:
                drafts.setdefault(index, []).extend(bar.jumps)
    drafts = {index: _distinct(bar) for index, bar in drafts.items()}
    _settle_codas(drafts)
    jumps: dict[int, tuple[Jump, ...]] = {}
    for index, bar_drafts in drafts.items():
        for draft in bar_drafts:
            jump = draft.jump
            place = index
            if jump.kind in TARGETS and jump.onset >= lengths[index] > 0 and index + 1 < len(columns):
                place, jump = index + 1, replace(jump, onset=0)
            jumps[place] = (*jumps.get(place, ()), jump)
    return jumps


def _distinct(drafts: list[JumpDraft]) -> list[JumpDraft]:
    """One draft of each kind and name; signs and words beside a sound of the same kind say nothing new."""
    kept: list[JumpDraft] = []
    for draft in sorted(drafts, key=lambda draft: (draft.sign_only, bool(draft.jump.words))):
        for other in kept:
            same_kind = other.jump.kind == draft.jump.kind
            if same_kind and (draft.jump.name in ("", other.jump.name) or draft.sign_only):
                break
        else:
            kept.append(draft)
    return kept


def _settle_codas(bars: dict[int, list[JumpDraft]]) -> None:
    """Make the first of two unexplained coda signs the jump, where a D.C. or D.S. leads to a coda."""
    signs = [
        (index, place)
        for index, bar in bars.items()
        for place, draft in enumerate(bar)
        if draft.sign_only and draft.jump.kind == "coda"
    ]
    explained = any(
        draft.jump.kind == "tocoda" or (draft.jump.kind == "coda" and not draft.sign_only)
        for bar in bars.values()
        for draft in bar
    )
    leads = any(
        draft.jump.kind in ("dacapo", "dalsegno") and (not draft.text or "coda" in draft.text.lower())
        for bar in bars.values()
        for draft in bar
    )
    if len(signs) != 2 or explained or not leads:
        return
    index, place = signs[0]
    draft = bars[index][place]
    bars[index][place] = JumpDraft(replace(draft.jump, kind="tocoda", words="coda sign"), text=draft.text)


def combine_tempos(shared: Shared, measures: tuple[Measure, ...]) -> tuple[TempoMark, ...]:
    """The tempo marks of all parts in file order, metric modulations computed.

    A modulation changes the tempo that stands before it on the page; sounds beat metronome marks, and later
    marks earlier ones, at the same place.

    Args:
        shared: holds the drafts.
        measures: the bars, whose lengths bound the marks' places.

    Returns:
        The marks.
    """
    shared.tempos = [draft for draft in shared.tempos if draft.measure >= 0]
    for draft in shared.tempos:
        draft.onset = min(draft.onset, measures[draft.measure].length)
    force: Fraction | None = None
    for draft in sorted(
        shared.tempos, key=lambda draft: (draft.measure, draft.onset, draft.sound, draft.order)
    ):
        if draft.change is not None:
            if force is None:
                shared.counts["modulation"] += 1
            else:
                shared.counts["modulated"] += 1
                draft.bpm = force * draft.change
        force = draft.bpm or force
    return tuple(
        TempoMark(draft.measure, draft.onset, draft.bpm, draft.sound, draft.order)
        for draft in shared.tempos
        if draft.bpm is not None
    )


def fill_measure_repeats(part: PartDraft) -> None:
    """Copy notes into bars that a measure-repeat sign leaves empty; each copy keeps its note's node.

    Bars under the sign that have visible notes of their own are left alone.

    Args:
        part: the part, walked; its notes and the lengths of its bars change.

    Raises:
        ScoreError: more notes than are read.
    """
    if not part.spans:
        return
    total = part.shared.notes + len(part.notes)
    by_bar: list[list[Note]] = [[] for _ in part.bars]
    for note in part.notes:
        by_bar[note.measure].append(note)
    for span in part.spans:
        stop = len(part.bars) if span.stop is None else span.stop
        for index in range(span.first, stop):
            source = index - span.pattern
            if source < 0 or any(_visible(note, span.staff) for note in by_bar[index]):
                continue
            copies = [
                replace(note, measure=index)
                for note in by_bar[source]
                if span.staff is None or note.staff == span.staff
            ]
            if not any(note.pitch for note in copies):
                continue
            total += len(copies)
            if total > MAX_NOTES:
                raise ScoreError(f"the score has more than {MAX_NOTES} notes", "split it into parts")
            others = [note for note in by_bar[index] if span.staff is not None and note.staff != span.staff]
            by_bar[index] = others + copies
            longest = max(note.onset + note.duration for note in copies)
            part.bars[index].length = max(part.bars[index].length, longest)
            part.remark("measure-repeat")
    part.notes = [note for bar in by_bar for note in bar]


def _visible(note: Note, staff: int | None) -> bool:
    """Whether a note is printed and sounds, on that staff."""
    on_staff = staff is None or note.staff == staff
    return on_staff and not note.rest and not note.hidden and not note.cue

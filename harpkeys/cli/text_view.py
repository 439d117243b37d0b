"""The report as text for the music stand: 80 columns, the verdict first, then what to do in playing order.

Places are bars and beats, beats counted from 1 in the unit of the time signature. A view computes nothing
musical: it only chooses words, rounds for reading (beats of flips to the nearest quarter of a beat; the exact
values are in the JSON), and tells like things together.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from math import floor

from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.model import STATE_NAMES, Harp
from harpkeys.harp.naming import key_name, listed, note_text
from harpkeys.harp.players import player_text
from harpkeys.harp.tunings import KEYS
from harpkeys.pitch import LETTERS
from harpkeys.report.model import Report
from harpkeys.score.beats import beat_at, number_text
from harpkeys.score.model import KeySignature, Score
from harpkeys.score.pluck import Place

GROUPED_FROM = 13
"""Tables of so many flips or more are parted by blank lines at every eighth bar."""


REASONS = {
    "below": "below the lowest string",
    "above": "above the highest string",
    "no lever": "for want of a lever",
    "clash": "clashing with another on its string",
    "no time": "for lack of time",
}
"""Why notes are lost, to follow their number."""


def report_lines(report: Report) -> Iterator[Line]:
    """The whole report, line by line.

    Args:
        report: the report.
    """
    yield from _head(report)
    yield from _starting(report)
    yield from _flips(report)
    yield from _passages(report)
    yield from _warnings(report)
    yield from _keys(report)
    yield from _tempo(report)
    if report.cautions:
        yield from heading("Safety")
        yield from (line for caution in report.cautions for line in paragraph(caution, 2, bullet=True))
    yield from heading("Taken for granted")
    for assumption in report.assumptions:
        yield from paragraph(assumption, 2, bullet=True)


def _head(report: Report) -> Iterator[Line]:
    performance = report.performance
    part = " + ".join(performance.score.parts[index].name for index in performance.parts).strip(" +")
    title = performance.score.title
    yield Line(title + (f" ({part})" if part and len(performance.score.parts) > 1 else ""), "heading")
    yield from paragraph(verdict_sentence(report), role="alarm")
    yield Line()
    harp = report.harp
    ends = f"{harp.strings[0].name} to {harp.strings[-1].name}"
    strings = f"{len(harp.strings)} strings, {ends}, {_levers(harp)}"
    rows = [
        ("Harp", f"{harp.name}: {strings}."),
        ("Tuning", f"{harp.tuning}: that is how it sounds with all levers down."),
        ("Setting", _setting(report)),
        ("Player", f"{player_text(report.player)}."),
        ("Tempo", _opening_tempo(report)),
    ]
    yield from entries(rows)


def verdict_sentence(report: Report) -> str:
    """The verdict in a sentence or two."""
    criteria = report.plan.criteria
    flips = _count(criteria.flips, "lever flip")
    if report.verdict == "as set":
        return "Plays as set: no lever moves once it has begun."
    cutting = "one of them" if criteria.cuts == 1 else f"{criteria.cuts} of them"
    cuts = f", {cutting} cutting a ringing note short" if criteria.cuts else ""
    if report.verdict == "not as written":
        lost = criteria.lost + criteria.lost_auxiliaries
        reasons = [reason for reason in report.plan.lost if reason is not None]
        counted = [f"{reasons.count(reason)} {REASONS[reason]}" for reason in dict.fromkeys(reasons)]
        rest = f" The rest takes {flips}{cuts}." if criteria.flips else ""
        return (
            f"Not as written: {lost} of {_count(len(report.plan.plays), 'note')} cannot be played "
            f"({', '.join(counted)}).{rest}"
        )
    if report.verdict == "with cuts":
        return f"Plays with {flips}{cuts}; nothing is lost."
    slack = _seconds(report.min_slack)
    return f"Plays with {flips}, cutting no note short, the tightest with {slack} to spare; nothing is lost."


def _levers(harp: Harp) -> str:
    with_lever = [index for index, string in enumerate(harp.strings) if string.lever]
    if len(with_lever) == len(harp.strings):
        return "a lever on every string"
    return f"levers on {strings_text(harp, with_lever)}" if with_lever else "no levers"


def strings_text(harp: Harp, indexes: Sequence[int]) -> str:
    """Some strings in words: letters of which all are meant first, "every F and C; B4 (16)"."""
    chosen = set(indexes)
    whole, single = [], []
    for letter in range(7):
        same = {index for index, string in enumerate(harp.strings) if string.diatonic % 7 == letter}
        if same and same <= chosen:
            whole.append(LETTERS[letter])
        else:
            single += sorted(same & chosen)
    names = [f"{harp.strings[index].name} ({harp.number(index)})" for index in sorted(single, reverse=True)]
    parts = [f"every {listed(whole)}"] if whole else []
    return "; ".join([*parts, listed(names)] if names else parts)


def _setting(report: Report) -> str:
    """How the levers stand at the start, in words and as a key where it is one."""
    harp, starting = report.harp, report.plan.starting
    up = [index for index, state in enumerate(starting) if state]
    levers = f"{strings_text(harp, up)} up, all other levers down" if up else "all levers down"
    letters: dict[int, set[int]] = {}
    for string, state in zip(harp.strings, starting, strict=True):
        letters.setdefault(string.diatonic % 7, set()).add(string.tuned + state)
    alike = [letters.get(letter, set()) for letter in range(7)]
    key = KEYS.get(tuple(alters.copy().pop() if len(alters) == 1 else 9 for alters in alike))  # type: ignore[arg-type]
    return f"{levers} at the start{f', which sounds {key} major' if key else ''}."


def _opening_tempo(report: Report) -> str:
    clock = report.performance.clock
    source = {"score": "from the score", "assumed": "assumed", "given": "as asked"}[clock.source]
    if report.performance.scale != 1:
        source += f", times {float(report.performance.scale):g}"
    return f"quarter = {_bpm(clock.bpm)} ({source})."


def _starting(report: Report) -> Iterator[Line]:
    harp, starting = report.harp, report.plan.starting
    up = [index for index, state in enumerate(starting) if state]
    if not up:
        return
    yield from heading("Levers up before the start, strings numbered from the top")
    octaves = sorted({harp.strings[index].diatonic // 7 for index in up}, reverse=True)
    rows = []
    for octave in octaves:
        names = [
            f"{note_text(harp.strings[index].sounding(1))} ({harp.number(index)})"
            for index in reversed(up)
            if harp.strings[index].diatonic // 7 == octave
        ]
        rows.append((f"octave {octave}", ", ".join(names)))
    yield from entries(rows, 2)


def _flips(report: Report) -> Iterator[Line]:
    if not report.plan.flips:
        return
    yield from heading("Lever flips in playing order")
    rows = [("", "bar", "beat", "string", "lever", "hand", "rest", "free", "")]
    groups: list[object] = [None]
    score, again = report.performance.score, _played_again(report)
    for flip, time in zip(report.plan.flips, report.flip_times, strict=True):
        measure = score.measures[time.moment.measure]
        beat = beat_at(measure, time.moment.quarters * score.resolution, score.resolution)
        string = report.harp.strings[flip.string]
        rows.append(
            (
                str(flip.id + 1),
                measure.number + (f", {_ordinal(time.moment.number)}" if measure.index in again else ""),
                number_text(_near(beat)),
                f"{string.name} ({report.harp.number(flip.string)})",
                f"{STATE_NAMES[flip.to]} to {note_text(string.sounding(flip.to))}",
                flip.hand,
                _beats_and_seconds(time.rest_beats, time.rest),
                _beats_and_seconds(time.free_beats, time.free),
                f"cuts {_seconds(flip.cut)}" if flip.is_cut else "",
            )
        )
        groups.append((time.moment.number, time.moment.measure // 8))
    yield from table(rows, groups if len(rows) > GROUPED_FROM else None, right=(0, 1))
    legend = "rest: the hand's written rest there; free: its time between plucks; b: beats."
    yield from paragraph(legend, 2)


def _near(beat: Fraction) -> Fraction:
    """A beat to the nearest quarter of a beat, thirds kept."""
    return beat if beat.denominator == 3 else Fraction(round(4 * beat), 4)


def _beats_and_seconds(beats: Fraction, milliseconds: int) -> str:
    if not milliseconds:
        return "none"
    return f"{number_text(_near(beats))} b {_seconds(milliseconds)}"


def _passages(report: Report) -> Iterator[Line]:
    if not report.passages:
        return
    told: dict[tuple[str, str, tuple[str, ...]], list[str]] = {}
    again = _played_again(report)
    for passage in report.passages:
        where = _stretch(report.performance.score, passage.start, passage.end)
        if passage.start.measure in again:
            where += f" ({_ordinal(passage.start.number)} time)"
        told.setdefault((passage.reason, passage.say, passage.mend), []).append(where)
    lost = any(passage.reason != "cut" for passage in report.passages)
    yield from heading("What cannot be played as written" if lost else "Notes cut short")
    for (reason, say, mend), places in told.items():
        yield from paragraph(f"{_capital('; '.join(places))}: {reason}", 2)
        yield from paragraph(say, 4)
        yield from paragraph(f"Mend: {'; or '.join(mend)}.", 4)


def _stretch(score: Score, start: Place, end: Place) -> str:
    """A place or a stretch, "bar 5 beat 3 to bar 6 beat 1"."""
    first, last = score.measures[start.measure], score.measures[end.measure]
    one = number_text(beat_at(first, start.tick, score.resolution))
    other = number_text(beat_at(last, end.tick, score.resolution))
    text = f"bar {first.number} beat {one}"
    if first.index != last.index:
        return f"{text} to bar {last.number} beat {other}"
    return text if one == other else f"{text} to {other}"


def _played_again(report: Report) -> frozenset[int]:
    """Indexes of the bars that are played more than once, whose pass has to be told."""
    counts = Counter(visit.measure for visit in report.performance.timeline.visits)
    return frozenset(measure for measure, count in counts.items() if count > 1)


def _warnings(report: Report) -> Iterator[Line]:
    if not report.warnings:
        return
    yield from heading("Apart from the levers: awkward for the hands")
    score = report.performance.score
    told: dict[str, list[str]] = {}
    for warning in report.warnings:
        measure = score.measures[warning.place.measure]
        beat = number_text(beat_at(measure, warning.place.tick, score.resolution))
        told.setdefault(warning.sentence, []).append(f"bar {measure.number} beat {beat}")
    for sentence, places in told.items():
        yield from paragraph(f"{_capital('; '.join(places))}: {sentence}", 2)


def _keys(report: Report) -> Iterator[Line]:
    yield from heading("Keys and accidentals")
    rows = [
        (f"bar {report.performance.score.measures[found.key.measure].number}", _key(report, index))
        for index, found in enumerate(report.keys)
    ]
    yield from entries(rows or [("", "The score has no key signature.")], 2)
    for section in report.suggested:
        if not section.agrees:
            measures = report.performance.score.measures
            first, last = measures[section.first].number, measures[section.last].number
            yield from paragraph(f"The notes of bars {first} to {last} suggest {section.guess.name}.", 2)
    if report.tunings:
        yield from paragraph(f"All these signatures are in reach with the tuning {_or(report.tunings)}.", 2)
    census = report.accidentals.census
    if not census:
        yield from paragraph("No note contradicts its key signature.", 2)
        return
    total = sum(entry.times for entry in census)
    yield from paragraph(f"{_count(total, 'note')} against the key signature:", 2)
    for entry in census:
        yield from paragraph(entry.text() + ".", 4)


def _key(report: Report, index: int) -> str:
    found = report.keys[index]
    if found.reached:
        up = strings_text(report.harp, found.setting.up)
        levers = f"levers up on {up}" if up else "no lever up"
    else:
        levers = f"out of reach: {strings_text(report.harp, found.setting.unreachable)}"
    staff = f" on staff {found.key.staff}" if found.key.staff is not None else ""
    return f"{signature_text(found.key)}{staff}: {levers}."


def signature_text(key: KeySignature) -> str:
    """A signature in words: "2 sharps, D major", "1 flat"."""
    if key.fifths is None:
        return "a mixed signature"
    count = abs(key.fifths)
    signs = _count(count, "sharp" if key.fifths > 0 else "flat") if count else "no sharps or flats"
    return f"{signs}, {key_name(key.fifths, key.mode)}" if key.mode else signs


def _tempo(report: Report) -> Iterator[Line]:
    answers, bpm = report.tempo, report.performance.clock.bpm
    sentences = []
    if answers.ceiling is not None:
        factor = Fraction(str(answers.ceiling.factor))
        sentences.append(
            f"These flips hold up to {floor(100 * factor) / 100:g} times the tempo "
            f"(quarter = {_bpm(bpm * factor)}); flip {answers.ceiling.flip + 1} sets the limit."
        )
    if answers.playing is None and answers.player_needed is None:
        sentences.append(
            "No tempo down to a tenth of this one, and none of the named players, avoids every loss for "
            "lack of time and every cut."
        )
    else:
        sentences += _slower_or_quicker(report)
    if report.plan.proved and report.plan.flips:
        sentences.append("No plan loses or cuts less, or moves fewer levers: proved.")
    if sentences:
        yield from heading("Tempo and player")
        for sentence in sentences:
            yield from paragraph(sentence, 2)


def _slower_or_quicker(report: Report) -> Iterator[str]:
    """What a slower tempo or a quicker player would do."""
    answers = report.tempo
    if answers.playing is None:
        yield "No tempo down to a tenth of this one avoids every loss for lack of time and every cut."
    elif answers.playing < 1:
        bpm = report.performance.clock.bpm * Fraction(str(answers.playing))
        yield (
            f"Taken at {answers.playing:g} of the tempo (quarter = {_bpm(bpm)}) or slower, nothing is lost "
            "for lack of time and no ringing note is cut."
        )
    if answers.player_needed is None:
        yield "At this tempo it needs quicker hands than any of the named players has."
    elif report.verdict != "as set":
        yield f"At this tempo the flips suit players from {answers.player_needed.name} on."


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _ordinal(number: int) -> str:
    suffix = "th" if 10 < number % 100 < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{suffix}"


def _or(words: Iterable[str]) -> str:
    return listed(list(words)).replace(" and ", " or ")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _seconds(milliseconds: int | None) -> str:
    """Seconds in two figures, from ten on to the tenth: 0.05 s, 0.45 s, 1.4 s, 12.5 s."""
    time = (milliseconds or 0) / 1000
    return f"{time:.2g} s" if time < 10 else f"{time:.1f} s"


def _bpm(bpm: Fraction) -> str:
    """A tempo as metronomes count, in whole numbers, slow ones to the tenth; rounded down, which is safe."""
    return f"{floor(10 * bpm) / 10:g}" if bpm < 40 else str(floor(bpm))

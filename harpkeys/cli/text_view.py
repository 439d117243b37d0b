"""The report as text for the music stand: 80 columns, the verdict first, then what to do in playing order.

Places are bars and beats, beats counted from 1 in the unit of the time signature. A view computes nothing
musical: it only arranges, tells like things together, and takes its words from `harpkeys.report.words`.
"""

from __future__ import annotations

from collections.abc import Iterator

from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.players import player_text
from harpkeys.report import words
from harpkeys.report.model import Report
from harpkeys.score.beats import number_text

GROUPED_FROM = 13
"""Tables of so many flips or more are parted by blank lines at every eighth bar."""


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
    part = words.part_text(report)
    title = report.performance.score.title
    yield Line(title + (f" ({part})" if part else ""), "heading")
    yield from paragraph(words.verdict_sentence(report), role="alarm")
    yield Line()
    rows = [
        ("Harp", f"{words.harp_text(report.harp)}."),
        ("Tuning", f"{words.tuning_text(report.harp)}."),
        ("Setting", f"{words.setting_text(report)}."),
        ("Player", f"{player_text(report.player)}."),
        ("Tempo", f"{words.opening_tempo(report)}."),
    ]
    yield from entries(rows)


def _starting(report: Report) -> Iterator[Line]:
    rows = words.starting_rows(report)
    if rows:
        yield from heading("Levers up before the start, strings numbered from the top")
        yield from entries([(octave, ", ".join(names)) for octave, names in rows], 2)


def _flips(report: Report) -> Iterator[Line]:
    if not report.plan.flips:
        return
    yield from heading("Lever flips in playing order")
    rows = [("", "bar", "beat", "string", "lever", "hand", "rest", "free", "")]
    groups: list[object] = [None]
    measures, again = report.performance.score.measures, words.bars_played_again(report)
    for flip, time in zip(report.plan.flips, report.flip_times, strict=True):
        measure = measures[time.moment.measure]
        rows.append(
            (
                str(flip.id + 1),
                measure.number + (f", {words.ordinal(time.moment.number)}" if measure.index in again else ""),
                number_text(words.near_beat(words.flip_beat(report, time))),
                f"{report.harp.strings[flip.string].name} ({report.harp.number(flip.string)})",
                words.lever_text(report.harp, flip),
                flip.hand,
                words.beats_and_seconds(time.rest_beats, time.rest),
                words.beats_and_seconds(time.free_beats, time.free),
                f"cuts {words.seconds_text(flip.cut)}" if flip.is_cut else "",
            )
        )
        groups.append((time.moment.number, time.moment.measure // 8))
    yield from table(rows, groups if len(rows) > GROUPED_FROM else None, right=(0, 1))
    legend = "rest: the hand's written rest there; free: its time between plucks; b: beats."
    yield from paragraph(legend, 2)


def _passages(report: Report) -> Iterator[Line]:
    if not report.passages:
        return
    told: dict[tuple[str, str, tuple[str, ...]], list[str]] = {}
    again = words.bars_played_again(report)
    for passage in report.passages:
        where = words.stretch_text(report.performance.score, passage.start, passage.end)
        if passage.start.measure in again:
            where += f" ({words.ordinal(passage.start.number)} time)"
        told.setdefault((passage.reason, passage.say, passage.mend), []).append(where)
    lost = any(passage.reason != "cut" for passage in report.passages)
    yield from heading("What cannot be played as written" if lost else "Notes cut short")
    for (reason, say, mend), places in told.items():
        yield from paragraph(f"{words.capital('; '.join(places))}: {reason}", 2)
        yield from paragraph(say, 4)
        yield from paragraph(f"Mend: {'; or '.join(mend)}.", 4)


def _warnings(report: Report) -> Iterator[Line]:
    if not report.warnings:
        return
    yield from heading("Apart from the levers: awkward for the hands")
    told: dict[str, list[str]] = {}
    for warning in report.warnings:
        told.setdefault(warning.sentence, []).append(
            words.place_text(report.performance.score, warning.place)
        )
    for sentence, places in told.items():
        yield from paragraph(f"{words.capital('; '.join(places))}: {sentence}", 2)


def _keys(report: Report) -> Iterator[Line]:
    yield from heading("Keys and accidentals")
    rows = [
        (f"bar {report.performance.score.measures[found.key.measure].number}", _key(report, index))
        for index, found in enumerate(report.keys)
    ]
    yield from entries(rows or [("", "The score has no key signature.")], 2)
    for sentence in (*words.suggestion_sentences(report), words.tunings_sentence(report)):
        if sentence:
            yield from paragraph(sentence, 2)
    census = report.accidentals.census
    if not census:
        yield from paragraph("No note contradicts its key signature.", 2)
        return
    total = sum(entry.times for entry in census)
    yield from paragraph(f"{words.count_text(total, 'note')} against the key signature:", 2)
    for entry in census:
        yield from paragraph(entry.text() + ".", 4)


def _key(report: Report, index: int) -> str:
    key = report.keys[index].key
    staff = f" on staff {key.staff}" if key.staff is not None else ""
    return f"{words.signature_text(key)}{staff}: {words.key_levers_text(report, index)}."


def _tempo(report: Report) -> Iterator[Line]:
    sentences = words.tempo_sentences(report)
    if sentences:
        yield from heading("Tempo and player")
        for sentence in sentences:
            yield from paragraph(sentence, 2)

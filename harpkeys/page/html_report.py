"""The web report of a piece: one page, whole in itself, nothing fetched and no script.

Verdict, chart, strip, flips, flagged passages, the engraved score with its cues, keys and accidentals, tempo,
what is awkward for the hands, assumptions and cautions. Every flip, flag and accidental links to its bar in
the score, and every line of the score back to its flips.
"""

from __future__ import annotations

from collections.abc import Iterable

from harpkeys.harp.naming import listed, note_text
from harpkeys.page import html, html_parts
from harpkeys.page.cue_sheet import CueSheet
from harpkeys.page.engrave import Row, engrave_rows
from harpkeys.page.html_parts import Target, bar_link
from harpkeys.page.html_style import style_sheet
from harpkeys.page.score_copy import read_credits
from harpkeys.page.strip import strip_in_words, strip_key, strip_lines
from harpkeys.pitch import Pitch
from harpkeys.report import words

PREFIX = "score-"
"""Start of the ids in the engraved score."""


Parts = list[tuple[str, str, str]]
"""Sections as (id, heading, markup)."""


def report_html(sheet: CueSheet, xml: str | bytes) -> bytes:
    """The report as HTML, in UTF-8.

    Args:
        sheet: the cue sheet of the report.
        xml: the marked score.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    rows = engrave_rows(
        xml,
        width=190,
        staff=7.0,
        parts=sheet.parts,
        tints=dict(sheet.tints),
        brackets=sheet.lost,
        prefix=PREFIX,
    )
    target = _targets(rows)
    parts: Parts = [("glance", "At a glance", html_parts.facts(sheet)), *_levers(sheet, target)]
    if sheet.passages:
        parts.append(("flagged", sheet.passages_heading, html_parts.passages(sheet, (), target)))
    parts.append(("score", "The score with its cues", _score(sheet, rows)))
    parts.append(("keys", "Keys and accidentals", _keys(sheet, target) + _accidentals(sheet, target)))
    if sheet.report.warnings:
        parts.append(("hands", "Awkward for the hands, apart from the levers", _hands(sheet, target)))
    parts += html_parts.closing(sheet)
    contents = html.element(
        "nav", html.listing([html.link(name, heading) for name, heading, _ in parts]), aria_label="Contents"
    )
    page = html.document(
        f"Lever report: {sheet.title}",
        style_sheet(),
        html.element("a", "Skip to the report", href="#report", class_="skip"),
        html_parts.title_block(sheet, _by(xml)),
        contents,
        html.element("main", *(html.section(*part) for part in parts), id="report"),
    )
    return page.encode()


def _targets(rows: Iterable[Row]) -> Target:
    """Where links to bars lead: to the bar where it is drawn, else to the score."""
    drawn = frozenset(measure for row in rows for measure in row.measures)
    return lambda measure: f"{PREFIX}measure-{measure}" if measure in drawn else "score"


def _by(xml: str | bytes) -> str:
    """Who made the piece."""
    credits = read_credits(xml)
    named = (
        ("", credits.composer),
        ("arranged by ", credits.arranger),
        ("words by ", credits.lyricist),
    )
    return ", ".join(f"{before}{name}" for before, name in named if name)


def _levers(sheet: CueSheet, target: Target) -> Parts:
    """Chart, strip and flips."""
    found: Parts = [
        ("start", "Levers before the start", html_parts.starting_levers(sheet) + html_parts.chart(sheet))
    ]
    lines = strip_lines(sheet, target)
    if lines:
        spoken = strip_in_words(sheet)
        told = (
            html.element(
                "details", html.element("summary", "The strip in words"), html_parts.sentences(spoken)
            )
            if spoken
            else ""
        )
        drawn = html.scrolling("The strip", *(html.element("figure", line.drawing) for line in lines))
        note = html.element("p", html.text(strip_key(sheet)), class_="note")
        found.append(("strip", "The levers over time", note + drawn + told))
    if sheet.flips:
        found.append(("flips", "Lever flips", html_parts.flips_table(sheet, target)))
    return found


def _score(sheet: CueSheet, rows: Iterable[Row]) -> str:
    """The engraved score, line by line, each with its flips in words."""
    notes = []
    if sheet.flips:
        notes.append(
            "Boxed words are cues: the note that a string then sounds, and ↑ for lever up or ↓ for lever "
            "down; the lever moves after the notes above the box."
        )
    if sheet.lost:
        notes.append("Notes in brackets are lost; these and notes cut short are coloured.")
    elif sheet.tints:
        notes.append("Notes cut short are coloured.")
    figures = (
        html.element("figure", row.drawing, html.element("figcaption", _line_in_words(sheet, row)))
        for row in rows
    )
    note = html.element("p", html.text(" ".join(notes)), class_="note") if notes else ""
    return note + html.scrolling("The score", *figures)


def _line_in_words(sheet: CueSheet, row: Row) -> str:
    """Bars, flips and flags of a line of the score."""
    if not row.measures:
        return ""
    measures = sheet.report.performance.score.measures
    first, last = (measures[row.measures[k]].number for k in (0, -1))
    bars = f"Bar {first}" if len(row.measures) == 1 else f"Bars {first} to {last}"
    here = set(row.measures)
    flips = [
        html.link(f"flip-{flip.number}", str(flip.number), label=f"flip {flip.number}")
        + html.text(f" ({flip.string_name} {flip.direction}, bar {flip.bar_text})")
        for flip in sheet.flips
        if flip.measure in here
    ]
    flags = [
        html.link(f"flagged-{number}", str(number), label=f"flagged passage {number}")
        for number, passage in enumerate(sheet.passages, 1)
        if any(not here.isdisjoint(range(place.first, place.last + 1)) for place in passage.places)
    ]
    told = [html.text(bars)]
    if flips:
        told.append(f"{'flip' if len(flips) == 1 else 'flips'} {', '.join(flips)}")
    if flags:
        told.append(f"flagged {', '.join(flags)}")
    return "; ".join(told) + "."


def _keys(sheet: CueSheet, target: Target) -> str:
    """The key signatures with their levers, and what the notes suggest."""
    report = sheet.report
    measures = report.performance.score.measures
    rows: list[tuple[str | None, list[str]]] = []
    for index, found in enumerate(report.keys):
        staff = f", staff {found.key.staff}" if found.key.staff is not None else ""
        bar = bar_link(measures[found.key.measure].number, target(found.key.measure))
        signature = html.text(f"{words.signature_text(found.key)}{staff}")
        rows.append((None, [bar, signature, html.text(words.key_levers_text(report, index))]))
    header = ["from bar", "signature", "on this harp"]
    table = html.table("Key signatures", header, rows) if rows else ""
    said = [] if rows else ["The score has no key signature."]
    said += words.suggestion_sentences(report)
    said += [words.tunings_sentence(report)] if report.tunings else []
    return table + "".join(html.element("p", html.text(sentence)) for sentence in said)


def _accidentals(sheet: CueSheet, target: Target) -> str:
    """The census of notes that contradict their signature, with the bars they stand in."""
    report = sheet.report
    if not report.accidentals.census:
        return html.element("p", "No note contradicts its key signature.")
    bars: dict[tuple[int, object], list[int]] = {}
    for found in report.accidentals.notes:
        bars.setdefault((found.written.letter, found.written.alter), []).append(found.measure)
    measures = report.performance.score.measures
    rows: list[tuple[str | None, list[str]]] = []
    for entry in report.accidentals.census:
        name = note_text(Pitch(entry.octaves[0].diatonic, entry.alter), octave=False)
        where = dict.fromkeys(bars[entry.letter, entry.alter])
        links = ", ".join(bar_link(measures[measure].number, target(measure)) for measure in where)
        rows.append((None, [html.text(name), str(entry.times), html.text(entry.text()), links]))
    caption = "Notes against their key signature, as they sound"
    return html.table(caption, ["note", "times", "by octave", "bars"], rows)


def _hands(sheet: CueSheet, target: Target) -> str:
    """What hands cannot well do, like things together."""
    score = sheet.report.performance.score
    told: dict[str, list[str]] = {}
    for warning in sheet.report.warnings:
        place = words.place_text(score, warning.place)
        places = told.setdefault(warning.sentence, [])
        shown = place if places else place[:1].upper() + place[1:]
        places.append(html.link(target(warning.place.measure), shown))
    return html.listing([f"{listed(places)}: {html.text(sentence)}" for sentence, places in told.items()])

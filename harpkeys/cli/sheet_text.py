"""The cue sheet as plain text in 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.naming import note_text
from harpkeys.page.cue_sheet import CueSheet
from harpkeys.report import words

LEGEND = (
    "A lever moves after the notes on its beat. rest: the hand's written rest there; free: its time between "
    "plucks; b: beats."
)


def sheet_lines(sheet: CueSheet) -> Iterator[Line]:
    """The cue sheet, line by line.

    Args:
        sheet: the cue sheet.
    """
    report = sheet.report
    yield Line(sheet.title, "heading")
    yield from paragraph(words.verdict_sentence(report), role="alarm")
    yield Line()
    yield from entries(sheet.facts())
    rows = words.starting_rows(report)
    if rows:
        yield from heading("Levers up before the start, strings numbered from the top")
        yield from entries([(octave, ", ".join(names)) for octave, names in rows], 2)
    if sheet.flips:
        yield from _flips(sheet)
    if sheet.passages:
        yield from heading(sheet.passages_heading)
        for passage in sheet.passages:
            yield from paragraph(f"{passage.where}: {passage.reason}", 2)
            yield from paragraph(passage.say, 4)
            yield from paragraph(f"Mend: {'; or '.join(passage.mend)}.", 4)
    yield from _list("Tempo and player", words.tempo_sentences(report))
    yield from _list("Taken for granted", report.assumptions)
    yield from _list("Safety", sheet.cautions)


def _flips(sheet: CueSheet) -> Iterator[Line]:
    yield from heading("Lever flips in playing order")
    head = ("", "bar", "beat", "string", "lever", "hand", "rest", "free", "kind")
    rows = [
        (
            str(flip.number),
            f"{flip.bar}, {flip.time}" if flip.time else flip.bar,
            flip.beat_text,
            f"{flip.string_name} ({flip.string_number})",
            f"{flip.direction} to {note_text(flip.sounds)}",
            flip.hand,
            words.beats_and_seconds(flip.rest_beats, flip.rest),
            words.beats_and_seconds(flip.free_beats, flip.free),
            flip.kind,
        )
        for flip in sheet.flips
    ]
    yield from table([head, *rows], right=(0, 1))
    yield from paragraph(LEGEND, 2)


def _list(title: str, sentences: Sequence[str]) -> Iterator[Line]:
    if sentences:
        yield from heading(title)
        for sentence in sentences:
            yield from paragraph(sentence, 2, bullet=True)

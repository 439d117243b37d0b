"""The cue sheet as a table for spreadsheets and other programs: CSV.

One header row, then one row for everything, told apart by its first column: "fact" (harp, tuning and so on),
"lever up" (before the start), "flip" (in playing order), "flagged", "tempo", "assumption", "caution". Cells
that do not apply are empty. Notes are written with # and b, beats and seconds as decimals.

A spreadsheet takes a cell that begins with one of a few signs for a formula, and titles come from strangers:
such a cell gets an apostrophe in front, which spreadsheets do not show.

References: RFC 4180 (commas, doubled quotes, CR LF); a byte order mark, so that spreadsheets read UTF-8
(common practice, no source); signs that begin formulas, after OWASP's page on CSV injection (from memory).
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from fractions import Fraction

from harpkeys.harp.naming import note_text
from harpkeys.page.cue_sheet import CueSheet, SheetFlip
from harpkeys.report import words
from harpkeys.score.texts import plain_text

COLUMNS = (
    "row",
    "number",
    "bar",
    "beat",
    "pass",
    "string",
    "string number",
    "lever",
    "sounds",
    "hand",
    "rest beats",
    "rest s",
    "free beats",
    "free s",
    "kind",
    "text",
)

_FORMULA = ("=", "+", "-", "@", "|", "%", "＝", "＋", "－", "＠")
"""Signs with which a spreadsheet may begin to calculate, their full-width forms too."""

Row = dict[str, str]


def sheet_csv(sheet: CueSheet) -> bytes:
    """The cue sheet as CSV, in UTF-8 with a byte order mark.

    Args:
        sheet: the cue sheet.
    """
    stream = io.StringIO(newline="")
    writer = csv.DictWriter(stream, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for row in _rows(sheet):
        writer.writerow({column: harmless(cell) for column, cell in row.items()})
    return stream.getvalue().encode("utf-8-sig")


def harmless(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula.

    Args:
        cell: any text; control characters are taken out.
    """
    text = plain_text(cell)
    return f"'{text}" if text.startswith(_FORMULA) else text


def _rows(sheet: CueSheet) -> Iterator[Row]:
    report = sheet.report
    yield {"row": "fact", "kind": "Title", "text": sheet.title}
    yield {"row": "fact", "kind": "Verdict", "text": words.verdict_sentence(report)}
    for label, text in sheet.facts():
        yield {"row": "fact", "kind": label, "text": text}
    harp = report.harp
    for index in reversed(range(len(harp.strings))):
        if report.plan.starting[index]:
            string = harp.strings[index]
            yield {
                "row": "lever up",
                "string": string.name,
                "string number": str(harp.number(index)),
                "lever": "up",
                "sounds": note_text(string.sounding(1), ascii_only=True),
            }
    yield from (_flip(flip) for flip in sheet.flips)
    for number, passage in enumerate(sheet.passages, 1):
        mend = f"Mend: {'; or '.join(passage.mend)}."
        text = f"{passage.where}: {passage.say} {mend}"
        first = report.performance.score.measures[passage.places[0].first].number
        yield {"row": "flagged", "number": str(number), "bar": first, "kind": passage.reason, "text": text}
    for kind, sentences in (
        ("tempo", words.tempo_sentences(report)),
        ("assumption", report.assumptions),
        ("caution", sheet.cautions),
    ):
        yield from ({"row": kind, "text": sentence} for sentence in sentences)


def _flip(flip: SheetFlip) -> Row:
    return {
        "row": "flip",
        "number": str(flip.number),
        "bar": flip.bar,
        "beat": _decimal(flip.beat),
        "pass": flip.time,
        "string": flip.string_name,
        "string number": str(flip.string_number),
        "lever": flip.direction,
        "sounds": note_text(flip.sounds, ascii_only=True),
        "hand": flip.hand,
        "rest beats": _decimal(flip.rest_beats),
        "rest s": _seconds(flip.rest),
        "free beats": _decimal(flip.free_beats),
        "free s": _seconds(flip.free),
        "kind": f"cut {_seconds(flip.cut)} s" if flip.is_cut else "clean",
    }


def _decimal(number: Fraction) -> str:
    """At most three decimals."""
    return f"{round(float(number), 3):g}"


def _seconds(milliseconds: int) -> str:
    return f"{milliseconds / 1000:g}"

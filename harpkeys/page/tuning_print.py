"""The tuning sheet on paper: one table, the strings to change and the cautions above it."""

from __future__ import annotations

from harpkeys.choose.tuning_sheet import StringToTune, TuningSheet
from harpkeys.harp.model import STATE_NAMES
from harpkeys.harp.naming import harp_octave_name, note_text, string_colour
from harpkeys.page.formats import PageFormat
from harpkeys.page.typeset import (
    Document,
    heading_block,
    paragraph,
    points,
    sheet_document,
    table,
    title_block,
)
from harpkeys.report.words import harp_text, strings_text, tuning_text

HEADER = ("no.", "string", "harp octave", "lever", "tune to", "Hz")


def tuning_title(sheet: TuningSheet) -> str:
    """The title of the sheet."""
    return f"To tune a harp in {sheet.harp.tuning}"


def tuning_rows(sheet: TuningSheet) -> list[tuple[str, ...]]:
    """The cells of each string, the highest first; with a last one for the change where there are any."""
    return [_row(sheet, line) for line in sheet.lines]


def _row(sheet: TuningSheet, line: StringToTune) -> tuple[str, ...]:
    string = sheet.harp.strings[line.index]
    colour = string_colour(string.diatonic)
    lever = "none" if line.lever is None else STATE_NAMES[line.lever]
    cells = (
        str(line.number),
        f"{string.name} {colour}".strip(),
        harp_octave_name(string.diatonic),
        lever,
        note_text(line.note),
        f"{line.hertz:.2f}",
    )
    return (*cells, change_text(line.change)) if sheet.before is not None else cells


def change_text(change: int) -> str:
    """Which way a string goes: "up", "down", "down 2", "" where it stays."""
    if not change:
        return ""
    way = "up" if change > 0 else "down"
    return way if abs(change) == 1 else f"{way} {abs(change)}"


def tuning_header(sheet: TuningSheet) -> tuple[str, ...]:
    """The head of each column."""
    return (*HEADER, f"from {sheet.before.tuning}") if sheet.before is not None else HEADER


def tuning_facts(sheet: TuningSheet) -> list[tuple[str, str]]:
    """What the sheet holds for: label and text of each fact."""
    harp = sheet.harp
    if sheet.standing is None:
        levers = "all down"
    elif sheet.up:
        levers = f"set for {sheet.standing.name}: {strings_text(harp, sheet.up)} up, all others down"
    else:
        levers = f"all down, which is {sheet.standing.name}"
    facts = [
        ("Harp", f"{harp_text(harp)}."),
        ("Tuning", f"{tuning_text(harp)}."),
        ("Levers", f"{levers} while you tune."),
        ("Pitch", f"A4 = {sheet.a4:g} Hz, equal temperament."),
    ]
    if sheet.before is None:
        return facts
    for label, strings in (("Lower", sheet.lowered), ("Raise", sheet.raised)):
        if strings:
            facts.append((label, f"{strings_text(harp, strings)}, from {sheet.before.tuning}."))
    if not sheet.lowered and not sheet.raised:
        facts.append(("Change", f"none: {sheet.before.tuning} is the same tuning."))
    return facts


def tuning_document(sheet: TuningSheet, page: PageFormat) -> Document:
    """The sheet as a printable document.

    Args:
        sheet: the sheet.
        page: paper and margins.
    """
    title = tuning_title(sheet)
    rows = tuning_rows(sheet)
    widths = ["auto"] * (len(rows[0]) - 1) + ["1fr"]
    heavy = [HEADER.index("tune to")]
    return sheet_document(
        [
            title_block(title),
            *(paragraph(f"{label}: {text}") for label, text in tuning_facts(sheet)),
            table(tuning_header(sheet), rows, widths=widths, heavy=heavy),
            heading_block("Mind the strings"),
            points(sheet.cautions),
        ],
        page,
        title=title,
    )

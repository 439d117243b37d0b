"""`harpkeys tuning`: the sheet to tune a harp by."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import (
    HarpOption,
    JsonOption,
    LeversOption,
    LowestOption,
    StringsOption,
    TuningOption,
    chosen_harp,
    positive_number,
)
from harpkeys.cli.terminal import Line

if TYPE_CHECKING:
    from harpkeys.choose.scales import Scale
    from harpkeys.choose.tuning_sheet import TuningSheet

FORMAT = "harpkeys/tuning/1"

FromOption = Annotated[
    str | None,
    typer.Option("--from", help="The tuning the strings have now: says which go up or down.", metavar="KEY"),
]
SetOption = Annotated[
    str | None,
    typer.Option(
        "--set",
        help='Tune with the levers set for this key ("C" so that an E-flat harp sounds naturals). All levers '
        "down where none is named.",
        metavar="KEY",
    ),
]
ReferenceOption = Annotated[
    str | None, typer.Option("--a4", help="Hertz of A4; 440 where not given.", metavar="NUMBER")
]
PdfOption = Annotated[
    Path | None, typer.Option("--pdf", help="Write the sheet to a PDF file instead.", metavar="FILE")
]
PaperOption = Annotated[str, typer.Option("--paper", help="A4 or Letter.", metavar="PAPER")]
OverwriteOption = Annotated[bool, typer.Option("--overwrite", help="Replace a PDF file that exists.")]
CsvOption = Annotated[bool, typer.Option("--csv", help="Print a CSV table instead of text.")]


def command(
    harp: HarpOption = None,
    tuning: TuningOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    before: FromOption = None,
    standing: SetOption = None,
    a4: ReferenceOption = None,
    pdf: PdfOption = None,
    paper: PaperOption = "A4",
    overwrite: OverwriteOption = False,
    as_json: JsonOption = False,
    as_csv: CsvOption = False,
) -> str:
    """Prints the sheet to tune a harp by: each string, its note and its frequency.

    With --from, or where --tuning changes the tuning of a harp that is named, it says which strings go up or
    down.
    """
    from harpkeys.choose.tuning_sheet import tuning_sheet
    from harpkeys.cli.terminal import is_styled, rendered
    from harpkeys.errors import OptionError
    from harpkeys.harp.frequency import STANDARD_A4
    from harpkeys.harp.tunings import retuned

    if sum((as_json, as_csv, pdf is not None)) > 1:
        raise OptionError("--json, --csv and --pdf say three ways to print", "choose one of them")
    choice = chosen_harp(harp, tuning, levers, lowest, strings)
    strung = None if choice.assumed else choice.strung_for
    old = retuned(choice.harp, before) if before is not None else strung
    reference = positive_number(a4, "--a4", "442", 600)
    sheet = tuning_sheet(
        choice.harp,
        a4=STANDARD_A4 if reference is None else float(reference),
        standing=_key(standing) if standing is not None else None,
        before=old,
    )
    if as_json:
        return _json(sheet)
    if as_csv:
        return _csv(sheet)
    if pdf is not None:
        return _written(sheet, pdf, paper, overwrite)
    return rendered(_lines(sheet), styled=is_styled())


def _key(text: str) -> Scale:
    """A key named for --set.

    Raises:
        OptionError: it is no key.
    """
    from harpkeys.choose.called_out import parse_called
    from harpkeys.choose.scales import Scale
    from harpkeys.errors import OptionError
    from harpkeys.harp.naming import quoted

    called = parse_called(text).sounding[0]
    if not isinstance(called, Scale):
        raise OptionError(f"--set cannot be {quoted(text)}", 'name a key, such as "C" or "G"')
    return called


def _lines(sheet: TuningSheet) -> Iterator[Line]:
    from harpkeys.cli.text_layout import entries, heading, paragraph, table
    from harpkeys.page.tuning_print import tuning_facts, tuning_header, tuning_rows, tuning_title

    yield Line(tuning_title(sheet), "heading")
    yield Line()
    yield from entries(tuning_facts(sheet))
    yield Line()
    octaves = [sheet.harp.strings[line.index].diatonic // 7 for line in sheet.lines]
    yield from table([tuning_header(sheet), *tuning_rows(sheet)], [None, *octaves], right=(0, 5))
    yield from heading("Mind the strings")
    for caution in sheet.cautions:
        yield from paragraph(caution, 2, bullet=True)


def _written(sheet: TuningSheet, path: Path, paper: str, overwrite: bool) -> str:
    """Write the PDF; says where it is."""
    from harpkeys.mark.files import refuse_existing, write_safely
    from harpkeys.page.formats import page_format
    from harpkeys.page.tuning_print import tuning_document
    from harpkeys.page.typeset import to_pdf

    page = page_format(paper)
    refuse_existing(path, overwrite=overwrite)
    write_safely(path, to_pdf(tuning_document(sheet, page)), overwrite=overwrite)
    return f"The tuning sheet is in {path}.\n"


def _csv(sheet: TuningSheet) -> str:
    from harpkeys.cli.data_text import csv_text
    from harpkeys.harp.model import STATE_NAMES

    rows = [
        (
            line.number,
            sheet.harp.strings[line.index].name,
            "" if line.lever is None else STATE_NAMES[line.lever],
            line.note.name,
            f"{line.hertz:.3f}",
            line.change,
        )
        for line in sheet.lines
    ]
    return csv_text(("number", "string", "lever", "note", "hertz", "change"), rows)


def _json(sheet: TuningSheet) -> str:
    from harpkeys.cli.data_text import json_text
    from harpkeys.cli.keys_view import harp_entry
    from harpkeys.harp.model import STATE_NAMES

    return json_text(
        {
            "format": FORMAT,
            "harp": harp_entry(sheet.harp),
            "a4": sheet.a4,
            "set_for": sheet.standing.name if sheet.standing else None,
            "from": sheet.before.tuning if sheet.before else None,
            "strings": [
                {
                    "number": line.number,
                    "string": sheet.harp.strings[line.index].name,
                    "lever": None if line.lever is None else STATE_NAMES[line.lever],
                    "note": line.note.name,
                    "midi": line.note.midi,
                    "hertz": round(line.hertz, 3),
                    "change": line.change,
                }
                for line in sheet.lines
            ],
            "raise": [sheet.harp.strings[index].name for index in sheet.raised],
            "lower": [sheet.harp.strings[index].name for index in sheet.lowered],
            "cautions": list(sheet.cautions),
        }
    )

"""The sheet to tune by. Frequencies: ISO 16 and the CRC Handbook's table; the rest worked out by hand."""

from __future__ import annotations

import re

import pytest

from harpkeys.choose.scales import scale_on
from harpkeys.choose.tuning_sheet import BUZZING, tuning_sheet
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.tunings import make_harp, retuned
from harpkeys.page.formats import page_format
from harpkeys.page.tuning_print import tuning_document, tuning_facts, tuning_rows
from harpkeys.page.typeset import to_pdf
from harpkeys.report.vet import RAISING


def test_frequencies_of_the_handbook() -> None:
    # CRC Handbook of Chemistry and Physics, equal tempered scale, A4 = 440.
    sheet = tuning_sheet(make_harp("h", "C2", high="C6"))
    told = {sheet.harp.strings[line.index].name: f"{line.hertz:.3f}" for line in sheet.lines}
    for name, hertz in (
        ("C2", "65.406"),
        ("G2", "97.999"),
        ("C4", "261.626"),
        ("A4", "440.000"),
        ("C5", "523.251"),
        ("C6", "1046.502"),
    ):
        assert told[name] == hertz


def test_another_reference_scales_every_string() -> None:
    plain = tuning_sheet(find_harp("34"))
    other = tuning_sheet(find_harp("34"), a4=415)
    for one, two in zip(plain.lines, other.lines, strict=True):
        assert two.hertz == pytest.approx(one.hertz * 415 / 440, rel=1e-12)


def test_strings_stand_from_the_top_with_all_levers_down() -> None:
    sheet = tuning_sheet(find_harp("34 in E-flat"))
    assert [line.number for line in sheet.lines] == list(range(1, 35))
    assert [line.note.name for line in sheet.lines[:5]] == ["Ab6", "G6", "F6", "Eb6", "D6"]
    assert {line.lever for line in sheet.lines} == {0}
    assert sheet.cautions == (RAISING, BUZZING)


def test_levers_up_so_that_an_e_flat_harp_sounds_naturals() -> None:
    # One credible source: many tune an E-flat harp with levers up, to naturals.
    sheet = tuning_sheet(find_harp("34 in E-flat"), standing=scale_on(0, "major"))
    assert {line.note.alter for line in sheet.lines} == {0}
    up = {sheet.harp.strings[index].name[0] for index in sheet.up}
    assert up == {"B", "E", "A"}
    assert {line.lever for line in sheet.lines} == {0, 1}


def test_from_c_to_e_flat_lowers_b_e_and_a() -> None:
    # Two independent sources.
    harp = find_harp("34")
    sheet = tuning_sheet(retuned(harp, "E-flat"), before=harp)
    assert sheet.raised == ()
    assert {harp.strings[index].name[0] for index in sheet.lowered} == {"B", "E", "A"}
    assert len(sheet.lowered) == 14
    assert sheet.cautions[0] == (
        "All changes go down; the way back to C raises these strings to where they were."
    )
    assert sorted({line.change for line in sheet.lines}) == [-1, 0]


def test_from_e_flat_to_c_raises_them_with_a_caution() -> None:
    harp = make_harp("h", "C4", high="C5", tuning="E-flat")
    sheet = tuning_sheet(retuned(harp, "C"), before=harp)
    assert sheet.lowered == ()
    assert sheet.cautions == (
        "3 strings go up from E-flat (E4, A4 and B4). That is safe where it brings them back to where they "
        "were made to stand, and not above it.",
        RAISING,
        BUZZING,
    )


def test_a_string_that_moves_two_semitones() -> None:
    harp = make_harp("h", "F4", 1, tuning="free: F#")
    sheet = tuning_sheet(retuned(harp, "free: Fb"), before=harp)
    assert [line.change for line in sheet.lines] == [-2]
    assert tuning_rows(sheet)[0][-1] == "down 2"


def test_a_high_reference_is_told() -> None:
    sheet = tuning_sheet(find_harp("22"), a4=442)
    assert sheet.cautions[1] == (
        "A at 442 Hz is 8 cents above the standard 440 Hz, so every string is tighter than it would be there."
    )


def test_levers_that_cannot_stand_so() -> None:
    sentence = (
        "the levers of a harp tuned in C cannot be set for F major (A and B♭ both need the A string); name a "
        "key that it reaches, or tune with all levers down."
    )
    with pytest.raises(OptionError, match=re.escape(sentence)):
        tuning_sheet(find_harp("34"), standing=scale_on(-1, "major"))


def test_a_reference_out_of_range() -> None:
    with pytest.raises(OptionError, match=re.escape("A4 at 44 Hz is out of range")):
        tuning_sheet(find_harp("34"), a4=44)


def test_rows_and_facts_of_the_page() -> None:
    harp = find_harp("34")
    sheet = tuning_sheet(retuned(harp, "E-flat"), before=harp)
    assert tuning_rows(sheet)[0] == ("1", "A6", "1A", "down", "A♭6", "1661.22", "down")
    assert tuning_rows(sheet)[5] == ("6", "C6 red", "2C", "down", "C6", "1046.50", "")
    assert ("Lower", "every E, A and B, from C.") in tuning_facts(sheet)
    without = tuning_sheet(make_harp("h", "C4", 8, levers="F C"))
    assert [row[3] for row in tuning_rows(without)] == [
        "down",
        "none",
        "none",
        "none",
        "down",
        "none",
        "none",
        "down",
    ]


def test_the_same_tuning_is_no_change() -> None:
    harp = find_harp("34")
    assert tuning_facts(tuning_sheet(harp, before=harp))[-1] == ("Change", "none: C is the same tuning.")


def test_the_printed_sheet_holds_every_string_on_one_page() -> None:
    from io import BytesIO

    from pypdf import PdfReader

    harp = find_harp("34")
    sheet = tuning_sheet(retuned(harp, "E-flat"), before=harp)
    pdf = to_pdf(tuning_document(sheet, page_format()))
    reader = PdfReader(BytesIO(pdf))
    assert len(reader.pages) == 1
    text = reader.pages[0].extract_text()
    for line in sheet.lines:
        assert f"{line.hertz:.2f}" in text
    assert pdf == to_pdf(tuning_document(sheet, page_format()))

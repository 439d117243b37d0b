"""The cue sheet and the marked score on paper.

Outside judges: pypdf (text, pages, sizes), an XML parser, music21 (what is marked).
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from page_helpers import read_pdf
from sheet_cases import CASES, CORPUS, boxes_of, hostile_file, path_of, sheet_of, sheet_of_file

from harpkeys.harp.naming import note_text
from harpkeys.mark.cues import Cue
from harpkeys.page.cue_sheet import CueSheet
from harpkeys.page.formats import PAPERS, PageFormat
from harpkeys.page.print_score import PrintedScore, lay_out_score, score_pdf, score_svg, turn_warnings
from harpkeys.page.sheet_print import sheet_pdf
from harpkeys.report import words

A4 = PageFormat()
SVG = "{http://www.w3.org/2000/svg}"
by_case = pytest.mark.parametrize(("name", "harp"), CASES)
FEW = [("five-bridges", "heron"), ("fog-on-the-cut", "kestrel"), ("owl-light-lullaby", "kestrel")]


def flat(text: str) -> str:
    """Text of a PDF without the places where its lines end."""
    return re.sub(r"\s+", "", text)


def text_of(pdf: bytes) -> str:
    return flat("".join(page.extract_text() for page in read_pdf(pdf).pages))


# The cue sheet.


@by_case
def test_a_cue_sheet_is_one_page_and_says_everything(name: str, harp: str) -> None:
    sheet, xml = sheet_of(name, harp)
    pdf = sheet_pdf(sheet, xml, A4)
    assert len(read_pdf(pdf).pages) == 1
    text = text_of(pdf)
    wanted = [sheet.title, words.verdict_sentence(sheet.report), *(fact for _, fact in sheet.facts())]
    wanted += [*sheet.report.assumptions, *sheet.cautions, *words.tempo_sentences(sheet.report)]
    for passage in sheet.passages:
        wanted += [passage.where, passage.say, *passage.mend]
    for flip in sheet.flips:
        wanted.append(
            f"{flip.number}{flip.bar_text}{flip.beat_text}{flip.string_name}({flip.string_number})"
            f"{flip.arrow}{flip.direction}to{note_text(flip.sounds)}{flip.hand}"
        )
    assert [one for one in wanted if flat(one) not in text] == []


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
def test_a_cue_sheet_fits_every_paper(paper: str, landscape: bool) -> None:
    page = PageFormat(paper, landscape)
    for name, harp in FEW:
        found = read_pdf(sheet_pdf(*sheet_of(name, harp), page)).pages
        assert len(found) == 1
        sides = [float(side) / 72 * 25.4 for side in found[0].mediabox[2:]]
        assert sides == pytest.approx([page.width, page.height], abs=0.1)


def longer(sheet: CueSheet, flips: int, passages: int = 0) -> CueSheet:
    """The same sheet with so many flips, and so many passages."""
    return replace(
        sheet,
        flips=tuple(replace(sheet.flips[k % len(sheet.flips)], number=k + 1) for k in range(flips)),
        passages=tuple(sheet.passages[k % len(sheet.passages)] for k in range(passages)),
    )


def test_a_long_sheet_is_set_closer_before_it_goes_overleaf() -> None:
    sheet, xml = sheet_of("five-bridges", "heron")
    many = sheet_pdf(longer(sheet, 60), xml, A4)
    assert len(read_pdf(many).pages) == 1
    assert "60" in text_of(many)
    assert len(read_pdf(sheet_pdf(longer(sheet, 130), xml, A4)).pages) > 1


def test_passages_that_do_not_fit_go_overleaf() -> None:
    sheet, xml = sheet_of("fog-on-the-cut", "kestrel")
    pages = read_pdf(sheet_pdf(longer(sheet, 1, 12), xml, A4)).pages
    assert len(pages) > 1
    assert "Safety" in pages[0].extract_text()
    assert "What cannot be played as written" in pages[1].extract_text()


# The score.


def printed(name: str, harp: str, page: PageFormat = A4) -> PrintedScore:
    return lay_out_score(*sheet_of(name, harp), page)


@by_case
def test_the_printed_score_has_title_chart_and_every_cue(name: str, harp: str) -> None:
    """The boxes are those that music21 finds in the marked file."""
    sheet, xml = sheet_of(name, harp)
    laid = lay_out_score(sheet, xml, A4)
    pdf = score_pdf(laid)
    pages = read_pdf(pdf).pages
    assert len(pages) == laid.count
    text = text_of(pdf)
    assert text.startswith(flat(sheet.title))
    assert "numberfromthehigheststring" in text
    assert [f"{note}{arrow}" for _, _, note, arrow in boxes_of(xml) if f"{note}{arrow}" not in text] == []
    assert read_pdf(pdf).metadata.title == sheet.title  # type: ignore[union-attr]


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
def test_every_paper_can_be_printed_on(paper: str, landscape: bool) -> None:
    page = PageFormat(paper, landscape)
    laid = printed("five-bridges", "heron", page)
    for drawing in score_svg(laid):
        root = ElementTree.fromstring(drawing)
        assert float(root.get("width", "").removesuffix("mm")) == pytest.approx(page.width)
        assert float(root.get("height", "").removesuffix("mm")) == pytest.approx(page.height)
    for pdf_page in read_pdf(score_pdf(laid)).pages:
        sides = [float(side) / 72 * 25.4 for side in pdf_page.mediabox[2:]]
        assert sides == pytest.approx([page.width, page.height], abs=0.1)


@pytest.mark.parametrize(("name", "harp"), FEW)
def test_svg_pages_are_whole_in_themselves(name: str, harp: str) -> None:
    laid = printed(name, harp)
    pages = score_svg(laid)
    assert len(pages) == laid.count
    for number, drawing in enumerate(pages):
        root = ElementTree.fromstring(drawing)
        text = "".join(root.itertext())
        assert f"{number + 1} / {len(pages)}" in text
        assert not [e for e in root.iter() if e.tag in (f"{SVG}script", f"{SVG}image", f"{SVG}foreignObject")]
        assert b"http://" not in drawing.replace(b"http://www.w3.org/2000/svg", b"")
        ids = [element.get("id") for element in root.iter() if element.get("id")]
        assert len(ids) == len(set(ids))
        uses = [element.get("href", "") for element in root.iter(f"{SVG}use")]
        assert {use.removeprefix("#") for use in uses} <= set(ids)
    first = "".join(ElementTree.fromstring(pages[0]).itertext())
    assert laid.sheet.title in first
    assert "Lever chart" in first


def test_the_chart_stays_above_the_music_on_svg_pages() -> None:
    for name, harp in FEW:
        drawing = score_svg(printed(name, harp))[0].decode()
        chart = re.search(r'<svg x="[\d.]+" y="([\d.]+)" [^>]*height="([\d.]+)"', drawing)
        music = re.search(r'class="system-place" transform="translate\([\d.]+ ([\d.]+)\)', drawing)
        assert chart is not None
        assert music is not None
        title = re.search(r'<text x="105" y="([\d.]+)"', drawing)
        assert title is not None
        assert float(title[1]) < float(chart[1])
        assert float(chart[1]) + float(chart[2]) <= float(music[1])


def test_flagged_notes_are_explained_where_there_are_any() -> None:
    assert "Notesinbracketsarelost" in text_of(score_pdf(printed("fog-on-the-cut", "kestrel")))
    assert "Notesinbracketsarelost" not in text_of(score_pdf(printed("five-bridges", "heron")))


def test_only_the_harp_is_engraved_unless_all_parts_are_wanted(tmp_path: Path) -> None:
    text = path_of("down-the-quay-steps").read_text("utf-8")
    part = re.search(r'<part id="P1">.*</part>', text, re.S)
    listed = re.search(r'<score-part id="P1">.*?</score-part>', text, re.S)
    assert part is not None
    assert listed is not None
    voice = '<score-part id="P2"><part-name>Voice</part-name></score-part>'
    text = text.replace(listed[0], listed[0] + voice).replace(part[0], part[0] + part[0].replace("P1", "P2"))
    path = tmp_path / "song.musicxml"
    path.write_text(text, "utf-8")
    sheet, xml = sheet_of_file(path, "kestrel")
    assert "Voice" not in text_of(score_pdf(lay_out_score(sheet, xml, A4)))
    assert "Voice" in text_of(score_pdf(lay_out_score(sheet, xml, A4, all_parts=True)))


# Page turns.


def with_cue_in_every_bar(sheet: CueSheet) -> CueSheet:
    """The same sheet as if a lever moved at the start of each bar."""
    move = sheet.cues[0].moves[:1]
    bars = len(sheet.report.performance.score.measures)
    return replace(sheet, cues=tuple(Cue(bar, 0, (), move) for bar in range(bars)))


def test_cues_beside_a_page_turn_are_told_at_the_foot_and_apart() -> None:
    sheet, xml = sheet_of("five-bridges", "heron")
    laid = lay_out_score(with_cue_in_every_bar(sheet), xml, A4)
    numbers, turns = laid.engraving.numbers, laid.engraving.turns
    assert len(turns) == 2
    assert turn_warnings(laid) == tuple(
        f"Page {page} to {page + 1}: F♮3 ↓ in bar {numbers[last]}, the last bar before the turn; F♮3 ↓ in "
        f"bar {numbers[first]}, the first bar after it."
        for page, (last, first) in enumerate(turns, 1)
    )
    pages = read_pdf(score_pdf(laid)).pages
    for page, drawing in zip(pages[:-1], score_svg(laid)[:-1], strict=True):
        assert "Turn:F♮3↓inbar" in flat(page.extract_text())
        assert "Turn: F♮3 ↓ in bar" in drawing.decode()
    assert "Turn:" not in pages[-1].extract_text()


def test_a_turn_without_cues_says_nothing() -> None:
    laid = printed("five-bridges", "heron")
    beside = {bar for turn in laid.engraving.turns for bar in turn}
    assert not beside & laid.sheet.busy  # bars with a lever are kept from the turn
    assert turn_warnings(laid) == ()
    assert "Turn:" not in text_of(score_pdf(laid))


def test_a_front_without_room_for_music_gets_a_page_of_its_own() -> None:
    page = PageFormat("A4", landscape=True, margin=45, staff=12)
    sheet, xml = sheet_of("five-bridges", "heron")
    laid = lay_out_score(with_cue_in_every_bar(sheet), xml, page)
    assert laid.engraving.front_alone
    assert laid.count == len(laid.engraving.pages) + 1
    assert turn_warnings(laid)[0].startswith("Page 2 to 3: ")
    pages = score_svg(laid)
    assert len(read_pdf(score_pdf(laid)).pages) == len(pages) == laid.count
    assert b"Lever chart" in pages[0]
    assert b'class="system-place"' not in pages[0]
    assert b"Lever chart" not in pages[1]


def test_a_lever_that_moves_in_a_long_rest_is_told_before_it(tmp_path: Path) -> None:
    """A cue under a multiple-bar rest would vanish; the rest stays one sign, and the cue stands before it."""
    from page_helpers import BAR_REST, START, one_part

    def bar(alter: str) -> str:
        pitch = f"<pitch><step>A</step>{alter}<octave>4</octave></pitch>"
        return f"<note>{pitch}<duration>4</duration><voice>1</voice><type>whole</type></note>"

    many = "<attributes><measure-style><multiple-rest>3</multiple-rest></measure-style></attributes>"
    rests = [many + BAR_REST, BAR_REST, BAR_REST]
    path = tmp_path / "rest.musicxml"
    path.write_text(one_part([START + bar(""), *rests, bar("<alter>1</alter>")]), "utf-8")
    sheet, xml = sheet_of_file(path, "kestrel")
    assert [cue.measure for cue in sheet.cues] == [0]
    printed = lay_out_score(sheet, xml, A4)
    assert "A♯4↑" in text_of(score_pdf(printed))
    assert re.findall(r'id="measure-(\d+)"', printed.engraving.pages[0]) == ["0", "1", "4"]


# Hostile files, and the same bytes every time.


def test_hostile_titles_are_printed_as_they_are(tmp_path: Path) -> None:
    sheet, xml = sheet_of_file(hostile_file(tmp_path), "kestrel")
    for pdf in (sheet_pdf(sheet, xml, A4), score_pdf(lay_out_score(sheet, xml, A4))):
        assert flat('</title><script>alert("1")</script>#panic("x")[*_$&') in text_of(pdf)
    for drawing in score_svg(lay_out_score(sheet, xml, A4)):
        root = ElementTree.fromstring(drawing)
        assert not list(root.iter(f"{SVG}script"))


def test_running_twice_gives_the_same_bytes() -> None:
    """In another process too, with another seed of Python's hashes."""
    code = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1]);"
        "from sheet_cases import sheet_of; from harpkeys.page.formats import PageFormat;"
        "from harpkeys.page.print_score import lay_out_score, score_pdf, score_svg;"
        "from harpkeys.page.sheet_print import sheet_pdf; from harpkeys.page.sheet_html import sheet_html;"
        "from harpkeys.page.html_report import report_html; from harpkeys.page.sheet_csv import sheet_csv;"
        "sheet, xml = sheet_of('fog-on-the-cut', 'kestrel'); laid = lay_out_score(sheet, xml, PageFormat());"
        "parts = [score_pdf(laid), *score_svg(laid), sheet_pdf(sheet, xml, PageFormat()), sheet_csv(sheet),"
        "sheet_html(sheet, xml), report_html(sheet, xml)];"
        "print(*(hashlib.sha256(part).hexdigest() for part in parts))"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", code, str(Path(__file__).parent)],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": seed, "PATH": "", "TZ": zone},
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }
    assert len(runs) == 1
    assert len(runs.pop().split()) == 6


def test_the_corpus_is_where_it_should_be() -> None:
    assert len(list(CORPUS.glob("*.toml"))) == len(CASES)

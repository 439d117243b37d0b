"""The web report and the cue sheet as web pages.

Outside judges: html5lib (strict, as a browser parses), an XML parser, the contrast formula of WCAG 2.2, and a
reader of the strip's geometry that knows nothing of how it was drawn.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import html5lib
import pytest
from lxml import etree
from sheet_cases import CASES, hostile_file, sheet_of, sheet_of_file

from harpkeys.page import html
from harpkeys.page.html_report import report_html
from harpkeys.page.html_style import SIGN_PAIRS, TEXT_PAIRS, style_sheet
from harpkeys.page.sheet_html import sheet_html
from harpkeys.page.strip import strip_in_words, strip_key, strip_lines
from harpkeys.report import words

H = "{http://www.w3.org/1999/xhtml}"
S = "{http://www.w3.org/2000/svg}"
by_case = pytest.mark.parametrize(("name", "harp"), CASES)
by_page = pytest.mark.parametrize("kind", ["report", "sheet"])


@cache
def page_of(name: str, harp: str, kind: str) -> bytes:
    sheet, xml = sheet_of(name, harp)
    return report_html(sheet, xml) if kind == "report" else sheet_html(sheet, xml)


def parsed(page: bytes) -> Any:
    """The page as an XML parser sees it."""
    return etree.fromstring(page)


def text_of(node: Any) -> str:
    return " ".join("".join(node.itertext()).split())


@by_case
@by_page
def test_pages_are_well_formed_both_ways(name: str, harp: str, kind: str) -> None:
    page = page_of(name, harp, kind)
    parsed(page)
    html5lib.HTMLParser(strict=True).parse(page)


@by_case
@by_page
def test_every_link_stays_in_the_page_and_has_a_target(name: str, harp: str, kind: str) -> None:
    root = parsed(page_of(name, harp, kind))
    ids = [node.get("id") for node in root.iter(etree.Element) if node.get("id")]
    assert len(ids) == len(set(ids))
    links = [node.get("href") for node in root.iter(etree.Element) if node.get("href") is not None]
    assert [link for link in links if not link.startswith("#") or link[1:] not in ids] == []
    named = [
        name
        for node in root.iter(etree.Element)
        for name in (node.get("aria-labelledby") or "").split()
        if name not in ids
    ]
    assert named == []


@by_case
@by_page
def test_nothing_is_fetched_and_nothing_runs(name: str, harp: str, kind: str) -> None:
    page = page_of(name, harp, kind)
    root = parsed(page)
    policy = root.find(f"{H}head/{H}meta[@http-equiv='Content-Security-Policy']").get("content")
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; font-src data:"
    assert not list(root.iter(f"{H}script", f"{S}script", f"{S}image", f"{H}img", f"{H}link"))
    assert not [key for node in root.iter(etree.Element) for key in node.attrib if key.startswith("on")]
    assert set(re.findall(rb"[a-z]+://[^\"' )<]*", page)) <= {
        b"http://www.w3.org/1999/xhtml",
        b"http://www.w3.org/2000/svg",
    }
    assert not re.findall(rb"url\((?!\"data:)", page)


@by_case
@by_page
def test_pages_can_be_heard_and_used_by_keyboard(name: str, harp: str, kind: str) -> None:
    root = parsed(page_of(name, harp, kind))
    assert root.get("lang") == "en"
    levels = [int(node.tag[-1]) for node in root.iter(*(f"{H}h{k}" for k in range(1, 7)))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    for table in root.iter(f"{H}table"):
        assert text_of(table.find(f"{H}caption"))
        assert table.findall(f"{H}thead/{H}tr/{H}th[@scope='col']")
        columns = len(table.findall(f"{H}thead/{H}tr/{H}th"))
        for row in table.findall(f"{H}tbody/{H}tr"):
            assert len(row) == columns
            assert row.findall(f"{H}th[@scope='row']")
    for drawing in root.iter(f"{S}svg"):
        assert drawing.get("role") in ("img", "group")
        assert text_of(drawing.find(f"{S}title"))
    for link in (*root.iter(f"{H}a"), *root.iter(f"{S}a")):
        assert link.get("aria-label") or text_of(link)
    # What scrolls can be reached by keyboard and has a name.
    for node in root.iter(f"{H}div"):
        assert (node.get("tabindex"), node.get("role")) == ("0", "region")
        assert node.get("aria-label")


@by_case
def test_every_flip_and_flag_leads_to_its_bar(name: str, harp: str) -> None:
    sheet = sheet_of(name, harp)[0]
    root = parsed(page_of(name, harp, "report"))
    bars = {node.get("id"): node for node in root.iter(f"{S}g") if node.get("class") == "measure"}
    for flip in sheet.flips:
        row = root.find(f".//{H}tr[@id='flip-{flip.number}']")
        target = row.find(f".//{H}a").get("href")
        assert target == f"#score-measure-{flip.measure}"
        assert target[1:] in bars
        cells = [text_of(cell) for cell in row]
        assert cells[:7] == [
            str(flip.number),
            flip.bar_text,
            flip.beat_text,
            flip.string_name,
            str(flip.string_number),
            text_of(row[5]),
            flip.hand,
        ]
    for number, passage in enumerate(sheet.passages, 1):
        article = root.find(f".//{H}article[@id='flagged-{number}']")
        links = [link.get("href") for link in article.iter(f"{H}a")]
        assert links == [f"#score-measure-{place.first}" for place in passage.places]
        assert passage.say in text_of(article)
    # And from the line of the score that has the bar back to the flip.
    for figure in root.iter(f"{H}figure"):
        drawn = {node.get("id") for node in figure.iter(f"{S}g") if node.get("class") == "measure"}
        caption = figure.find(f"{H}figcaption")
        if caption is None:
            continue
        back = {link.get("href") for link in caption.iter(f"{H}a")}
        here = {f"#flip-{flip.number}" for flip in sheet.flips if f"score-measure-{flip.measure}" in drawn}
        assert here == {link for link in back if link.startswith("#flip-")}


@by_case
def test_the_report_says_everything(name: str, harp: str) -> None:
    sheet = sheet_of(name, harp)[0]
    report = sheet.report
    text = text_of(parsed(page_of(name, harp, "report")).find(f"{H}body"))
    wanted = [sheet.title, words.verdict_sentence(report), *(fact for _, fact in sheet.facts())]
    wanted += [*report.assumptions, *sheet.cautions, *words.tempo_sentences(report)]
    wanted += [entry.text() for entry in report.accidentals.census]
    wanted += [warning.sentence for warning in report.warnings]
    wanted += strip_in_words(sheet)
    for index in range(len(report.keys)):
        wanted.append(words.key_levers_text(report, index))
    assert [one for one in wanted if one not in text] == []


def test_every_bar_is_drawn_once() -> None:
    root = parsed(page_of("five-bridges", "heron", "report"))
    drawn = [node.get("id") for node in root.iter(f"{S}g") if node.get("class") == "measure"]
    assert drawn == [f"score-measure-{k}" for k in range(72)]


# The strip, read off its geometry.


def numbers(node: Any, *names: str) -> list[float]:
    return [float(node.get(name)) for name in names]


def read_line(drawing: str) -> tuple[list[float], dict[str, list[tuple[float, float]]]]:
    """x of the barlines, and for each row, by its label, where its lever is up."""
    root = etree.fromstring(drawing)
    barlines = sorted(
        {
            numbers(line, "x1")[0]
            for line in root.iter(f"{S}line")
            if line.get("x1") == line.get("x2") and line.get("stroke") == "#777777"
        }
    )
    bands = [numbers(rect, "x", "y", "width", "height") for rect in root.findall(f"{S}rect")]
    rows = {}
    for label in root.findall(f"{S}text[@text-anchor='end']"):
        base = float(label.get("y"))
        if re.fullmatch(r"[A-G]\d \(\d+\)", label.text):
            rows[label.text] = [(x, x + wide) for x, y, wide, high in bands if y < base < y + high + 8]
    return barlines, rows


def up_by_geometry(lines: list[str]) -> Iterator[dict[str, list[tuple[float, float]]]]:
    """For each performed bar and string where in the bar the lever is up, as shares of the bar."""
    for drawing in lines:
        barlines, rows = read_line(drawing)
        for left, right in itertools.pairwise(barlines):
            yield {
                name: [((low - left) / (right - left), (high - left) / (right - left)) for low, high in ups]
                for name, ups in rows.items()
            }


@by_case
def test_the_strip_shows_every_note_its_lever(name: str, harp: str) -> None:
    """At each pluck on a string that moves, the band says what the plan plays it in."""
    sheet = sheet_of(name, harp)[0]
    report = sheet.report
    visits = report.performance.timeline.visits
    lines = [line.drawing for line in strip_lines(sheet, lambda measure: f"bar-{measure}")]
    assert bool(lines) == bool(sheet.flips or sheet.passages)
    bars = list(up_by_geometry(lines))
    assert len(bars) in (0, len(visits))
    labels = {flip.string: f"{flip.string_name} ({flip.string_number})" for flip in sheet.flips}
    assert all(set(bar) == set(labels.values()) for bar in bars)
    checked = 0
    for pluck, play in zip(report.performance.plucks, report.plan.plays, strict=True):
        if play is None or play[0] not in labels:
            continue
        visit = visits[pluck.place.visit]
        length = report.performance.score.measures[visit.measure].length
        share = (pluck.onset_tick - visit.start + 0.02 * length) / length
        ups = bars[pluck.place.visit][labels[play[0]]]
        assert any(low <= share <= high for low, high in ups) == bool(play[1]), pluck
        checked += 1
    assert bool(checked) == bool(sheet.flips)


def test_a_strip_with_a_wrong_lever_would_be_seen() -> None:
    """The reader of the geometry is no rubber stamp: bars of the drawing and of a tampered one differ."""
    sheet = sheet_of("five-bridges", "heron")[0]
    lines = [line.drawing for line in strip_lines(sheet, str)]
    wrong = [re.sub(r'height="14"', 'height="0"', line) for line in lines]
    assert list(up_by_geometry(lines)) != list(up_by_geometry(wrong))


def test_flips_and_flags_on_the_strip_are_links() -> None:
    sheet = sheet_of("fog-on-the-cut", "kestrel")[0]
    (line,) = strip_lines(sheet, lambda measure: f"bar-{measure}")
    links = {
        (link.get("href"), text_of(link.find(f"{S}title")))
        for link in etree.fromstring(line.drawing).iter(f"{S}a")
    }
    assert ("#bar-5", "Flip 1: string G4 down to G4, bar 6, beat 1, left hand") in links
    assert {href for href, label in links if label.startswith("Flagged in bar ")} == {
        "#bar-1",
        "#bar-2",
        "#bar-6",
    }


def test_a_jump_and_a_second_pass_are_shown() -> None:
    sheet = sheet_of("twice-round-the-well", "kestrel")[0]
    (line,) = strip_lines(sheet, str)
    labels = [node.text for node in etree.fromstring(line.drawing).iter(f"{S}text")]
    assert "1 (2nd)" in labels
    assert line.title == "Levers in bars 1 to 10"


def test_long_pieces_have_lines_of_one_scale() -> None:
    lines = [read_line(line.drawing)[0] for line in strip_lines(sheet_of("five-bridges", "heron")[0], str)]
    assert [len(barlines) - 1 for barlines in lines] == [24, 24, 24]
    widths = {round(b - a, 1) for barlines in lines for a, b in itertools.pairwise(barlines)}
    assert max(widths) - min(widths) < 0.2  # all bars are 4/4


# Looks.


def luminance(colour: str) -> float:
    """Relative luminance, by WCAG 2.2's definition."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_agrees_with_its_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # the well-known borderline grey


@pytest.mark.parametrize("pair", TEXT_PAIRS)
def test_text_has_contrast(pair: tuple[str, str]) -> None:
    assert contrast(*pair) >= 4.5


@pytest.mark.parametrize("pair", SIGN_PAIRS)
def test_signs_have_contrast(pair: tuple[str, str]) -> None:
    assert contrast(*pair) >= 3


def test_every_colour_of_the_page_is_among_the_pairs() -> None:
    named = {colour for pair in (*TEXT_PAIRS, *SIGN_PAIRS) for colour in pair}
    used = set(re.findall(r"#[0-9a-f]{6}", style_sheet(music=False)))
    assert used - {"#000000"} <= named
    flagged = set(
        re.findall(r'color="(#[0-9A-Fa-f]{6})"', page_of("fog-on-the-cut", "kestrel", "report").decode())
    )
    assert all(contrast(colour.lower(), "#ffffff") >= 4.5 for colour in flagged)


def test_pages_are_made_for_print_too() -> None:
    style = style_sheet(music=False)
    assert "@media print" in style
    assert "break-inside: avoid" in style
    assert len(style_sheet()) > len(style) + 1000


# Hostile files.


@by_page
def test_hostile_titles_stay_text(tmp_path: Path, kind: str) -> None:
    sheet, xml = sheet_of_file(hostile_file(tmp_path), "kestrel")
    page = report_html(sheet, xml) if kind == "report" else sheet_html(sheet, xml)
    root = parsed(page)
    assert not list(root.iter(f"{H}script", f"{S}script"))
    assert '</title><script>alert("1")</script>' in text_of(root.find(f".//{H}h1"))
    tree = html5lib.HTMLParser(strict=True).parse(page)
    assert not [node for node in tree.iter() if str(node.tag).endswith("}script")]


def test_markup_is_escaped_where_it_is_made() -> None:
    assert html.text("a < b & c\x00") == "a &lt; b &amp; c"
    assert html.element("a", html.text("<"), href='#x" onclick="y', class_="k", data_n=None, tabindex=0) == (
        '<a href=\'#x" onclick="y\' class="k" tabindex="0">&lt;</a>'
    )
    assert html.element("br") == "<br/>"


def test_the_strip_explains_the_signs_that_it_shows() -> None:
    band = "A thick black band: the lever is up; a thin line: it is down."
    jump = " A double stroke is a jump in the order of the bars."
    flip = "An upright stroke with its number is a flip"
    keys = {
        ("five-bridges", "heron"): f"{band} {flip} and leads to the bar.",
        ("the-mill-turns", "heron"): f"{band} {flip} and leads to the bar.{jump}",
        (
            "fog-on-the-cut",
            "kestrel",
        ): f"{band} {flip}, a triangle with ! a flagged bar; both lead to the bar.",
        ("cellar-and-attic", "wren"): "A triangle with ! is a flagged bar and leads to the bar.",
    }
    for (name, harp), key in keys.items():
        assert strip_key(sheet_of(name, harp)[0]) == key

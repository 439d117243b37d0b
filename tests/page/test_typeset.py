"""Print: number and size of pages, text that stays text, the same bytes twice.

Outside judge: pypdf reads what typst wrote.
"""

from __future__ import annotations

import base64
import hashlib
import io
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from page_helpers import BOXED, START, WHOLE, measured_by_typst, one_part, read_pdf
from PIL import Image

from harpkeys.harp.tunings import make_harp
from harpkeys.page.chart import lever_chart
from harpkeys.page.engrave import engrave
from harpkeys.page.font_face import FONTS, font_faces
from harpkeys.page.formats import PAPERS, PageFormat
from harpkeys.page.typeset import (
    Block,
    block_height,
    escape,
    heading_block,
    paragraph,
    picture,
    points,
    print_document,
    print_pdf,
    sheet_document,
    stack,
    table,
    title_block,
    to_pdf,
    to_png,
)

A4 = PageFormat()

HOSTILE = (
    '#eval("1+1")',
    "*bold* _slanted_ $x^2$ `raw` <label> @reference",
    "\\u{41} \\ \"quoted\" 'single' -- --- ...",
    "= heading",
    "- point // comment /* more",
    '#"x"; ] ) } [ ( {',
    '"; #panic("x"); "',
    '\\"; #panic("x"); \\"',
    "#import sys: inputs; #sys.inputs",
    "https://a.b ~ #",
    "</title>&amp;<script>",
    "F♯4 ▲ B♭3 E♮ “né” — Привет Ελλάς",
)


def squeezed(text: str) -> str:
    """Text without spaces: a reader of PDF cannot know where lines were broken."""
    return "".join(text.split())


def every_block(text: str) -> list[Block]:
    return [
        title_block(text, text, text, text),
        heading_block(text),
        paragraph(text),
        paragraph(text, heavy=True),
        points([text]),
        table([text, text], [[text, text]], heavy=(0,)),
        Block(escape(text)),
        Block(f"{escape(text)}.len()"),
    ]


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_prints_as_it_is(text: str) -> None:
    reader = read_pdf(to_pdf(sheet_document(every_block(text), A4, title=text)))
    assert reader.metadata is not None
    assert reader.metadata.title == text
    printed = squeezed("".join(page.extract_text() for page in reader.pages))
    # Title, subtitle, two sides, heading, two paragraphs, point, four cells, two escapes: 14; the foot: 1.
    assert printed.count(squeezed(text)) == 15


def test_what_follows_an_escape_is_not_part_of_it() -> None:
    printed = read_pdf(to_pdf(sheet_document([Block(f"{escape('a')}.len()")], A4, title="t"))).pages[0]
    assert "a.len()" in printed.extract_text()


@settings(max_examples=40, deadline=None)
@given(st.text(st.characters(codec="utf-16", min_codepoint=1), max_size=40))
def test_any_text_can_be_set(text: str) -> None:
    assert to_pdf(sheet_document([Block(escape(text))], A4, title=text)).startswith(b"%PDF")


def test_control_characters_and_broken_surrogates_vanish() -> None:
    text = "a\x00\x07\x1b\ud800b\nc\x85d\u2028e\ufffef"
    assert escape(text) == '#"ab c d ef";'


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
def test_pages_are_as_many_and_as_large_as_engraved(paper: str, landscape: bool) -> None:
    page = PageFormat(paper, landscape)
    made = engrave(BOXED.read_bytes(), page)
    reader = read_pdf(print_pdf(None, made.pages, page, title="t"))
    assert len(reader.pages) == len(made.pages)
    # A4 is 595.28 by 841.89 points, Letter 612 by 792 (72 points to the inch).
    sides = {"A4": (595.28, 841.89), "Letter": (612.0, 792.0)}[paper]
    wide, high = reversed(sides) if landscape else sides
    for sheet in reader.pages:
        assert float(sheet.mediabox.width) == pytest.approx(wide, abs=0.02)
        assert float(sheet.mediabox.height) == pytest.approx(high, abs=0.02)


def front() -> Block:
    harp = make_harp("Willow", "C2", high="A6", tuning="E-flat", levers="all")
    chart = lever_chart(harp, [int(s.diatonic % 7 == 3) for s in harp.strings])
    return stack([title_block("A Piece", right="A. Composer"), picture(chart, width=A4.text_width)])


def test_the_front_stands_on_the_first_page_or_alone() -> None:
    block = front()
    made = engrave(BOXED.read_bytes(), A4, top=block_height(block, A4) + 4)
    together = read_pdf(print_pdf(block, made.pages, A4, title="t"))
    assert len(together.pages) == len(made.pages)
    assert "A. Composer" in together.pages[0].extract_text()
    assert "Levers up at the start: every F" in together.pages[0].extract_text()
    apart = read_pdf(print_pdf(block, made.pages, A4, title="t", front_alone=True))
    assert len(apart.pages) == len(made.pages) + 1
    assert "A. Composer" not in apart.pages[1].extract_text()


def test_the_height_of_a_block_is_measured() -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 4"><rect width="10" height="4"/></svg>'
    assert block_height(picture(svg, width=100), A4) == pytest.approx(40, abs=0.01)
    one, three = (block_height(points(["x"] * count), A4) for count in (1, 3))
    assert three > 2.5 * one


def test_pages_are_numbered_and_carry_the_title() -> None:
    made = engrave(BOXED.read_bytes(), A4)
    reader = read_pdf(print_pdf(None, made.pages, A4, title="A Piece"))
    for number, sheet in enumerate(reader.pages, 1):
        text = sheet.extract_text()
        assert "A Piece" in text
        assert f"{number} / {len(made.pages)}" in text


def test_cues_can_be_found_in_the_print() -> None:
    made = engrave(BOXED.read_bytes(), A4)
    text = "".join(
        sheet.extract_text() for sheet in read_pdf(print_pdf(None, made.pages, A4, title="t")).pages
    )
    assert squeezed(text).count("F4▲F♯") == 6  # three alone, three in a row of two


def test_the_print_is_tagged_titled_and_has_no_date() -> None:
    made = engrave(BOXED.read_bytes(), A4)
    reader = read_pdf(print_pdf(None, made.pages, A4, title="A Piece"))
    assert reader.metadata is not None
    assert reader.metadata.title == "A Piece"
    assert reader.metadata.creation_date is None
    root = reader.trailer["/Root"].get_object()
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"


def test_pictures_say_what_they_show() -> None:
    """The alternative text of an engraved page is its title, of the chart what it is."""
    made = engrave(BOXED.read_bytes(), A4)
    reader = read_pdf(print_pdf(front(), made.pages, A4, title="A Piece", front_alone=True))
    last = made.turns[0][0] + 1
    assert _alternatives(reader.trailer["/Root"]["/StructTreeRoot"]) == {
        "Lever chart: Willow",
        f"Page 1 of 2, bars 1 to {last}",
        f"Page 2 of 2, bars {last + 1} to 24",
    }


def _alternatives(node: Any) -> set[str]:
    """Every alternative text in the structure tree of a PDF."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        return {text for child in node for text in _alternatives(child)}
    if not isinstance(node, dict):
        return set()
    own = {str(node["/Alt"])} if "/Alt" in node else set()
    return own | (_alternatives(node["/K"]) if "/K" in node else set())


def test_only_our_fonts_are_in_the_print_and_all_are_embedded() -> None:
    made = engrave(BOXED.read_bytes(), A4)
    reader = read_pdf(print_pdf(front(), made.pages, A4, title="t"))
    fonts = list(_fonts(reader.trailer["/Root"], set()))
    families = {str(font["/BaseFont"]).rpartition("+")[2].partition("-")[0] for font in fonts}
    assert families == {"LibertinusSerif", "HarpkeysMusic", "DejaVuSansMono"}
    described = [font["/FontDescriptor"].get_object() for font in fonts if "/FontDescriptor" in font]
    assert described
    assert all({"/FontFile2", "/FontFile3"} & set(description) for description in described)


def _fonts(node: Any, seen: set[int]) -> Iterator[Any]:
    """Every font object that can be reached in a PDF."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if id(node) in seen or not isinstance(node, dict | list):
        return
    seen.add(id(node))
    if isinstance(node, dict) and node.get("/Type") == "/Font":
        yield node
    for child in node.values() if isinstance(node, dict) else node:
        yield from _fonts(child, seen)


NOTICES = {
    "harpkeys-music.otf": ("Harpkeys Music", 'Reserved Font Name "Leipzig"'),
    "harpkeys-words.otf": (
        "Harpkeys Words",
        'Reserved Font Name "Linux Libertine", "Biolinum", "STIX Fonts"',
    ),
}
"""Each font with its family, and the names that its original reserves."""


@pytest.mark.parametrize("name", NOTICES)
def test_fonts_say_their_licence(name: str) -> None:
    """SIL OFL 1.1: another name than the reserved ones, the notice, the licence beside the font."""
    names = {record.nameID: record.toUnicode() for record in TTFont(FONTS / name)["name"].names}
    family, reserved = NOTICES[name]
    assert names[1] == family
    assert reserved in names[0]
    assert "SIL Open Font License, Version 1.1" in names[13]
    licence = (FONTS / "OFL.txt").read_text("utf-8")
    assert name in licence
    assert reserved in licence
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence


def test_the_music_font_has_the_signs() -> None:
    """SMuFL 1.4: quarter note and augmentation dot of metronome marks, forte, sharp."""
    assert {0xECA5, 0xECB7, 0xE522, 0xE262} <= set(TTFont(FONTS / "harpkeys-music.otf").getBestCmap())


def test_the_font_of_cues_has_their_letters_as_wide_as_in_print() -> None:
    """typst measures them in the text font; every letter the same means that boxes fit."""
    font = TTFont(FONTS / "harpkeys-words.otf")
    letters = sorted(set("1st, 2nd and 3rd time: middle high low string r.h. on (34) ABCDEFG♯♭♮↑↓0123456789"))
    assert {ord(letter) for letter in letters} <= set(font.getBestCmap())
    widths = [font["hmtx"][font.getBestCmap()[ord(letter)]][0] / 1000 for letter in letters if letter != " "]
    measured = measured_by_typst([letter for letter in letters if letter != " "], font="Libertinus Serif")
    assert widths == pytest.approx(measured, abs=0.001)


def test_web_pages_carry_the_fonts_along() -> None:
    rules = font_faces()
    page = engrave(BOXED.read_bytes(), A4).pages[0]
    carried = re.findall(
        r'font-family: "([^"]*)"; src: url\("data:font/otf;base64,([A-Za-z0-9+/=]+)"\)', rules
    )
    assert {family: base64.b64decode(data) for family, data in carried} == {
        family: (FONTS / name).read_bytes() for name, (family, _) in NOTICES.items()
    }
    assert 'font-family="Harpkeys Music"' in page
    boxed = re.findall(r'<rect [^>]*/><text [^>]*font-family="([^"]*)"', page)
    assert boxed
    assert all(families.startswith("Libertinus Serif, Harpkeys Words, ") for families in boxed)


def test_the_same_print_twice_is_the_same_bytes_also_in_another_process() -> None:
    code = (
        "import hashlib; from harpkeys.page.engrave import engrave; "
        "from harpkeys.page.formats import PageFormat; "
        "from harpkeys.page.typeset import print_pdf, title_block; "
        f"page = PageFormat(); pages = engrave(open({str(BOXED)!r}, 'rb').read(), page).pages; "
        "print(hashlib.sha256(print_pdf(title_block('A'), pages, page, title='A')).hexdigest())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": "7", "PATH": "", "TZ": "Pacific/Apia"},
    )
    pages = engrave(BOXED.read_bytes(), A4).pages
    here = print_pdf(title_block("A"), pages, A4, title="A")
    assert here == print_pdf(title_block("A"), pages, A4, title="A")
    assert run.stdout.strip() == hashlib.sha256(here).hexdigest()


def test_pictures_of_pages_have_the_size_asked_for() -> None:
    made = engrave(one_part([START + WHOLE]), A4)
    images = [
        Image.open(io.BytesIO(png))
        for png in to_png(print_document(None, made.pages, A4, title="t"), dots=72)
    ]
    assert len(images) == 1
    assert images[0].size == pytest.approx((595, 842), abs=1)
    # Something is printed, and the margin is blank.
    grey = images[0].convert("L")
    assert grey.getextrema()[0] < 80
    assert grey.crop((0, 0, 595, 30)).getextrema() == (255, 255)


def test_a_table_repeats_its_head_on_every_page() -> None:
    rows = [[str(k), "F♯4 ▲"] for k in range(150)]
    reader = read_pdf(to_pdf(sheet_document([table(["Bar", "Cue"], rows)], A4, title="t")))
    assert len(reader.pages) > 2
    assert all("Cue" in sheet.extract_text() for sheet in reader.pages)


def test_no_page_without_music_or_front() -> None:
    assert len(read_pdf(print_pdf(title_block("Only a front"), [], A4, title="t")).pages) == 1


def test_letters_our_fonts_lack_call_for_the_fonts_of_the_system(monkeypatch: pytest.MonkeyPatch) -> None:
    import typst

    asked: list[bool] = []
    real = typst.compile

    def watched(*given: object, **options: object) -> object:
        asked.append(bool(options["ignore_system_fonts"]))
        return real(*given, **options)

    monkeypatch.setattr(typst, "compile", watched)
    for text in ("Ça ira — Привет ♯", "曲"):
        to_pdf(sheet_document([paragraph(text)], A4, title="t"))
    assert asked == [True, False]


def test_a_blank_side_of_the_title_is_left_blank() -> None:
    assert "grid" not in title_block("A").markup
    assert "grid" in title_block("A", right="B").markup


def test_fonts_are_beside_the_code() -> None:
    assert sorted(path.name for path in Path(FONTS).iterdir()) == ["OFL.txt", *NOTICES]

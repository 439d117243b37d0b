"""Engraved pages: the right bars on the right page, ids, and what a file may smuggle into a drawing.

Outside judges: music21 (key and notes of a piece), the MusicXML 4.0 schema, an XML parser, typst (widths).
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from lxml import etree
from page_helpers import BAR_REST, BOXED, START, WHOLE, joplin, measured_by_typst, one_part
from schema import schema_errors

from harpkeys.errors import OptionError, ScoreError
from harpkeys.page.engrave import Engraving, engrave, excerpt, excerpts
from harpkeys.page.formats import PAPERS, PageFormat, page_format
from harpkeys.page.score_copy import Credits, read_credits, score_copy

A4 = PageFormat()
SVG = "{http://www.w3.org/2000/svg}"


def measure_ids(drawing: str, prefix: str = "") -> list[int]:
    return [int(k) for k in re.findall(rf'<g id="{prefix}measure-(\d+)" class="measure"', drawing)]


@pytest.fixture(scope="module")
def rag() -> Engraving:
    return engrave(joplin(), A4)


def test_the_fixture_is_a_score() -> None:
    assert schema_errors(etree.parse(str(BOXED))) == []


def test_every_measure_stands_on_one_page_in_order(rag: Engraving) -> None:
    assert [k for measures in rag.measures for k in measures] == list(range(85))
    assert len(rag.numbers) == 85
    for page, drawing in enumerate(rag.pages):
        assert tuple(measure_ids(drawing)) == rag.measures[page]
        assert all(rag.page_of(k) == page for k in rag.measures[page])


def test_page_turns_are_known(rag: Engraving) -> None:
    assert rag.turns == tuple((m[-1], n[0]) for m, n in zip(rag.measures, rag.measures[1:], strict=False))
    assert all(after == before + 1 for before, after in rag.turns)
    with pytest.raises(ValueError, match=r"^no measure 85$"):
        rag.page_of(85)


def test_every_note_has_the_id_of_its_place_in_the_file(rag: Engraving) -> None:
    count = sum(1 for _ in etree.fromstring(joplin()).iter("note"))
    ids = [int(k) for page in rag.pages for k in re.findall(r'<g id="note-(\d+)"', page)]
    assert sorted(set(ids)) == list(range(count))


def test_ids_belong_to_the_note_of_that_number() -> None:
    """The nth note of the file is drawn where its staff place says, read off the drawing."""
    page = engrave(BOXED.read_bytes(), A4).pages[0]
    heads = dict(
        re.findall(r'<g id="note-(\d+)"[^>]*><g class="notehead"><use [^>]*translate\(\d+, (\d+)\)', page)
    )
    notes = list(etree.parse(str(BOXED)).iter("note"))
    places = [
        int(n.findtext("pitch/octave", "0")) * 7 + "CDEFGAB".index(n.findtext("pitch/step", "C"))
        for n in notes[:8]
    ]
    lowest = int(heads["0"])
    # A staff place is half a staff space: 90 units at verovio's own staff.
    assert [(lowest - int(heads[str(k)])) // 90 for k in range(8)] == [p - places[0] for p in places]


def test_no_id_is_used_twice_on_a_page(rag: Engraving) -> None:
    for page in rag.pages:
        ids = re.findall(r' id="([^"]*)"', page)
        assert len(ids) == len(set(ids))
        assert set(re.findall(r'href="#([^"]*)"', page)) <= set(ids)


def test_prefixes_keep_ids_of_two_scores_apart() -> None:
    one, other = (
        {
            k
            for page in engrave(BOXED.read_bytes(), A4, prefix=p).pages
            for k in re.findall(r' id="([^"]*)"', page)
        }
        for p in ("a-", "b-")
    )
    assert one
    assert not one & other


def test_the_same_score_gives_the_same_drawing_in_another_process() -> None:
    """Also with another seed of Python's hashes."""
    code = (
        "import hashlib, sys; from harpkeys.page.engrave import engrave; "
        "from harpkeys.page.formats import PageFormat; "
        f"pages = engrave(open({str(BOXED)!r}, 'rb').read(), PageFormat()).pages; "
        "print(hashlib.sha256(''.join(pages).encode()).hexdigest())"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={"PYTHONHASHSEED": "7", "PATH": ""},
    )
    pages = engrave(BOXED.read_bytes(), A4).pages
    assert run.stdout.strip() == hashlib.sha256("".join(pages).encode()).hexdigest()
    assert run.stderr == ""


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_the_size_of_the_paper(paper: str, landscape: bool) -> None:
    """ISO 216 for A4; Letter is 8.5 by 11 inches of 25.4 mm."""
    sides = {"A4": (210.0, 297.0), "Letter": (8.5 * 25.4, 11 * 25.4)}[paper]
    wide, high = reversed(sides) if landscape else sides
    for drawing in engrave(BOXED.read_bytes(), PageFormat(paper, landscape)).pages:
        root = ElementTree.fromstring(drawing)
        assert float(root.get("width", "").removesuffix("mm")) == pytest.approx(wide)
        assert float(root.get("height", "").removesuffix("mm")) == pytest.approx(high)
        assert [float(k) for k in root.get("viewBox", "").split()] == pytest.approx([0, 0, wide, high])


def test_a_staff_is_as_high_as_asked_for() -> None:
    for staff in (6.0, 8.5):
        page = engrave(BOXED.read_bytes(), PageFormat(staff=staff)).pages[0]
        scale = float(re.search(r"scale\(([\d.]+)\)", page)[1])  # type: ignore[index]
        first = re.search(r'<g class="staff">(.*?)<g class="clef"', page)
        assert first is not None
        lines = [int(y) for y in re.findall(r'd="M\d+ (\d+) L', first[1])]
        assert len(lines) == 5
        assert (lines[4] - lines[0]) * scale == pytest.approx(staff, rel=1e-3)


def test_room_is_kept_free_above_the_first_system() -> None:
    free = engrave(BOXED.read_bytes(), A4, top=80)
    y = [
        float(k)
        for k in re.findall(r'class="system-place" transform="translate\([\d.]+ ([\d.]+)\)', free.pages[0])
    ]
    assert min(y) == pytest.approx(A4.margin + 80)
    assert not free.front_alone
    y = [
        float(k)
        for k in re.findall(r'class="system-place" transform="translate\([\d.]+ ([\d.]+)\)', free.pages[1])
    ]
    assert min(y) == pytest.approx(A4.margin)


def test_where_nothing_fits_below_the_front_stands_alone() -> None:
    full = engrave(BOXED.read_bytes(), A4, top=250)
    assert full.front_alone
    assert full.pages == engrave(BOXED.read_bytes(), A4).pages


def test_busy_bars_are_kept_from_the_page_turn() -> None:
    page = PageFormat(staff=6.0)  # small enough that the last page is not full
    plain = engrave(joplin(), page)
    before, after = plain.turns[0]
    moved = engrave(joplin(), page, busy={before, after})
    assert len(moved.pages) == len(plain.pages)
    assert not {before, after} & {k for turn in moved.turns for k in turn}


def test_a_score_of_many_parts_is_drawn_smaller_rather_than_over_the_edge() -> None:
    parts = "".join(f'<score-part id="P{k}"><part-name>Part {k}</part-name></score-part>' for k in range(30))
    one = one_part([START + WHOLE], parts)
    part = re.search(r'<part id="P1">.*</part>', one)
    assert part is not None
    every = "".join(part[0].replace("P1", f"P{k}") for k in range(30))
    made = engrave(one.replace(part[0], every), A4)
    assert made.staff < A4.staff
    assert len(made.pages) == 1
    low = max(int(y) for y in re.findall(r' L\d+ (\d+)"', made.pages[0]))
    scale = float(re.search(r"scale\(([\d.]+)\)", made.pages[0])[1])  # type: ignore[index]
    assert A4.margin + low * scale <= A4.height - A4.margin + 0.1


def test_bars_inside_a_multiple_bar_rest_stand_on_the_page_of_its_first() -> None:
    rest = START.replace(
        "</attributes>", "<measure-style><multiple-rest>3</multiple-rest></measure-style></attributes>"
    )
    made = engrave(one_part([rest + BAR_REST, BAR_REST, BAR_REST, WHOLE]), A4)
    assert measure_ids(made.pages[0]) == [0, 3]
    assert made.measures == ((0, 1, 2, 3),)
    assert made.page_of(1) == 0
    opened = engrave(one_part([rest + BAR_REST, BAR_REST, BAR_REST, WHOLE]), A4, busy=[1])
    assert measure_ids(opened.pages[0]) == [0, 1, 2, 3]


def test_one_part_of_several_can_be_engraved() -> None:
    parts = "".join(f'<score-part id="{k}"><part-name>Part {k}</part-name></score-part>' for k in "AB")
    one = one_part([START + WHOLE], parts)
    both = re.sub(r'<part id="P1">(.*)</part>', r'<part id="A">\1</part><part id="B">\1</part>', one)
    assert engrave(both, A4).pages[0].count('class="staff"') == 2
    alone = engrave(both, A4, parts=["B"]).pages[0]
    assert alone.count('class="staff"') == 1
    assert "Part B" in alone
    assert 'id="note-1"' in alone  # still counted in the whole document
    with pytest.raises(ScoreError, match=r"^the score has no part Z; name one that it has\.$"):
        engrave(both, A4, parts=["Z"])


# Boxed words.


def test_boxed_words_stand_in_boxes_that_do_not_meet() -> None:
    for page in engrave(BOXED.read_bytes(), A4).pages:
        places = re.split(r'<g class="system-place"', page)[1:]
        for system in places:
            boxes = [
                tuple(int(k) for k in found)
                for found in re.findall(
                    r'<rect [^>]*x="(\d+)" y="(\d+)" height="(\d+)" width="(\d+)"', system
                )
            ]
            assert len(boxes) >= 2
            for i, (x, y, high, wide) in enumerate(boxes):
                for x2, y2, high2, wide2 in boxes[i + 1 :]:
                    assert x + wide <= x2 or x2 + wide2 <= x or y + high <= y2 or y2 + high2 <= y


def test_boxed_words_fit_their_boxes() -> None:
    """typst measures the words; the rim that makes them bold is 14 units."""
    found = re.findall(
        r'<rect [^>]*x="(\d+)"[^>]*width="(\d+)"/><text x="(\d+)"[^>]*>(?:<tspan[^>]*>)*([^<]*)',
        engrave(BOXED.read_bytes(), A4).pages[0],
    )
    assert len(found) > 10
    widths = measured_by_typst([words for *_, words in found], font="Libertinus Serif")
    for (x, wide, start, words), width in zip(found, widths, strict=True):
        left = int(start) - int(x)
        right = int(wide) - left - width * 405 - 14
        assert left > 60, words
        assert right > 60, words


def test_words_with_signs_are_bold_throughout() -> None:
    page = engrave(BOXED.read_bytes(), A4).pages[0]
    boxed = [text for text in re.findall(r"<text .*?</text>", page) if "♯" in text or "♭" in text]
    assert boxed
    assert all('stroke-width="14"' in text and "bold" not in text for text in boxed)


def test_a_tempo_word_and_its_metronome_mark_stand_apart() -> None:
    text = ElementTree.fromstring(engrave(BOXED.read_bytes(), A4).pages[0]).find(
        f".//{SVG}g[@class='tempo']/{SVG}text"
    )
    assert text is not None
    # SMuFL: quarter note and augmentation dot of a metronome mark.
    assert "".join(text.itertext()) == "Andante con moto\xa0\ueca5 \uecb7\xa0=\xa072"


# Excerpts.


def test_an_excerpt_has_the_bars_asked_for_and_no_others() -> None:
    ranges = [(0, 0), (4, 6), (51, 52), (80, 84)]
    for number, ((first, last), drawing) in enumerate(zip(ranges, excerpts(joplin(), ranges), strict=True)):
        assert measure_ids(drawing, f"excerpt-{number + 1}-") == list(range(first, last + 1))


def test_an_excerpt_shows_the_key_in_force() -> None:
    """music21 says which: the trio of the rag goes from four flats to five."""
    from music21 import converter

    part = converter.parse(joplin().decode(), format="musicxml").parts[0]
    measures = part.getElementsByClass("Measure")
    for index in (5, 40, 55, 84):
        expected = [m.keySignature.sharps for m in measures[: index + 1] if m.keySignature][-1]
        drawing = excerpt(joplin(), index, index)
        first = re.search(r'<g class="staff">.*?<g class="meterSig"', drawing)
        assert first is not None
        assert -first[0].count('class="keyAccid"') == expected


def test_an_excerpt_names_its_bars() -> None:
    titles = [
        re.search(r"<title>(.*?)</title>", drawing)[1]  # type: ignore[index]
        for drawing in excerpts(BOXED.read_bytes(), [(2, 2), (2, 4)])
    ]
    assert titles == ["Bar 3", "Bars 3 to 5"]


def test_an_excerpt_is_no_wider_than_asked_for() -> None:
    for drawing in excerpts(joplin(), [(0, 0), (0, 12)], width=120):
        root = ElementTree.fromstring(drawing)
        # Braces and bar numbers may hang out a little.
        assert float(root.get("width", "").removesuffix("mm")) <= 132


def test_an_excerpt_shows_each_bar_of_a_long_rest() -> None:
    rest = START.replace(
        "</attributes>", "<measure-style><multiple-rest>3</multiple-rest></measure-style></attributes>"
    )
    drawing = excerpt(one_part([rest + BAR_REST, BAR_REST, BAR_REST, WHOLE]), 1, 2)
    assert measure_ids(drawing, "excerpt-1-") == [1, 2]


def test_ranges_outside_the_score_are_refused() -> None:
    for first, last in ((0, 24), (-1, 2), (3, 2)):
        with pytest.raises(ValueError, match=f"^measures {first} to {last} are not among 24$"):
            excerpt(BOXED.read_bytes(), first, last)


# What files may hold.


def test_every_encoding_gives_the_same_pages() -> None:
    text = BOXED.read_text("utf-8")
    latin = text.replace("UTF-8", "ISO-8859-1", 1)
    for sign in "▲▼♯♭♮":
        latin = latin.replace(sign, f"&#{ord(sign)};")
    inputs = (
        text,
        text.encode(),
        text.replace("UTF-8", "UTF-16", 1).encode("utf-16"),
        latin.encode("latin-1"),
    )
    assert len({engrave(given, A4) for given in inputs}) == 1


def test_a_score_by_measures_is_engraved_like_one_by_parts() -> None:
    root = etree.parse(str(BOXED)).getroot()
    timewise = etree.Element("score-timewise", root.attrib)
    for child in root:
        if child.tag != "part":
            timewise.append(child)
    for measure in list(root.find("part")):
        outer = etree.SubElement(timewise, "measure", measure.attrib)
        etree.SubElement(outer, "part", id="P1").extend(list(measure))
    assert schema_errors(etree.ElementTree(timewise)) == []
    assert engrave(etree.tostring(timewise), A4) == engrave(BOXED.read_bytes(), A4)


def test_prefixed_names_are_understood() -> None:
    text = one_part([START + WHOLE])
    spaced = re.sub(r"<(/?)(?=[a-z])", r"<\1m:", text).replace(
        "<m:score-partwise", '<m:score-partwise xmlns:m="urn:m"'
    )
    assert engrave(spaced, A4) == engrave(text, A4)


def test_nothing_dangerous_reaches_the_drawing() -> None:
    note = WHOLE.replace(
        "<note>", '<note id=\'x" onload="alert(1)\' color="red;background:url(http://a.b/c)">'
    )
    words = (
        "<direction><direction-type><words color='url(http://a.b/d)' font-family='x\" onclick=\"y'>"
        "&lt;script&gt;alert(1)&lt;/script&gt;</words></direction-type></direction>"
    )
    page = engrave(one_part([START + words + note]), A4).pages[0]
    root = ElementTree.fromstring(page)
    assert not [
        e for e in root.iter() if e.tag.removeprefix(SVG) in ("script", "image", "foreignObject", "a")
    ]
    assert not [k for e in root.iter() for k in e.attrib if k.startswith("on")]
    assert not re.findall(r'"[^"]*(?:http://a\.b|javascript:)[^"]*"', page)
    assert "&lt;script&gt;" in page


def test_honest_colours_stay_and_notes_can_be_tinted() -> None:
    red = WHOLE.replace("<note>", '<note color="#C00000">')
    page = engrave(one_part([START + red, WHOLE]), A4, tints={1: "#0000c0", 0: "no colour"}).pages[0]
    assert re.search(r'<g id="note-0"[^>]*color="#C00000"', page)
    assert re.search(r'<g id="note-1"[^>]*color="#0000c0"', page)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (
            "<score-partwise>",
            r"^the score is not well-formed XML \(no element found: line 1, column 16\); export it again\.$",
        ),
        ("<opus/>", r"^the root element is opus; give a MusicXML score\.$"),
        ("<score-partwise/>", r"^the score has no measures; export it again\.$"),
    ],
)
def test_what_is_no_score_is_said(given: str, sentence: str) -> None:
    with pytest.raises(ScoreError, match=sentence):
        engrave(given, A4)


def test_an_entity_bomb_does_not_go_off() -> None:
    entities = "".join(f'<!ENTITY e{k + 1} "{f"&e{k};" * 20}">' for k in range(8))
    bomb = f'<!DOCTYPE x [<!ENTITY e0 "ha">{entities}]><score-partwise>&e8;</score-partwise>'
    with pytest.raises(ScoreError, match=r"^the score is not well-formed XML \(limit on input amplification"):
        score_copy(bomb)


def test_the_engraver_does_not_write_to_the_terminal(capfd: pytest.CaptureFixture[str]) -> None:
    broken = one_part(
        [START + "<direction><direction-type><wedge type='stop'/></direction-type></direction>" + WHOLE]
    )
    engrave(broken, A4)
    excerpt(broken, 0, 0)
    assert capfd.readouterr() == ("", "")


def test_credits_are_read() -> None:
    text = one_part([START + WHOLE]).replace(
        "<part-list>",
        "<work><work-title>A\n Suite</work-title></work><movement-title>Gigue</movement-title>"
        "<identification><creator type='composer'>A. One</creator><creator type='composer'>B. Two</creator>"
        "<creator type='arranger'>C. Three</creator><rights>Free</rights></identification><part-list>",
    )
    assert read_credits(text) == Credits("A Suite", "Gigue", "A. One, B. Two", "C. Three", "", "Free")
    assert read_credits(one_part([START + WHOLE])) == Credits()


def test_page_formats_are_checked() -> None:
    assert page_format("letter", landscape=True) == PageFormat("Letter", True)
    with pytest.raises(OptionError, match=r'^there is no paper "B5"; choose A4 or Letter\.$'):
        page_format("B5")
    with pytest.raises(OptionError, match=r"^a margin of 80 mm is out of range; choose 5 to 50 mm\.$"):
        page_format(margin=80)
    with pytest.raises(OptionError, match=r"^a staff of 2 mm is out of range; choose 4 to 12 mm\.$"):
        page_format(staff=2)


def test_demo_scores_can_be_engraved() -> None:
    files = sorted((Path(__file__).parents[2] / "corpus").glob("*.musicxml"))
    assert len(files) > 5
    for file in files:
        made = engrave(file.read_bytes(), A4)
        count = len(etree.parse(str(file)).getroot().find("part").findall("measure"))
        assert [k for measures in made.measures for k in measures] == list(range(count))

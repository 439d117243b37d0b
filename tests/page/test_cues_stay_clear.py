"""Cues in the engraved score: none lies over a note head, an accidental, a rest, a dynamic or another cue;
and the brackets of lost notes, which keep off the heads beside theirs.

The places are read from the finished drawing, the extents of the signs from their outlines by fontTools
(4.x), which knows nothing of the engraver. A box counts as far as its stroke.
"""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations, product

import pytest
from fontTools.pens.boundsPen import BoundsPen
from fontTools.svgLib.path import parse_path
from lxml import etree
from music21_notes import package_folder
from page_helpers import START, one_part
from sheet_cases import CASES, sheet_of

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER
from harpkeys.mark.document import marked_document
from harpkeys.page.engrave import engrave, excerpt
from harpkeys.page.formats import PageFormat
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.reader import read_score

Box = tuple[float, float, float, float]
"""Left, top, right, bottom, in the units of a system."""

OTHERS = ("mozart/k545/movement1_exposition.mxl", "schumann_clara/polonaise_op1n2.mxl")
"""Piano music of music21's corpus with cues between full staves."""

KINDS = ("notehead", "accid", "rest", "dynam", "hairpin")

SVG = "{http://www.w3.org/2000/svg}"
PLACED = re.compile(r"translate\(([-\d.]+),\s*([-\d.]+)\)\s*scale\(([-\d.]+),\s*([-\d.]+)\)")


@cache
def bounds(outline: str) -> Box:
    """Extents of an outline drawn upside down, as fonts are."""
    pen = BoundsPen(None)
    parse_path(outline, pen)
    left, low, right, high = pen.bounds
    return left, -high, right, -low


def systems(page: str) -> list[tuple[list[Box], list[tuple[str, Box]]]]:
    """For each system of a page the boxes of its cues, and every sign that they must not touch."""
    root = etree.fromstring(page.encode())
    outlines = {
        glyph.get("id"): bounds(glyph.find(f"{SVG}path").get("d"))
        for glyph in root.iter(f"{SVG}g")
        if glyph.get("id")
        and glyph.find(f"{SVG}path") is not None
        and "scale(1,-1)" in str(glyph.find(f"{SVG}path").get("transform"))
    }
    found = []
    for system in root.iter(f"{SVG}g"):
        if system.get("class") != "system-place":
            continue
        cues = [
            (float(r.get("x")), float(r.get("y")), float(r.get("width")), float(r.get("height")))
            for r in system.iter(f"{SVG}rect")
            if "dir" in str(r.getparent().get("class")).split()
        ]
        signs: list[tuple[str, Box]] = []
        for group in system.iter(f"{SVG}g"):
            kind = str(group.get("class"))
            if kind not in KINDS:
                continue
            for use in group.iter(f"{SVG}use"):
                x, y, wide, high = map(float, PLACED.fullmatch(use.get("transform")).groups())
                left, top, right, bottom = outlines[use.get("href")[1:]]
                signs.append((kind, (x + left * wide, y + top * high, x + right * wide, y + bottom * high)))
            for line in group.iter(f"{SVG}polyline", f"{SVG}polygon"):
                points = [tuple(map(float, pair.split(","))) for pair in line.get("points").split()]
                xs, ys = zip(*points, strict=True)
                signs.append((kind, (min(xs), min(ys), max(xs), max(ys))))
        found.append(([(x, y, x + wide, y + high) for x, y, wide, high in cues], signs))
    return found


def meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def collisions(pages: tuple[str, ...]) -> tuple[int, int, list[str]]:
    """How many cues and signs there are, and which meet."""
    count, others, found = 0, 0, []
    for number, page in enumerate(pages, 1):
        for cues, signs in systems(page):
            count, others = count + len(cues), others + len(signs)
            found += [
                f"page {number}: two cues at {one}" for one, two in combinations(cues, 2) if meet(one, two)
            ]
            found += [
                f"page {number}: {kind} at {sign} in {cue}"
                for cue in cues
                for kind, sign in signs
                if meet(cue, sign)
            ]
    return count, others, found


@pytest.mark.parametrize(("name", "harp"), CASES, ids=[name for name, _ in CASES])
def test_no_cue_of_a_demo_score_meets_a_sign(name: str, harp: str) -> None:
    sheet, xml = sheet_of(name, harp)
    for page in (PageFormat(), PageFormat("Letter", landscape=True)):
        count, others, found = collisions(engrave(xml, page).pages)
        assert found == []
        assert count == len(sheet.cues)
        assert others > 50


@pytest.mark.parametrize("name", OTHERS)
def test_no_cue_meets_a_sign_of_piano_music(name: str) -> None:
    score = read_score(package_folder() / "corpus" / name)
    report = vet(score, find_harp("34"), DEFAULT_PLAYER, Wishes(effort=0))
    count, others, found = collisions(engrave(marked_document(report), PageFormat()).pages)
    assert found == []
    assert count >= 2
    assert others > 150


def test_a_cue_over_a_note_would_be_seen() -> None:
    page = engrave(sheet_of("five-bridges", "heron")[1], PageFormat()).pages[0]
    match = re.search(r'(<g class="dir"><rect [^>]* y=")(\d+)"', page)
    assert match is not None
    for lower in (400, -700):
        moved = page.replace(match[0], f'{match[1]}{int(match[2]) + lower}"')
        assert collisions((moved,))[2] != []


def test_a_cue_below_a_tempo_keeps_its_distance() -> None:
    """A space of the staff, 180 units, from the line on which the tempo's figures stand."""
    page = engrave(sheet_of("down-the-quay-steps", "kestrel")[1], PageFormat()).pages[0]
    tempo = re.search(r'<g class="tempo"[^>]*><text x="\d+" y="(\d+)"', page)
    cue = re.search(r'<g class="dir"><rect [^>]* y="(\d+)"', page)
    assert tempo is not None
    assert cue is not None
    assert 180 <= int(cue[1]) - int(tempo[1]) < 300


def chords(drawing: str) -> list[tuple[list[Box], list[Box]]]:
    """For each chord the boxes of its heads, and those of its brackets."""
    root = etree.fromstring(drawing.encode())
    outlines = {
        glyph.get("id"): bounds(glyph.find(f"{SVG}path").get("d"))
        for glyph in root.iter(f"{SVG}g")
        if glyph.get("id") and glyph.find(f"{SVG}path") is not None and len(glyph) == 1
    }
    found = []
    for chord in root.iter(f"{SVG}g"):
        if chord.get("class") != "chord":
            continue
        boxes: tuple[list[Box], list[Box]] = ([], [])
        for head in chord.iter(f"{SVG}g"):
            if head.get("class") != "notehead":
                continue
            for place, use in enumerate(head.iter(f"{SVG}use")):
                x, y, wide, high = map(float, PLACED.fullmatch(use.get("transform")).groups())
                left, top, right, bottom = outlines[use.get("href")[1:]]
                box = (x + left * wide, y + top * high, x + right * wide, y + bottom * high)
                boxes[place > 0].append(box)
        found.append(boxes)
    return found


def test_brackets_keep_off_the_head_a_step_away() -> None:
    """In bar 3 of Fog on the Cut B flat is lost beside A; and in chords of steps, each note in turn.

    verovio sets brackets so close to their own head that their extents meet by 2 of 180 units to a space.
    """
    sheet, xml = sheet_of("fog-on-the-cut", "kestrel")
    drawn = [excerpt(xml, 2, 2, brackets=sheet.lost)]
    steps = (("A4", "Bb4"), ("C5", "D5"), ("G4", "A4", "B4"), ("F#4", "G#4"))
    drawn += [excerpt(chord_of(*names), 0, 0, brackets=[k]) for names in steps for k in range(len(names))]
    for drawing in drawn:
        ((heads, brackets),) = chords(drawing)
        assert len(heads) >= 2
        assert len(brackets) == 2
        for bracket, head in product(brackets, heads):
            assert not meet(bracket, head) or min(bracket[2], head[2]) - max(bracket[0], head[0]) < 3


def chord_of(*names: str) -> str:
    """A bar with one chord."""
    notes = "".join(
        f"<note>{'<chord/>' if place else ''}<pitch><step>{name[0]}</step>"
        f"<alter>{name.count('#') - name.count('b')}</alter><octave>{name[-1]}</octave></pitch>"
        "<duration>4</duration><type>whole</type></note>"
        for place, name in enumerate(names)
    )
    return one_part([START + notes])

"""Whatever happens to a file, reading ends in a score or in one sentence.

Fixtures are damaged at random (seeded): elements and attributes lost, moved, doubled and renamed, texts and
attributes replaced by nonsense, bytes changed.
"""

from __future__ import annotations

import copy
import io
import random
import zipfile
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from harpkeys.errors import HarpkeysError
from harpkeys.score.container import open_score, parse_score_tree, read_tree
from harpkeys.score.model import Score
from harpkeys.score.reader import score_from_tree

DATA = Path(__file__).parent / "data"
FIXTURES = sorted(DATA.glob("*.musicxml"))
ROUNDS = 20

TEXTS = (
    "",
    " ",
    "-1",
    "0",
    "1",
    "2",
    "3",
    "0.5",
    "1e9",
    "999999999999999999999",
    "1/3",
    "x",
    "\u0663",
    "A",
    "#",
    "NaN",
)
"""What texts and attributes become; the one Arabic digit is a digit to Python, but not to XML Schema."""

NAMES = (
    "note",
    "chord",
    "duration",
    "part",
    "measure",
    "backup",
    "direction",
    "tie",
    "grace",
    "ending",
    "score-part",
)


def damaged(root: Any, random_source: random.Random) -> Any:
    """A copy of a tree with one to four random faults."""
    root = copy.deepcopy(root)
    for _ in range(random_source.randint(1, 4)):
        elements = [
            element for element in root.iter() if isinstance(element.tag, str) and element is not root
        ]
        if not elements:
            break
        element = random_source.choice(elements)
        match random_source.randrange(7):
            case 0:
                element.getparent().remove(element)
            case 1:
                element.text = random_source.choice(TEXTS)
            case 2 if element.attrib:
                element.set(random_source.choice(list(element.attrib)), random_source.choice(TEXTS))
            case 3 if element.attrib:
                del element.attrib[random_source.choice(list(element.attrib))]
            case 4:
                element.tag = random_source.choice(NAMES)
            case 5:
                element.addnext(copy.deepcopy(element))
            case _:
                other = random_source.choice(elements)
                if other not in element.iterdescendants() and other is not element:
                    other.append(copy.deepcopy(element))
    return root


def check(score: Score) -> None:
    """A score that came out of a damaged file still keeps the promises of its model."""
    assert score.resolution > 0
    for index, measure in enumerate(score.measures):
        assert measure.index == index
        assert measure.length >= 0
        assert 0 <= measure.closes < 100
        assert all(0 < number < 100 for number in measure.ending)
    for part in score.parts:
        assert len(part.node_measures) <= len(score.measures)
        for note in part.notes:
            assert note.duration >= 0
            assert 0 <= note.onset <= score.measures[note.measure].length - note.duration
            assert 1 <= note.staff <= part.staves
    for mark in score.tempos:
        assert mark.bpm > 0
        assert 0 <= mark.onset <= score.measures[mark.measure].length


def check_sentence(sentence: str) -> None:
    """An error is one sentence on one line."""
    assert sentence.endswith(".")
    assert "\n" not in sentence


@pytest.mark.parametrize("path", FIXTURES, ids=lambda path: path.stem)
def test_damaged_trees(path: Path) -> None:
    root = etree.parse(str(path)).getroot()
    random_source = random.Random(path.stem)
    for _ in range(ROUNDS):
        data = etree.tostring(damaged(root, random_source))
        try:
            check(score_from_tree(parse_score_tree(data), "damaged"))
        except HarpkeysError as error:
            check_sentence(error.sentence)


@pytest.mark.parametrize("packed", [False, True])
def test_damaged_bytes(packed: bool, tmp_path: Path) -> None:
    random_source = random.Random(7)
    target = tmp_path / "damaged"
    for path in FIXTURES:
        data = path.read_bytes()
        if packed:
            stream = io.BytesIO()
            with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr(
                    "META-INF/container.xml",
                    '<container><rootfiles><rootfile full-path="s"/></rootfiles></container>',
                )
                archive.writestr("s", data)
            data = stream.getvalue()
        for _ in range(ROUNDS):
            changed = bytearray(data)
            for _ in range(random_source.randint(1, 6)):
                changed[random_source.randrange(len(changed))] = random_source.randrange(256)
            if random_source.random() < 0.2:
                del changed[random_source.randrange(len(changed)) :]
            target.write_bytes(changed)
            try:
                check(score_from_tree(read_tree(open_score(target)), "damaged"))
            except HarpkeysError as error:
                check_sentence(error.sentence)

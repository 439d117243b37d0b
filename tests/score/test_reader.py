"""Reading, one notation feature per fixture.

The fixtures in `data/` are accepted by the MusicXML 4.0 schema; what each must read as is written by hand
beside it, in the words of `told`, with the rule it shows. The rules are those of MusicXML 4.0 and of the
planning problem, section 2; how a bracket without number is survived is this project's choice.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lxml import etree
from schema import schema_errors
from told import told_score

from harpkeys.score.model import Score
from harpkeys.score.reader import read_score

DATA = Path(__file__).parent / "data"
FIXTURES = sorted(path.stem for path in DATA.glob("*.musicxml"))


def test_fixtures_were_found() -> None:
    assert len(FIXTURES) >= 58
    assert sorted(path.stem for path in DATA.glob("*.json")) == FIXTURES


@pytest.mark.parametrize("name", FIXTURES)
def test_fixture_is_valid_musicxml(name: str) -> None:
    assert schema_errors(etree.parse(str(DATA / f"{name}.musicxml"))) == []


@pytest.mark.parametrize("name", FIXTURES)
def test_fixture_reads_as_expected(name: str) -> None:
    expected = json.loads((DATA / f"{name}.json").read_text("utf-8"))
    assert expected.pop("about").endswith(".")
    told = told_score(read_score(DATA / f"{name}.musicxml"))
    assert expected
    assert {key: told[key] for key in expected} == expected


@pytest.mark.parametrize("name", FIXTURES)
def test_nodes_are_those_of_the_notes_and_the_tree_is_untouched(name: str) -> None:
    path = DATA / f"{name}.musicxml"
    score = read_score(path)
    assert etree.tostring(score.tree) == etree.tostring(
        etree.parse(str(path), etree.XMLParser(resolve_entities=False))
    )
    for part in score.parts:
        # Copies under a measure repeat share their source's node.
        assert all(etree.QName(note.node).localname == "note" for note in part.notes)
        assert len(part.node_measures) <= len(score.measures)
        _check_places(score)


def _check_places(score: Score) -> None:
    """Every note lies in a bar that exists, within its length."""
    for part in score.parts:
        for note in part.notes:
            assert note.onset >= 0
            assert note.onset + note.duration <= score.measures[note.measure].length

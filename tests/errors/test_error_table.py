"""Every sentence that a mistake or a bad file can end in: reached, compared whole, and told in a table.

The places that make errors are read from the source (scripts/error_table.py). A place counts as reached only
if the error that it made is the one the user saw and the sentence is the expected one to the last letter.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.extend((str(ROOT / "scripts"), str(ROOT / "tests" / "errors")))

from error_table import TABLE, sites, table  # noqa: E402
from reaching import Case, ended, reached  # noqa: E402

UNREACHED: dict[str, str] = {}
"""Sentences that no test reaches, each with the reason."""


@pytest.fixture(scope="module")
def ways(tmp_path_factory: pytest.TempPathFactory) -> Any:
    return reached(tmp_path_factory.mktemp("errors"))


def test_sentences_are_those_expected(ways: Any) -> None:
    wrong = [(case.sentence, ending.sentence) for case, ending in ways[1] if case.sentence != ending.sentence]
    assert wrong == []


def test_mistakes_end_with_code_2_one_line_and_nothing_on_standard_output(ways: Any) -> None:
    for case, ending in ways[1]:
        if not callable(case.does):
            assert (ending.code, ending.out) == (2, ""), case.trigger
            assert "\n" not in ending.sentence
            assert ending.sentence.isprintable()
            assert ending.sentence.endswith("."), case.trigger


def test_every_place_that_makes_an_error_is_reached(ways: Any) -> None:
    missing = [site for site in sites() if site not in ways[0] and site.words not in UNREACHED]
    assert missing == [], "add a case to tests/errors/ and run scripts/error_table.py --write"


def test_the_table_is_that_of_the_code(ways: Any) -> None:
    assert TABLE.read_text(encoding="utf-8") == table(ways[0]), "run scripts/error_table.py --write"


def test_places_are_found_at_all() -> None:
    found = sites()
    assert len(found) > 150
    assert {"FileError", "ScoreError", "PartError", "HarpError", "OptionError"} == {
        site.kind for site in found
    }
    assert any("{" in site.words for site in found)


def test_a_sentence_that_differs_in_a_letter_reaches_nothing(tmp_path: Path) -> None:
    case = Case(
        "a planted fault", "x.musicxml: there is no such file; check its names.", ("vet", "x.musicxml")
    )
    ending = ended(case, tmp_path, sites())
    assert ending.sentence != case.sentence
    assert [site.words for site in ending.sites] == ["there is no such file; check its name."]

"""The results file: a run that breaks off anywhere goes on, and nothing that has changed is believed."""

from __future__ import annotations

import itertools
from concurrent.futures import Executor
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from shelves import INSTRUMENTS, AtOnce, make_shelf, score_text

from harpkeys.errors import FileError
from harpkeys.harp.tunings import retuned
from harpkeys.shelf.finding import find_books
from harpkeys.shelf.model import Row, Shelf, Terms
from harpkeys.shelf.results import ResultsFile, known_rows, row_line, row_of
from harpkeys.shelf.shelf import Vetted, vet_shelf


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    (tmp_path / "shelf").mkdir()
    return Shelf(find_books(make_shelf(tmp_path / "shelf")), INSTRUMENTS[1:3])


def run(
    shelf: Shelf, results: Path, most: int | None = None, executor: Executor | None = None
) -> list[Vetted]:
    """Vet a shelf, or so many files of it, keeping the rows."""
    known = known_rows(results)
    found = []
    with ResultsFile(results) as file:
        for vetted in itertools.islice(vet_shelf(shelf, executor or AtOnce(), known=known), most):
            file.add(vetted.fresh)
            found.append(vetted)
    return found


def rows_of(found: list[Vetted]) -> dict[str, tuple[Row, ...]]:
    return {vetted.rows[0].file: vetted.rows for vetted in found}


def fresh(found: list[Vetted]) -> set[tuple[str, str]]:
    return {(row.file, row.label) for vetted in found for row in vetted.fresh}


def test_lines_and_rows(shelf: Shelf) -> None:
    rows = [row for vetted in vet_shelf(shelf, AtOnce()) for row in vetted.rows]
    assert {row.finding is None for row in rows} == {True, False}
    for row in rows:
        line = row_line(row)
        assert line.isascii()
        assert line.count("\n") == 1
        assert row_of(line) == row


def test_a_run_that_is_interrupted_goes_on(shelf: Shelf, tmp_path: Path) -> None:
    whole = rows_of(run(shelf, tmp_path / "whole.jsonl"))
    results = tmp_path / "results.jsonl"
    first = run(shelf, results, 4)
    second = run(shelf, results)
    assert fresh(second).isdisjoint(fresh(first))
    assert rows_of(second) == whole
    assert fresh(run(shelf, results)) == set()
    assert sorted(results.read_text().splitlines()) == sorted(
        (tmp_path / "whole.jsonl").read_text().splitlines()
    )


def test_a_line_that_broke_off_anywhere_is_made_again(shelf: Shelf, tmp_path: Path) -> None:
    one = replace(shelf, books=shelf.books[:3])
    results = tmp_path / "results.jsonl"
    whole = rows_of(run(one, results))
    data = results.read_bytes()
    lines = data.splitlines(keepends=True)
    start = len(data) - len(lines[-1])
    for cut in {0, 1, 10, 30, 31, 40, *range(50, len(lines[-1]), 37), len(lines[-1]) - 1}:
        for rest in (b"", b"\x00" * 9):
            results.write_bytes(data[: start + cut] + rest)
            found = run(one, results)
            assert rows_of(found) == whole
            assert len(fresh(found)) == (1 if cut < len(lines[-1]) - 1 else 0)
            assert fresh(run(one, results)) == set(), "what was broken off does not spoil what came after it"


def test_what_has_changed_is_vetted_again(shelf: Shelf, tmp_path: Path) -> None:
    results = tmp_path / "results.jsonl"
    run(shelf, results)
    book = next(book for book in shelf.books if book.name == "a/b/low.xml")
    book.path.write_text(score_text("C4", "D5"))
    changed = run(shelf, results)
    assert fresh(changed) == {("a/b/low.xml", "26"), ("a/b/low.xml", "34 E-flat")}
    first = rows_of(changed)["a/b/low.xml"][0].finding
    assert first is not None
    assert (first.verdict, first.lost) == ("as set", 0)  # C2 is below the harp, C4 is not
    book.path.write_text(score_text("C2", "D5"))
    assert fresh(run(shelf, results)) == set(), "its first content is known still"
    everything = {(book.name, instrument.label) for book in shelf.books for instrument in shelf.instruments}
    assert fresh(run(replace(shelf, terms=Terms(scale=Fraction(1, 2))), results)) == everything
    harp = retuned(INSTRUMENTS[1].harp, "F")
    more = replace(
        shelf, instruments=(*shelf.instruments, replace(INSTRUMENTS[1], label="26 in F", harp=harp))
    )
    assert fresh(run(more, results)) == {(book.name, "26 in F") for book in shelf.books}


def test_a_harp_may_be_called_otherwise(shelf: Shelf, tmp_path: Path) -> None:
    results = tmp_path / "results.jsonl"
    run(shelf, results)
    renamed = replace(
        shelf, instruments=tuple(replace(one, label=f"my {one.label}") for one in shelf.instruments)
    )
    found = run(renamed, results)
    assert fresh(found) == set()
    assert {row.label for vetted in found for row in vetted.rows} == {"my 26", "my 34 E-flat"}


def test_problems_that_may_pass_are_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "shelf"
    folder.mkdir()
    path = folder / "late.xml"
    path.write_text("<")
    shelf = Shelf(find_books(folder), INSTRUMENTS[1:2])
    path.unlink()
    results = tmp_path / "results.jsonl"
    assert rows_of(run(shelf, results))["late.xml"][0].problem.startswith("there is no such file")
    assert fresh(run(shelf, results)) == {("late.xml", "26")}
    path.write_text(score_text("C5"))
    found = run(shelf, results)
    assert rows_of(found)["late.xml"][0].problem == ""
    assert fresh(run(shelf, results)) == set()


FOREIGN = ["title,composer\nA,B\n", '{"format": "harpkeys/plan/1"}\n', "[1, 2]\n", "\n\n7\n"]


@pytest.mark.parametrize("text", FOREIGN)
def test_another_file_is_refused_and_left_as_it_is(text: str, shelf: Shelf, tmp_path: Path) -> None:
    path = tmp_path / "mine.jsonl"
    path.write_text(text)
    with pytest.raises(
        FileError,
        match=r"mine\.jsonl: this is no results file of a shelf; name another file, or a new one\.$",
    ):
        run(shelf, path)
    assert path.read_text() == text


def test_where_no_results_can_be_kept(shelf: Shelf, tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"the results file cannot be read \(Is a directory\)"):
        run(shelf, tmp_path)
    with pytest.raises(FileError, match=r"the results file cannot be written \(No such file or directory\)"):
        run(shelf, tmp_path / "no" / "results.jsonl")

"""Which files of a folder are scores."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from shelves import make_shelf

from harpkeys.errors import FileError
from harpkeys.shelf.finding import find_books


def test_every_score_in_every_folder(tmp_path: Path) -> None:
    make_shelf(tmp_path)
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "config.xml").write_text("<x/>")
    os.symlink(tmp_path, tmp_path / "a" / "round")
    books = find_books(tmp_path)
    assert [book.name for book in books] == [
        "a/b/low.xml",
        "a/broken.musicxml",
        "a/duo.xml",
        "a/owl-light-lullaby.MXL",
        "a/silence.xml",
        "doorstep-jig.musicxml",
        "down-the-quay-steps.musicxml",
        "empty.xml",
        "notes.xml",
        "the-mill-turns.musicxml",
        "zip.mxl",
    ]
    assert all(book.path == tmp_path / book.name and not book.problem for book in books)


def test_one_file_is_a_shelf(tmp_path: Path) -> None:
    path = make_shelf(tmp_path) / "notes.xml"
    (book,) = find_books(path)
    assert (book.name, book.path) == ("notes.xml", path)


def test_a_folder_that_cannot_be_read_is_a_book_with_a_problem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_shelf(tmp_path)
    real = os.scandir

    def scandir(path: Any) -> Iterator[os.DirEntry[str]]:
        if Path(path).name == "b":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    (problem,) = [book for book in find_books(tmp_path) if book.problem]
    assert problem.name == "a/b/"
    assert problem.problem == "the folder cannot be read (Permission denied); check its permissions."


def test_no_folder_and_no_scores(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"gone: there is no such folder; check its name\.$"):
        find_books(tmp_path / "gone")
    with pytest.raises(
        FileError,
        match=r"no scores are in this folder; name a folder with files that end in .musicxml, .xml, .mxl\.$",
    ):
        find_books(tmp_path)

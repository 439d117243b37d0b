"""The score files in a folder and the folders within it."""

from __future__ import annotations

import os
from pathlib import Path

from harpkeys.errors import FileError, located
from harpkeys.score.texts import plain_text
from harpkeys.shelf.model import Book

ENDINGS = (".musicxml", ".xml", ".mxl")
"""What the name of a score file ends in, in any case."""


def find_books(shelf: Path) -> tuple[Book, ...]:
    """Every score file of a folder, those of folders within it too, by name.

    What is hidden (its name begins with a full stop) is passed over, and links to folders are not followed,
    so that none is walked twice. A folder that cannot be read is a book with a problem.

    Args:
        shelf: a folder, or one score file of any name.

    Raises:
        FileError: there is no such folder, or no score in it.
    """
    with located(plain_text(str(shelf))):
        if shelf.is_file():
            return (Book(shelf.name, shelf),)
        if not shelf.is_dir():
            raise FileError("there is no such folder", "check its name")
        found = sorted(_walked(shelf), key=lambda book: book.name)
        if not found:
            raise FileError(
                "no scores are in this folder", f"name a folder with files that end in {', '.join(ENDINGS)}"
            )
        return tuple(found)


def _walked(shelf: Path) -> list[Book]:
    found: list[Book] = []

    def unreadable(error: OSError) -> None:
        folder = Path(error.filename or shelf)
        reason = plain_text(error.strerror or str(error))
        problem = f"the folder cannot be read ({reason}); check its permissions."
        found.append(Book(f"{_name(folder, shelf)}/", folder, problem))

    for folder, folders, files in os.walk(shelf, onerror=unreadable):
        folders[:] = [name for name in folders if not name.startswith(".")]
        for name in files:
            if name.lower().endswith(ENDINGS) and not name.startswith("."):
                path = Path(folder, name)
                found.append(Book(_name(path, shelf), path))
    return found


def _name(path: Path, shelf: Path) -> str:
    return path.relative_to(shelf).as_posix()

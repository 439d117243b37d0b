"""The results file of a shelf: JSON lines, one row each, to which a later run adds what is missing.

A line is written whole in one go and only ever added, so an interrupted run loses at most its last line. What
is left of such a line is passed over when the file is read. Of two lines about one file and instrument the
later counts.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, fields
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from harpkeys.errors import FileError, located
from harpkeys.score.texts import plain_text
from harpkeys.shelf.model import FORMAT, Finding, HardSpot, Row

_START = f'{{"format": "{FORMAT}"'

Known = Mapping[tuple[str, str], Row]
"""Rows of earlier runs that need not be made again, by file and key."""


def row_line(row: Row) -> str:
    """A row as a line of JSON, with its line end. ASCII, so any pipe carries it."""
    finding = row.finding
    entry: dict[str, Any] = {
        "format": FORMAT,
        "file": row.file,
        "harp": row.label,
        "problem": row.problem or None,
        **({} if finding is None else asdict(finding)),
        "sha256": row.digest or None,
        "key": row.key,
        "passing": row.passing,
    }
    return json.dumps(entry) + "\n"


_NAMES = tuple(entry.name for entry in fields(Finding))


def row_of(line: str) -> Row:
    """The row that a line tells.

    Raises:
        ValueError: it is no such line; also where something is missing from it.
    """
    entry = json.loads(line)
    if not isinstance(entry, dict) or entry.get("format") != FORMAT:
        raise ValueError("not a line of a shelf")
    try:
        finding = None
        if entry["problem"] is None:
            told = {name: entry[name] for name in _NAMES}
            told["spot"] = told["spot"] and HardSpot(**told["spot"])
            finding = Finding(**told)
        return Row(
            file=entry["file"],
            digest=entry["sha256"] or "",
            key=entry["key"],
            label=entry["harp"],
            finding=finding,
            problem=entry["problem"] or "",
            passing=entry["passing"],
        )
    except (KeyError, TypeError) as error:
        raise ValueError("a line of a shelf with something missing") from error


def known_rows(path: Path) -> dict[tuple[str, str], Row]:
    """The rows of a results file that need not be made again.

    Args:
        path: the file; where there is none, nothing is known.

    Raises:
        FileError: it cannot be read, or is something else than a results file.
    """
    known: dict[tuple[str, str], Row] = {}
    with located(plain_text(str(path))):
        try:
            if path.exists() and not path.is_file() and not path.is_dir():
                # A device may give bytes without end.
                raise FileError(
                    "this is no ordinary file, so no results can be kept in it", "name another one"
                )
            with path.open(encoding="ascii", errors="replace") as stream:
                for row in _rows(stream):
                    known[row.file, row.key] = row
        except FileNotFoundError:
            return {}
        except OSError as error:
            raise _system_error("read", error) from None
    return {place: row for place, row in known.items() if not row.passing}


def _rows(lines: Iterable[str]) -> Iterator[Row]:
    """The rows of a results file; lines that broke off are passed over.

    Raises:
        FileError: a line is no piece of such a line either.
    """
    for line in lines:
        # Some file systems fill the end of a write that was never finished with zeros.
        text = line.strip("\x00 \t\r\n")
        if not text:
            continue
        try:
            yield row_of(text)
        except ValueError:
            if not (text.startswith(_START) or _START.startswith(text)):
                raise FileError(
                    "this is no results file of a shelf", "name another file, or a new one"
                ) from None


def _system_error(verb: str, error: OSError) -> FileError:
    reason = plain_text(error.strerror or str(error))
    return FileError(f"the results file cannot be {verb} ({reason})", "name another one")


class ResultsFile:
    """A results file that rows are added to; a context manager.

    Args:
        path: the file, made where there is none.

    Raises:
        FileError: on entering and adding, it cannot be written.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stream: BinaryIO | None = None

    def __enter__(self) -> ResultsFile:
        with located(plain_text(str(self._path))):
            try:
                self._stream = open(self._path, "a+b", buffering=0)
                self._end_broken_line(self._stream)
            except OSError as error:
                raise _system_error("written", error) from None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._stream is not None:
            with suppress(OSError):  # not every file can be brought to the disk
                os.fsync(self._stream.fileno())
            self._stream.close()

    def add(self, rows: Iterable[Row]) -> None:
        """Add rows, in one piece.

        Raises:
            FileError: they cannot be written.
        """
        if self._stream is None:
            raise RuntimeError("the results file has not been opened")
        data = "".join(map(row_line, rows)).encode("ascii")
        with located(plain_text(str(self._path))):
            try:
                while data:  # a system may take less than it is given
                    data = data[self._stream.write(data) :]
            except OSError as error:
                raise _system_error("written", error) from None

    @staticmethod
    def _end_broken_line(stream: BinaryIO) -> None:
        """See that what is added starts on a line of its own."""
        size = stream.seek(0, os.SEEK_END)
        if size:
            stream.seek(size - 1)
            if stream.read(1) != b"\n":
                stream.write(b"\n")

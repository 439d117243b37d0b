"""Reaching every error: each case leads to one, and the place of the code that made it is recorded."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from error_table import PACKAGE, Site, at, sites

from harpkeys.cli import main
from harpkeys.errors import HarpkeysError


@dataclass(frozen=True, slots=True)
class Case:
    """A way to an error.

    Attributes:
        trigger: what leads there, in words, for the table.
        sentence: the whole sentence that the user sees.
        does: the words of a command line, or a call where no command leads there.
        files: what stands in the folder where it is done.
        changed: what is replaced meanwhile, by dotted name; "module x" is what importing x gives, None for
            nothing.
    """

    trigger: str
    sentence: str
    does: Sequence[str] | Callable[[], object]
    files: Mapping[str, str | bytes] = field(default_factory=dict)
    changed: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Ending:
    """How a case ended: what the user saw, and the places of the code that made it."""

    sentence: str
    code: int | None
    out: str
    sites: tuple[Site, ...]


@contextlib.contextmanager
def recorded() -> Iterator[list[tuple[HarpkeysError, str, int]]]:
    """Every error of the family that is made meanwhile, with the module and line that made it."""
    made: list[tuple[HarpkeysError, str, int]] = []
    begin = HarpkeysError.__init__

    def noted(self: HarpkeysError, *words: str) -> None:
        begin(self, *words)
        frame = sys._getframe(1)
        path = Path(frame.f_code.co_filename)
        if PACKAGE in path.parents:
            parts = path.relative_to(PACKAGE).with_suffix("").parts
            made.append((self, ".".join(parts), frame.f_lineno))

    with mock.patch.object(HarpkeysError, "__init__", noted):
        yield made


@contextlib.contextmanager
def importing(name: str, value: Any) -> Iterator[None]:
    """Let importing a module give something else meanwhile, whether or not it has been imported before."""
    before = {name: sys.modules[name]} if name in sys.modules else {}
    sys.modules[name] = value
    try:
        yield
    finally:
        del sys.modules[name]
        sys.modules.update(before)


def ended(case: Case, folder: Path, known: Sequence[Site]) -> Ending:
    """Do what a case does in an empty folder."""
    for name, content in case.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
    out, err, code, sentence = io.StringIO(), io.StringIO(), None, ""
    with contextlib.ExitStack() as stack:
        stack.enter_context(contextlib.chdir(folder))
        made = stack.enter_context(recorded())
        for name, value in case.changed.items():
            module = name.removeprefix("module ")
            stack.enter_context(mock.patch(name, value) if module == name else importing(module, value))
        stack.enter_context(contextlib.redirect_stdout(out))
        stack.enter_context(contextlib.redirect_stderr(err))
        if callable(case.does):
            try:
                case.does()
            except HarpkeysError as error:
                sentence = error.sentence
        else:
            code = main(case.does)
            sentence = err.getvalue().removesuffix("\n")
    # An error that was told as another one's words is in the sentence too.
    places = (at(known, module, line) for error, module, line in made if error.what in sentence)
    return Ending(sentence, code, out.getvalue(), tuple(site for site in places if site is not None))


def all_cases() -> tuple[Case, ...]:
    """The cases of every room."""
    import cases_cli
    import cases_files
    import cases_harp
    import cases_score
    import cases_shelf

    return (*cases_harp.CASES, *cases_files.CASES, *cases_score.CASES, *cases_cli.CASES, *cases_shelf.CASES)


def reached(folder: Path) -> tuple[dict[Site, list[str]], list[tuple[Case, Ending]]]:
    """What leads to each place, and how every case ended.

    Args:
        folder: where to work; each case gets an empty folder in it.
    """
    known = sites()
    triggers: dict[Site, list[str]] = {}
    endings: list[tuple[Case, Ending]] = []
    for number, case in enumerate(all_cases()):
        own = folder / str(number)
        own.mkdir()
        ending = ended(case, own, known)
        endings.append((case, ending))
        if ending.sentence == case.sentence:
            for site in ending.sites:
                triggers.setdefault(site, []).append(case.trigger)
    return triggers, endings


def reached_in_a_folder_of_its_own() -> Any:
    """`reached` in a folder that is taken away again."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=os.name == "nt") as folder:
        return reached(Path(folder))

"""Shelves to test with: folders of small scores, harps, and executors that behave oddly."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER, PLAYERS
from harpkeys.shelf.model import Instrument, Row, Task
from harpkeys.shelf.vetting import vet_file

CORPUS = Path(__file__).resolve().parents[2] / "corpus"

INSTRUMENTS = (
    Instrument("22", find_harp("22-fc"), DEFAULT_PLAYER),
    Instrument("26", find_harp("26"), DEFAULT_PLAYER),
    Instrument("34 E-flat", find_harp("34 in E-flat"), DEFAULT_PLAYER),
    Instrument("34 E-flat, unhurried", find_harp("34 in E-flat"), PLAYERS[0]),
)


def score_text(*notes: str, parts: int = 1, names: tuple[str, ...] = ("Melody",)) -> str:
    """A score of one bar of quarter notes ("C5", "F#4") in every part; without notes a bar of rest."""
    names = (names * parts)[:parts]
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{name}</part-name></score-part>' for n, name in enumerate(names, 1)
    )
    body = "".join(
        f"<note><pitch><step>{note[0]}</step><alter>{note.count('#') - note.count('b')}</alter>"
        f"<octave>{note[-1]}</octave></pitch><duration>1</duration></note>"
        for note in notes
    )
    body = body or "<note><rest/><duration>4</duration></note>"
    music = "".join(
        f'<part id="P{n}"><measure number="1"><attributes><divisions>1</divisions></attributes>{body}'
        "</measure></part>"
        for n in range(1, parts + 1)
    )
    return f'<score-partwise version="4.0"><part-list>{listed}</part-list>{music}</score-partwise>'


def make_shelf(folder: Path) -> Path:
    """A folder of good and bad files of all sorts, within folders."""
    (folder / "a" / "b").mkdir(parents=True)
    for name in ("doorstep-jig.musicxml", "the-mill-turns.musicxml", "down-the-quay-steps.musicxml"):
        shutil.copy(CORPUS / name, folder / name)
    shutil.copy(CORPUS / "owl-light-lullaby.mxl", folder / "a" / "owl-light-lullaby.MXL")
    files = {
        "a/b/low.xml": score_text("C2", "D5"),
        "a/duo.xml": score_text("C5", parts=2, names=("Flute", "Oboe")),
        "a/silence.xml": score_text(),
        "a/broken.musicxml": score_text("C5")[:-40],
        "notes.xml": "<shopping><item/></shopping>",
        "empty.xml": "",
        "zip.mxl": "PK\x03\x04 and no more",
        "readme.txt": "not a score",
        ".hidden.xml": score_text("C5"),
    }
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


class AtOnce(Executor):
    """Does the work while it is handed out."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class LastFirst(Executor):
    """Lets work pile up, does the newest first and half of it twice, and tells from another thread.

    Attributes:
        most: the largest pile there was.
    """

    def __init__(self) -> None:
        self.most = 0
        self._pile: list[tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]] = []
        self._lock = threading.Lock()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        with self._lock:
            self._pile.append((future, fn, args))
            self.most = max(self.most, len(self._pile))
        timer = threading.Timer(0.02, self._work)
        timer.daemon = True
        timer.start()
        return future

    def _work(self) -> None:
        with self._lock:
            future, fn, args = self._pile.pop()
        found = fn(*args)
        if len(args[0].book.name) % 2:
            found = fn(*args)
        future.set_result(found)


class Deadly(Executor):
    """Hands work to a pool, but a task named as deadly kills the process that takes it."""

    def __init__(self, inner: Executor, deadly: str) -> None:
        self._inner = inner
        self._deadly = deadly

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return self._inner.submit(vet_or_die, args[0], self._deadly)


def vet_or_die(task: Task, deadly: str) -> tuple[Row, ...]:
    """Vet a file in this process, or end the process."""
    if task.book.name == deadly:
        os._exit(7)
    return vet_file(task)

"""What reaches the terminal: one text on standard output, one sentence on standard error, signs of life.

Text from scores is untrusted: control characters are taken out before a line is shown. Where the terminal's
encoding lacks a musical sign, plain ASCII stands for it. Styling is for terminals only, and not where the
user sets NO_COLOR.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from types import TracebackType
from typing import Literal, TextIO

from harpkeys.errors import FileError
from harpkeys.score.texts import plain_text

PLAIN_SIGNS = str.maketrans(
    {
        "♯": "#",
        "♭": "b",
        "♮": " natural",
        "½": " 1/2",
        "⅓": " 1/3",
        "⅔": " 2/3",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅙": " 1/6",
        "⅚": " 5/6",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "–": "-",
        "×": "x",
        "…": "...",
    }
)
"""Stand-ins for signs that an encoding lacks."""

PATIENCE = 1.0
"""Seconds of silence before a long work says on standard error what it does."""

Role = Literal["text", "heading", "alarm"]


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a text view.

    Attributes:
        text: what it says, without line ends.
        role: what it is; "heading" and "alarm" stand out on a terminal.
    """

    text: str = ""
    role: Role = "text"


def rendered(lines: Iterable[Line], *, styled: bool) -> str:
    """A text view as one text, control characters taken out.

    Args:
        lines: the view.
        styled: whether to use a terminal's bold face.
    """
    return "".join(_rendered(line, styled) + "\n" for line in lines)


def _rendered(line: Line, styled: bool) -> str:
    body = line.text.lstrip(" ")
    indent = len(line.text) - len(body)
    # Runs of spaces keep columns in line, so they are kept where nothing else had to go.
    text = line.text if line.text.isprintable() else " " * indent + plain_text(body)
    return f"\x1b[1m{text}\x1b[0m" if styled and line.role != "text" and text else text


def is_styled(stream: TextIO | None = None) -> bool:
    """Whether a stream (standard output where None) is a terminal that may be styled."""
    stream = stream or sys.stdout
    if stream is None:  # standard output is closed
        return False
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM", "") != "dumb"


def show(text: str) -> bool:
    """Write a text to standard output; a reader who closes the pipe early is no error.

    Args:
        text: complete, with its last line end.

    Returns:
        Whether anybody reads on.

    Raises:
        FileError: it cannot be written, as on a full disk.
    """
    if sys.stdout is None:  # it is closed
        return False
    try:
        sys.stdout.write(writable(text, sys.stdout))
        sys.stdout.flush()
    except OSError as error:
        # The interpreter flushes once more at its end, which must find something that takes it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            return False
        reason = plain_text(error.strerror or str(error))
        raise FileError(f"standard output cannot be written ({reason})", "write it somewhere else") from None
    return True


def complain(sentence: str) -> None:
    """Write one sentence to standard error, on one line and without control characters.

    Where even that cannot be written, the exit code has to tell.
    """
    if sys.stderr is not None:
        with suppress(OSError):
            sys.stderr.write(writable(plain_text(sentence), sys.stderr) + "\n")


def writable(text: str, stream: TextIO) -> str:
    """The text, with signs that the stream's encoding lacks replaced."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    try:
        text.encode(encoding)
        return text
    except UnicodeEncodeError:
        return text.translate(PLAIN_SIGNS).encode(encoding, "replace").decode(encoding)


class SignsOfLife:
    """Says on standard error what goes on, where that is a terminal and the work takes longer than a second.

    A context manager; `say` names each stage as it starts. The line is wiped at the end.
    """

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stderr
        self._alive = self._stream is not None and self._stream.isatty()
        self._stage = ""
        self._shown = False
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None

    def __enter__(self) -> SignsOfLife:
        if self._alive:
            self._timer = threading.Timer(PATIENCE, self._wake)
            self._timer.daemon = True
            self._timer.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._timer is not None:
            self._timer.cancel()
        with self._lock:
            self._alive = False
            if self._shown:
                self._stream.write("\r\x1b[K")
                self._stream.flush()

    def say(self, stage: str) -> None:
        """Name the stage that starts now, as a clause without a full stop."""
        with self._lock:
            self._stage = stage
            if self._shown:
                self._write()

    def _wake(self) -> None:
        with self._lock:
            if self._alive:
                self._shown = True
                self._write()

    def _write(self) -> None:
        self._stream.write(writable(f"\r\x1b[K{plain_text(self._stage)} …", self._stream))
        self._stream.flush()


@contextmanager
def native_output_silenced() -> Iterator[None]:
    """Keep what native libraries print by themselves off standard output while a command works.

    The solver greets on standard output when it is first made, before it can be told not to.
    """
    if sys.stdout is None:  # it is closed: nothing to keep clean
        yield
        return
    sys.stdout.flush()
    saved = os.dup(1)
    try:
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, 1)
        os.close(null)
        yield
    finally:
        _flush_native()
        os.dup2(saved, 1)
        os.close(saved)


def _flush_native() -> None:
    """Empty the C library's own buffer while it still leads nowhere."""
    if "highspy" in sys.modules:
        import ctypes

        ctypes.CDLL(None if os.name == "posix" else "msvcrt").fflush(None)

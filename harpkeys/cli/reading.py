"""Opening the score that a command is given: MusicXML, or another open notation read through music21."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from harpkeys.errors import OptionError, ScoreError, located
from harpkeys.harp.naming import quoted
from harpkeys.score.model import Score
from harpkeys.score.texts import plain_text


def read_any(path: Path, piece: str | None = None) -> Score:
    """The score of a file.

    Args:
        path: a MusicXML, ABC, MIDI, MEI or Humdrum file.
        piece: which tune of an ABC file that holds several, by its X: number; None where it holds one.

    Raises:
        FileError: the file cannot be opened, or is not what its name says.
        ScoreError: it cannot be read as a score.
        OptionError: there is no such piece, or several and none chosen.
    """
    from harpkeys.score.notations import is_notation

    if not is_notation(path):
        if piece is not None:
            raise OptionError("--piece is for files of many tunes and this is one score", "leave it out")
        from harpkeys.score.reader import read_score

        return read_score(path)
    return _piece_of(path, piece)


@contextmanager
def told_of(path: Path, piece: str | None = None) -> Iterator[None]:
    """Name the file in what goes wrong with its score once it has been read; `read_any` names it by itself.

    Args:
        path: the file.
        piece: which tune of it, None where it holds one.

    Raises:
        ScoreError: with the file, and the tune, as places. What is wrong with what was typed stays as it is.
    """
    tune = nullcontext() if piece is None else located(_label(piece), ScoreError)
    with located(plain_text(str(path)), ScoreError), tune:
        yield


def _label(piece: str) -> str:
    """A tune as its label in the file: "X:12"."""
    return f"X:{piece.strip().upper().removeprefix('X:').strip()}"


def limits_of(path: Path) -> tuple[str, ...]:
    """What the notation of a file cannot tell, as sentences; none for MusicXML."""
    from harpkeys.score.notations import FORMATS, LIMITS

    form = FORMATS.get(path.suffix.lower())
    return () if form is None else LIMITS[form]


def _piece_of(path: Path, wanted: str | None) -> Score:
    """One piece of a file of another notation, no more of it translated than needed."""
    from harpkeys.score.notations import notation_pieces

    label = None if wanted is None else _label(wanted)
    pieces = notation_pieces(path)
    found = next((piece for piece in pieces if label in (None, piece.label)), None)
    if found is None:
        raise OptionError(
            f"{path.name} holds no piece {quoted(wanted or '')}", "give the number in its X: field"
        )
    if label is None and next(pieces, None) is not None:
        raise OptionError(
            f"{path.name} holds several pieces", f"choose one with --piece, such as --piece {found.label[2:]}"
        )
    if found.score is None:
        raise ScoreError(found.problem.rstrip("."))
    return found.score

"""What the commands that make pages have in common: from the options to a marked score, and files written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from harpkeys.cli.options import Asked
from harpkeys.errors import OptionError

if TYPE_CHECKING:
    from harpkeys.mark.words import Labels
    from harpkeys.page.cue_sheet import CueSheet

Meanwhile = Callable[[str], None]
"""Told the stages of long work."""


def marked(
    score: Path, piece: str | None, wanted: Asked, labels: Labels, say: Meanwhile
) -> tuple[CueSheet, str | bytes]:
    """Read, vet and mark a score.

    Args:
        score: its file.
        piece: which tune of a file that holds several, None where it holds one.
        wanted: harp, player and wishes.
        labels: how strings are named in its cues.
        say: told the stages.

    Returns:
        Everything to be said of it, and the marked document.

    Raises:
        HarpkeysError: anything of it cannot be used.
    """
    from harpkeys.cli.reading import read_any, told_of
    from harpkeys.mark.document import marked_document
    from harpkeys.mark.style import MarkStyle
    from harpkeys.page.cue_sheet import make_cue_sheet
    from harpkeys.report.vet import vet

    say(f"Reading {score.name}")
    read = read_any(score, piece)
    with told_of(score, piece):
        report = vet(read, wanted.harp, wanted.player, wanted.wishes, say)
    say("Marking the levers")
    data = marked_document(report, MarkStyle(labels))
    encoding = report.performance.score.tree.docinfo.encoding or "UTF-8"
    try:
        # The engraver's parser knows fewer encodings than the reader's.
        return make_cue_sheet(report), data.decode(encoding)
    except (LookupError, UnicodeDecodeError):
        return make_cue_sheet(report), data


def page_target(score: Path, output: Path | None, endings: Sequence[str]) -> Path:
    """Where pages go: where the user says, else beside the score and named after it.

    Args:
        score: the score.
        output: what the user says, None for nothing.
        endings: endings that can be written, the usual one first.

    Raises:
        OptionError: the ending is none of these.
    """
    from harpkeys.score.texts import plain_text

    if output is None:
        known = score.suffix.lower() in (".musicxml", ".xml", ".mxl")
        stem = (score.stem if known else score.name).removesuffix(".levers")
        return score.with_name(f"{stem}.levers{endings[0]}")
    if output.suffix.lower() not in endings:
        raise OptionError(
            f"--output cannot be {plain_text(str(output))!r}", f"its name ends in {', '.join(endings)}"
        )
    return output


def numbered(target: Path, count: int) -> list[Path]:
    """A name for each of some pages: tune-1.svg, tune-2.svg; with leading zeros from ten pages on."""
    width = len(str(count))
    return [target.with_name(f"{target.stem}-{k + 1:0{width}}{target.suffix}") for k in range(count)]


def write_all(files: Sequence[tuple[Path, bytes]], *, overwrite: bool) -> None:
    """Write several files, none where one of them must not be written.

    Raises:
        FileError: one exists and may not be replaced, or cannot be written.
    """
    from harpkeys.mark.files import refuse_existing, write_safely

    for path, _ in files:
        refuse_existing(path, overwrite=overwrite)
    for path, data in files:
        write_safely(path, data, overwrite=overwrite)


def said(sheet: CueSheet, paths: Sequence[Path], more: Iterable[str] = ()) -> str:
    """The verdict, where the pages are, and what else is to be said.

    Args:
        sheet: the cue sheet.
        paths: the files.
        more: further sentences, a paragraph each.
    """
    from harpkeys.cli.terminal import Line, is_styled, rendered
    from harpkeys.cli.text_layout import paragraph
    from harpkeys.report.words import verdict_sentence

    where = str(paths[0]) if len(paths) == 1 else f"{paths[0]} to {paths[-1].name}"
    # The name of a file stays on one line, so that it can be copied.
    lines = [*paragraph(verdict_sentence(sheet.report), role="alarm"), Line(f"Written to {where}.")]
    for sentence in more:
        lines += paragraph(sentence)
    return rendered(lines, styled=is_styled())

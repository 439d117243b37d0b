"""What fuzzing feeds: each target takes bytes, and ends in a value or in one sentence.

Anything else that a target raises is a find. A score that was read has to keep its promises all the way: its
plan is checked by the second opinion of plan/checker.py, its cues are replayed when they are made, and its
marked document reads again to the same plucks.
"""

from __future__ import annotations

import signal
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from types import FrameType
from typing import Any

from harpkeys.choose.called_out import parse_called
from harpkeys.cli.json_view import report_json
from harpkeys.cli.terminal import rendered
from harpkeys.cli.text_view import report_lines
from harpkeys.errors import HarpkeysError
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.files import harp_of_text, harp_to_toml
from harpkeys.harp.levers import parse_levers
from harpkeys.harp.players import DEFAULT_PLAYER, find_player
from harpkeys.harp.tunings import parse_tuning
from harpkeys.mark.document import marked_document
from harpkeys.plan.checker import violations
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.container import open_score, parse_score_tree, read_tree
from harpkeys.score.model import Score
from harpkeys.score.notations import notation_pieces
from harpkeys.score.reader import score_from_tree

SEEDS = Path(__file__).parent / "seeds"
CPU_SECONDS = 60
"""Processor time that one input may cost; the usual one costs a few milliseconds."""

MOST_TWICE = 8000
"""More plucks, which repeats on repeats give, are planned only once."""

HARP = find_harp("34 in E-flat")


class TooSlowError(Exception):
    """An input costs more than it may."""


@contextmanager
def within_cpu_time(seconds: float = CPU_SECONDS) -> Iterator[None]:
    """Raise TooSlowError where the block uses more processor time.

    Reference: POSIX `setitimer`, ITIMER_PROF.
    """

    def stop(number: int, frame: FrameType | None) -> None:
        raise TooSlowError(f"more than {seconds} s of processor time")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def check_sentence(error: HarpkeysError) -> None:
    """An error is one sentence on one line."""
    sentence = error.sentence
    assert sentence.endswith("."), sentence
    assert "\n" not in sentence, sentence
    assert len(sentence) < 3000, sentence


def score(data: bytes) -> None:
    """A document, from its bytes to the marked document."""
    try:
        read = score_from_tree(parse_score_tree(data), "fuzzed")
    except HarpkeysError as error:
        check_sentence(error)
        return
    keep_promises(read)


def keep_promises(read: Score) -> None:
    """See that what was read is planned, told and marked as it should be."""
    try:
        report = vet(read, HARP, DEFAULT_PLAYER, Wishes(part="1", effort=0))
    except HarpkeysError as error:
        check_sentence(error)
        return
    plan, plucks = report.plan, report.performance.plucks
    assert violations(plan, plucks) == ()
    assert rendered(report_lines(report), styled=False).replace("\n", "").isprintable()
    assert report_json(report).isascii()
    marked = marked_document(report)
    if has_stray_fields(read.tree) or len(plucks) > MOST_TWICE:
        return
    again = vet(
        score_from_tree(parse_score_tree(marked), "fuzzed"),
        HARP,
        DEFAULT_PLAYER,
        Wishes(part="1", effort=0),
    )
    assert [(p.onset, p.pitch) for p in again.performance.plucks] == [(p.onset, p.pitch) for p in plucks]
    assert again.plan.criteria == plan.criteria


FIELDS = {
    "step": "pitch",
    "alter": "pitch",
    "octave": "pitch",
    "duration": "note backup forward",
}


def has_stray_fields(tree: Any) -> bool:
    """Whether what belongs into notes stands elsewhere.

    The reader takes it for that of the note before it, unless something stands between, such as a mark.
    """
    return any(
        element.getparent().tag.rpartition("}")[2] not in FIELDS[element.tag.rpartition("}")[2]].split()
        for element in tree.iter(*(f"{{*}}{name}" for name in FIELDS))
        if element.getparent() is not None
    )


def tune(data: bytes) -> None:
    """An ABC file, from its bytes to the marked documents of its first tunes."""
    with tempfile.NamedTemporaryFile(suffix=".abc") as file:
        file.write(data)
        file.flush()
        try:
            pieces = list(islice(notation_pieces(Path(file.name)), 2))
        except HarpkeysError as error:
            check_sentence(error)
            return
    for piece in pieces:
        if piece.score is None:
            assert piece.problem.endswith("."), piece.problem
            assert "\n" not in piece.problem, piece.problem
        else:
            keep_promises(piece.score)


def archive(data: bytes) -> None:
    """A file of any kind, opened and parsed."""
    with tempfile.NamedTemporaryFile(suffix=".mxl") as file:
        file.write(data)
        file.flush()
        try:
            read_tree(open_score(Path(file.name)))
        except HarpkeysError as error:
            check_sentence(error)


def harp(data: bytes) -> None:
    """A harp file; one that is read is written and reads as the same harp."""
    try:
        found = harp_of_text(data.decode("utf-8", "replace"))
        text = harp_to_toml(found.harp, found.player)
    except HarpkeysError as error:
        check_sentence(error)
        return
    assert harp_of_text(text) == found


def words(data: bytes) -> None:
    """Whatever is typed for a tuning, levers, a harp, a player or a key."""
    text = data.decode("utf-8", "replace")
    readers: tuple[Callable[[str], object], ...] = (
        parse_tuning,
        lambda text: parse_levers(text, 14, 34),
        find_harp,
        find_player,
        parse_called,
    )
    for reader in readers:
        try:
            if "/" not in text or not text.strip().lower().endswith(".toml"):
                reader(text)
        except HarpkeysError as error:
            check_sentence(error)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "score": score,
    "tune": tune,
    "archive": archive,
    "harp": harp,
    "words": words,
}

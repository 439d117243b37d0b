"""What a shelf is vetted for, and what is found: values that go to workers and come back.

A **task** is one file with every instrument it is still wanted for; a **row** is one file on one instrument:
what was found, or the problem. A row's key tells everything its finding depends on, so that a row from an
earlier run counts only as long as nothing of that has changed.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from harpkeys import __version__
from harpkeys.choose.compare import SpotKind
from harpkeys.harp.model import Harp, Player
from harpkeys.plan.model import Criteria
from harpkeys.report.model import Verdict

FORMAT = "harpkeys/shelf/1"
"""What a line of a results file says it is."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """A harp in a tuning, with its player.

    Attributes:
        label: how rows name it; different instruments have different labels.
        harp: the harp.
        player: whose times count.
    """

    label: str
    harp: Harp
    player: Player


@dataclass(frozen=True, slots=True)
class Terms:
    """What holds for every file.

    Attributes:
        part: the part to plan for, as `choose_part` takes it; None lets each score decide.
        else_part: the part where that gives none or leaves it open; None makes such a file a problem.
        scale: a factor on all tempos.
        effort: the planner's work limit; None for the first plan found, and the usual work where that leaves
            the verdict open.
    """

    part: str | None = None
    else_part: str | None = None
    scale: Fraction = Fraction(1)
    effort: int | None = None


@dataclass(frozen=True, slots=True)
class Book:
    """A file on the shelf.

    Attributes:
        name: its path within the shelf, with slashes.
        path: where it is.
        problem: why it cannot be opened, where that is known beforehand.
    """

    name: str
    path: Path
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Shelf:
    """Files to be vetted, on what and how.

    Attributes:
        books: the files, no two of one name.
        instruments: the harps, no two of one label.
        terms: what holds for every file.
    """

    books: tuple[Book, ...]
    instruments: tuple[Instrument, ...]
    terms: Terms = Terms()


@dataclass(frozen=True, slots=True)
class Task:
    """A file to be vetted on some instruments."""

    book: Book
    instruments: tuple[Instrument, ...]
    terms: Terms


@dataclass(frozen=True, slots=True)
class HardSpot:
    """The hardest spot of a plan, as printed.

    Attributes:
        kind: "lost", "cut" or "flip".
        measure: number of the bar.
        number: the bar's pass, from 1.
        amount: notes lost, or milliseconds cut or to spare.
    """

    kind: SpotKind
    measure: str
    number: int
    amount: int


@dataclass(frozen=True, slots=True)
class Finding:
    """How a score goes on an instrument.

    Attributes:
        title: of the score.
        part: id of the part played, two joined ones as "P1+P2".
        measures: printed bars.
        plucks: notes that fingers start, in performed order.
        bpm: opening tempo, in quarter notes a minute.
        verdict: in two or three words.
        lost, lost_auxiliaries, cuts, flips, off_string, right_hand: the criteria of the plan.
        levers_up: levers raised before the start.
        ceiling: factor on the tempo up to which the flips still fit; None where nothing limits it.
        spot: the hardest spot, None where nothing moves and nothing is lost.
        proved: whether no plan is better.
        effort: the work limit that the plan was made within.
    """

    title: str
    part: str
    measures: int
    plucks: int
    bpm: float
    verdict: Verdict
    lost: int
    lost_auxiliaries: int
    cuts: int
    flips: int
    off_string: int
    right_hand: int
    levers_up: int
    ceiling: float | None
    spot: HardSpot | None
    proved: bool
    effort: int

    @property
    def criteria(self) -> tuple[int, int, int, int, int, int]:
        """What plans are compared by, smaller is better (section 5 of the planning problem)."""
        counts = (self.lost, self.lost_auxiliaries, self.cuts, self.flips, self.off_string, self.right_hand)
        return Criteria(*counts).key


@dataclass(frozen=True, slots=True)
class Row:
    """A file on an instrument.

    Attributes:
        file: name of the file.
        digest: of its content, "" where it could not be read.
        key: tells everything that the row depends on.
        label: the instrument's.
        finding: what was found, None for a problem.
        problem: why nothing was found, as a sentence, "" for a finding.
        passing: whether the problem may be gone the next time with the file unchanged, so that it has to be
            tried again.
    """

    file: str
    digest: str
    key: str
    label: str
    finding: Finding | None
    problem: str = ""
    passing: bool = False


def key_of(digest: str, instrument: Instrument, terms: Terms) -> str:
    """Key of a row: the same exactly where content, harp, player, terms and program are the same.

    Args:
        digest: of the file's content.
        instrument: on what.
        terms: what holds for every file.
    """
    harp, player = instrument.harp, instrument.player
    said = [
        FORMAT,
        __version__,
        digest,
        harp.lowest,
        [[string.tuned, string.lever] for string in harp.strings],
        [player.flip, player.leave, player.place],
        [terms.part, terms.else_part, str(terms.scale), terms.effort],
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:32]


def digest_of(path: Path) -> str:
    """SHA-256 of an ordinary file's content, in hexadecimal; "" where it cannot be read."""
    try:
        if not path.is_file():
            return ""
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except (OSError, ValueError):
        return ""


def problem_rows(task: Task, digest: str, problem: str, *, passing: bool = False) -> tuple[Row, ...]:
    """A row for each instrument of a file that nothing could be found about.

    Args:
        task: the file and its instruments.
        digest: of the file's content, "" where it could not be read.
        problem: why, as a sentence.
        passing: whether it may be gone the next time; a file that could not be read always may.
    """
    return tuple(
        Row(
            file=task.book.name,
            digest=digest,
            key=key_of(digest, instrument, task.terms),
            label=instrument.label,
            finding=None,
            problem=problem,
            passing=passing or not digest,
        )
        for instrument in task.instruments
    )

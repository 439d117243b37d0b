"""Which rows to keep, and in which order: "playable as set on the 26-string in C", the fewest flips first."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from harpkeys.errors import OptionError
from harpkeys.harp.naming import listed, quoted
from harpkeys.report.model import Verdict
from harpkeys.shelf.model import Finding, Instrument, Row

VERDICTS: tuple[Verdict, ...] = get_args(Verdict)

NOT_VETTED = "not vetted"
"""What is said of a file with a problem in place of a verdict."""

CONDITIONS: Mapping[str, frozenset[str]] = {
    **{verdict: frozenset([verdict]) for verdict in VERDICTS},
    NOT_VETTED: frozenset([NOT_VETTED]),
    "playable": frozenset(verdict for verdict in VERDICTS if verdict != "not as written"),
}
"""What may be asked of a row; "playable" where nothing is lost."""


@dataclass(frozen=True, slots=True)
class Condition:
    """What is asked of a row.

    Attributes:
        verdicts: it has one of these.
        labels: and is of one of these instruments; None for any.
    """

    verdicts: frozenset[str]
    labels: frozenset[str] | None = None

    def holds(self, row: Row) -> bool:
        """Whether a row is as asked."""
        return verdict_word(row) in self.verdicts and (self.labels is None or row.label in self.labels)


def verdict_word(row: Row) -> str:
    """The verdict of a row, or "not vetted"."""
    return NOT_VETTED if row.finding is None else row.finding.verdict


def condition_of(text: str, names: Mapping[str, frozenset[str]]) -> Condition:
    """The condition that a user means.

    Args:
        text: a verdict, "not vetted" or "playable", and after it "on" and a harp, if one is meant:
            "playable as set on the 26-string in C".
        names: labels of the instruments that a name stands for, as `names_of` gives them.

    Raises:
        OptionError: there is no such verdict, or no such harp among those of the run.
    """
    said, on, harp = " ".join(text.split()).partition(" on ")
    word = said.lower()
    verdicts = CONDITIONS.get(word) or CONDITIONS.get(word.removeprefix("playable "))
    if verdicts is None:
        raise OptionError(
            f"--only cannot be {quoted(text)}",
            f'it is one of {listed(list(CONDITIONS))}, and may go on with a harp, such as "as set on 26"',
        )
    if not on:
        return Condition(verdicts)
    labels = names.get(_plain_name(harp))
    if labels is None:
        every = sorted(frozenset().union(*names.values()))
        raise OptionError(
            f"--only names the harp {quoted(harp)}, which is none of this run's",
            f"name one of {listed(every)}",
        )
    return Condition(verdicts, labels)


def names_of(instruments: Iterable[tuple[str, Instrument]]) -> dict[str, frozenset[str]]:
    """The labels that each name of a harp stands for.

    Args:
        instruments: each with what the user typed for it. It goes by that, by its label, and by the name of
            its harp.
    """
    found: dict[str, set[str]] = {}
    for typed, instrument in instruments:
        tuning = instrument.harp.tuning
        for name in (typed, f"{typed} in {tuning}", instrument.label, instrument.harp.name):
            found.setdefault(_plain_name(name), set()).add(instrument.label)
    return {name: frozenset(labels) for name, labels in found.items()}


def _plain_name(name: str) -> str:
    """A harp's name as it is compared: "the 26-string in C" is "26 in c"."""
    return re.sub(r"^the |-string", "", " ".join(name.lower().split()))


def kept(
    rows: Sequence[Row], conditions: Sequence[Condition], most_flips: int | None = None
) -> tuple[Row, ...]:
    """The rows of one file that are asked for.

    Args:
        rows: all rows of the file.
        conditions: each has to hold for some row of the file.
        most_flips: a row has no more flips than this and loses nothing; None asks nothing.

    Returns:
        The rows for which a condition holds, all where there is none; none where one holds for no row.
    """
    light = [row for row in rows if most_flips is None or _has_few_flips(row, most_flips)]
    if not all(any(condition.holds(row) for row in light) for condition in conditions):
        return ()
    return tuple(row for row in light if not conditions or any(one.holds(row) for one in conditions))


def _has_few_flips(row: Row, most: int) -> bool:
    finding = row.finding
    return finding is not None and finding.verdict != "not as written" and finding.flips <= most


_Measure = Callable[[Row, Finding], Any]

ORDERS: Mapping[str, _Measure] = {
    "file": lambda row, finding: 0,
    "title": lambda row, finding: finding.title.casefold(),
    "ease": lambda row, finding: finding.criteria,
    "flips": lambda row, finding: finding.flips,
    "lost": lambda row, finding: finding.lost + finding.lost_auxiliaries,
    "up": lambda row, finding: finding.levers_up,
    "notes": lambda row, finding: finding.plucks,
    "tempo": lambda row, finding: finding.bpm,
}
"""What rows can be sorted by."""


def in_order(
    files: Iterable[Sequence[Row]], order: str = "file", *, reverse: bool = False
) -> list[Sequence[Row]]:
    """Files in order: by the first of their rows in it, and by name where they are equal.

    Args:
        files: rows of each file, at least one.
        order: one of ORDERS.
        reverse: whether the largest comes first; files with problems come last all the same.

    Raises:
        OptionError: there is no such order.
    """
    measure = ORDERS.get(order.strip().lower())
    if measure is None:
        raise OptionError(f"--sort cannot be {quoted(order)}", f"it is one of {', '.join(ORDERS)}")
    if measure is ORDERS["file"]:
        return sorted(files, key=lambda rows: rows[0].file, reverse=reverse)
    by_name = sorted(files, key=lambda rows: rows[0].file)
    good = [(_values(rows, measure), rows) for rows in by_name]
    first = max if reverse else min
    return [
        *(
            rows
            for _, rows in sorted(
                ((first(values), rows) for values, rows in good if values),
                key=lambda entry: entry[0],
                reverse=reverse,
            )
        ),
        *(rows for values, rows in good if not values),
    ]


def _values(rows: Sequence[Row], measure: _Measure) -> list[Any]:
    return [measure(row, row.finding) for row in rows if row.finding is not None]

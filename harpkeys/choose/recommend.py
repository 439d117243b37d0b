"""What to do with a comparison, in words a learner understands: one recommendation, why, and its price.

The choices are gone through from the least trouble to the most: the harp as it is strung before one retuned,
the written pitch before another, near before far, and strings tuned up last. The first is taken, and left for
a later one only where that is **clearly easier**: it loses fewer notes; or as few, and cuts fewer ringing
notes; or as few of both, and needs fewer lever flips and notes on neighbouring strings. Fewer means by a
third at least, and of flips by so many that it is felt. How many that is, is a stated assumption, no
published figure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from harpkeys.choose.compare import Cell, Comparison
from harpkeys.choose.retuning import retuning_text, retunings
from harpkeys.harp.naming import key_name, listed
from harpkeys.plan.model import Criteria, Plan
from harpkeys.report.vet import RAISING
from harpkeys.report.words import REASONS, count_text, seconds_text
from harpkeys.score.model import KeySignature

FELT = 3
"""So many flips fewer are felt; so are the last two."""

LEAST_SHARE = 3
"""What is saved has to be at least one in so many."""

DISTANCES = (
    "the written pitch",
    "a semitone",
    "a tone",
    "a minor third",
    "a major third",
    "a fourth",
    "a tritone",
    "a fifth",
    "a minor sixth",
    "a major sixth",
    "a minor seventh",
    "a major seventh",
    "an octave",
)


@dataclass(frozen=True, slots=True)
class Advice:
    """A recommendation.

    Attributes:
        cell: what is recommended.
        what: the recommendation in a sentence.
        why: sentences about what it gains.
        price: sentences about what it gives up.
        cautions: sentences about safety.
        otherwise: what to do instead under a condition, and the choice meant: ("without retuning: …", cell).
    """

    cell: Cell
    what: str
    why: tuple[str, ...]
    price: tuple[str, ...]
    cautions: tuple[str, ...]
    otherwise: tuple[tuple[str, Cell], ...]


def recommend(comparison: Comparison) -> Advice:
    """The recommendation for a comparison."""
    cell = easiest(comparison.cells)
    as_it_is = comparison.as_it_is
    return Advice(
        cell=cell,
        what=f"{_capital(way_text(cell))}.",
        why=tuple(_why(cell, as_it_is)),
        price=tuple(_price(comparison, cell)),
        cautions=(RAISING,) if cell.tuned_up else (),
        otherwise=tuple(_otherwise(comparison, cell)),
    )


def trouble(cell: Cell) -> tuple[object, ...]:
    """How much trouble a choice is before it is played, the least first; among equals the better plan."""
    return (
        cell.tuned_up > 0,
        cell.retuned > 0 and bool(cell.move.semitones),
        cell.retuned > 0,
        abs(cell.move.semitones),
        cell.retuned,
        cell.rank,
    )


def easiest(cells: Sequence[Cell]) -> Cell:
    """The choice to recommend: see the module's docstring."""
    ordered = sorted(cells, key=trouble)
    best = ordered[0]
    for cell in ordered[1:]:
        if clearly_easier(cell.plan.criteria, best.plan.criteria):
            best = cell
    return best


def clearly_easier(one: Criteria, two: Criteria) -> bool:
    """Whether a plan is so much easier to play than another that some trouble is worth it.

    Args:
        one: what the plan costs.
        two: what the other costs.
    """
    for now, before in (
        (one.lost, two.lost),
        (one.lost_auxiliaries, two.lost_auxiliaries),
        (one.cuts, two.cuts),
    ):
        if now != before:
            return (before - now) * LEAST_SHARE >= before and now < before
    now, before = one.flips + one.off_string, two.flips + two.off_string
    saved = before - now
    return saved * LEAST_SHARE >= before and (saved >= FELT or (saved == FELT - 1 and not now))


def distance_text(semitones: int) -> str:
    """How far a transposition goes: "a tone", "an octave and a fourth"."""
    octaves, rest = divmod(abs(semitones), 12)
    if octaves == 0 or (octaves == 1 and not rest):
        return DISTANCES[abs(semitones)]
    words = ["an octave" if octaves == 1 else f"{octaves} octaves"]
    return listed([*words, DISTANCES[rest]] if rest else words)


def pitch_text(cell: Cell) -> str:
    """The pitch of a choice: "as written", "a tone higher, in D major"."""
    semitones = cell.move.semitones
    if not semitones:
        return "as written"
    way = "higher" if semitones > 0 else "lower"
    return f"{distance_text(semitones)} {way}{key_phrase(cell.key, ', ')}"


def key_phrase(key: KeySignature | None, before: str = "") -> str:
    """A key after a comma or nothing: ", in D major", ", with 2 sharps", ""."""
    if key is None or key.fifths is None:
        return ""
    if key.mode is not None:
        return f"{before}in {key_name(key.fifths, key.mode)}"
    if not key.fifths:
        return f"{before}without sharps or flats"
    return f"{before}with {count_text(abs(key.fifths), 'sharp' if key.fifths > 0 else 'flat')}"


def way_text(cell: Cell) -> str:
    """What to do for a choice: "tune it to E-flat and play it a tone higher, in D major"."""
    if not cell.retuned:
        return f"play it {pitch_text(cell)}, with the harp as it is strung"
    return f"tune the harp to {cell.tuning} and play it {pitch_text(cell)}"


def outcome_text(criteria: Criteria, why: str = "") -> str:
    """What a plan comes to: "nothing lost, 2 lever flips".

    Args:
        criteria: what the plan costs.
        why: why notes are lost, as `reasons_text` says it.
    """
    lost = criteria.lost + criteria.lost_auxiliaries
    parts = [f"{count_text(lost, 'note')} lost{why}" if lost else "nothing lost"]
    if criteria.cuts:
        parts.append(f"{count_text(criteria.cuts, 'ringing note')} cut short")
    parts.append(count_text(criteria.flips, "lever flip") if criteria.flips else "no lever moves")
    if criteria.off_string:
        parts.append(f"{count_text(criteria.off_string, 'note')} on a neighbouring string")
    return ", ".join(parts)


def reasons_text(plan: Plan) -> str:
    """Why notes are lost, in brackets after a space: " (3 for want of a lever)"; "" where none are."""
    counts = Counter(reason for reason in plan.lost if reason is not None)
    told = [f"{count} {REASONS[reason]}" for reason, count in counts.most_common()]
    return f" ({', '.join(told)})" if told else ""


def _why(cell: Cell, as_it_is: Cell | None) -> Iterator[str]:
    yield f"{_capital(outcome_text(cell.plan.criteria, reasons_text(cell.plan)))}{_room(cell)}."
    if as_it_is is not None and as_it_is is not cell:
        yield f"As written and as strung: {outcome_text(as_it_is.plan.criteria)}."
    if as_it_is is cell:
        yield "No other choice is so much easier that it would be worth the trouble."
    if cell.ceiling is not None and cell.ceiling.factor > 1:
        yield f"The flips still fit at {int(cell.ceiling.factor * 100) / 100:g} times the tempo."
    if not cell.plan.proved:
        yield "Whether a better plan of it exists was not worked out whole."


def _room(cell: Cell) -> str:
    if cell.spot is None or cell.spot.kind != "flip":
        return ""
    return f", the tightest with {seconds_text(cell.spot.amount)} to spare"


def _price(comparison: Comparison, cell: Cell) -> Iterator[str]:
    """What a choice gives up."""
    if cell.move.semitones:
        yield (
            f"It sounds {distance_text(cell.move.semitones)} "
            f"{'higher' if cell.move.semitones > 0 else 'lower'} than written, so others who play or sing "
            "along have to move too, and it has to be read from a transposed score."
        )
    if cell.retuned:
        changes = retunings(comparison.strung, cell.plan.harp)
        told = "; ".join(retuning_text(comparison.strung, change) for change in changes)
        yield f"{count_text(cell.retuned, 'string')} to retune before: {told}."
    if cell.up:
        are, those = ("is", "that string") if cell.up == 1 else ("are", "those strings")
        yield f"{count_text(cell.up, 'lever')} {are} up before it begins, which dulls {those} a little."
    if cell.notes_lost:
        lost = count_text(cell.notes_lost, "note")
        yield f"{lost} cannot be played; vet says which and what would mend it."
    if cell.plan.criteria.cuts:
        yield "Strings that still ring have to be damped before their levers move."


def _otherwise(comparison: Comparison, chosen: Cell) -> Iterator[tuple[str, Cell]]:
    """What to do under conditions that the recommendation does not meet."""
    told: list[Cell] = [chosen]
    cells = comparison.cells
    as_strung = [cell for cell in cells if not cell.retuned]
    as_written = [cell for cell in cells if not cell.move.semitones]
    conditions = [
        ("Without retuning", as_strung if chosen.retuned else []),
        ("At the written pitch", as_written if chosen.move.semitones else []),
        (
            "Without retuning, at the written pitch",
            [cell for cell in as_strung if not cell.move.semitones]
            if chosen.retuned and chosen.move.semitones
            else [],
        ),
    ]
    for words, met in conditions:
        cell = easiest(met) if met else chosen
        if not any(cell is other for other in told):
            told.append(cell)
            yield f"{words}: {way_text(cell)} ({outcome_text(cell.plan.criteria)}).", cell
    best = cells[0]
    better = best.plan.criteria.key < chosen.plan.criteria.key
    if better and not best.tuned_up and not any(best is other for other in told):
        yield f"For the best plan of all: {way_text(best)} ({outcome_text(best.plan.criteria)}).", best


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

"""A comparison as text, as JSON ("harpkeys/compare/1") and as CSV."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import floor
from typing import Any

from harpkeys.choose.compare import Comparison, Spot
from harpkeys.choose.recommend import FELT, Advice
from harpkeys.choose.retuning import raised_strings, retunings
from harpkeys.cli.data_text import csv_text, json_text
from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.naming import MODE_TONICS, SIGNS, fifths_note
from harpkeys.harp.players import ASSUMPTION, player_text
from harpkeys.pitch import LETTERS
from harpkeys.report.words import count_text, harp_text, ordinal, seconds_text, tempo_number
from harpkeys.score.beats import beat_at, number_text
from harpkeys.score.model import KeySignature

FORMAT = "harpkeys/compare/1"

ROWS = 12
"""Rows of the text table where none are asked for; every choice worth having is shown besides."""

LONGEST_TUNING = 12
"""Columns of a tuning in the table."""

HEADER = (
    "rank",
    "best",
    "tuning",
    "semitones",
    "fifths",
    "mode",
    "verdict",
    "lost",
    "lost_auxiliaries",
    "cuts",
    "flips",
    "off_string",
    "right_hand",
    "proved",
    "effort",
    "levers_up",
    "strings_retuned",
    "strings_tuned_up",
    "spot",
    "spot_measure",
    "spot_pass",
    "spot_amount",
    "tempo_ceiling",
)
"""Columns of the CSV table. A spot's amount is notes lost, or seconds cut or to spare."""


def comparison_lines(
    comparison: Comparison, advice: Advice, rows: int = ROWS, *, harp_assumed: bool = False
) -> Iterator[Line]:
    """The comparison, line by line.

    Args:
        comparison: the comparison.
        advice: the recommendation.
        rows: how many cells to show besides the choices worth having.
        harp_assumed: whether no harp was named.
    """
    performance = comparison.performance
    yield Line(performance.score.title, "heading")
    yield from paragraph(advice.what, role="alarm")
    yield Line()
    clock = performance.clock
    told = [
        ("Harp", f"{harp_text(comparison.strung)}."),
        ("Strung", f"in {comparison.strung.tuning}: that is how it sounds with all levers down."),
        ("Tempo", f"quarter = {tempo_number(clock.bpm)}."),
    ]
    yield from entries(told)
    for title, sentences in (("Why", advice.why), ("What it asks of you", advice.price)):
        if sentences:
            yield from heading(title)
            yield from (line for text in sentences for line in paragraph(text, 2, bullet=True))
    if advice.otherwise:
        yield from heading("Otherwise")
        yield from (line for text, _ in advice.otherwise for line in paragraph(text, 2, bullet=True))
    yield from _table(comparison, rows)
    if any(comparison.cells[index].tuned_up for index in comparison.choices) or advice.cautions:
        from harpkeys.report.vet import RAISING

        yield from heading("Safety")
        yield from paragraph(RAISING, 2)
    yield from heading("Taken for granted")
    for sentence in _assumptions(comparison, harp_assumed=harp_assumed):
        yield from paragraph(sentence, 2, bullet=True)


def _assumptions(comparison: Comparison, *, harp_assumed: bool) -> Iterator[str]:
    performance = comparison.performance
    if harp_assumed:
        yield f"No harp is named: the {comparison.strung.name} is assumed."
    yield f"Player's times, a {ASSUMPTION}: {player_text(comparison.player)}."
    yield (
        f"A choice of more trouble is recommended only if it saves a third of the lost notes, of the cuts or "
        f"of the flips, and at least {FELT} flips or the last {FELT - 1}: a stated assumption."
    )
    yield from performance.clock.remarks
    yield from performance.timeline.remarks
    yield from performance.score.remarks


def _table(comparison: Comparison, rows: int) -> Iterator[Line]:
    cells = comparison.cells
    shown = sorted({*range(min(rows, len(cells))), *comparison.choices})
    moved = any(cell.move.semitones for cell in cells)
    yield from heading(f"{count_text(len(cells), 'choice')}, the easiest plan first")
    head = ("", "tuning", "pitch", "key", "lost", "cut", "flips", "up", "tune", "hardest", "to")
    table_rows = [head, *(_row(comparison, index) for index in shown)]
    if not moved:
        table_rows = [row[:2] + row[4:] for row in table_rows]
    first = 4 if moved else 2
    yield from table(table_rows, right=range(first, first + 5))
    hidden = len(cells) - len(shown)
    if hidden:
        yield from paragraph(f"… and {hidden} more; --rows {len(cells)} shows all.", 2)
    legend = [
        "*: no other choice is at least as good in everything",
        "flips: with + those notes that go on a neighbouring string",
        "up: levers raised before the start",
        "tune: strings to retune, ! where some go up",
        "hardest: bar with its tightest flip, longest cut or most lost notes",
        "to: how much faster the flips still fit",
    ]
    if moved:
        legend.insert(1, "pitch: semitones from the written pitch")
    if any(not cells[index].plan.proved for index in shown):
        legend.append("~: the best plan found, not proved the best")
    yield from paragraph("; ".join(legend) + ".", 2)


def _row(comparison: Comparison, index: int) -> tuple[str, ...]:
    cell = comparison.cells[index]
    criteria = cell.plan.criteria
    near = f"+{criteria.off_string}" if criteria.off_string else ""
    tuning = cell.tuning
    return (
        "*" if index in comparison.choices else "",
        tuning if len(tuning) <= LONGEST_TUNING else tuning[: LONGEST_TUNING - 1] + "…",
        f"{cell.move.semitones:+d}" if cell.move.semitones else "0",
        short_key(cell.key),
        f"{'' if cell.plan.proved else '~'}{cell.notes_lost}",
        str(criteria.cuts),
        f"{criteria.flips}{near}",
        str(cell.up),
        f"{cell.retuned}{'!' if cell.tuned_up else ''}",
        _spot(comparison, cell.spot),
        "" if cell.ceiling is None else f"{floor(100 * Fraction(str(cell.ceiling.factor))) / 100:g}",
    )


def short_key(key: KeySignature | None) -> str:
    """A key in a few letters: "B♭", "F♯m", "D dor", without a mode "2♯"."""
    if key is None or key.fifths is None:
        return "-"
    if key.mode is None:
        return f"{abs(key.fifths)}{'♯' if key.fifths > 0 else '♭' if key.fifths < 0 else ''}"
    letter, alter = fifths_note(key.fifths + MODE_TONICS[key.mode])
    ending = {"major": "", "minor": "m"}.get(key.mode, f" {key.mode[:3]}")
    return f"{LETTERS[letter]}{SIGNS[alter]}{ending}"


def _spot(comparison: Comparison, spot: Spot | None) -> str:
    """The hardest spot in a few words: "18, 2nd: 0.45 s"."""
    if spot is None:
        return ""
    measure = comparison.performance.score.measures[spot.place.measure]
    visits = comparison.performance.timeline.visits
    again = sum(visit.measure == spot.place.measure for visit in visits) > 1
    place = f"{measure.number}, {ordinal(spot.place.number)}" if again else measure.number
    if spot.kind == "lost":
        return f"{place}: {spot.amount} lost"
    return f"{place}: {'cuts ' if spot.kind == 'cut' else ''}{seconds_text(spot.amount)}"


def comparison_json(comparison: Comparison, advice: Advice) -> str:
    """The comparison as one JSON object; cells in the order of their rank."""
    score, clock = comparison.performance.score, comparison.performance.clock
    indexes = {id(cell): index for index, cell in enumerate(comparison.cells)}
    return json_text(
        {
            "format": FORMAT,
            "score": {
                "title": score.title,
                "part": "+".join(score.parts[index].id for index in comparison.performance.parts),
                "plucks": len(comparison.performance.plucks),
                "bpm": round(float(clock.bpm), 6),
            },
            "harp": {
                "name": comparison.strung.name,
                "strung": comparison.strung.tuning,
                "strings": len(comparison.strung.strings),
            },
            "player": {
                "name": comparison.player.name,
                "flip": comparison.player.flip / 1000,
                "leave": comparison.player.leave / 1000,
                "place": comparison.player.place / 1000,
            },
            "recommended": {
                "cell": indexes[id(advice.cell)],
                "say": advice.what,
                "why": list(advice.why),
                "price": list(advice.price),
                "cautions": list(advice.cautions),
            },
            "otherwise": [{"say": text, "cell": indexes[id(cell)]} for text, cell in advice.otherwise],
            "choices": list(comparison.choices),
            "cells": [_entry(comparison, index) for index in range(len(comparison.cells))],
        }
    )


def _entry(comparison: Comparison, index: int) -> dict[str, Any]:
    cell = comparison.cells[index]
    plan = cell.plan
    names = ("lost", "lost_auxiliaries", "cuts", "flips_and_off_string", "flips", "right_hand")
    changes = retunings(comparison.strung, plan.harp)
    return {
        "tuning": cell.tuning,
        "semitones": cell.move.semitones,
        "key": None if cell.key is None else {"fifths": cell.key.fifths, "mode": cell.key.mode},
        "best": index in comparison.choices,
        "verdict": cell.verdict,
        "criteria": {
            "lost": plan.criteria.lost,
            "lost_auxiliaries": plan.criteria.lost_auxiliaries,
            "cuts": plan.criteria.cuts,
            "flips": plan.criteria.flips,
            "off_string": plan.criteria.off_string,
            "right_hand": plan.criteria.right_hand,
        },
        "bound": dict(zip(names, plan.bound, strict=True)),
        "proved": plan.proved,
        "effort": cell.effort,
        "lost_for": dict(cell.lost_for),
        "starting_levers": _names(comparison, [i for i, state in enumerate(plan.starting) if state]),
        "retuned": _names(comparison, [i for change in changes for i in change.strings]),
        "tuned_up": _names(comparison, raised_strings(changes)),
        "spot": _spot_entry(comparison, cell.spot),
        "tempo_ceiling": None if cell.ceiling is None else cell.ceiling.factor,
    }


def _names(comparison: Comparison, indexes: list[int] | tuple[int, ...]) -> list[str]:
    return [comparison.strung.strings[index].name for index in sorted(indexes)]


def _spot_entry(comparison: Comparison, spot: Spot | None) -> dict[str, Any] | None:
    if spot is None:
        return None
    score = comparison.performance.score
    measure = score.measures[spot.place.measure]
    return {
        "kind": spot.kind,
        "measure": measure.number,
        "index": spot.place.measure,
        "q": str(Fraction(spot.place.tick, score.resolution)),
        "beat": number_text(beat_at(measure, spot.place.tick, score.resolution)),
        "pass": spot.place.number,
        "notes": spot.amount if spot.kind == "lost" else None,
        "seconds": None if spot.kind == "lost" else spot.amount / 1000,
    }


def comparison_csv(comparison: Comparison) -> str:
    """The comparison as a CSV table, the best first."""
    return csv_text(HEADER, (_csv_row(comparison, index) for index in range(len(comparison.cells))))


def _csv_row(comparison: Comparison, index: int) -> tuple[object, ...]:
    cell = comparison.cells[index]
    criteria, spot = cell.plan.criteria, cell.spot
    amount: object = ""
    if spot is not None:
        amount = spot.amount if spot.kind == "lost" else spot.amount / 1000
    return (
        index + 1,
        "yes" if index in comparison.choices else "",
        cell.tuning,
        cell.move.semitones,
        "" if cell.key is None or cell.key.fifths is None else cell.key.fifths,
        "" if cell.key is None else cell.key.mode or "",
        cell.verdict,
        criteria.lost,
        criteria.lost_auxiliaries,
        criteria.cuts,
        criteria.flips,
        criteria.off_string,
        criteria.right_hand,
        "yes" if cell.plan.proved else "no",
        cell.effort,
        cell.up,
        cell.retuned,
        cell.tuned_up,
        "" if spot is None else spot.kind,
        "" if spot is None else comparison.performance.score.measures[spot.place.measure].number,
        "" if spot is None else spot.place.number,
        amount,
        "" if cell.ceiling is None else cell.ceiling.factor,
    )

"""A programme as text and as JSON ("harpkeys/programme/1")."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from harpkeys.choose.programme import Choice, Fit, Programme, Running, Step
from harpkeys.cli.data_text import json_text
from harpkeys.cli.keys_view import harp_entry
from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.model import Harp, Player
from harpkeys.harp.naming import listed
from harpkeys.harp.players import player_text
from harpkeys.report.words import harp_text, strings_text, tuning_text

FORMAT = "harpkeys/programme/1"

LONGEST_TITLE = 30
"""Columns of a title in the table."""


def programme_lines(programme: Programme, player: Player) -> Iterator[Line]:
    """The whole programme, line by line."""
    yield Line(f"Programme of {_count(len(programme.titles), 'piece')}", "heading")
    best = programme.choices[programme.best]
    yield from paragraph(_verdict(programme, best), role="alarm")
    yield Line()
    several = len({choice.instrument for choice in programme.choices}) > 1
    rows = [
        ("Harp", f"{harp_text(best.harp)}."),
        ("Tuning", f"{tuning_text(best.harp)}."),
        ("Player", f"{player_text(player)}."),
    ]
    yield from entries(rows)
    yield from heading(f"In this order {_moving(programme.single)}")
    yield from _steps(programme, programme.single)
    yield from paragraph(_proof(programme.single), 2)
    yield from _choices(programme, several)
    if programme.mixed is not None:
        yield from heading(
            "With changes of harp or tuning in between" if several else "With retuning in between"
        )
        yield from paragraph(_mixed_text(programme, programme.mixed), 2)
        yield from _steps(programme, programme.mixed, named=True)
        yield from paragraph(_proof(programme.mixed), 2)
        if any(semitones > 0 for step in programme.mixed.steps for _, semitones in step.retuned):
            from harpkeys.report.vet import RAISING

            yield from paragraph(RAISING, 2)
    if programme.unserved:
        yield from heading("Pieces that no choice serves")
        for piece in programme.unserved:
            lost = min(sum(fit.losses[:2]) for fit in programme.fits[piece])
            yield from paragraph(
                f"{programme.titles[piece]}: at best {_count(lost, 'note')} lost; vet says which and why.", 2
            )


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _name(choice: Choice, *, several: bool) -> str:
    return named_in_tuning(choice.harp) if several else choice.harp.tuning


def named_in_tuning(harp: Harp) -> str:
    """A harp by name and tuning, the tuning once."""
    return harp.name if harp.name.endswith(f" in {harp.tuning}") else f"{harp.name} in {harp.tuning}"


def _verdict(programme: Programme, best: Choice) -> str:
    served = sum(row[programme.best].served for row in programme.fits)
    total = len(programme.fits)
    several = len({choice.instrument for choice in programme.choices}) > 1
    where = f"The {named_in_tuning(best.harp)}" if several else f"Tuned in {best.harp.tuning}, the harp"
    if served == total:
        return f"{where} serves all of it."
    return f"{where} serves {served} of {total} pieces; no single choice gives less trouble."


def _moving(running: Running) -> str:
    if running.moved == 0 and running.retuned == 0:
        return "no lever moves between the pieces"
    retuned = f"{_count(running.retuned, 'string')} {'is' if running.retuned == 1 else 'are'} retuned and "
    verb = "moves" if running.moved == 1 else "move"
    return f"{retuned if running.retuned else ''}{_count(running.moved, 'lever')} {verb} between the pieces"


def _proof(running: Running) -> str:
    if running.exact:
        return "No order needs fewer: proved."
    retuned, flips, _, moved = running.bound
    least = (
        f"{retuned} retuned strings, {flips} flips and {moved} levers"
        if running.retuned
        else f"{moved} levers"
    )
    return (
        "With more than twelve pieces the order is improved step by step and not proved the best; no order "
        f"needs fewer than {least}."
    )


def _steps(programme: Programme, running: Running, *, named: bool = False) -> Iterator[Line]:
    several = len({choice.instrument for choice in programme.choices}) > 1
    rows = []
    for number, step in enumerate(running.steps, 1):
        choice, fit = programme.choices[step.choice], programme.fits[step.piece][step.choice]
        on = f" ({_name(choice, several=several)})" if named else ""
        text = f"{programme.titles[step.piece]}{on}: {fit_text(fit)}. {step_text(choice, step)}"
        rows.append((f"{number}", text))
    yield from entries(rows, 2)


def step_text(choice: Choice, step: Step) -> str:
    """What to do before a piece, as a sentence."""
    harp = choice.harp
    raised, lowered = strings_text(harp, step.raised), strings_text(harp, step.lowered)
    if step.opens:
        return (
            f"Before you begin: {raised} up, all other levers down."
            if raised
            else "Before you begin: all levers down."
        )
    parts = []
    for way, word in ((-1, "down"), (1, "up")):
        strings = [index for index, semitones in step.retuned if semitones * way > 0]
        if strings:
            parts.append(f"tune {strings_text(harp, strings)} {word}")
    parts += [f"raise {raised}"] if raised else []
    parts += [f"lower {lowered}"] if lowered else []
    text = "; ".join(parts)
    return f"First {text}." if text else "Nothing to move."


def fit_text(fit: Fit) -> str:
    """How a choice serves a piece, in a few words."""
    lost, auxiliaries, cuts = fit.losses
    if lost or auxiliaries:
        return _count(lost + auxiliaries, "note") + " lost"
    if cuts:
        return _count(cuts, "cut")
    return _count(len(fit.plan.flips), "flip") if fit.plan.flips else "as set"


def _choices(programme: Programme, several: bool) -> Iterator[Line]:
    """How each choice serves each piece."""
    yield from heading("How each choice serves each piece")
    if several:
        names = [chr(ord("a") + k % 26) * (1 + k // 26) for k in range(len(programme.choices))]
        labels = [
            (name, _name(choice, several=True)) for name, choice in zip(names, programme.choices, strict=True)
        ]
        yield from entries(labels, 2)
        yield Line()
    else:
        names = [choice.harp.tuning for choice in programme.choices]
    rows: list[list[str]] = [["piece", *names]]
    for title, row in zip(programme.titles, programme.fits, strict=True):
        short = title if len(title) <= LONGEST_TITLE else title[: LONGEST_TITLE - 1] + "…"
        rows.append([short, *(_cell(fit) for fit in row)])
    yield from table(rows)


def _cell(fit: Fit) -> str:
    lost, auxiliaries, cuts = fit.losses
    if lost or auxiliaries:
        return f"{lost + auxiliaries} lost"
    return (
        _count(cuts, "cut") if cuts else _count(len(fit.plan.flips), "flip") if fit.plan.flips else "as set"
    )


def _mixed_text(programme: Programme, mixed: Running) -> str:
    """What changing in between is good for."""
    one = [programme.fits[step.piece][step.choice] for step in programme.single.steps]
    other = [programme.fits[step.piece][step.choice] for step in mixed.steps]
    gains = []
    lost = sum(sum(fit.losses[:2]) for fit in one) - sum(sum(fit.losses[:2]) for fit in other)
    cuts = sum(fit.losses[2] for fit in one) - sum(fit.losses[2] for fit in other)
    if lost > 0:
        gains.append(f"loses {_count(lost, 'note')} fewer")
    if cuts > 0:
        gains.append(f"cuts {_count(cuts, 'note')} fewer")
    if programme.single.flips > mixed.flips:
        gains.append(f"needs {_count(programme.single.flips - mixed.flips, 'flip')} fewer within the pieces")
    if programme.single.moved > mixed.moved:
        gains.append(f"moves {_count(programme.single.moved - mixed.moved, 'lever')} fewer between them")
    # Lost auxiliaries may turn into cuts: then only the order of the criteria tells which is better.
    gain = f"This {listed(gains)}" if gains else "This loses less"
    return f"{gain} than one tuning for all; {_moving(mixed)}."


# For other programs.


def programme_json(programme: Programme, player: Player) -> str:
    """The programme as JSON."""
    return json_text(
        {
            "format": FORMAT,
            "player": {
                "name": player.name,
                "flip": player.flip / 1000,
                "leave": player.leave / 1000,
                "place": player.place / 1000,
            },
            "choices": [
                {"instrument": choice.instrument, **harp_entry(choice.harp)} for choice in programme.choices
            ],
            "pieces": [
                {"title": title, "fits": [_fit_entry(fit) for fit in row]}
                for title, row in zip(programme.titles, programme.fits, strict=True)
            ],
            "best": programme.best,
            "single": _running_entry(programme, programme.single),
            "mixed": None if programme.mixed is None else _running_entry(programme, programme.mixed),
            "unserved": [programme.titles[piece] for piece in programme.unserved],
        }
    )


def _fit_entry(fit: Fit) -> dict[str, Any]:
    criteria = fit.plan.criteria
    return {
        "verdict": fit.verdict,
        "lost": criteria.lost,
        "lost_auxiliaries": criteria.lost_auxiliaries,
        "cuts": criteria.cuts,
        "flips": criteria.flips,
        "off_string": criteria.off_string,
        "proved": fit.plan.proved,
    }


def _running_entry(programme: Programme, running: Running) -> dict[str, Any]:
    return {
        "retuned": running.retuned,
        "flips": running.flips,
        "harps": running.harps,
        "moved": running.moved,
        "exact": running.exact,
        "bound": dict(zip(("retuned", "flips", "harps", "moved"), running.bound, strict=True)),
        "steps": [_step_entry(programme, step) for step in running.steps],
    }


def _step_entry(programme: Programme, step: Step) -> dict[str, Any]:
    strings = programme.choices[step.choice].harp.strings
    return {
        "piece": programme.titles[step.piece],
        "choice": step.choice,
        "opens": step.opens,
        "retune": [{"string": strings[index].name, "semitones": move} for index, move in step.retuned],
        "raise": [strings[index].name for index in step.raised],
        "lower": [strings[index].name for index in step.lowered],
    }

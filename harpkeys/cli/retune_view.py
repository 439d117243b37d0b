"""A tuning for a piece as text and as JSON ("harpkeys/retune/1")."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from harpkeys.choose.piece_tuning import PieceTuning, TuningSearch
from harpkeys.choose.recommend import FELT, clearly_easier, outcome_text, reasons_text
from harpkeys.choose.retuning import Retuning, retuning_text
from harpkeys.cli.data_text import json_text
from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.model import Harp
from harpkeys.harp.naming import listed
from harpkeys.harp.players import ASSUMPTION, player_text
from harpkeys.report.vet import RAISING
from harpkeys.report.words import count_text, harp_text, strings_text

FORMAT = "harpkeys/retune/1"

BACK = "Afterwards these strings go back up to where they were, not higher."


def search_lines(search: TuningSearch, *, harp_assumed: bool = False) -> Iterator[Line]:
    """What to retune for the piece, line by line.

    Args:
        search: what was found.
        harp_assumed: whether no harp was named.
    """
    advised, as_it_is = search.advised, search.front[0]
    yield Line(search.performance.score.title, "heading")
    yield from paragraph(_verdict(search, advised), role="alarm")
    yield Line()
    yield from entries(
        [
            ("Harp", f"{harp_text(search.strung)}."),
            ("Strung", f"in {search.strung.tuning}: that is how it sounds with all levers down."),
            ("Then", f"{_setting(advised)}."),
        ]
    )
    if advised.changes:
        yield from heading("Before you start")
        yield from (line for change in advised.changes for line in _change(search.strung, advised, change))
    yield from heading("What it comes to")
    rows = [("as strung", _outcome(as_it_is))]
    if advised is not as_it_is:
        rows.insert(0, ("so tuned", _outcome(advised)))
    yield from entries(rows, 2)
    yield from _steps(search)
    yield from _upward(search)
    yield from _safety(search)
    yield from heading("Taken for granted")
    for sentence in _assumptions(search, harp_assumed=harp_assumed):
        yield from paragraph(sentence, 2, bullet=True)


def _verdict(search: TuningSearch, advised: PieceTuning) -> str:
    if advised.changes:
        told = ", and ".join(retuning_text(search.strung, change) for change in advised.changes)
        return f"Tune {told}."
    if len(search.front) == 1:
        return "Retune nothing: no string tuned down would make it easier."
    return "Retune nothing: no retuning makes it so much easier that it is worth it."


def _setting(tuning: PieceTuning) -> str:
    """How the levers stand at the start."""
    harp = tuning.plan.harp
    up = [index for index, state in enumerate(tuning.plan.starting) if state]
    if not any(string.lever for string in harp.strings):
        return "there are no levers to set"
    return f"levers up on {strings_text(harp, up)}" if up else "all levers down"


def _change(strung: Harp, tuning: PieceTuning, change: Retuning) -> Iterator[Line]:
    """What to do with the strings of a letter, and which of them the piece plays."""
    text = retuning_text(strung, change)
    if change.whole:
        names = listed([f"{strung.strings[i].name} ({strung.number(i)})" for i in reversed(change.strings)])
        text += f": {names}"
    played = [index for index in change.strings if index in tuning.played]
    if change.whole and 0 < len(played) < len(change.strings):
        only = listed([strung.strings[index].name for index in reversed(played)])
        text += f"; the piece plays only {only} of them"
    yield from paragraph(f"{text}.", 2, bullet=True)


def _outcome(tuning: PieceTuning) -> str:
    return f"{outcome_text(tuning.plan.criteria, reasons_text(tuning.plan))}."


def _steps(search: TuningSearch) -> Iterator[Line]:
    """The front, where it has more than two steps or goes beyond what is advised."""
    if len(search.front) < 2 or (len(search.front) == 2 and search.advised is search.best):
        return
    yield from heading("Step by step")
    rows = [("strings", "tuned down", "lost", "cut", "flips", "")]
    for tuning in search.front:
        criteria = tuning.plan.criteria
        near = f"+{criteria.off_string}" if criteria.off_string else ""
        rows.append(
            (
                str(tuning.retuned),
                _short(search.strung, tuning),
                str(criteria.lost + criteria.lost_auxiliaries),
                str(criteria.cuts),
                f"{criteria.flips}{near}",
                "advised" if tuning is search.advised else "",
            )
        )
    yield from table(rows, right=(0, 2, 3, 4))
    yield from paragraph("flips: with + those notes that go on a neighbouring string.", 2)


def _short(strung: Harp, tuning: PieceTuning) -> str:
    indexes = [index for change in tuning.changes for index in change.strings]
    return strings_text(strung, indexes) if indexes else "none"


def _upward(search: TuningSearch) -> Iterator[Line]:
    """What tuning strings up would add, where it is worth telling."""
    upward = search.upward
    if upward is None or not clearly_easier(upward.plan.criteria, search.best.plan.criteria):
        return
    yield from heading("Only by tuning strings up")
    told = "; ".join(retuning_text(search.strung, change) for change in upward.changes)
    yield from paragraph(f"{_capital(told)}: {_outcome(upward)} Not advised, see below.", 2)


def _safety(search: TuningSearch) -> Iterator[Line]:
    lines = []
    if search.advised.changes:
        lines.append(BACK)
    upward = search.upward
    if upward is not None and clearly_easier(upward.plan.criteria, search.best.plan.criteria):
        lines.append(RAISING)
    if lines:
        yield from heading("Safety")
        yield from (line for text in lines for line in paragraph(text, 2))


def _assumptions(search: TuningSearch, *, harp_assumed: bool) -> Iterator[str]:
    if harp_assumed:
        yield f"No harp is named: the {search.strung.name} is assumed."
    yield f"Player's times, a {ASSUMPTION}: {player_text(search.player)}."
    yield (
        "Retuning is advised only if it saves a third of the lost notes, of the cuts or of the flips, and at "
        f"least {FELT} flips or the last {FELT - 1}: a stated assumption."
    )
    searched = count_text(search.tunings, "tuning")
    if search.proved:
        yield f"{searched} searched: with none tuned up and as few retuned, no other does better (proved)."
    else:
        yield f"{searched} searched within a work limit: the best found, not proved the best."
    yield from search.performance.clock.remarks
    yield from search.performance.timeline.remarks
    yield from search.performance.score.remarks


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def search_json(search: TuningSearch) -> str:
    """What was found as one JSON object."""
    score = search.performance.score
    return json_text(
        {
            "format": FORMAT,
            "score": {
                "title": score.title,
                "part": "+".join(score.parts[index].id for index in search.performance.parts),
                "plucks": len(search.performance.plucks),
            },
            "harp": {
                "name": search.strung.name,
                "strung": search.strung.tuning,
                "strings": len(search.strung.strings),
            },
            "player": {
                "name": search.player.name,
                "flip": search.player.flip / 1000,
                "leave": search.player.leave / 1000,
                "place": search.player.place / 1000,
            },
            "tunings": search.tunings,
            "planned": search.planned,
            "proved": search.proved,
            "advised": search.front.index(search.advised),
            "front": [_entry(search.strung, tuning) for tuning in search.front],
            "upward": None if search.upward is None else _entry(search.strung, search.upward),
            "cautions": [RAISING] if search.upward is not None else [],
        }
    )


def _entry(strung: Harp, tuning: PieceTuning) -> dict[str, Any]:
    criteria, harp = tuning.plan.criteria, tuning.plan.harp
    changed = {index: change for change in tuning.changes for index in change.strings}
    return {
        "tuning": harp.tuning,
        "strings": [
            {
                "name": strung.strings[index].name,
                "number": strung.number(index),
                "from": changed[index].before,
                "to": changed[index].after,
                "played": index in tuning.played,
            }
            for index in sorted(changed)
        ],
        "tuned_up": tuning.tuned_up,
        "criteria": {
            "lost": criteria.lost,
            "lost_auxiliaries": criteria.lost_auxiliaries,
            "cuts": criteria.cuts,
            "flips": criteria.flips,
            "off_string": criteria.off_string,
            "right_hand": criteria.right_hand,
        },
        "proved": tuning.plan.proved,
        "starting_levers": [
            string.name for string, state in zip(harp.strings, tuning.plan.starting, strict=True) if state
        ],
    }

"""The report as one JSON object, for other programs: format "harpkeys/plan/1".

Seconds are floats of whole milliseconds, `q` values exact fractions of a quarter as strings, strings of the
harp named by letter and octave, bars by their printed numbers with a 0-based index beside. One entry of a
list to a line, so that two outputs can be compared line by line. Text is ASCII with escapes, as JSON allows,
so any pipe carries it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from harpkeys.harp.model import STATE_NAMES
from harpkeys.report.model import Report
from harpkeys.score.beats import beat_at, number_text
from harpkeys.score.pluck import Place

FORMAT = "harpkeys/plan/1"

Entry = dict[str, Any]


def report_json(report: Report) -> str:
    """The report as JSON text, with its last line end.

    Args:
        report: the report.

    Returns:
        The same text for the same report, byte for byte.
    """
    return _text(report_object(report))


def report_object(report: Report) -> Entry:
    """The report as the object that `report_json` writes.

    Args:
        report: the report.
    """
    return {
        "format": FORMAT,
        "score": _score(report),
        "harp": _harp(report),
        "player": {
            "name": report.player.name,
            "flip": _seconds(report.player.flip),
            "leave": _seconds(report.player.leave),
            "place": _seconds(report.player.place),
        },
        "keys": list(_keys(report)),
        "suggested_keys": list(_suggested(report)),
        "accidentals": list(_accidentals(report)),
        "starting_levers": _starting_levers(report),
        "plucks": list(_plucks(report)),
        "flips": list(_flips(report)),
        "criteria": _criteria(report),
        "bound": _bound(report),
        "proved": report.plan.proved,
        **_tempo(report),
        "passages": list(_passages(report)),
        "hands": list(_hands(report)),
        "verdict": report.verdict,
        "assumptions": list(report.assumptions),
        "cautions": list(report.cautions),
    }


def _text(entries: Entry) -> str:
    """JSON with one entry of each list to a line."""
    parts = []
    for name, value in entries.items():
        if isinstance(value, list) and value:
            items = ",\n".join("    " + json.dumps(item) for item in value)
            parts.append(f"  {json.dumps(name)}: [\n{items}\n  ]")
        else:
            parts.append(f"  {json.dumps(name)}: {json.dumps(value)}")
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _seconds(milliseconds: int) -> float:
    return milliseconds / 1000


def _number(exact: Fraction) -> float:
    """A float of at most six decimals, which any Python prints alike."""
    return round(float(exact), 6)


def _quarters(report: Report, tick: int) -> str:
    return str(Fraction(tick, report.performance.score.resolution))


def _bar(report: Report, measure: int) -> str:
    return report.performance.score.measures[measure].number


def _place(report: Report, place: Place) -> Entry:
    measure = report.performance.score.measures[place.measure]
    beat = beat_at(measure, place.tick, report.performance.score.resolution)
    return {
        "measure": measure.number,
        "index": place.measure,
        "q": _quarters(report, place.tick),
        "beat": number_text(beat),
        "pass": place.number,
    }


def _score(report: Report) -> Entry:
    performance = report.performance
    return {
        "title": performance.score.title,
        "part": "+".join(performance.score.parts[index].id for index in performance.parts),
        "part_name": " + ".join(performance.score.parts[index].name for index in performance.parts),
        "measures": len(performance.score.measures),
        "plucks": len(performance.plucks),
        "tempo_source": performance.clock.source,
        "bpm": _number(performance.clock.bpm),
    }


def _harp(report: Report) -> Entry:
    harp = report.harp
    return {
        "name": harp.name,
        "tuning": harp.tuning,
        "strings": [
            {
                "name": string.name,
                "number": harp.number(index),
                "tuned": string.tuned,
                "lever": string.lever,
                "down": string.down,
                "up": string.up,
            }
            for index, string in enumerate(harp.strings)
        ],
    }


def _keys(report: Report) -> Iterable[Entry]:
    for found in report.keys:
        yield {
            "measure": _bar(report, found.key.measure),
            "index": found.key.measure,
            "q": _quarters(report, found.key.onset),
            "staff": found.key.staff,
            "fifths": found.key.fifths,
            "mode": found.key.mode,
            "levers": list(found.levers(report.harp)),
            "reachable": found.reached,
            "out_of_reach": list(found.out_of_reach(report.harp)),
        }


def _suggested(report: Report) -> Iterable[Entry]:
    for section in report.suggested:
        yield {
            "from": {"measure": _bar(report, section.first), "index": section.first},
            "to": {"measure": _bar(report, section.last), "index": section.last},
            "name": section.church_mode or section.guess.name,
            "fifths": section.guess.fifths,
            "mode": section.guess.mode,
            "correlation": round(section.guess.correlation, 6),
            "agrees": section.agrees,
        }


def _accidentals(report: Report) -> Iterable[Entry]:
    for found in report.accidentals.notes:
        yield {
            "measure": _bar(report, found.measure),
            "index": found.measure,
            "q": _quarters(report, found.onset),
            "staff": found.staff,
            "written": found.written.name,
            "against": found.against.name,
            "string": None if found.index is None else report.harp.strings[found.index].name,
        }


def _starting_levers(report: Report) -> list[str]:
    return [
        string.name for string, state in zip(report.harp.strings, report.plan.starting, strict=True) if state
    ]


def _plucks(report: Report) -> Iterable[Entry]:
    strings = report.harp.strings
    plan = report.plan
    measures = report.performance.score.measures
    resolution = report.performance.score.resolution
    quarters: dict[int, str] = {}
    for pluck, play, lost in zip(report.performance.plucks, plan.plays, plan.lost, strict=True):
        tick = pluck.onset_tick
        if tick not in quarters:
            quarters[tick] = str(Fraction(tick, resolution))
        midi = pluck.pitch.midi
        yield {
            "id": pluck.id,
            "onset_q": quarters[tick],
            "onset_s": pluck.onset / 1000,
            "end_s": pluck.end / 1000,
            "midi": midi if isinstance(midi, int) else _number(midi),
            "written": pluck.pitch.name,
            "hand": pluck.hand,
            "staff": pluck.staff,
            "measure": measures[pluck.place.measure].number,
            "index": pluck.place.measure,
            "q": str(Fraction(pluck.place.tick, resolution)),
            "pass": pluck.place.number,
            "kind": pluck.kind,
            "string": None if play is None else strings[play[0]].name,
            "state": None if play is None else STATE_NAMES[play[1]],
            "lost": lost,
        }


def _flips(report: Report) -> Iterable[Entry]:
    score = report.performance.score
    for flip, time in zip(report.plan.flips, report.flip_times, strict=True):
        string = report.harp.strings[flip.string]
        moment = time.moment
        measure = score.measures[moment.measure]
        beat = beat_at(measure, moment.quarters * score.resolution, score.resolution)
        yield {
            "id": flip.id,
            "string": string.name,
            "number": report.harp.number(flip.string),
            "to": STATE_NAMES[flip.to],
            "sounds": string.sounding(flip.to).name,
            "hand": flip.hand,
            "start_s": _seconds(flip.start),
            "measure": measure.number,
            "index": moment.measure,
            "q": str(moment.quarters),
            "beat": number_text(beat),
            "pass": moment.number,
            "kind": "cut" if flip.is_cut else "clean",
            "cut_s": _seconds(flip.cut),
            "slack_s": _seconds(flip.slack),
            "free_s": _seconds(time.free),
            "free_beats": _number(time.free_beats),
            "rest_s": _seconds(time.rest),
            "rest_beats": _number(time.rest_beats),
            "after": flip.after,
            "before": flip.before,
        }


def _criteria(report: Report) -> Entry:
    criteria = report.plan.criteria
    slack = report.min_slack
    return {
        "lost": criteria.lost,
        "lost_auxiliaries": criteria.lost_auxiliaries,
        "cuts": criteria.cuts,
        "flips": criteria.flips,
        "off_string": criteria.off_string,
        "right_hand": criteria.right_hand,
        "min_slack_s": None if slack is None else _seconds(slack),
    }


def _bound(report: Report) -> dict[str, int]:
    names = ("lost", "lost_auxiliaries", "cuts", "flips_and_off_string", "flips", "right_hand")
    return dict(zip(names, report.plan.bound, strict=True))


def _tempo(report: Report) -> Entry:
    bpm = report.performance.clock.bpm
    answers = report.tempo
    ceiling = answers.ceiling
    return {
        "tempo_ceiling": None
        if ceiling is None
        else {
            "factor": ceiling.factor,
            "bpm": _number(bpm * Fraction(str(ceiling.factor))),
            "flip": ceiling.flip,
        },
        "playing_tempo": None
        if answers.playing is None
        else {"factor": answers.playing, "bpm": _number(bpm * Fraction(str(answers.playing)))},
        "player_needed": None if answers.player_needed is None else answers.player_needed.name,
    }


def _passages(report: Report) -> Iterable[Entry]:
    for passage in report.passages:
        yield {
            "from": _place(report, passage.start),
            "to": _place(report, passage.end),
            "pass": passage.start.number,
            "reason": passage.reason,
            "plucks": list(passage.plucks),
            "say": passage.say,
            "mend": list(passage.mend),
        }


def _hands(report: Report) -> Iterable[Entry]:
    for warning in report.warnings:
        yield {
            **_place(report, warning.place),
            "hand": warning.hand,
            "what": warning.what,
            "say": warning.sentence,
        }

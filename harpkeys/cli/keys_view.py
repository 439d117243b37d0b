"""What a harp can play, as text, as JSON ("harpkeys/keys/1") and as CSV."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from harpkeys.choose.called_out import CalledReach
from harpkeys.choose.key_reach import (
    ChordReach,
    KeyReach,
    Neighbour,
    Obstacle,
    obstacles_text,
    reach_scale,
)
from harpkeys.choose.scales import Scale, note_signs, note_words, scale_on
from harpkeys.cli.data_text import csv_text, json_text
from harpkeys.cli.terminal import Line
from harpkeys.cli.text_layout import entries, heading, paragraph, table
from harpkeys.harp.model import STATE_NAMES, UP, Harp
from harpkeys.harp.naming import listed
from harpkeys.pitch import LETTERS
from harpkeys.report.words import harp_text, strings_text, tuning_text

FORMAT = "harpkeys/keys/1"

MODES = ("dorian", "phrygian", "lydian", "mixolydian", "locrian")


def keys_lines(harp: Harp, reaches: Sequence[KeyReach], explanation: Sequence[str]) -> Iterator[Line]:
    """Everything a harp can play.

    Args:
        harp: the harp.
        reaches: how it plays every usual scale.
        explanation: paragraphs for a beginner, () for none.
    """
    found = {reach.scale: reach for reach in reaches}
    majors = [reach for reach in reaches if reach.scale.kind == "major"]
    within = sum(reach.reached for reach in majors)
    yield Line(f"{harp.name}: its keys", "heading")
    yield from paragraph(
        f"{within} of {len(majors)} key signatures are in reach before a lever has to move.", role="alarm"
    )
    yield Line()
    yield from entries([("Harp", f"{harp_text(harp)}."), ("Tuning", f"{tuning_text(harp)}.")])
    for text in explanation:
        yield Line()
        yield from paragraph(text)
    yield from heading("Key signatures, and the levers to raise in every octave")
    rows = []
    for reach in reversed(majors):
        minor = found[_minor_of(reach.scale)].scale
        tonics = f"{note_signs(reach.scale.tonic)} major, {note_signs(minor.tonic)} minor"
        rows.append((f"{_signs(reach.scale.fifths)}  {tonics}", f"{reach_text(harp, reach)}."))
    yield from entries(rows, 2)
    yield from _modes(majors, found)
    yield from _minors(harp, reaches)


def _minor_of(scale: Scale) -> Scale:
    return scale_on(scale.fifths, "minor")


def _signs(fifths: int) -> str:
    return f"{abs(fifths)}{'♯' if fifths > 0 else '♭'}" if fifths else "0 "


def reach_text(harp: Harp, reach: KeyReach) -> str:
    """How a harp plays a scale, as a clause: "levers up on F and C"."""
    if reach.reached:
        return _up_text(harp, reach.letters, reach.up)
    if reach.twin is not None:
        return f"under its other name, {reach.twin.name}: {_up_text(harp, reach.twin_letters, reach.twin_up)}"
    return f"out of reach: {obstacles_text(harp, reach.obstacles)}"


def _up_text(harp: Harp, letters: Sequence[int], up: Sequence[int]) -> str:
    """The levers of a setting, letters in the order in which they join."""
    if not up:
        return "no lever up"
    every = {index for index, string in enumerate(harp.strings) if string.diatonic % 7 in letters}
    if every == set(up):
        return f"levers up on {' '.join(LETTERS[letter] for letter in letters)}"
    return f"levers up on {strings_text(harp, up)}"


def _modes(majors: Sequence[KeyReach], found: dict[Scale, KeyReach]) -> Iterator[Line]:
    """The modes of the signatures in reach."""
    yield from heading("Modes with the same levers as their signature")
    rows: list[Sequence[str]] = [("signs", *MODES)]
    for reach in reversed(majors):
        if reach.reached:
            scales = [scale_on(reach.scale.fifths, mode) for mode in MODES]
            rows.append((_signs(reach.scale.fifths), *(note_signs(scale.tonic) for scale in scales)))
    if len(rows) > 1:
        yield from table(rows)
    else:
        yield from paragraph("No signature is in reach, so no mode is.", 2)


def _minors(harp: Harp, reaches: Sequence[KeyReach]) -> Iterator[Line]:
    """Harmonic and melodic minors: those in reach with their levers, the others with their reasons."""
    yield from heading("Minor keys with raised notes")
    rows = []
    for reach in reversed(reaches):
        if reach.scale.kind not in ("harmonic minor", "melodic minor"):
            continue
        name = f"{note_signs(reach.scale.tonic)} {reach.scale.kind.removesuffix(' minor')}"
        if reach.reached:
            text = reach_text(harp, reach)
            if reach.moving:
                notes = listed([note_signs((k, reach.scale.letters_down[k])) for k in reach.moving])
                text += f"; on the way down {notes}{'' if reach.both_ways else ', which is out of reach'}"
            rows.append((name, f"{text}."))
    if rows:
        yield from entries(rows, 2)
    else:
        yield from paragraph("None is in reach with levers set before the piece.", 2)
    out = [reach for reach in reaches if reach.scale.kind == "harmonic minor" and not reach.reached]
    told: dict[str, list[str]] = {}
    for reach in reversed(out):
        if abs(reach.scale.fifths) <= 4:
            told.setdefault(obstacles_text(harp, reach.obstacles), []).append(note_signs(reach.scale.tonic))
    if told.keys() - {""}:
        yield from paragraph("Out of reach in the harmonic minor:", 2)
        yield from entries([(listed(tonics), f"{reason}.") for reason, tonics in told.items() if reason], 4)


def called_lines(
    harp: Harp, answer: CalledReach, near: Sequence[Neighbour], elsewhere: Sequence[Harp]
) -> Iterator[Line]:
    """The answer to a key or chord that was called out.

    Args:
        harp: the harp.
        answer: what it does with it.
        near: what is one lever away from the setting of a key.
        elsewhere: the harp in other tunings, to compare.
    """
    called = answer.called
    yield Line(_said_text(answer), "heading")
    if answer.key is not None:
        text = reach_text(harp, answer.key)
        yield from paragraph(f"{text[0].upper()}{text[1:]}.", role="alarm")
    elif answer.chord is not None:
        yield from paragraph(_chord_text(harp, answer.chord), role="alarm")
    yield Line()
    rows = [("Harp", f"{harp_text(harp)}."), ("Tuning", f"{tuning_text(harp)}.")]
    if answer.key is not None:
        key = answer.key.scale
        rows.append(("Notes", " ".join(note_signs(note) for note in key.notes)))
        down = [note_signs((k, key.letters_down[k])) for k in answer.key.moving]
        if down:
            rows.append(("Descending", f"{listed(down)} instead"))
        if answer.raised or answer.lowered:
            moves = [
                f"{word} {strings_text(harp, strings)}"
                for word, strings in (("raise", answer.raised), ("lower", answer.lowered))
                if strings
            ]
            rows.append((f"From {_short(called.said)}", f"{'; '.join(moves)}."))
    yield from entries(rows)
    if answer.key is None:
        return
    yield from _elsewhere(answer.key.scale, elsewhere)
    if near:
        yield from heading("One lever away, moved in every octave")
        rows = []
        for neighbour in near:
            verb = "raise" if neighbour.to == UP else "lower"
            names = [scale.name for scale in neighbour.scales if scale.kind not in MODES]
            rows.append((f"{verb} {LETTERS[neighbour.letter]}", f"{listed(names)}."))
        yield from entries(rows, 2)


def _short(said: Any) -> str:
    return note_signs(said.tonic) if isinstance(said, Scale) else said.name


def _said_text(answer: CalledReach) -> str:
    called = answer.called
    sounding = called.sounding[0].name
    if called.capo and called.moved:
        return f"{called.said.name}, capo {called.capo}, {_moved_text(called.moved)}: sounds {sounding}"
    if called.capo:
        return f"Capo {called.capo}, shapes of {called.said.name}: sounds {sounding}"
    if called.moved:
        return f"{called.said.name}, {_moved_text(called.moved)}: {sounding}"
    return sounding


def _moved_text(semitones: int) -> str:
    count = "a semitone" if abs(semitones) == 1 else f"{abs(semitones)} semitones"
    return f"{'up' if semitones > 0 else 'down'} {count}"


def _chord_text(harp: Harp, reach: ChordReach) -> str:
    if reach.obstacles:
        return f"Out of reach: {obstacles_text(harp, reach.obstacles)}."
    told = []
    for letter, state, note in reach.states:
        on = "" if letter == note[0] else f" on the {LETTERS[letter]} string"
        told.append(f"{note_signs(note)}{on} (lever {STATE_NAMES[state]})")
    return f"{listed(told)}; the other strings stand as you like."


def _elsewhere(scale: Scale, harps: Sequence[Harp]) -> Iterator[Line]:
    if not harps:
        return
    yield from heading("The same key in other tunings of this harp")
    yield from entries([(harp.tuning, f"{reach_text(harp, reach_scale(harp, scale))}.") for harp in harps], 2)


def side_by_side_lines(harps: Sequence[Harp], scales: Sequence[Scale]) -> Iterator[Line]:
    """Tunings side by side: the letters whose levers are up for each major key.

    Args:
        harps: the same harp in several tunings.
        scales: major keys, flattest first.
    """
    yield Line("Levers up for each key, by tuning", "heading")
    yield Line()
    rows: list[Sequence[str]] = [("major", "minor", *(harp.tuning for harp in harps))]
    for scale in reversed(scales):
        cells = []
        for harp in harps:
            reach = reach_scale(harp, scale)
            cells.append(_cell(reach))
        rows.append((note_signs(scale.tonic), note_signs(_minor_of(scale).tonic), *cells))
    yield from table(rows)
    yield Line()
    yield from paragraph(
        "Each letter in every octave, in the order in which the levers join; a dash is out of reach, and "
        "what stands after = is another name for the same sounds. Modes stand like the major key of their "
        "signature.",
        2,
    )


def _cell(reach: KeyReach) -> str:
    if reach.twin is not None:
        return f"= {note_signs(reach.twin.tonic)}"
    return "".join(LETTERS[k] for k in reach.letters) or "none" if reach.reached else "-"


# For other programs.


def harp_entry(harp: Harp) -> dict[str, Any]:
    """A harp in few words."""
    return {
        "name": harp.name,
        "tuning": harp.tuning,
        "strings": len(harp.strings),
        "lowest": harp.strings[0].name,
        "highest": harp.strings[-1].name,
    }


def scale_entry(harp: Harp, reach: KeyReach) -> dict[str, Any]:
    """How a harp plays a scale, as an object."""
    return {
        "name": reach.scale.name,
        "tonic": note_signs(reach.scale.tonic, ascii_only=True),
        "kind": reach.scale.kind,
        "fifths": reach.scale.fifths,
        "notes": [note_signs(note, ascii_only=True) for note in reach.scale.notes],
        "reached": reach.reached,
        "levers": [LETTERS[letter] for letter in reach.letters],
        "strings": [harp.strings[index].name for index in reach.up],
        "moving": [LETTERS[letter] for letter in reach.moving],
        "both_ways": reach.both_ways,
        "twin": reach.twin.name if reach.twin else None,
        "twin_levers": [LETTERS[letter] for letter in reach.twin_letters],
        "obstacles": [_obstacle_entry(harp, obstacle) for obstacle in reach.obstacles],
        "say": reach_text(harp, reach),
    }


def _obstacle_entry(harp: Harp, obstacle: Obstacle) -> dict[str, Any]:
    return {
        "note": note_signs(obstacle.note, ascii_only=True),
        "strings": [harp.strings[index].name for index in obstacle.strings],
        "reason": obstacle.reason,
        "rivals": [note_signs(note, ascii_only=True) for note in obstacle.rivals],
        "contested": [LETTERS[letter] for letter in obstacle.contested],
    }


def keys_json(harps: Sequence[tuple[Harp, Sequence[KeyReach]]], explanation: Sequence[str]) -> str:
    """What harps can play, as JSON; several are the same harp in several tunings."""
    return json_text(
        {
            "format": FORMAT,
            "harps": [
                {**harp_entry(harp), "scales": [scale_entry(harp, reach) for reach in reaches]}
                for harp, reaches in harps
            ],
            "explanation": list(explanation),
        }
    )


def called_json(harp: Harp, answer: CalledReach, near: Sequence[Neighbour], elsewhere: Sequence[Harp]) -> str:
    """The answer to what was called out, as JSON."""
    called = answer.called
    key, chord = answer.key, answer.chord
    return json_text(
        {
            "format": FORMAT,
            "harps": [harp_entry(harp)],
            "called": {
                "text": called.text,
                "said": called.said.name,
                "capo": called.capo,
                "semitones": called.moved,
                "sounding": [sounding.name for sounding in called.sounding],
            },
            "key": scale_entry(harp, key) if key else None,
            "chord": {
                "notes": [note_signs(note, ascii_only=True) for note in chord.chord.notes],
                "strings": [
                    {
                        "string": LETTERS[letter],
                        "state": STATE_NAMES[state],
                        "note": note_signs(note, ascii_only=True),
                    }
                    for letter, state, note in chord.states
                ],
                "obstacles": [_obstacle_entry(harp, obstacle) for obstacle in chord.obstacles],
            }
            if chord
            else None,
            "raise": [harp.strings[index].name for index in answer.raised],
            "lower": [harp.strings[index].name for index in answer.lowered],
            "one_lever_away": [
                {
                    "letter": LETTERS[neighbour.letter],
                    "to": STATE_NAMES[neighbour.to],
                    "strings": [harp.strings[index].name for index in neighbour.strings],
                    "scales": [scale.name for scale in neighbour.scales],
                }
                for neighbour in near
            ],
            "elsewhere": [
                {"tuning": other.tuning, **scale_entry(other, reach_scale(other, key.scale))}
                for other in elsewhere
                if key is not None
            ],
        }
    )


def keys_csv(harps: Sequence[tuple[Harp, Sequence[KeyReach]]]) -> str:
    """What harps can play, a line for each scale."""
    header = (
        "tuning",
        "key",
        "kind",
        "signs",
        "reached",
        "levers",
        "letters_up",
        "moving",
        "sounds_as",
        "reason",
    )
    rows = [
        (
            harp.tuning,
            note_words(reach.scale.tonic),
            reach.scale.kind,
            reach.scale.fifths,
            "yes" if reach.reached else "no",
            " ".join(LETTERS[letter] for letter in reach.letters) if reach.reached else "",
            len(reach.letters) if reach.reached else "",
            " ".join(LETTERS[letter] for letter in reach.moving),
            reach.twin.name if reach.twin else "",
            "" if reach.setting is not None else obstacles_text(harp, reach.obstacles),
        )
        for harp, reaches in harps
        for reach in reaches
    ]
    return csv_text(header, rows)

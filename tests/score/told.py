"""A score told in short lines, to be compared with expectations written by hand.

A note is "bar onset duration pitch" and its signs, times in quarter notes: "2 3/2 1/2 Eb4 chord >tie".
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from harpkeys.pitch import LETTERS, Pitch
from harpkeys.score.model import Jump, KeySignature, Measure, Note, Ornament, Part, Score, TempoMark


def told_score(score: Score) -> dict[str, Any]:
    """Everything that an expectation may speak of."""
    return {
        "title": score.title,
        "resolution": score.resolution,
        "parts": [told_part(part) for part in score.parts],
        "notes": {part.id: [told_note(note, score) for note in part.notes] for part in score.parts},
        "keys": {part.id: [told_key(key, score) for key in part.keys] for part in score.parts},
        "measures": [told_measure(measure, score) for measure in score.measures],
        "tempos": [told_tempo(mark, score) for mark in score.tempos],
        "remarks": list(score.remarks),
    }


def told_note(note: Note, score: Score) -> str:
    """One note."""
    what = "rest" if note.rest else "unpitched" if note.pitch is None else note.pitch.name
    words = [str(note.measure + 1), quarters(note.onset, score), quarters(note.duration, score), what]
    words += [flag for flag in ("chord", "grace", "cue", "hidden") if getattr(note, flag)]
    words += [">tie"] * note.tie_stop + ["tie>"] * note.tie_start
    words += [f"voice={note.voice}"] * (note.voice != "1") + [f"staff={note.staff}"] * (note.staff != 1)
    words += [f"accidental={note.accidental}"] * (note.accidental is not None)
    if note.signs is not None:
        signs = note.signs
        words += [told_ornament(ornament) for ornament in signs.ornaments]
        words += [f"tremolo={signs.tremolo}/{signs.tremolo_marks}"] * (signs.tremolo is not None)
        words += [f"harmonic={signs.harmonic}"] * (signs.harmonic is not None)
        words += ["gliss"] * signs.glissando + ["arpeggiate"] * signs.arpeggiate + ["fermata"] * signs.fermata
    return " ".join(words)


def told_ornament(ornament: Ornament) -> str:
    """Its kind, and its accidentals where it has any."""
    if ornament.above is None and ornament.below is None:
        return ornament.kind
    alters = [
        "-" if alter is None else f"{alter:+d}" if alter else "0"
        for alter in (ornament.above, ornament.below)
    ]
    return f"{ornament.kind}({','.join(alters)})"


def told_key(key: KeySignature, score: Score) -> str:
    """A key signature by bar, onset, fifths, mode and its letters."""
    letters = []
    for letter, alter in enumerate(key.alters):
        plain = Pitch(28 + letter, alter).name[:-1] if isinstance(alter, int) else f"{LETTERS[letter]}{alter}"
        letters.append(plain)
    fifths = "none" if key.fifths is None else str(key.fifths)
    staff = "" if key.staff is None else f" staff={key.staff}"
    place = f"{key.measure + 1} {quarters(key.onset, score)}"
    return f"{place} {fifths} {key.mode or '-'} {' '.join(letters)}{staff}"


def told_measure(measure: Measure, score: Score) -> str:
    """A bar by printed number, length and time signature, and what stands in it."""
    time = "-" if measure.beats is None else f"{measure.beats[0]}/{measure.beats[1]}"
    words = [measure.number, quarters(measure.length, score), time]
    words += ["implicit"] * measure.implicit + ["open"] * measure.opens
    words += [f"ending={','.join(map(str, measure.ending))}"] * bool(measure.ending)
    words += [f"close={measure.closes}"] * bool(measure.closes)
    return " ".join(words + [told_jump(jump, score) for jump in measure.jumps])


def told_jump(jump: Jump, score: Score) -> str:
    """A jump or target by kind, name, onset and the words it was read from."""
    name = f":{jump.name}" if jump.name else ""
    words = f"[{jump.words}]" if jump.words else ""
    return f"{jump.kind}{name}@{quarters(jump.onset, score)}{words}"


def told_tempo(mark: TempoMark, score: Score) -> str:
    """A tempo mark."""
    sound = " sound" if mark.sound else ""
    return f"{mark.measure + 1} {quarters(mark.onset, score)} {mark.bpm}{sound}"


def told_part(part: Part) -> str:
    """A part by id, name and staves."""
    words = [part.id, part.name, f"staves={part.staves}"]
    words += [f"program={part.program}"] * (part.program is not None) + [f"sound={part.sound}"] * bool(
        part.sound
    )
    return " ".join(words)


def quarters(ticks: int, score: Score) -> str:
    """Ticks in quarter notes."""
    return str(Fraction(ticks, score.resolution))

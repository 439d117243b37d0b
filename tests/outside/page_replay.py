"""A player who has only the marked page: music21 for its notes and words, and nothing of the planner.

The words are read by the grammar in the docstring of `harpkeys.mark.words`, with a parser of its own. The
player sets the levers as the words at the first bar say, takes the bars in a given order, obeys every cue of
the pass after the notes at its own place, and listens to every note: does its string, or the string that
stands beside it ("on E4"), sound it?

Not plucked here: rests, cue notes, hidden notes, and notes that a tie leads to.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

LETTERS = "CDEFGAB"
SEMITONES = (0, 2, 4, 5, 7, 9, 11)
SIGNS = {"♮": 0, "♯": 1, "♯♯": 2, "♭": -1, "♭♭": -2}
TUNED = {"C": "", "F": "B", "B-flat": "BE", "E-flat": "BEA", "A-flat": "BEAD"}
"""Letters that are tuned flat in each tuning (trade tables: flats come in the order B E A D)."""

String = tuple[int, int]
"""Octave and letter."""


@dataclass(frozen=True)
class Rig:
    """The harp: its tuning's name, and its lowest and highest string."""

    tuning: str
    lowest: String
    highest: String

    def strings(self) -> list[String]:
        """From the lowest up."""
        low, high = (octave * 7 + letter for octave, letter in (self.lowest, self.highest))
        return [divmod(number, 7) for number in range(low, high + 1)]

    def tuned(self, string: String) -> int:
        """Alteration with the lever down."""
        return -1 if LETTERS[string[1]] in TUNED[self.tuning] else 0


@dataclass(frozen=True)
class Heard:
    """A note of the page: where, what it sounds, its string by spelling, its staff."""

    onset: Fraction
    midi: float
    string: String
    staff: int


@dataclass(frozen=True)
class Said:
    """Words on the page."""

    onset: Fraction
    text: str
    staff: int


@dataclass
class Bar:
    """A printed bar."""

    notes: list[Heard] = field(default_factory=list)
    words: list[Said] = field(default_factory=list)


@dataclass(frozen=True)
class Order:
    """One lever movement as read: the string, its new alteration, whether the lever goes up."""

    string: String
    alter: int
    up: bool


class PageError(ValueError):
    """Words that the grammar does not know."""


# Reading the page.


def read_page(path: Path, *parts: int) -> list[Bar]:
    """The bars of a part, or of joined parts, as music21 reads them.

    Args:
        path: a MusicXML file.
        parts: places of the parts in the file.
    """
    from music21 import converter, stream

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = converter.parseFile(str(path), format="musicxml", forceSource=True, storePickle=False)
    bars: list[Bar] = []
    by_part: list[list[Any]] = []
    identity = ""
    for part in score.parts:  # the staves of one part are parts of their own in music21
        own = str(part.id).rsplit("-Staff", 1)[0] if isinstance(part, stream.PartStaff) else ""
        if own and own == identity:
            by_part[-1].append(part)
        else:
            by_part.append([part])
        identity = own
    for number, part in enumerate(staff for place in parts for staff in by_part[place]):
        transposes = any(i.transposition is not None for i in part.recurse().getElementsByClass("Instrument"))
        sounding = part.toSoundingPitch() if transposes else part
        for index, measure in enumerate(sounding.getElementsByClass("Measure")):
            while len(bars) <= index:
                bars.append(Bar())
            _read_bar(measure, number, bars[index])
    return bars


def _read_bar(measure: Any, staff: int, bar: Bar) -> None:
    from music21 import expressions, harmony, note

    for element in measure.recurse():
        onset = Fraction(element.getOffsetInHierarchy(measure)).limit_denominator(65535)
        if isinstance(element, expressions.TextExpression):
            bar.words.append(Said(onset, element.content, staff))
        if not isinstance(element, note.GeneralNote) or isinstance(element, harmony.Harmony):
            continue
        for member in element.notes if element.isChord else [element]:
            if not isinstance(member, note.Note) or element.style.hideObjectOnPrint:
                continue
            if member.style.hideObjectOnPrint or member.style.noteSize == "cue":
                continue
            if member.tie is not None and member.tie.type in ("stop", "continue"):
                continue
            string = (member.pitch.implicitOctave, LETTERS.index(member.pitch.step))
            bar.notes.append(Heard(onset, member.pitch.ps, string, staff))


# Reading the words.

_ORDINAL = re.compile(r"(\d+)(?:st|nd|rd|th)")
_MOVE = re.compile(r"(?P<where>.+) (?P<arrow>[↑↓])(?P<right> r\.h\.)?")
_WAYS = (
    re.compile(r"(?P<letter>[A-G])(?P<sign>[♮♯♭]*)(?P<octave>\d+)"),
    re.compile(r"(?P<harp>\d)(?P<letter>[A-G])(?P<sign>[♮♯♭]*)"),
    re.compile(r"(?P<letter>[A-G])(?P<sign>[♮♯♭]+) \((?P<number>\d+)\)"),
    re.compile(r"string (?P<number>\d+)"),
    re.compile(r"(?:(?P<word>high|middle|low) )?(?P<letter>[A-G])(?P<sign>[♮♯♭]*)"),
)


def on_one_line(text: str) -> str:
    """Words without their line feeds."""
    return " ".join(text.split())


def passes_and_rest(text: str) -> tuple[set[int] | None, str]:
    """The passes that words name (None for every pass), and what is said for them."""
    head, colon, rest = text.partition(" time: ")
    if not colon:
        return None, text
    return {int(number) for number in _ORDINAL.findall(head)}, rest


def string_named(text: str, rig: Rig) -> tuple[String, int | None]:
    """The string that words name, and the alteration they give it, None where they give none."""
    strings = rig.strings()
    for way in _WAYS:
        match = way.fullmatch(text)
        if match is None:
            continue
        found = match.groupdict()
        letter = LETTERS.index(found["letter"]) if "letter" in found else -1
        sign = found.get("sign") or ""
        if found.get("octave"):
            string = (int(found["octave"]), letter)
        elif found.get("harp"):
            # Octave 4 of the harp holds middle C; an octave runs from F up to E.
            string = ((8 if letter < 3 else 7) - int(found["harp"]), letter)
        elif found.get("number"):
            string = strings[len(strings) - int(found["number"])]
        else:
            same = [one for one in strings if one[1] == letter]
            words = {1: [None], 2: ["low", "high"], 3: ["low", "middle", "high"]}[len(same)]
            string = same[words.index(found["word"])]
        if letter not in (-1, string[1]) or string not in strings:
            raise PageError(f"no such string: {text}")
        return string, SIGNS[sign] if sign else None
    raise PageError(f"no string: {text}")


def cue_orders(text: str, rig: Rig) -> list[Order]:
    """The movements of a cue without its passes; empty where the words are no cue."""
    if "↑" not in text and "↓" not in text:
        return []
    orders = []
    for piece in text.split(", "):
        match = _MOVE.fullmatch(piece)
        if match is None:
            raise PageError(f"no movement: {piece}")
        string, alter = string_named(match["where"], rig)
        if alter is None:
            raise PageError(f"no note: {piece}")
        orders.append(Order(string, alter, match["arrow"] == "↑"))
    return orders


def setting_words(bars: Sequence[Bar], rig: Rig) -> tuple[str, str]:
    """The levers that stand up and the notes that are always played elsewhere, as the first bar says."""
    said = [on_one_line(words.text) for words in bars[0].words]
    settings = [text for text in said if text.startswith("Tuning ")]
    if len(settings) != 1:
        raise PageError(f"{len(settings)} settings")
    match = re.fullmatch(r"Tuning (.+)\. Levers up: (.+?)\.(?: Play every (.+)\.)?", settings[0])
    if match is None or match[1] != rig.tuning:
        raise PageError(f"the setting {settings[0]}")
    return match[2], match[3] or ""


def starting_states(levers: str, rig: Rig) -> dict[String, int]:
    """What every string sounds at the start: alterations."""
    states = {string: rig.tuned(string) for string in rig.strings()}
    if levers == "none":
        return states
    for group in levers.split("; "):
        every = group.startswith("every ")
        for piece in group.removeprefix("every ").split(", "):
            if every:
                letter, alter = LETTERS.index(piece[0]), SIGNS[piece[1:]]
                raised = [string for string in states if string[1] == letter]
            else:
                string, sign = string_named(piece, rig)
                raised, alter = [string], SIGNS["♮"] if sign is None else sign
            for string in raised:
                if alter != rig.tuned(string) + 1:
                    raise PageError(f"a lever cannot make {piece}")
                states[string] = alter
    return states


def moved_notes(text: str, rig: Rig) -> dict[tuple[String, int], String]:
    """Written notes, by string and alteration, and the string on which each is always played."""
    found: dict[tuple[String, int], String] = {}
    for piece in text.split(", ") if text else ():
        note, _, string = piece.partition(" on ")
        for way in _WAYS[:2]:
            match = way.fullmatch(note)
            if match is not None:
                letter = LETTERS.index(match["letter"])
                named = match.groupdict()
                octave = named.get("octave") or (8 if letter < 3 else 7) - int(named["harp"])
                sign = match["sign"]
                alter = SIGNS[sign] if sign in SIGNS else len(sign) * SIGNS[sign[0]]
                found[(int(octave), letter), alter] = string_named(string, rig)[0]
                break
        else:
            raise PageError(f"no written note: {note}")
    return found


# Playing.


@dataclass(frozen=True)
class Miss:
    """A note that does not sound as written: where, on which pass of its bar, what."""

    bar: int
    number: int
    onset: Fraction
    midi: float


def sounding(string: String, alter: int) -> int:
    """MIDI number."""
    return 12 * (string[0] + 1) + SEMITONES[string[1]] + alter


def replay(bars: Sequence[Bar], order: Sequence[int], rig: Rig) -> tuple[list[Miss], int]:
    """Play the page.

    Args:
        bars: the page.
        order: indexes of the bars as they are played.
        rig: the harp.

    Returns:
        The notes that sound wrong, and how many were played.
    """
    levers, elsewhere = setting_words(bars, rig)
    states, moved = starting_states(levers, rig), moved_notes(elsewhere, rig)
    passes = [0] * len(bars)
    missed: list[Miss] = []
    played = 0
    for index in order:
        passes[index] += 1
        bar = bars[index]
        cues, beside = _words_of_pass(bar, passes[index], rig)
        held: dict[tuple[int, String, float], String] = {}
        for note in sorted(bar.notes, key=lambda note: note.onset):
            while cues and cues[0][0] < note.onset:
                _obey(cues.pop(0)[1], states, rig)
            played += 1
            alter = round(note.midi - sounding(note.string, 0))
            key = (note.staff, note.string, note.midi)
            for named in beside.get((note.onset, note.staff), ()):
                if sounding(named, states[named]) == note.midi:
                    held[key] = named  # to the end of the bar
            string = held.get(key) or moved.get((note.string, alter), note.string)
            if string not in states or sounding(string, states[string]) != note.midi:
                missed.append(Miss(index, passes[index], note.onset, note.midi))
        for _, order_given in cues:
            _obey(order_given, states, rig)
    return missed, played


def _words_of_pass(
    bar: Bar, number: int, rig: Rig
) -> tuple[list[tuple[Fraction, Order]], dict[tuple[Fraction, int], list[String]]]:
    """The cues of a bar on a pass, in order, and the strings that stand beside notes."""
    cues: list[tuple[Fraction, Order]] = []
    beside: dict[tuple[Fraction, int], list[String]] = {}
    for words in sorted(bar.words, key=lambda words: words.onset):
        passes, text = passes_and_rest(on_one_line(words.text))
        if passes is not None and number not in passes:
            continue
        if re.match(r"on (string )?(high |middle |low )?[A-G\d]", text):
            names = [string_named(name, rig)[0] for name in text.removeprefix("on ").split(", ")]
            beside.setdefault((words.onset, words.staff), []).extend(names)
        else:
            cues += [(words.onset, order) for order in cue_orders(text, rig)]
    return cues, beside


def _obey(order: Order, states: dict[String, int], rig: Rig) -> None:
    if order.alter != rig.tuned(order.string) + order.up:
        raise PageError(f"the lever cannot make {order}")
    states[order.string] = order.alter

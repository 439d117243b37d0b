"""The words of marks, and how they are told from other words on a page.

Everything that is printed follows this grammar; a program can read it back.

    cue      = [ passes ": " ] move { ", " move }            levers in the order in which they are moved
    passes   = ordinal { ", " ordinal } [ " and " ordinal ] " time"        1st time, 1st and 3rd time
    move     = note-on-string " " arrow [ " r.h." ]          r.h. where the right hand moves it, else the left
    arrow    = "↑" | "↓"                                     lever up, lever down
    setting  = "Tuning " name ". Levers up: " levers "." [ " Play every " moved { ", " moved } "." ]
                                                             once, at the first bar; all other levers are down
    levers   = "none" | every [ "; " singles ] | singles
    every    = "every " note { ", " note }                   every string of that letter that has a lever
    singles  = note-on-string { ", " note-on-string }        from the lowest up
    moved    = written " on " string                         a note that is always played on another string
    neighbour = [ passes ": " ] "on " string { ", " string } notes here that are played on another string than
                                                             so far; it holds to the end of the bar

    note     = letter sign                                   what the string sounds: F♯, F♮, B♭
    sign     = "♮" | "♯" | "♯♯" | "♭"                       in written notes also others, up to three
    written  = letter sign octave                            E♭5; with labels by harp octave 3E♭

A string is named in one of four ways:

    scientific    F♯4        F4           middle C is C4
    harp octave   4F♯        4F           octaves run E down to F, counted from the top; middle C is 4C
    number        F♯ (17)    string 17    counted from the highest
    plain         high F♯    high F       high, middle or low where that is clear, no word for the only string
                                          of a letter; else as scientific

The name of the tuning is that of `harpkeys.harp.tunings`. Long words are broken into lines: a line feed may
stand wherever the grammar has a space after a comma, a colon, a semicolon or a full stop.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, get_args

from harpkeys.harp.model import UP, Harp, HarpString
from harpkeys.harp.naming import harp_octave, listed, note_text, register_word
from harpkeys.mark.cues import Cue, Move
from harpkeys.pitch import LETTERS, Pitch
from harpkeys.report.words import ordinal

Labels = Literal["scientific", "harp-octave", "number", "plain"]

LABELS: tuple[Labels, ...] = get_args(Labels)
"""The ways in which a string can be named."""

ARROWS = ("↓", "↑")
"""By state."""

STACKED = 3
"""So many levers of a cue stand on a line each, or it would reach over the barline; more stand in pairs, or
it would be higher than the room between the staves."""

LINE = 64
"""Longest line of a setting, in characters; at an ordinary size half as long again is as wide as a page."""

_SIGN = "(?:♯{1,3}|♭{1,3}|♮)"
_ON_STRING = (
    rf"(?:[A-G]{_SIGN}-?\d+|-?\d[A-G]{_SIGN}|[A-G]{_SIGN} \(\d+\)|(?:high |middle |low )?[A-G]{_SIGN})"
)
_STRING = r"(?:[A-G]-?\d+|-?\d[A-G]|string \d+|(?:high |middle |low )?[A-G])"
_ORDINAL = r"\d+(?:st|nd|rd|th)"
_PASSES = rf"(?:{_ORDINAL}(?:, {_ORDINAL})*(?: and {_ORDINAL})? time: )?"
_MOVE = rf"{_ON_STRING} [↑↓](?: r\.h\.)?"
_WRITTEN = rf"(?:[A-G]{_SIGN}-?\d+|-?\d[A-G]{_SIGN})"
_EVERY = rf"every [A-G]{_SIGN}(?:, [A-G]{_SIGN})*"
_SINGLES = rf"{_ON_STRING}(?:, {_ON_STRING})*"

CUE = re.compile(rf"{_PASSES}{_MOVE}(?:, {_MOVE})*")
NEIGHBOUR = re.compile(rf"{_PASSES}on {_STRING}(?:, {_STRING})*")
SETTING = re.compile(
    rf"Tuning .{{1,400}}\. Levers up: (?:none|(?:{_EVERY}(?:; {_SINGLES})?|{_SINGLES}))"
    rf"(?:\. Play every {_WRITTEN} on {_STRING}(?:, {_WRITTEN} on {_STRING})*)?\.?",
    re.DOTALL,
)


def passes_text(passes: Sequence[int]) -> str:
    """ "2nd time: ", "1st and 3rd time: "; "" for every pass."""
    return f"{listed([ordinal(number) for number in passes])} time: " if passes else ""


def cue_text(cue: Cue, harp: Harp, labels: Labels = "scientific") -> str:
    """The words of a cue.

    Args:
        cue: the cue.
        harp: the harp it is for.
        labels: how strings are named.
    """
    moves = [_move_text(move, harp, labels) for move in cue.moves]
    on_line = 1 if len(moves) <= STACKED else 2
    lines = [", ".join(moves[start : start + on_line]) for start in range(0, len(moves), on_line)]
    first = passes_text(cue.passes).rstrip()
    return "\n".join([*([first] if first else []), ",\n".join(lines)])


def _move_text(move: Move, harp: Harp, labels: Labels) -> str:
    right = " r.h." if move.hand == "right" else ""
    return f"{on_string(harp, move.string, move.note, labels)} {ARROWS[move.to]}{right}"


def on_string(harp: Harp, string: int, note: Pitch, labels: Labels) -> str:
    """What a string sounds, and which string it is: "F♯4"."""
    name = note_sign(note)
    if labels == "harp-octave":
        return f"{harp_octave(note.diatonic)}{name}"
    if labels == "number":
        return f"{name} ({harp.number(string)})"
    word = _register(harp, string) if labels == "plain" else None
    return f"{name}{note.octave}" if word is None else f"{word}{name}"


def string_label(harp: Harp, string: int, labels: Labels) -> str:
    """Which string, without what it sounds: "F4"."""
    diatonic = harp.strings[string].diatonic
    letter = LETTERS[diatonic % 7]
    if labels == "harp-octave":
        return f"{harp_octave(diatonic)}{letter}"
    if labels == "number":
        return f"string {harp.number(string)}"
    word = _register(harp, string) if labels == "plain" else None
    return harp.strings[string].name if word is None else f"{word}{letter}"


def _register(harp: Harp, string: int) -> str | None:
    """ "high ", "middle " or "low ", "" for the only string of its letter; None where no word is clear."""
    word = register_word(harp, string)
    if word:
        return f"{word} "
    alone = [one for one in harp.strings if (one.diatonic - harp.strings[string].diatonic) % 7 == 0]
    return "" if len(alone) == 1 else None


def note_sign(note: Pitch) -> str:
    """Letter and sign, the natural's included: "F♮"."""
    text = note_text(note, octave=False)
    return text if note.alter else f"{text}♮"


def neighbour_text(
    strings: Iterable[int], passes: Sequence[int], harp: Harp, labels: Labels = "scientific"
) -> str:
    """The words at notes that are played on strings of other letters, "on E4".

    Args:
        strings: indexes of the strings.
        passes: passes on which they are; empty for all.
        harp: the harp.
        labels: how strings are named.
    """
    names = ", ".join(string_label(harp, string, labels) for string in sorted(strings))
    return f"{passes_text(passes)}on {names}"


def setting_text(
    harp: Harp,
    starting: Sequence[int],
    labels: Labels = "scientific",
    moved: Mapping[Pitch, int] | None = None,
) -> str:
    """The words at the first bar: the tuning, every lever that stands up, notes always played elsewhere.

    Args:
        harp: the harp.
        starting: state of every string.
        labels: how single strings are named.
        moved: written notes that are always played on another string, and which.
    """
    letters = [letter for letter in range(7) if _whole_letter(harp, starting, letter)]
    every = [note_sign(_of_letter(harp, letter)[0].sounding(UP)) for letter in letters]
    singles = [
        on_string(harp, index, string.sounding(UP), labels)
        for index, string in enumerate(harp.strings)
        if starting[index] == UP and string.diatonic % 7 not in letters
    ]
    lists = [f"every {', '.join(every)}"] if every else []
    lists += [", ".join(singles)] if singles else []
    text = f"Tuning {harp.tuning}. Levers up: {'; '.join(lists) or 'none'}."
    if moved:
        pairs = [f"{_written(note, labels)} on {string_label(harp, k, labels)}" for note, k in moved.items()]
        text += f" Play every {', '.join(pairs)}."
    # Spaces inside an item, as in "F♯ (17)", do not part lines.
    items = re.split(r"(?<=[,:;.]) ", text)
    lines = [items[0]]
    for item in items[1:]:
        if len(lines[-1]) + 1 + len(item) <= LINE:
            lines[-1] += f" {item}"
        else:
            lines.append(item)
    return "\n".join(lines)


def _written(note: Pitch, labels: Labels) -> str:
    """A note as written."""
    name = note_sign(note)
    return f"{harp_octave(note.diatonic)}{name}" if labels == "harp-octave" else f"{name}{note.octave}"


def _of_letter(harp: Harp, letter: int) -> list[HarpString]:
    return [string for string in harp.strings if string.diatonic % 7 == letter and string.lever]


def _whole_letter(harp: Harp, starting: Sequence[int], letter: int) -> bool:
    """Whether all levers of a letter, at least two, stand up and make the same note."""
    strings = _of_letter(harp, letter)
    up = all(starting[string.diatonic - harp.lowest] == UP for string in strings)
    return up and len(strings) > 1 and len({string.tuned for string in strings}) == 1

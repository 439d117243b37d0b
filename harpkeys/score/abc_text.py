"""ABC tunes put into words that music21 reads as the standard means them.

Left as they are, music21 10 would read some of them otherwise without a word: it forgets accidentals within
the bar in files that do not name version 2 of the standard, passes over fields in square brackets and single
fields between bars, and leaves out rests of whole bars and unseen rests.

Reference: the ABC standard 2.1 (3.2 inline fields, 4.2 accidentals, 4.5 rests, 11.3 propagation of
accidentals).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

_FIELD = re.compile(r"[A-Za-z+]:|%")
"""How a line begins that is no music."""

_INLINE = re.compile(r"\[([A-UW-Za-z]):([^\[\]|\n]*)\]")
"""A field among the notes; changes of voice (V:) stay."""

_ASIDE = re.compile(r'("[^"]*"|![^!\s]+!|\[[A-Za-z]:[^\[\]]*\]|%.*)')
"""What stands among the notes and is none: words, signs by name, inline fields, remarks."""

_WHOLE_BARS = re.compile(r"Z(\d*)")
_UNSEEN = re.compile(r"x(?=[\d/\s|:\]<>)-]|$)")
_UNSEEN_BAR = re.compile(r"\[\|\](?=[ \t]*\\?\n?[ \t]*(?::?\||\[\|))")
"""An unseen bar line right before another, between which music21 would lose what that one says."""

_MOST_BARS = 10_000
"""More bars of rest than any tune has."""


def readable(tune: str) -> str:
    """A tune as music21 has to be told it.

    Args:
        tune: an ABC tune, line ends as \\n, with the lines of each voice together.
    """
    for step in (with_lasting_accidentals, with_fields_on_lines, with_rests, with_plain_bars):
        tune = step(tune)
    return tune


def with_lasting_accidentals(tune: str) -> str:
    """A tune whose accidentals hold until the bar ends, as the standard has it.

    Told of version 2, music21 sees to that but for chords and for notes tied over a bar line, whose
    accidentals are written out. What is tied over has its accidental for that bar too.
    """
    first, end, rest = tune.partition("\n")
    if not end:
        return tune
    rest = re.sub(r"(?m)^%abc.*\n", "", rest)
    return _in_music(f"{first}\n%abc-2.1\n{rest}", _Accidentals().written)


_SOUNDING = re.compile(
    r"(?P<bar>\||::)|(?P<opens>\[(?=[^\[|\]]*\]))|(?P<closes>\][\d/]*(?P<held>-)?)"
    r"|(?P<sign>\^\^?|__?|=)?(?P<letter>[A-Ga-g])(?P<octave>[,']*)(?P<length>[\d/]*)(?P<tie>-)?"
)
"""What matters to accidentals: bar lines, chords and notes."""


class _Accidentals:
    """A reader of the accidentals of a tune, line after line."""

    def __init__(self) -> None:
        self._in_force: dict[str, str] = {}
        self._as_music21: dict[str, str] = {}
        self._tied: dict[str, str] = {}
        self._chord: dict[str, str] | None = None

    def written(self, line: str) -> str:
        """A line with the accidentals that music21 would forget."""
        if _FIELD.match(line):
            if line.startswith("V:"):
                self._begin_bar()
                self._tied, self._chord = {}, None
            return line
        return "".join(
            piece if number % 2 else _SOUNDING.sub(self._met, piece)
            for number, piece in enumerate(_ASIDE.split(line))
        )

    def _begin_bar(self) -> None:
        self._in_force, self._as_music21 = {}, {}

    def _met(self, match: re.Match[str]) -> str:
        if match["letter"]:
            return self._note(match)
        if match["bar"]:
            self._begin_bar()
        elif match["opens"]:
            self._chord = {}
        elif match["closes"]:
            if match["held"] and self._chord:
                self._tied.update(self._chord)
            self._chord = None
        return match[0]

    def _note(self, match: re.Match[str]) -> str:
        sign, letter = match["sign"], match["letter"].upper()
        pitch = match["letter"] + match["octave"]
        over_the_line = self._tied.pop(pitch, "")
        if sign:
            self._in_force[letter] = sign
        elif over_the_line:
            self._in_force.setdefault(letter, over_the_line)
        sounds = self._in_force.get(letter, "")
        known = "" if self._chord is not None else self._as_music21.get(letter, "")
        shown = sign or (sounds if sounds != known else "")
        if shown and self._chord is None:
            self._as_music21[letter] = shown
        if sounds and self._chord is not None:
            self._chord[pitch] = sounds
        if sounds and match["tie"]:
            self._tied[pitch] = sounds
        return f"{shown or ''}{match['letter']}{match['octave']}{match['length']}{match['tie'] or ''}"


def with_fields_on_lines(tune: str) -> str:
    """A tune whose changes of key, meter, unit and tempo stand on lines of their own, each twice.

    Of a field that stands by itself between two bars music21 takes no notice; of two it does.
    """

    def apart(line: str) -> str:
        if re.match(r"[KLMQ]:", line):
            return f"{line}\n{line}"
        if _FIELD.match(line):
            return line
        return _INLINE.sub(field, line)

    def field(match: re.Match[str]) -> str:
        # Of others, such as remarks, music21 would take letters for notes.
        return f"\n{match[1]}:{match[2]}\n{match[1]}:{match[2]}\n" if match[1] in "KLMQ" else ""

    return _in_music(tune, apart)


def with_rests(tune: str) -> str:
    """A tune whose rests of whole bars (Z) and unseen rests (x) are ordinary rests.

    Fields stand on lines of their own. Where the meter is free, a bar has no length, and Z stays.
    """
    meter, unit = _meter_and_unit(tune.partition("\nK:")[0])
    left = _MOST_BARS

    def rested(line: str) -> str:
        nonlocal meter, unit
        if _FIELD.match(line):
            meter, unit = _changed(line, meter, unit)
            return line
        return "".join(
            piece if number % 2 else _UNSEEN.sub("z", _WHOLE_BARS.sub(bars, piece))
            for number, piece in enumerate(_ASIDE.split(line))
        )

    def bars(match: re.Match[str]) -> str:
        nonlocal left
        count = int(match[1][:6] or 1)
        if meter is None or count > left:
            return match[0]
        left -= count
        length = meter / unit
        rest = f"z{length.numerator}" + (f"/{length.denominator}" if length.denominator > 1 else "")
        return "|".join([rest] * count)

    return _in_music(tune, rested)


def with_plain_bars(tune: str) -> str:
    """A tune without unseen bar lines ([|]) beside others, and with two bar lines more at its end.

    These stand at the end of each voice that has repeats, with no bar between them: of a voice with fewer
    than two plain bar lines music21 reads neither bars nor repeats.
    """
    head, key, body = tune.partition("\nK:")
    body = _UNSEEN_BAR.sub("", body)
    voices = re.split(r"(?m)^(?=V:)", body)
    return head + key + "".join(f"{voice}| |\n" if re.search(":[|:]", voice) else voice for voice in voices)


def _in_music(tune: str, change: Callable[[str], str]) -> str:
    """A tune with the lines after its head changed."""
    head, key, body = tune.partition("\nK:")
    first, end, rest = body.partition("\n")
    return f"{head}{key}{first}{end}" + "\n".join(map(change, rest.split("\n")))


def _meter_and_unit(head: str) -> tuple[Fraction | None, Fraction]:
    """Length of a bar, None where it is free, and of the unit, in whole notes, as a head says them."""
    meter: Fraction | None = None
    unit: Fraction | None = None
    for line in head.split("\n"):
        if line.startswith("M:"):
            meter = _meter(line[2:])
        elif line.startswith("L:"):
            unit = _fraction(line[2:])
    # Section 3.1.7: a sixteenth where a bar is shorter than three quarters of a whole note, else an eighth.
    return meter, unit or Fraction(1, 16 if meter is not None and meter < Fraction(3, 4) else 8)


def _changed(line: str, meter: Fraction | None, unit: Fraction) -> tuple[Fraction | None, Fraction]:
    if line.startswith("M:"):
        return _meter(line[2:]), unit
    if line.startswith("L:"):
        return meter, _fraction(line[2:]) or unit
    return meter, unit


def _meter(words: str) -> Fraction | None:
    name = words.partition("%")[0].strip()
    return Fraction(1) if name in ("C", "C|") else _fraction(name)


def _fraction(words: str) -> Fraction | None:
    found = re.match(r"\s*(\d{1,4})\s*/\s*(\d{1,4})", words)
    return Fraction(int(found[1]), int(found[2])) if found and int(found[1]) and int(found[2]) else None

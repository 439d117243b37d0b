"""ABC tunes put into words that music21 reads as the standard means them.

Left as they are, music21 10 would read some of them otherwise without a word: it forgets accidentals within
the bar in files that do not name version 2 of the standard, passes over fields in square brackets and single
fields between bars, leaves out rests of whole bars and unseen rests, takes a capital letter before a double
repeat (F::) and the rest of its line for a field, and drops notes with a fermata (H) or an accent in words.

Reference: the ABC standard 2.1 (3 and 3.2 fields, 4.2 accidentals, 4.5 rests, 4.8 bar lines, 4.14 and 4.16
decorations, 4.19 annotations, 11.3 propagation of accidentals).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

_FIELD = re.compile(r"(?![A-GX-Za-gx-z]:[|:\]])[A-Za-z+]:|%")
"""How a line among the notes begins that is no music.

Section 3 keeps A to G and X to Z from naming fields there, since they are notes and rests: F:| is a note and
a repeat. Where no bar line follows, what was meant is a field all the same.
"""

_INLINE = re.compile(r"\[([A-UW-Za-z]):([^\[\]|\n]*)\]")
"""A field among the notes; changes of voice (V:) stay."""

_ASIDE = re.compile(r'("[^"]*"|![^!\s]+!|\[[A-Za-z]:[^\[\]]*\]|%.*)')
"""What stands among the notes and is none: words, signs by name, inline fields, remarks."""

_WHOLE_BARS = re.compile(r"Z(\d*)")
_UNSEEN = re.compile(r"x(?=[\d/\s|:\]<>)-]|$)")
_UNSEEN_BAR = re.compile(r"\[\|\](?=[ \t]*\\?\n?[ \t]*(?::?\||\[\|))")
"""An unseen bar line right before another, between which music21 would lose what that one says."""

_BAR_LINE = re.compile(r"\(\d(?::\d*){0,2}|(?:\[(?=[|:])|[|:]\]?)+")
"""Bar lines of any shape (section 4.8); tuplets, whose colons are none, come first."""

_SECTION = re.compile(
    r"(?m)^V:|^(?![A-GX-Za-gx-z]:[|:\]])[A-Za-z+]:.*|\"[^\"\n]*\"|![^!\s]+!|\[[A-Za-z]:[^\[\]\n]*\]|%.*|\[\|\]"
    r"|(?P<start>\|:)|(?P<end>:\|)|(?P<double>\|\||\|\]|\[\|)"
)
"""What begins and ends a section of a tune with plain repeats."""

_MUTE = re.compile(r"[HJWjpq]")
"""Letters of decorations (4.14, 4.16) that make music21 drop the next note or put one in."""

_BESIDE = re.compile(r'"[\s()]*>[^"]*"')
"""A word to the right of its note (4.19), with which music21 drops the note."""

_COUNTED = re.compile(r"(?P<end>:\|)|\+[^+\s]+\+|(?P<note>[A-Ga-g])")
"""Ends of repeats and notes of a tune made readable; signs by name in pluses are neither."""

_BAR_BEFORE_END = re.compile(r"(?<![|:\[])\|(?=[ \t]*\\?\n?[ \t]*:\|)")
"""A bar line right before the end of a repeat, which music21 would lose."""

_MOST_BARS = 10_000
"""More bars of rest than any tune has."""


def readable(tune: str) -> str:
    """A tune as music21 has to be told it.

    Args:
        tune: an ABC tune, line ends as \\n, with the lines of each voice together.
    """
    for step in (
        with_plain_signs,
        with_plain_repeats,
        with_starts_of_repeats,
        with_lasting_accidentals,
        with_fields_on_lines,
        with_rests,
        with_plain_bars,
    ):
        tune = step(tune)
    return tune


def with_plain_signs(tune: str) -> str:
    """A tune without the signs that cost music21 a note."""

    def plainly(line: str) -> str:
        if _FIELD.match(line):
            return line
        return "".join(
            ("" if _BESIDE.match(piece) else piece) if number % 2 else _MUTE.sub("", piece)
            for number, piece in enumerate(_ASIDE.split(line))
        )

    return _in_music(tune, plainly)


def with_plain_repeats(tune: str) -> str:
    """A tune whose repeats are written |: and :| and nothing else.

    By section 4.8 ::, :|: and :||: all are an end and a start, and bar lines may have any shape.
    """

    def plain(match: re.Match[str]) -> str:
        shape = match[0]
        if ":" not in shape or shape.startswith("("):
            return shape
        seen = shape.replace("[|]", "")
        if not seen.strip(":"):
            seen = shape.replace("[|]", "|")
        if seen == ":" or not (seen.startswith(":") or seen.endswith(":")):
            return shape
        return ":|" * seen.startswith(":") + "|:" * seen.endswith(":")

    def plainly(line: str) -> str:
        if _FIELD.match(line):
            return line
        return "".join(
            piece if number % 2 else _BAR_LINE.sub(plain, piece)
            for number, piece in enumerate(_ASIDE.split(line))
        )

    return _in_music(tune, plainly)


def with_starts_of_repeats(tune: str) -> str:
    """A tune with plain repeats in which a double bar line from which a repeat is taken is its start.

    So section 4.8 recommends it where the end of a repeated section has no start: the music goes on from the
    beginning of the tune, or the latest double bar line or end of a repeated section.
    """
    head, key, body = tune.partition("\nK:")
    double: re.Match[str] | None = None
    started = False
    pieces: list[str] = []
    done = 0
    for match in _SECTION.finditer(body):
        if match["double"]:
            double = match
        elif match["start"]:
            started = True
        elif match["end"]:
            if double and not started:
                pieces += [body[done : double.start()], "|:"]
                done = double.end()
            double, started = None, False
        elif match[0] == "V:":
            double, started = None, False
    return "".join([head, key, *pieces, body[done:]])


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
    body = _BAR_BEFORE_END.sub("", _UNSEEN_BAR.sub("", body))
    voices = re.split(r"(?m)^(?=V:)", body)
    return head + key + "".join(f"{voice}| |\n" if re.search(":[|:]", voice) else voice for voice in voices)


@dataclass(frozen=True, slots=True)
class Counts:
    """What a tune made readable holds, to be found again in what music21 makes of it.

    Attributes:
        notes: its notes, those of chords and grace notes too.
        repeats: its ends of repeats that have notes before them.
        ends_in_repeat: whether the last of these has no notes after it.
    """

    notes: int
    repeats: int
    ends_in_repeat: bool


def counts(tune: str) -> Counts:
    """What a tune made readable holds."""
    notes = repeats = 0
    open_bar = ends_in_repeat = False
    for line in tune.partition("\nK:")[2].split("\n")[1:]:
        if _FIELD.match(line):
            open_bar = open_bar and not line.startswith("V:")
            continue
        for piece in _ASIDE.split(line)[::2]:
            for match in _COUNTED.finditer(piece):
                if match["note"]:
                    notes, open_bar, ends_in_repeat = notes + 1, True, False
                elif match["end"] and open_bar:
                    repeats, open_bar, ends_in_repeat = repeats + 1, False, True
    return Counts(notes, repeats, ends_in_repeat)


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

"""A note list in plain text, in which the demo scores are composed.

A piece is a text file: header lines "word value", an empty line, then one line a bar:

    12 ending:1 | R @mf D5/2( B4/4) | L G2/4 D3 B3

that is the bar's printed number, what happens to the bar, and after each stroke a voice: R and R2 on the
upper staff, L and L2 on the lower. "33 =1" is a bar with the voices of bar 1. Lines that begin with "%" say
nothing to the reader.

Bars: repeat, end (end:3 for three times), ending:1, ending-stop:1, ending-open:2, segno, coda, tocoda, ds,
dc, fine, double, key:G_major, time:3/4, clef2:G, tempo:4=96, pickup, length:1 (quarters in a short bar).

Notes: letter, sign (# b), octave (C4 = middle C), "/" and the length: 1 2 4 8 16 32, dots, "t" for a triplet.
A length holds until the next. Chords stand in brackets, "r" is a rest, "rm" a bar's rest, "^" before a note
makes it a grace note. After the length: "~" ties on, "(" and ")" slur, and marks in braces, {tr,arp}:

    tr mord inv-mord turn inv-turn      ornaments; "below=sharp", "above=flat" set their auxiliaries
    trem3>  >trem3                      the two notes of a tremolo of three beams
    gliss>  >gliss  harm  arp           glissando, harmonic at the string, rolled chord
    stacc ten acc ferm                  articulation, a fermata
    !                                   a courtesy accidental

Directions begin with "@": dynamics (@p), hairpins (@< @> and @! where they end), words (@"rit."); "&Am7/G" is
a chord symbol. Musical time is in exact quarter notes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

LETTERS = "CDEFGAB"
SIGNS = {"": 0, "#": 1, "b": -1}
TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
HEADER = ("title", "for", "tempo", "staves", "key", "time", "system", "page")
"""Words of the header: title, instrument, "words | beat | beats a minute", number of staves, key, time, bars
a system (4 unless told otherwise), systems a page (9)."""

_NOTE = re.compile(
    r"(?P<grace>\^)?(?P<what>\[[^\]]*\]|rm|r|[A-G][b#]?[0-9])"
    r"(?:/(?P<length>[0-9]+)(?P<dots>\.*)(?P<triplet>t?))?"
    r"(?P<after>[~()]*)(?:\{(?P<marks>[^}]*)\})?(?P<late>[~()]*)"
)
_PITCH = re.compile(r"([A-G])([b#]?)([0-9])")
_TOKEN = re.compile(r'@"[^"]*"|\S*\[[^\]]*\]\S*|\S+')


@dataclass(frozen=True)
class Pitch:
    """A spelled pitch: letter, semitones above the natural, octave."""

    letter: str
    alter: int
    octave: int


@dataclass(frozen=True)
class Note:
    """A note, chord (several pitches) or rest (none); onset and length in quarters, 0 for a grace note."""

    onset: Fraction
    length: Fraction
    pitches: tuple[Pitch, ...]
    type: str
    dots: int = 0
    triplet: bool = False
    grace: bool = False
    whole_bar: bool = False
    tie: bool = False
    slur_start: bool = False
    slur_stop: bool = False
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Direction:
    """Something said at a place: "dynamics", "wedge" or "words"; or a "harmony"."""

    onset: Fraction
    kind: str
    text: str


@dataclass(frozen=True)
class Bar:
    """A printed bar: number, what happens to it, and its voices by name."""

    number: str
    attributes: dict[str, str]
    voices: dict[str, tuple[Note | Direction, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Piece:
    """A piece: its header by word, its bars."""

    header: dict[str, str]
    bars: tuple[Bar, ...]


def read_piece(text: str) -> Piece:
    """Read a piece.

    Raises:
        ValueError: a line cannot be read, or a voice does not fill its bar.
    """
    head, _, body = text.partition("\n\n")
    header = dict(line.split(maxsplit=1) for line in head.splitlines() if not line.startswith("%"))
    unknown = set(header) - set(HEADER)
    if unknown:
        raise ValueError(f"unknown header {sorted(unknown)}")
    bars: list[Bar] = []
    time = header["time"]
    for line in body.splitlines():
        if not line.strip() or line.startswith("%"):
            continue
        start, *voices = re.split(r"\s+\|\s+", line.strip())
        number, *words = start.split()
        attributes = dict((*word.split(":", 1), "")[:2] for word in words)
        time = attributes.get("time", time)
        length = Fraction(attributes["length"]) if "length" in attributes else bar_length(time)
        read = {name: _voice(rest, length, number) for name, _, rest in (v.partition(" ") for v in voices)}
        copied = next((word[1:] for word in words if word.startswith("=")), None)
        if copied:
            read = {**next(bar.voices for bar in bars if bar.number == copied), **read}
        bars.append(Bar(number, attributes, read))
    return Piece(header, tuple(bars))


def bar_length(time: str) -> Fraction:
    """Length in quarter notes of a bar of this time, "6/8"."""
    beats, unit = time.split("/")
    return Fraction(4 * int(beats), int(unit))


def _voice(text: str, length: Fraction, number: str) -> tuple[Note | Direction, ...]:
    events: list[Note | Direction] = []
    now = Fraction(0)
    last = "4"
    for token in _TOKEN.findall(text):
        if token[0] in "@&":
            events.append(_direction(token, now))
            continue
        match = _NOTE.fullmatch(token)
        if not match:
            raise ValueError(f"bar {number}: {token} cannot be read")
        if match["length"] and not match["grace"]:
            last = match["length"] + match["dots"] + match["triplet"]
        written = last if not match["grace"] else match["length"] or "8"
        note = _note(match, now, written, length)
        events.append(note)
        now += note.length
    if now != length:
        raise ValueError(f"bar {number}: {text!r} lasts {now} quarters, not {length}")
    return tuple(events)


def _note(match: re.Match[str], now: Fraction, written: str, bar: Fraction) -> Note:
    what = match["what"]
    marks = tuple(mark for mark in (match["marks"] or "").split(",") if mark)
    dots, triplet = written.count("."), written.endswith("t")
    unit = int(written.rstrip(".t"))
    length = Fraction(4, unit) * (2 - Fraction(1, 2**dots)) * (Fraction(2, 3) if triplet else 1)
    if any(mark.strip("<>").startswith("trem") for mark in marks):
        length /= 2  # each note of a two-note tremolo is printed with the length of both
    if what == "rm":
        length = bar
    after = match["after"] + match["late"]
    pitches = tuple(
        Pitch(letter, SIGNS[sign], int(octave))
        for letter, sign, octave in _PITCH.findall(what if what[0] != "r" else "")
    )
    return Note(
        onset=now,
        length=Fraction(0) if match["grace"] else length,
        pitches=pitches,
        type=TYPES[unit],
        dots=dots,
        triplet=triplet,
        grace=bool(match["grace"]),
        whole_bar=what == "rm",
        tie="~" in after,
        slur_start="(" in after,
        slur_stop=")" in after,
        marks=marks,
    )


def _direction(token: str, now: Fraction) -> Direction:
    if token[0] == "&":
        return Direction(now, "harmony", token[1:])
    word = token[1:]
    if word.startswith('"'):
        return Direction(now, "words", word.strip('"'))
    wedge = {"<": "crescendo", ">": "diminuendo", "!": "stop"}.get(word)
    return Direction(now, "wedge", wedge) if wedge else Direction(now, "dynamics", word)

"""A key or chord that somebody calls out, read as people say it, and moved to where it sounds.

    G · Bb minor · F sharp harmonic minor · D dorian · Em          a key; a bare "Em" is the key of E minor
    Bm7b5 · D7/F# · Gsus4                                          a chord
    capo 3, shapes of G · G shapes with the capo on 2              a guitar: it sounds the capo's frets higher
    A major, down a tone · up a minor third from E · D, up 2       a singer; a bare number counts semitones

Capo and moves add up. The sounding key is spelled with the fewest sharps or flats.

References: capo arithmetic (sounding = shape + frets, in semitones); interval sizes, theory of music; chord
symbols, common practice. The grammar is this project's own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from harpkeys.choose.key_reach import ChordReach, KeyReach, reach_chord, reach_scale
from harpkeys.choose.scales import CHORDS, MOST_SIGNS, Chord, Note, Scale, chord_on
from harpkeys.errors import OptionError
from harpkeys.harp.model import Harp
from harpkeys.harp.naming import fifths_note, quoted
from harpkeys.pitch import LETTER_FIFTHS, LETTERS

HIGHEST_FRET = 12
"""Highest fret of a capo."""

MOST_SEMITONES = 24
"""Farthest move."""

_MEND = (
    'say a key such as "B flat minor", a chord such as "D7", a capo such as "capo 3, shapes of G", '
    'or a move such as "A major, down a tone"'
)


@dataclass(frozen=True, slots=True)
class CalledOut:
    """What somebody called out.

    Attributes:
        text: the words.
        said: the key or chord as said: a guitarist's shapes, a singer's usual key.
        capo: fret of the capo, 0 without one.
        moved: semitones up (negative: down) that were asked for beside the capo.
        sounding: what it sounds, in every usual spelling, that with the fewest signs first.
    """

    text: str
    said: Scale | Chord
    capo: int
    moved: int
    sounding: tuple[Scale, ...] | tuple[Chord, ...]


@dataclass(frozen=True, slots=True)
class CalledReach:
    """What a harp does with what was called out.

    Attributes:
        called: what was called out.
        key: how the harp plays the sounding key, None for a chord.
        chord: how it plays the sounding chord, None for a key.
        raised: where a key moved, strings whose levers go up from the setting of the key as said; () where
            either key is out of reach.
        lowered: likewise those that go down.
    """

    called: CalledOut
    key: KeyReach | None = None
    chord: ChordReach | None = None
    raised: tuple[int, ...] = ()
    lowered: tuple[int, ...] = ()


_LETTER = r"(?P<letter>[A-Ga-g])"
_SIGN = r"(?P<sign>[#b♯♭]{1,2}|[\s-]*(?:double[\s-]?)?(?:sharp|flat)(?![A-Za-z]))?"
_KEY = re.compile(
    rf"{_LETTER}{_SIGN}\s*(?P<kind>m|maj|min|(?:(?:natural|harmonic|melodic)\s+)?minor|major|dorian|phrygian"
    r"|lydian|mixolydian|aeolian|ionian|locrian)?",
    re.IGNORECASE,
)
_CHORD = re.compile(rf"{_LETTER}{_SIGN}(?P<suffix>[^\s/]*)(?:/(?P<bass>[A-Ga-g])(?P<bass_sign>[#b♯♭]?))?")
_CAPO = re.compile(
    r"\b(?:the\s+)?capo\s*(?:on|at|in)?\s*(?:the\s+)?(?:fret\s*)?(\d+)(?:st|nd|rd|th)?(?:\s+fret)?\b"
)
_NUMBERS = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6}
_UNITS = {
    r"semi-?tones?|half[\s-]?(?:tones?|steps?)": 1,
    r"(?:whole[\s-]?)?(?:tones?|steps?)": 2,
    r"minor seconds?": 1,
    r"(?:major )?seconds?": 2,
    r"minor thirds?": 3,
    r"major thirds?": 4,
    r"(?:perfect )?fourths?": 5,
    r"tritones?": 6,
    r"(?:perfect )?fifths?": 7,
    r"minor sixths?": 8,
    r"major sixths?": 9,
    r"minor sevenths?": 10,
    r"major sevenths?": 11,
    r"octaves?": 12,
}
"""Semitones of the intervals people name."""

_MOVE = re.compile(
    rf"\b(?P<way>up|down)\s+(?:by\s+)?(?P<number>{'|'.join(_NUMBERS)}|\d+)?\s*(?P<and_half>and a half\s+)?"
    rf"(?P<unit>{'|'.join(_UNITS)})?(?P<half_after>\s+and a half)?\b(?:\s+(?:from|of))?"
)
_FILLER = re.compile(
    r"\b(?:shapes?|chords?|keys?|play(?:ing)?|the|with|of|in|on|like|then|from|and|to|sing(?:ing|s)?)\b"
)
_SUFFIXES = {
    "maj": "",
    "M": "",
    "min": "m",
    "-": "m",
    "°": "dim",
    "o": "dim",
    "+": "aug",
    "M7": "maj7",
    "Δ": "maj7",
    "Δ7": "maj7",
    "min7": "m7",
    "-7": "m7",
    "ø": "m7b5",
    "ø7": "m7b5",
    "°7": "dim7",
    "o7": "dim7",
    "sus": "sus4",
    "M9": "maj9",
    "min9": "m9",
    "min6": "m6",
}
"""Other ways to write the suffixes of CHORDS."""


def parse_called(text: str) -> CalledOut:
    """Read what somebody called out.

    Args:
        text: as in the module's docstring.

    Raises:
        OptionError: it cannot be read, or goes too far.
    """
    rest = " ".join(re.sub(r"[,;:.]", " ", text).split())
    capo, rest = _taken_capo(rest, text)
    moved, rest = _taken_moves(rest, text)
    rest = " ".join(_FILLER.sub(" ", rest).split()) if not _readable(rest) else rest
    if not rest:
        raise OptionError(f"{quoted(text)} names no key or chord", _MEND)
    said = _key(rest) or _chord(rest)
    if said is None:
        raise OptionError(f"{quoted(text)} cannot be read", _MEND)
    if not -MOST_SEMITONES <= moved <= MOST_SEMITONES:
        raise OptionError(f"{quoted(text)} moves {abs(moved)} semitones", f"move at most {MOST_SEMITONES}")
    if isinstance(said, Scale):
        return CalledOut(text, said, capo, moved, moved_scale(said, capo + moved))
    return CalledOut(text, said, capo, moved, moved_chord(said, capo + moved))


def reach_called(harp: Harp, called: CalledOut) -> CalledReach:
    """What a harp does with what was called out, spelled with the fewest signs."""
    sounding = called.sounding[0]
    if isinstance(sounding, Chord):
        return CalledReach(called, chord=reach_chord(harp, sounding))
    key = reach_scale(harp, sounding)
    if called.said == sounding or isinstance(called.said, Chord):
        return CalledReach(called, key)
    before, after = reach_scale(harp, called.said).setting, key.setting
    if before is None or after is None:
        return CalledReach(called, key)
    raised, lowered = set(after) - set(before), set(before) - set(after)
    return CalledReach(called, key, None, tuple(sorted(raised)), tuple(sorted(lowered)))


def _readable(text: str) -> bool:
    return _key(text) is not None


def _taken_capo(rest: str, text: str) -> tuple[int, str]:
    """The fret of the capo, 0 without one, and the words without it."""
    found = _CAPO.search(rest.lower())
    if found is None:
        return 0, rest
    fret = int(found[1])
    if fret > HIGHEST_FRET:
        raise OptionError(f"{quoted(text)} puts the capo on fret {fret}", f"give a fret up to {HIGHEST_FRET}")
    return fret, rest[: found.start()] + " " + rest[found.end() :]


def _taken_moves(rest: str, text: str) -> tuple[int, str]:
    """The semitones of all moves added up, and the words without them."""
    moved = 0
    while found := _MOVE.search(rest.lower()):
        if not found["number"] and not found["unit"]:
            raise OptionError(f"{quoted(text)} does not say how far {found['way']}", 'say "a tone" or "2"')
        number = int(_NUMBERS.get(found["number"] or "a", 0) or found["number"])
        unit = next(
            (size for form, size in _UNITS.items() if re.fullmatch(form, found["unit"] or "semitone")), 1
        )
        size = number * unit + (unit // 2 if found["half_after"] or found["and_half"] else 0)
        moved += size if found["way"] == "up" else -size
        rest = rest[: found.start()] + " " + rest[found.end() :]
    return moved, " ".join(rest.split())


def _key(text: str) -> Scale | None:
    """A key, None where the words are none."""
    found = _KEY.fullmatch(text.strip())
    if found is None:
        return None
    words = " ".join((found["kind"] or "").lower().split())
    if found["kind"] == "M":
        words = "major"
    kind = {
        "": "major",
        "maj": "major",
        "ionian": "major",
        "m": "minor",
        "min": "minor",
        "natural minor": "minor",
        "aeolian": "minor",
    }.get(words, words)
    scale = Scale(_note(found["letter"], found["sign"]), kind)
    return scale if abs(scale.tonic[1]) < 2 else None


def _chord(text: str) -> Chord | None:
    """A chord, None where the words are none."""
    found = _CHORD.fullmatch(text.strip())
    if found is None:
        return None
    suffix = found["suffix"].replace("♭", "b").replace("♯", "#")
    suffix = _SUFFIXES.get(suffix, suffix)
    root = _note(found["letter"], found["sign"])
    if suffix not in CHORDS or abs(root[1]) > 1:
        return None
    bass = _note(found["bass"], found["bass_sign"]) if found["bass"] else None
    return chord_on(root, suffix, bass)


def _note(letter: str, sign: str | None) -> Note:
    words = (sign or "").lower()
    plain = words.replace("double", "").replace("sharp", "#").replace("flat", "♭").replace("b", "♭")
    alter = plain.count("#") + plain.count("♯") - plain.count("♭")
    return LETTERS.index(letter.upper()), alter * (2 if "double" in words else 1)


def moved_scale(scale: Scale, semitones: int) -> tuple[Scale, ...]:
    """A scale so many semitones higher, in every spelling of up to seven signs, that with the fewest first.

    Unmoved it stays spelled as it is.
    """
    if semitones == 0:
        return (scale,)
    place = _place(scale.tonic) + 7 * semitones
    # Tonics twelve fifths apart sound the same.
    spellings = [Scale(fifths_note(place % 12 + turn), scale.kind) for turn in (-24, -12, 0, 12)]
    usual = [found for found in spellings if abs(found.fifths) <= MOST_SIGNS]
    return tuple(sorted(usual, key=lambda found: (abs(found.fifths), -found.fifths)))


def moved_chord(chord: Chord, semitones: int) -> tuple[Chord, ...]:
    """A chord so many semitones higher, spelled like the usual key on its root (minor for a minor chord)."""
    if semitones == 0:
        return (chord,)
    kind = "minor" if chord.suffix.startswith("m") and not chord.suffix.startswith("maj") else "major"
    found = []
    for scale in moved_scale(Scale(chord.root, kind), semitones):
        step = _place(scale.tonic) - _place(chord.root)
        bass = None if chord.bass is None else fifths_note(_place(chord.bass) + step)
        found.append(chord_on(scale.tonic, chord.suffix, bass))
    return tuple(found)


def _place(note: Note) -> int:
    """Place of a note on the line of fifths."""
    return LETTER_FIFTHS[note[0]] + 7 * note[1]

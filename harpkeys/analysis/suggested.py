"""The key that the notes suggest, beside the signature.

The Krumhansl-Schmuckler algorithm: the durations of the twelve pitch classes are correlated with the profile
of each of the 24 major and minor keys; the key with the highest correlation is suggested. Weights are written
durations, tied continuations included; grace notes have none; microtones are left out.

The algorithm knows no spelling. Of the enharmonic keys the one nearest to the notes' mean place on the line
of fifths is named: a key's own seven notes have their mean two fifths above its signature.

It knows no modes but major and minor either. Where the suggested tonic is that of a church mode of the
signature in force, and nearly all notes fit the signature, the mode is named as well: D minor under no
signature, with B natural throughout, is D dorian.

References: C. L. Krumhansl, "Cognitive Foundations of Musical Pitch" (Oxford, 1990), chapters 2 and 4; the
profiles are those of Krumhansl and Kessler (1982).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import sqrt
from operator import mul

from harpkeys.harp.naming import MODE_TONICS, key_name
from harpkeys.pitch import LETTER_FIFTHS, NATURAL_SEMITONES
from harpkeys.score.key_map import key_map
from harpkeys.score.model import KeySignature, Note, Part

MAJOR_PROFILE = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR_PROFILE = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""How well each semitone above the tonic fits the key. Krumhansl and Kessler (1982)."""

MODE_SHARE = 0.95
"""Share of the durations that must fit the signature before a church mode is named; a stated assumption."""

_CHURCH_MODES = ("dorian", "phrygian", "lydian", "mixolydian")

Weights = dict[tuple[int, int | Fraction], int]
"""Ticks by letter number and alteration."""


@dataclass(frozen=True, slots=True)
class KeyGuess:
    """A key and how well the notes fit it.

    Attributes:
        fifths: its signature, sharps (positive) or flats (negative).
        mode: "major" or "minor".
        correlation: Pearson's r between durations and profile, -1 to 1.
    """

    fifths: int
    mode: str
    correlation: float

    @property
    def name(self) -> str:
        """Name of the key, "E-flat major"."""
        return key_name(self.fifths, self.mode)


@dataclass(frozen=True, slots=True)
class SuggestedKey:
    """The key that the notes of a section suggest.

    Attributes:
        first, last: index of the section's first and last printed measure.
        onset: ticks from the start of the first measure where the section begins.
        guess: the best key.
        second: the next best, to tell how clear the guess is.
        signature: the signature in force at the section's start, None where there is none.
        church_mode: name of the church mode of the signature that the notes fit ("D dorian"), "" where none.
    """

    first: int
    last: int
    onset: int
    guess: KeyGuess
    second: KeyGuess
    signature: KeySignature | None
    church_mode: str = ""

    @property
    def agrees(self) -> bool:
        """Whether the suggested key, or a church mode, has the signature that is written."""
        written = self.signature.fifths if self.signature is not None else 0
        return bool(self.church_mode) or written == self.guess.fifths


def _standardized(profile: Sequence[float]) -> tuple[float, ...]:
    mean = sum(profile) / 12
    size = sqrt(sum((value - mean) ** 2 for value in profile))
    return tuple((value - mean) / size for value in profile)


_ROWS = tuple(
    (tonic, mode, tuple(profile[(k - tonic) % 12] for k in range(12)))
    for mode, profile in (("major", _standardized(MAJOR_PROFILE)), ("minor", _standardized(MINOR_PROFILE)))
    for tonic in range(12)
)
"""Tonic's pitch class, mode, and the standardized profile by pitch class, of each key."""


def guess_keys(weights: Weights, most: int = 24) -> tuple[KeyGuess, ...]:
    """The keys that the notes fit best, best first.

    Args:
        weights: ticks by letter number and alteration; microtones are left out.
        most: how many of the 24 keys to return.

    Returns:
        The keys; none where every pitch class weighs the same, or nothing sounds.
    """
    histogram = [0] * 12
    fifths = total = 0
    for (letter, alter), ticks in weights.items():
        if isinstance(alter, int):
            histogram[(NATURAL_SEMITONES[letter] + alter) % 12] += ticks
            fifths += (LETTER_FIFTHS[letter] + 7 * alter) * ticks
            total += ticks
    mean = total / 12
    deviations = [value - mean for value in histogram]
    size = sqrt(sum(map(mul, deviations, deviations)))
    if not size:
        return ()
    center = fifths / total - 2
    ranked = sorted(
        ((sum(map(mul, profile, deviations)) / size, tonic, mode) for tonic, mode, profile in _ROWS),
        key=lambda row: -row[0],
    )
    return tuple(
        KeyGuess(_nearest_fifths(tonic, mode, center), mode, correlation)
        for correlation, tonic, mode in ranked[:most]
    )


def _nearest_fifths(tonic: int, mode: str, center: float) -> int:
    """Of the enharmonic signatures of a key the one nearest to a place on the line of fifths."""
    # Seven fifths make a semitone, so pitch class p stands at 7p fifths, give or take twelves.
    fifths = (7 * tonic - MODE_TONICS[mode]) % 12
    return fifths + 12 * round((center - fifths) / 12)


def suggest_keys(parts: Iterable[Part], window: int | None = None) -> tuple[SuggestedKey, ...]:
    """The key that the notes suggest, section by section.

    Args:
        parts: the parts that the harp plays; signatures are taken from the first staff of the first.
        window: None for one section from each change of signature to the next; else such sections are cut
            into windows of so many bars, and neighbouring windows of one section that suggest the same key
            are joined.

    Returns:
        One for each section in which anything sounds.
    """
    parts = tuple(parts)
    starts = _changes(parts[0]) if parts else []
    notes = [note for part in parts for note in part.notes]
    if not notes or not starts:
        return ()
    last_bar = max(note.measure for note in notes)
    pieces: list[tuple[int, int, KeySignature | None, int]] = []  # measure, onset, signature, section
    for section, (measure, onset, key) in enumerate(starts):
        pieces.append((measure, onset, key, section))
        stop = starts[section + 1][0] if section + 1 < len(starts) else last_bar + 1
        if window:
            pieces += [(bar, 0, key, section) for bar in range(measure + window, stop, window)]
    weighed = _weigh(notes, [(measure, onset) for measure, onset, _, _ in pieces])
    joined = _joined(weighed, [section for _, _, _, section in pieces])
    ends = [_last_bar(pieces[after]) if after < len(pieces) else last_bar for _, after, _ in joined]
    found = []
    for (start, _, weights), end in zip(joined, ends, strict=True):
        measure, onset, key, _ = pieces[start]
        guesses = guess_keys(weights, 2)
        if guesses:
            mode = _church_mode(guesses[0], key, weights)
            found.append(SuggestedKey(measure, max(measure, end), onset, guesses[0], guesses[1], key, mode))
    return tuple(found)


def _last_bar(following: tuple[int, int, KeySignature | None, int]) -> int:
    """Last bar of what stands before a piece: the same bar where the piece begins inside it."""
    return following[0] if following[1] else following[0] - 1


def _changes(part: Part) -> list[tuple[int, int, KeySignature | None]]:
    """Where the signature of the first staff changes, the start of the piece first."""
    keys = key_map(part)
    row = next((row for row in keys.staves if row.staff == 1), keys.staves[0])
    starts: list[tuple[int, int, KeySignature | None]] = []
    for place, key in zip(row.places, row.keys, strict=True):
        if not starts and place != (0, 0):
            starts.append((0, 0, None))
        if starts and starts[-1][:2] == place:
            starts.pop()
        before = starts[-1][2] if starts else None
        if not starts or before is None or before.alters != key.alters:
            starts.append((*place, key))
    return starts or [(0, 0, None)]


def _weigh(notes: Iterable[Note], starts: Sequence[tuple[int, int]]) -> list[Weights]:
    """Ticks by letter and alteration from each start to the next; a note counts whole where it begins."""
    found: list[Weights] = [{} for _ in starts]
    measures = [measure for measure, _ in starts]
    starting = {measure for measure, onset in starts if onset}
    current, weights = -1, found[0]
    for note in notes:
        pitch = note.pitch
        if pitch is None or note.cue or note.hidden:
            continue
        measure = note.measure
        if measure != current or measure in starting:
            current = measure
            index = bisect_right(measures, current) - 1
            while index > 0 and starts[index] > (current, note.onset):
                index -= 1
            weights = found[index]
        entry = (pitch.diatonic % 7, pitch.alter)
        weights[entry] = weights.get(entry, 0) + note.duration
    return found


def _joined(weighed: Sequence[Weights], sections: Sequence[int]) -> list[tuple[int, int, Weights]]:
    """Pieces joined where neighbours of one section suggest one key: first, the one after the last, weights.

    A piece in which nothing tells a key joins the one before it.
    """
    joined: list[tuple[int, int, Weights, KeyGuess | None]] = []
    for index, weights in enumerate(weighed):
        guesses = guess_keys(weights, 1)
        best = guesses[0] if guesses else None
        if joined and sections[joined[-1][0]] == sections[index]:
            start, _, before, guess = joined[-1]
            if best is None or guess is None or (guess.fifths, guess.mode) == (best.fifths, best.mode):
                both = dict(before)
                for entry, ticks in weights.items():
                    both[entry] = both.get(entry, 0) + ticks
                joined[-1] = (start, index + 1, both, guess or best)
                continue
        joined.append((index, index + 1, weights, best))
    return [(start, after, weights) for start, after, weights, _ in joined]


def _church_mode(guess: KeyGuess, key: KeySignature | None, weights: Weights) -> str:
    """The church mode of the signature on the suggested tonic, where the notes fit it; else "".

    Only the tonic of the suggestion counts: a mode that is neither major nor minor may be taken for either.
    """
    written = key.fifths if key is not None else 0
    if written is None or written == guess.fifths:
        return ""
    tonic = guess.fifths + MODE_TONICS[guess.mode]
    mode = next((mode for mode in _CHURCH_MODES if written + MODE_TONICS[mode] == tonic), "")
    alters: Sequence[int | Fraction] = key.alters if key is not None else (0,) * 7
    fitting = sum(ticks for (letter, alter), ticks in weights.items() if alters[letter] == alter)
    return key_name(written, mode) if mode and fitting >= MODE_SHARE * sum(weights.values()) else ""

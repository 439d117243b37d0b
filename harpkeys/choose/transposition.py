"""Moving a score to another key: by interval on the line of fifths, so that spelling stays sense.

A transposition by so many semitones has one spelling for every place twelve fifths apart; taken is the one
whose opening key signature has the fewest signs, then whose signatures have the fewest together, then the
sharper one, since levers raise. All other notes and signatures move by that same interval. Where a later
signature would get more than seven signs, the section under it is spelled twelve fifths away instead (C sharp
major for D flat major), and so is a single note that would need more than a triple sign.

What was printed against the key before is printed against it after, and what needed no accidental needs none:
on the line of fifths, moving everything moves nothing in relation to the key.

References: MusicXML 4.0, `key`, `pitch` (pitches are written spelled); the line of fifths, arithmetic.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from harpkeys.errors import OptionError
from harpkeys.pitch import Pitch
from harpkeys.report.performance import Performance
from harpkeys.score.key_map import KeyMap, key_map
from harpkeys.score.model import KeySignature, Part, Score
from harpkeys.score.pluck import Pluck
from harpkeys.score.pluck_making import PluckInMaking, frozen
from harpkeys.score.reader_transpose import Transposition

MOST_SIGNS = 7
"""Most sharps or flats of a signature that players are asked to read."""

MOST_ALTER = 3
"""Largest alteration that a printed accidental can show, in semitones."""

FARTHEST = 36
"""Most semitones that a score is moved."""


@dataclass(frozen=True, slots=True)
class Move:
    """A transposition of a whole score.

    Attributes:
        semitones: up, or down where negative.
        letters: diatonic steps that notes move by, octaves included, in sections spelled as the opening.
    """

    semitones: int = 0
    letters: int = 0

    @property
    def fifths(self) -> int:
        """Fifths that a key signature moves by, in sections spelled as the opening."""
        return 7 * self.semitones - 12 * self.letters

    def interval(self, turn: int) -> Transposition:
        """The interval by which notes move.

        Args:
            turn: 0 where spelled as the opening; 1 where spelled twelve fifths flatter (a letter higher), -1
                where sharper.
        """
        return Transposition(self.letters + turn, self.semitones)

    def turn(self, fifths: int | None) -> int:
        """How a section under a signature is spelled, as `interval` takes it.

        Args:
            fifths: the printed signature before the move; None for a mixed one, which is spelled as the
                opening.
        """
        if fifths is None or not self.semitones:
            return 0
        moved = fifths + self.fifths
        if abs(moved) <= MOST_SIGNS or abs(abs(moved) - 12) >= abs(moved):
            return 0
        return 1 if moved > 0 else -1

    def key_fifths(self, fifths: int) -> int:
        """A printed signature after the move."""
        return fifths + self.fifths - 12 * self.turn(fifths)

    def key(self, key: KeySignature) -> KeySignature:
        """A key signature after the move."""
        turn = self.turn(key.printed_fifths)
        alters = self.interval(turn).alters(key.alters)
        change = self.fifths - 12 * turn
        fifths, written = (
            None if number is None else number + change for number in (key.fifths, key.written)
        )
        return replace(key, fifths=fifths, alters=alters, written=written)


STAYS = Move()
"""No transposition."""


def moved_pitch(interval: Transposition, pitch: Pitch) -> Pitch:
    """A pitch after a move; spelled on a neighbouring letter where it would need more than a triple sign."""
    moved = interval.pitch(pitch)
    while not -MOST_ALTER <= moved.alter <= MOST_ALTER:
        interval = Transposition(interval.letters + (1 if moved.alter > 0 else -1), interval.semitones)
        moved = interval.pitch(pitch)
    return moved


def choose_move(semitones: int, keys: Sequence[int]) -> Move:
    """The spelling of a transposition.

    Args:
        semitones: up, or down where negative.
        keys: the fifths of the signatures as they sound, in page order, the opening one first; () counts as
            no sharps or flats.

    Returns:
        The move whose opening signature has the fewest signs, then whose signatures have the fewest together,
        then the sharper one.

    Raises:
        OptionError: it moves farther than scores are moved.
    """
    if abs(semitones) > FARTHEST:
        raise OptionError(f"a score is not moved by {semitones} semitones", f"move it by at most {FARTHEST}")
    if not semitones:
        return STAYS
    keys = keys or (0,)
    base = 7 * semitones % 12
    spellings = [base + 12 * turns for turns in range(-4, 4)]

    def signs(fifths: int) -> tuple[int, int, int]:
        return abs(keys[0] + fifths), sum(abs(key + fifths) for key in keys), -fifths

    return spelled_move(semitones, min(spellings, key=signs))


def spelled_move(semitones: int, fifths: int) -> Move:
    """The move by so many semitones that takes key signatures so many fifths on.

    Args:
        semitones: up, or down where negative.
        fifths: towards sharps, or towards flats where negative; 7 times the semitones but for twelves.
    """
    # Each fifth is 4 letters and 7 semitones, less 7 letters and 12 semitones for each octave taken off.
    return Move(semitones, 4 * fifths - 7 * ((7 * fifths - semitones) // 12))


def nearest_semitones(fifths: int, way: str = "near") -> int:
    """Semitones that take a key signature so many fifths on.

    Args:
        fifths: towards sharps, or towards flats where negative.
        way: "up", "down", or "near" for the shorter way, of two as long the one down.
    """
    up = 7 * fifths % 12
    if not up:
        return 0
    return up if way == "up" or (way == "near" and up < 6) else up - 12


def lacks_opening_key(part: Part) -> bool:
    """Whether notes of a part stand where no key signature is in force yet."""
    if any(key.staff is None and (key.measure, key.onset) == (0, 0) for key in part.keys):
        return False
    keys = key_map(part)
    return any(
        note.pitch is not None and keys.at(note.measure, note.onset, note.staff) is None
        for note in part.notes
    )


def page_keys(parts: Iterable[Part]) -> tuple[KeySignature, ...]:
    """The key signatures of some parts in page order, the upper part's first at one place.

    Where notes stand before any signature, one without sharps or flats is put in front.
    """
    keys: list[KeySignature] = []
    for part in parts:
        if lacks_opening_key(part):
            keys.append(KeySignature(0, 0, None, 0, None, (0,) * 7))
        keys += part.keys
    return tuple(sorted(keys, key=lambda key: (key.measure, key.onset)))


def move_of(score: Score, parts: Sequence[int], semitones: int) -> Move:
    """The transposition of a score, spelled for the parts that a harp plays.

    Args:
        score: as printed.
        parts: indexes of the harp's parts.
        semitones: up, or down where negative.

    Raises:
        OptionError: it moves farther than scores are moved.
    """
    keys = page_keys(score.parts[index] for index in parts)
    return choose_move(semitones, [key.fifths for key in keys if key.fifths is not None])


def turns_of(performance: Performance, move: Move) -> tuple[int, ...]:
    """For each pluck how its section is spelled, as `Move.interval` takes it.

    Args:
        performance: what is played.
        move: the transposition.

    Returns:
        One for each pluck; () where all are spelled as the opening.
    """
    parts = [performance.score.parts[index] for index in performance.parts]
    if not any(move.turn(key.printed_fifths) for key in page_keys(parts)):
        return ()
    maps = [key_map(part) for part in parts]
    return tuple(
        _turn(pluck, maps[0 if len(maps) == 1 or pluck.hand == "right" else 1], move)
        for pluck in performance.plucks
    )


def _turn(pluck: Pluck, keys: KeyMap, move: Move) -> int:
    note = pluck.note
    if note is None:
        return turn_at(keys, pluck.place.measure, pluck.place.tick, pluck.staff, move)
    return turn_at(keys, note.measure, note.onset, note.staff, move)


def turn_at(keys: KeyMap, measure: int, onset: int, staff: int, move: Move) -> int:
    """How a place on the page is spelled, as `Move.interval` takes it."""
    found = keys.at(measure, onset, staff)
    return move.turn(0 if found is None else found.printed_fifths)


def moved_plucks(performance: Performance, move: Move) -> tuple[Pluck, ...]:
    """The plucks of a performance after a transposition.

    They are those of the transposed score: same times, hands and kinds, new pitches.

    Args:
        performance: what is played.
        move: the transposition.
    """
    if not move.semitones:
        return performance.plucks
    return repitched(performance.plucks, *pitches_after(performance, move, turns_of(performance, move)))


def pitches_after(
    performance: Performance, move: Move, turns: Sequence[int]
) -> tuple[tuple[int, ...], tuple[Pitch, ...]]:
    """The distinct pitches of a performance after a transposition.

    Args:
        performance: what is played.
        move: the transposition.
        turns: as `turns_of` gives them.

    Returns:
        For each pluck the index of its pitch, and the pitches, numbered alike for all moves with the same
        turns.
    """
    distinct: dict[tuple[Pitch, int], int] = {}
    plucks = performance.plucks
    each = turns or (0,) * len(plucks)
    which = tuple(
        distinct.setdefault((pluck.pitch, turn), len(distinct))
        for pluck, turn in zip(plucks, each, strict=True)
    )
    return which, tuple(moved_pitch(move.interval(turn), pitch) for pitch, turn in distinct)


def repitched(plucks: Iterable[Pluck], which: Sequence[int], pitches: Sequence[Pitch]) -> tuple[Pluck, ...]:
    """The same plucks with other pitches.

    Args:
        plucks: the plucks.
        which: for each the index of its pitch.
        pitches: the pitches.
    """
    return frozen(
        [
            PluckInMaking(
                pluck.id,
                pluck.onset,
                pluck.end,
                pitches[index],
                pluck.hand,
                pluck.kind,
                pluck.sustained,
                pluck.place,
                pluck.onset_tick,
                pluck.end_tick,
                pluck.staff,
                pluck.note,
            )
            for pluck, index in zip(plucks, which, strict=True)
        ]
    )


def moved_first_key(performance: Performance, move: Move) -> tuple[int | Fraction, ...] | None:
    """Alterations of the first key signature after a transposition, by which unused strings stand.

    A score that begins without a signature gets one by being moved, so that its notes need no more
    accidentals than before; unmoved it gets none.
    """
    parts = [performance.score.parts[index] for index in performance.parts]
    if move.semitones:
        keys = page_keys(parts)
    else:
        given = (key for part in parts for key in part.keys)
        keys = tuple(sorted(given, key=lambda key: (key.measure, key.onset)))
    return move.key(keys[0]).alters if keys else None

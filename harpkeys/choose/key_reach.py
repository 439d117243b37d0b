"""What a harp can play: each scale with its levers, or the reason why it is out of reach.

A string sounds one note with its lever down and one a semitone higher with it up. A scale asks every string
for one note. Where a string cannot give its note, a neighbour may sound the same pitch; then two notes of the
scale may want one string in both states. That pair of notes, or the note that no string can give, is the
reason told.

Where all seven notes move to a neighbour at once, the scale is reached under its other name (G flat major as
F sharp major): its **twin**.

Everything is arithmetic on the strings, the reasons found by matching notes to strings (bipartite matching by
augmenting paths: by Hall's theorem a note left over and the strings it competes for show that no assignment
exists).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from harpkeys.choose.scales import Chord, Note, Scale, note_signs, usual_scales
from harpkeys.harp.model import DOWN, UP, Harp, HarpString
from harpkeys.harp.naming import fifths_note, listed, string_names
from harpkeys.harp.reach import levers_for
from harpkeys.harp.tunings import tuning_of_strings
from harpkeys.pitch import LETTER_FIFTHS, LETTERS, SHARP_ORDER, natural_midi

Reason = Literal["shared", "no lever", "too low", "too high"]
"""Why a note is out of reach: notes share strings; its string lacks a lever; it lies below or above what its
string and lever can give, and no neighbour sounds it."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """A note that a harp cannot give beside the other notes of a scale or chord.

    Attributes:
        note: letter and alteration.
        strings: indices of the strings of its letter where that is so, lowest first.
        reason: why.
        rivals: for shared strings the other notes that want them.
        contested: letters of the shared strings, one fewer than notes that want them.
        tuned: alteration that the note's own strings are tuned to, at the lowest of `strings`.
    """

    note: Note
    strings: tuple[int, ...]
    reason: Reason
    rivals: tuple[Note, ...] = ()
    contested: tuple[int, ...] = ()
    tuned: int = 0


@dataclass(frozen=True, slots=True)
class KeyReach:
    """How a harp plays a scale.

    Attributes:
        scale: the scale.
        up: indices of the strings whose lever is raised, lowest first; where the scale is out of reach those
            that would be.
        letters: letters raised, in the order in which their levers join.
        reached: whether every string sounds its note of the scale, as it is spelled.
        obstacles: why it is out of reach; () where it is reached, or its twin is in every octave.
        moving: letters whose levers have to move between the way up and the way down (melodic minor).
        both_ways: whether the notes of the way down are in reach too.
        twin: the same sounds under another name that is reached, where this one is not.
        twin_up: strings raised for the twin.
        twin_letters: letters raised for the twin.
    """

    scale: Scale
    up: tuple[int, ...]
    letters: tuple[int, ...]
    reached: bool
    obstacles: tuple[Obstacle, ...] = ()
    moving: tuple[int, ...] = ()
    twin: Scale | None = None
    twin_up: tuple[int, ...] = ()
    twin_letters: tuple[int, ...] = ()
    both_ways: bool = True

    @property
    def setting(self) -> tuple[int, ...] | None:
        """Strings raised to sound the scale, under this name or its twin's; None where it is out of reach."""
        if self.reached:
            return self.up
        return None if self.twin is None else self.twin_up


def reach_scale(harp: Harp, scale: Scale) -> KeyReach:
    """How a harp plays a scale.

    Args:
        harp: the harp.
        scale: the scale.

    Returns:
        Its levers, or the reasons why it is out of reach and whether its twin is not.
    """
    letters = scale.letters
    setting = levers_for(harp, letters)
    raised = joining_order(harp, {harp.strings[index].diatonic % 7 for index in setting.up})
    down = scale.letters_down
    moving = tuple(letter for letter in SHARP_ORDER if letters[letter] != down[letter])
    if setting.reached:
        both_ways = not moving or levers_for(harp, down).reached
        return KeyReach(scale, setting.up, raised, True, (), moving, both_ways=both_ways)
    twin = next((twin for twin in twins(scale) if levers_for(harp, twin.letters).reached), None)
    obstacles = find_obstacles(harp, dict(enumerate(letters)))
    if twin is None:
        return KeyReach(scale, setting.up, raised, False, obstacles, moving)
    up = levers_for(harp, twin.letters).up
    twin_letters = joining_order(harp, {harp.strings[index].diatonic % 7 for index in up})
    return KeyReach(scale, setting.up, raised, False, obstacles, moving, twin, up, twin_letters)


def reach_all(harp: Harp) -> tuple[KeyReach, ...]:
    """How a harp plays every usual scale (up to seven signs), flattest signature first."""
    return tuple(reach_scale(harp, scale) for scale in usual_scales())


def twins(scale: Scale) -> tuple[Scale, ...]:
    """The scale under other names: its tonic twelve fifths away, flats for sharps."""
    place = LETTER_FIFTHS[scale.tonic[0]] + 7 * scale.tonic[1]
    return tuple(Scale(fifths_note(place + turn), scale.kind) for turn in (-12, 12))


def joining_order(harp: Harp, letters: Iterable[int]) -> tuple[int, ...]:
    """Letters in the order in which their levers join: that of sharps, begun where the tuning stands."""
    wanted = set(letters)
    start = sum(tuning_of_strings(harp.strings).letters) % 7
    return tuple(letter for letter in SHARP_ORDER[start:] + SHARP_ORDER[:start] if letter in wanted)


# Chords.


@dataclass(frozen=True, slots=True)
class ChordReach:
    """How a harp plays a chord.

    Attributes:
        chord: the chord.
        states: (letter of the string, state, note it gives) for each note in reach, in the chord's order.
        obstacles: notes out of reach.
    """

    chord: Chord
    states: tuple[tuple[int, int, Note], ...]
    obstacles: tuple[Obstacle, ...]


def reach_chord(harp: Harp, chord: Chord) -> ChordReach:
    """Which strings and levers give a chord; a note may come from a neighbour that the chord leaves free.

    Told by letter; where strings differ within a letter, those in the middle of the harp count.
    """
    wanted = dict(chord.notes)
    strings = _lengthened(harp)
    placed = _match(strings, wanted).string_of
    states = []
    for letter, alter in chord.notes:
        found = [index for index in placed if strings[index].diatonic % 7 == letter]
        if found:
            string, state = placed[min(found, key=lambda index: abs(index - len(strings) // 2))]
            states.append((strings[string].diatonic % 7, state, (letter, alter)))
    return ChordReach(chord, tuple(states), find_obstacles(harp, wanted))


# Obstacles.


@dataclass(frozen=True, slots=True)
class _Matching:
    """Notes, named by the string of their letter, placed on strings.

    Attributes:
        string_of: (string, state) of each note that has one.
        note_on: the note on each string that has one.
        left: notes without a string.
        options: every (string, state) that sounds each note.
    """

    string_of: dict[int, tuple[int, int]]
    note_on: dict[int, int]
    left: list[int]
    options: dict[int, list[tuple[int, int]]]


def _options(strings: Sequence[HarpString], index: int, alter: int) -> list[tuple[int, int]]:
    """Every (string, state) that sounds the note on this string's letter and octave, its own string first.

    Double and triple flats, as diminished chords have them, may lie two letters away.
    """
    midi = natural_midi(strings[index].diatonic) + alter
    found = []
    for other in (index, index - 1, index + 1, index - 2, index + 2):
        if 0 <= other < len(strings):
            string = strings[other]
            if string.down == midi:
                found.append((other, DOWN))
            elif string.up == midi:
                found.append((other, UP))
    return found


def _match(strings: Sequence[HarpString], wanted: Mapping[int, int]) -> _Matching:
    """Place every note of some letters in every octave; own strings first, then by augmenting paths."""
    options = {
        index: _options(strings, index, wanted[string.diatonic % 7])
        for index, string in enumerate(strings)
        if string.diatonic % 7 in wanted
    }
    matching = _Matching({}, {}, [], options)
    for note, places in options.items():
        if places and places[0][0] == note:
            matching.string_of[note] = places[0]
            matching.note_on[note] = note
    for note in options:
        if note not in matching.string_of and not _augment(matching, note, set()):
            matching.left.append(note)
    return matching


def _augment(matching: _Matching, note: int, seen: set[int]) -> bool:
    """Find the note a string, moving others aside; `seen` gathers the strings it competes for."""
    for string, state in matching.options[note]:
        if string in seen:
            continue
        seen.add(string)
        holder = matching.note_on.get(string)
        if holder is None or _augment(matching, holder, seen):
            matching.note_on[string] = note
            matching.string_of[note] = (string, state)
            return True
    return False


def _lengthened(harp: Harp) -> tuple[HarpString, ...]:
    """The strings with one more octave at either end, so that a note there has its neighbours too."""
    strings = harp.strings
    if len(strings) < 7:
        return strings
    below = tuple(replace(string, diatonic=string.diatonic - 7) for string in strings[:7])
    above = tuple(replace(string, diatonic=string.diatonic + 7) for string in strings[-7:])
    return below + strings + above


def find_obstacles(harp: Harp, wanted: Mapping[int, int]) -> tuple[Obstacle, ...]:
    """Why some notes cannot all stand on a harp at once.

    Args:
        harp: the harp.
        wanted: alteration of each letter that is wanted, in every octave.

    Returns:
        One obstacle for each note left over, by letter in the order of sharps; () where each has its string.
        The ends of the harp count as if it went on: a note that only lacks a neighbour there is no obstacle.
    """
    strings = _lengthened(harp)
    shift = harp.lowest - strings[0].diatonic
    matching = _match(strings, wanted)
    found: dict[tuple[Reason, frozenset[int], tuple[int, ...]], tuple[int, list[int]]] = {}
    for note in matching.left:
        if not 0 <= note - shift < len(harp.strings):
            continue
        seen: set[int] = set()
        _augment(matching, note, seen)
        letter = strings[note].diatonic % 7
        contested = tuple(sorted({strings[string].diatonic % 7 for string in seen}))
        wanting = {strings[matching.note_on[string]].diatonic % 7 for string in seen} | {letter}
        reason: Reason = "shared" if seen else _lonely_reason(strings[note], wanted[letter])
        # In another octave the other note of a pair may be the one left over: it is the same obstacle.
        found.setdefault((reason, frozenset(wanting), contested), (letter, []))[1].append(note - shift)
    obstacles = []
    for (reason, letters, contested), (letter, notes) in found.items():
        rivals = tuple((rival, wanted[rival]) for rival in sorted(letters - {letter}))
        tuned = harp.strings[notes[0]].tuned
        obstacles.append(Obstacle((letter, wanted[letter]), tuple(notes), reason, rivals, contested, tuned))
    return tuple(sorted(obstacles, key=lambda obstacle: SHARP_ORDER.index(obstacle.note[0])))


def _lonely_reason(string: HarpString, alter: int) -> Reason:
    """Why no string at all sounds a note."""
    if alter < string.tuned:
        return "too low"
    return "no lever" if alter == string.tuned + 1 and not string.lever else "too high"


def obstacles_text(harp: Harp, obstacles: Sequence[Obstacle]) -> str:
    """Obstacles as a clause: "A and B♭ both need the A string; G♯ and D♯ need levers on G and D"."""
    told = [_shared_text(harp, obstacle) for obstacle in obstacles if obstacle.reason == "shared"]
    for reason in ("no lever", "too low", "too high"):
        alike = [obstacle for obstacle in obstacles if obstacle.reason == reason]
        if alike:
            told.append(_lonely_text(harp, reason, alike))
    return "; ".join(told)


def _shared_text(harp: Harp, obstacle: Obstacle) -> str:
    notes = _in_a_row(sorted({*obstacle.rivals, obstacle.note}))
    strings = [LETTERS[contested] for contested in obstacle.contested]
    where = _where(harp, [obstacle])
    if len(strings) == 1:
        return f"{listed([note_signs(note) for note in notes])} both need the {strings[0]} string{where}"
    return (
        f"{listed([note_signs(note) for note in notes])} need more than the {listed(strings)} strings{where}"
    )


def _lonely_text(harp: Harp, reason: str, obstacles: Sequence[Obstacle]) -> str:
    notes = listed([note_signs(obstacle.note) for obstacle in obstacles])
    letters = listed([LETTERS[obstacle.note[0]] for obstacle in obstacles])
    one, where = len(obstacles) == 1, _where(harp, obstacles)
    if reason == "no lever":
        return f"{notes} {'needs a lever' if one else 'need levers'} on {letters}{where}"
    strings = f"the {letters} {'string' if one else 'strings'}"
    if reason == "too low":
        return f"{notes} {'is' if one else 'are'} lower than {strings} can sound{where}"
    return f"{notes} {'is' if one else 'are'} higher than {strings} can sound{where}"


def _where(harp: Harp, obstacles: Sequence[Obstacle]) -> str:
    """Which strings, where those of a letter or of a neighbouring letter are not all alike."""
    concerned = sorted({index for obstacle in obstacles for index in obstacle.strings})
    letters = {(harp.strings[index].diatonic + step) % 7 for index in concerned for step in (-1, 0, 1)}
    kinds = {(s.diatonic % 7, s.tuned, s.lever) for s in harp.strings if s.diatonic % 7 in letters}
    if len(kinds) == len({letter for letter, _, _ in kinds}):
        return ""
    return f" (at {string_names(harp.strings[index].diatonic for index in concerned)})"


def _in_a_row(notes: Sequence[Note]) -> list[Note]:
    """Neighbouring letters in rising order, B before C where both are there."""
    letters = [letter for letter, _ in notes]
    if 0 in letters and 6 in letters:
        first = next(letter for letter in range(6, -1, -1) if (letter - 1) % 7 not in letters)
        return sorted(notes, key=lambda note: (note[0] - first) % 7)
    return list(notes)


# One lever away.


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Scales that are the levers of one letter away from a setting.

    Attributes:
        letter: the letter whose levers move, in every octave.
        to: the state they come to.
        strings: indices of the levers that move.
        scales: what is then in reach.
    """

    letter: int
    to: int
    strings: tuple[int, ...]
    scales: tuple[Scale, ...]


def one_lever_away(harp: Harp, up: Sequence[int], reaches: Sequence[KeyReach]) -> tuple[Neighbour, ...]:
    """Scales that moving the levers of one letter brings.

    Args:
        harp: the harp.
        up: strings whose lever is up now.
        reaches: scales to choose from.

    Returns:
        By letter, raised ones first, each in the order in which levers join.
    """
    now = set(up)
    found: dict[tuple[int, int], tuple[tuple[int, ...], list[Scale]]] = {}
    for reach in reaches:
        if not reach.reached or not reach.both_ways:
            continue
        moved = now ^ set(reach.up)
        letters = {harp.strings[index].diatonic % 7 for index in moved}
        states = {UP if index in reach.up else DOWN for index in moved}
        if len(letters) == 1 and len(states) == 1:
            key = (letters.pop(), states.pop())
            found.setdefault(key, (tuple(sorted(moved)), []))[1].append(reach.scale)
    order = joining_order(harp, range(7))
    return tuple(
        Neighbour(letter, to, strings, tuple(scales))
        for (letter, to), (strings, scales) in sorted(
            found.items(), key=lambda item: (-item[0][1], order.index(item[0][0]))
        )
    )

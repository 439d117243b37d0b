"""What one hand cannot well do: too many notes, too wide a span, one string plucked again too soon.

Notes count as played together where they share an onset, rolled or not: a rolled chord is placed as a whole.
Grace notes, the auxiliary notes of ornaments and the notes of a tremolo between two notes are played one
after the other and do not count. Two voices on one string count once. The hand is as the staves say.

References: four fingers a hand, the little finger unused (N. Rimsky-Korsakov, "Principles of Orchestration",
harp). A tenth as the usual largest span and fast repeated notes on one string as awkward: two independent
sources each. How fast is too fast: no published figure, a stated assumption.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from harpkeys.analysis.accidentals import times_word
from harpkeys.harp.naming import listed, note_text
from harpkeys.pitch import Pitch
from harpkeys.score.pluck import Hand, Place, Pluck

FINGERS = 4
"""Fingers of a hand that pluck."""

WIDEST_SPAN = 9
"""Usual largest span of a hand in scale steps: a tenth."""

SOONEST_REPEAT = 150
"""Milliseconds: plucking one string again this soon or sooner counts as fast. Stated assumption."""

_COUNTED = ("note", "harmonic")
_ORDINALS = {
    7: "an octave",
    8: "a ninth",
    9: "a tenth",
    10: "an eleventh",
    11: "a twelfth",
    14: "two octaves",
}


@dataclass(frozen=True, slots=True)
class HandNote:
    """Something a hand cannot well do.

    Attributes:
        place: where it stands, on its first pass.
        hand: which hand.
        what: "notes" (too many at once), "span" (too wide), "repeat" (one string plucked again too soon).
        sentence: the same for people.
    """

    place: Place
    hand: Hand
    what: Literal["notes", "span", "repeat"]
    sentence: str


def check_hands(
    plucks: Sequence[Pluck], widest_span: int = WIDEST_SPAN, soonest_repeat: int = SOONEST_REPEAT
) -> tuple[HandNote, ...]:
    """Everything in a performance that a hand cannot well do.

    Args:
        plucks: in performed order.
        widest_span: largest span of one hand, in scale steps (9 is a tenth).
        soonest_repeat: milliseconds; plucking a string again this soon or sooner is told.

    Returns:
        One for each printed place, hand and trouble, in performed order; repeats of one string in one bar
        are told once.
    """
    chords, again = _suspects(plucks, widest_span, soonest_repeat)
    found = [entry for chord in chords for entry in _chord(chord, widest_span)]
    found += _repeats(again, soonest_repeat)
    found += [(pluck.id, _tremolo(pluck)) for pluck in plucks if _is_tremolo(pluck)]
    return _first_passes(found)


def _suspects(
    plucks: Iterable[Pluck], widest_span: int, soonest_repeat: int
) -> tuple[list[list[Pluck]], list[tuple[Pluck, int]]]:
    """Chords that may be too much for a hand, and plucks that follow too soon with the milliseconds.

    One plain loop, because nearly all plucks are no trouble and this is on the way of every report.
    """
    chords: list[list[Pluck]] = []
    again: list[tuple[Pluck, int]] = []
    before: dict[Hand, dict[int, Pluck]] = {"left": {}, "right": {}}
    together: list[Pluck] = []
    tick = onset = -1
    low: dict[Hand, int] = {}
    wide = False
    for pluck in plucks:
        if pluck.kind not in _COUNTED:
            continue
        # Both, because made-up problems have no ticks, and two onsets may be rounded to one millisecond.
        if pluck.onset_tick != tick or pluck.onset != onset:
            if wide or len(together) > FINGERS:
                chords.append(together)
            together, low, wide = [], {}, False
            tick, onset = pluck.onset_tick, pluck.onset
        together.append(pluck)
        hand, diatonic = pluck.hand, pluck.pitch.diatonic
        if abs(diatonic - low.setdefault(hand, diatonic)) > widest_span:
            wide = True
        elif diatonic < low[hand]:
            wide = wide or any(o.hand == hand and o.pitch.diatonic - diatonic > widest_span for o in together)
            low[hand] = diatonic
        strings = before[hand]
        last = strings.get(diatonic)
        strings[diatonic] = pluck
        if last is not None and 0 < onset - last.onset <= soonest_repeat and last.pitch == pluck.pitch:
            again.append((pluck, onset - last.onset))
    if wide or len(together) > FINGERS:
        chords.append(together)
    return chords, again


def _chord(together: Sequence[Pluck], widest_span: int) -> Iterable[tuple[int, HandNote]]:
    """Troubles of notes played together."""
    by_hand: dict[Hand, list[Pluck]] = {}
    for pluck in together:
        by_hand.setdefault(pluck.hand, []).append(pluck)
    strings = {hand: _strings(own) for hand, own in by_hand.items()}
    total = sum(len(own) for own in strings.values())
    for hand, own in by_hand.items():
        if len(strings[hand]) > FINGERS:
            sentence = _too_many(hand, strings[hand], total)
            yield own[0].id, HandNote(own[0].place, hand, "notes", sentence)
        if strings[hand][-1].diatonic - strings[hand][0].diatonic > widest_span:
            sentence = _too_wide(hand, strings[hand], widest_span)
            yield own[0].id, HandNote(own[0].place, hand, "span", sentence)


def _strings(plucks: Iterable[Pluck]) -> list[Pitch]:
    """The different notes, lowest first."""
    return sorted({pluck.pitch for pluck in plucks}, key=lambda pitch: (pitch.diatonic, pitch.alter))


def _too_many(hand: Hand, strings: Sequence[Pitch], total: int) -> str:
    names = listed([note_text(pitch) for pitch in strings])
    both = f", and {total} for both hands" if total > 2 * FINGERS else ""
    return (
        f"{len(strings)} notes at once for the {hand} hand ({names}){both}: a hand plucks with four fingers."
    )


def _too_wide(hand: Hand, strings: Sequence[Pitch], widest_span: int) -> str:
    low, high = strings[0], strings[-1]
    wide, widest = interval_word(high.diatonic - low.diatonic), interval_word(widest_span)
    ends = f"{note_text(low)} to {note_text(high)}"
    return f"The {hand} hand spans {wide}, {ends}: {widest} is taken as the most it reaches."


def interval_word(steps: int) -> str:
    """A span in scale steps as a musician names it: 9 is "a tenth"."""
    return _ORDINALS.get(steps) or f"{steps + 1} strings"


def _repeats(again: Iterable[tuple[Pluck, int]], soonest_repeat: int) -> Iterable[tuple[int, HandNote]]:
    """Strings that one hand plucks again too soon, once for each bar and hand."""
    bars: dict[tuple[int, Hand], list[tuple[Pluck, int]]] = {}
    for pluck, gap in again:
        bars.setdefault((pluck.place.visit, pluck.hand), []).append((pluck, gap))
    for (_, hand), entries in bars.items():
        first = entries[0][0]
        names = listed([note_text(pitch) for pitch in _strings(pluck for pluck, _ in entries)])
        times = len({pluck.onset for pluck, _ in entries})
        often = f", {times_word(times)} in this bar" if times > 1 else ""
        say = (
            f"The {hand} hand plucks {names} again within {min(gap for _, gap in entries)} ms{often}: "
            f"up to {soonest_repeat} ms counts as fast (stated assumption)."
        )
        yield first.id, HandNote(first.place, hand, "repeat", say)


def _is_tremolo(pluck: Pluck) -> bool:
    """Whether one string is repeated as fast as can be: three strokes or more, which are seldom measured."""
    signs = pluck.note.signs if pluck.note is not None else None
    if signs is None or pluck.kind not in _COUNTED:
        return False
    return signs.tremolo == "single" and signs.tremolo_marks >= 3


def _tremolo(pluck: Pluck) -> HandNote:
    name = note_text(pluck.pitch)
    say = f"The {pluck.hand} hand repeats {name} as a tremolo: one string is slow to repeat."
    return HandNote(pluck.place, pluck.hand, "repeat", say)


def _first_passes(found: Iterable[tuple[int, HandNote]]) -> tuple[HandNote, ...]:
    """One of each printed place, hand and trouble, in performed order."""
    kept: dict[tuple[int, int, Hand, str], HandNote] = {}
    for _, one in sorted(found, key=lambda entry: entry[0]):
        kept.setdefault((one.place.measure, one.place.tick, one.hand, one.what), one)
    return tuple(kept.values())

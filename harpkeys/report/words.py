"""What every view says of a report, in the same words: verdict, setting, places, times, keys, tempo.

The text on the terminal, the cue sheet and the web page choose and arrange; their words are taken from here.
Nothing is computed but roundings for reading: beats of flips to the nearest quarter of a beat (the exact
values are in the JSON), seconds to two figures. Signs are ♯ ♭; a view for plain text replaces them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from fractions import Fraction
from math import floor

from harpkeys.harp.model import STATE_NAMES, Harp
from harpkeys.harp.naming import key_name, listed, note_text
from harpkeys.harp.tunings import KEYS
from harpkeys.pitch import LETTERS
from harpkeys.plan.model import Flip
from harpkeys.report.model import FlipTime, Report
from harpkeys.score.beats import beat_at, number_text
from harpkeys.score.model import KeySignature, Score
from harpkeys.score.pluck import Place

REASONS = {
    "below": "below the lowest string",
    "above": "above the highest string",
    "no lever": "for want of a lever",
    "clash": "clashing with another on its string",
    "no time": "for lack of time",
}
"""Why notes are lost, to follow their number."""


# The verdict and the setting.


def verdict_sentence(report: Report) -> str:
    """The verdict in a sentence or two."""
    criteria = report.plan.criteria
    flips = count_text(criteria.flips, "lever flip")
    if report.verdict == "as set":
        return "Plays as set: no lever moves once it has begun."
    cutting = "one of them" if criteria.cuts == 1 else f"{criteria.cuts} of them"
    cuts = f", {cutting} cutting a ringing note short" if criteria.cuts else ""
    if report.verdict == "not as written":
        lost = criteria.lost + criteria.lost_auxiliaries
        reasons = [reason for reason in report.plan.lost if reason is not None]
        counted = [f"{reasons.count(reason)} {REASONS[reason]}" for reason in dict.fromkeys(reasons)]
        rest = f" The rest takes {flips}{cuts}." if criteria.flips else ""
        return (
            f"Not as written: {lost} of {count_text(len(report.plan.plays), 'note')} cannot be played "
            f"({', '.join(counted)}).{rest}"
        )
    if report.verdict == "with cuts":
        return f"Plays with {flips}{cuts}; nothing is lost."
    slack = seconds_text(report.min_slack)
    return f"Plays with {flips}, cutting no note short, the tightest with {slack} to spare; nothing is lost."


def part_text(report: Report) -> str:
    """Name of the part played, where the score has several: "Harp", "Upper + Lower"; else ""."""
    performance = report.performance
    part = " + ".join(performance.score.parts[index].name for index in performance.parts).strip(" +")
    return part if len(performance.score.parts) > 1 else ""


def harp_text(harp: Harp) -> str:
    """A harp in words: "Heron: 34 strings, C2 to A6, a lever on every string"."""
    ends = f"{harp.strings[0].name} to {harp.strings[-1].name}"
    return f"{harp.name}: {len(harp.strings)} strings, {ends}, {_levers(harp)}"


def tuning_text(harp: Harp) -> str:
    """A tuning, with what it means."""
    return f"{harp.tuning}: that is how it sounds with all levers down"


def _levers(harp: Harp) -> str:
    with_lever = [index for index, string in enumerate(harp.strings) if string.lever]
    if len(with_lever) == len(harp.strings):
        return "a lever on every string"
    if not with_lever:
        return "no levers"
    without = [index for index, string in enumerate(harp.strings) if not string.lever]
    ways = (
        f"levers on {strings_text(harp, with_lever)}",
        f"a lever on every string but {strings_text(harp, without)}",
    )
    return min(ways, key=len)


def strings_text(harp: Harp, indexes: Sequence[int], among: Collection[int] | None = None) -> str:
    """Some strings in words: letters of which all are meant first, "every F and C; B4 (16)".

    Args:
        harp: the harp.
        indexes: the strings.
        among: strings of which "every" means all, such as those with a lever; every string where None.
    """
    chosen = set(indexes)
    everything = range(len(harp.strings)) if among is None else among
    whole, single = [], []
    for letter in range(7):
        same = {index for index in everything if harp.strings[index].diatonic % 7 == letter}
        if same and same <= chosen:
            whole.append(LETTERS[letter])
        else:
            single += sorted(same & chosen)
    names = [f"{harp.strings[index].name} ({harp.number(index)})" for index in sorted(single, reverse=True)]
    parts = [f"every {listed(whole)}"] if whole else []
    return "; ".join([*parts, listed(names)] if names else parts)


def setting_text(report: Report) -> str:
    """How the levers stand at the start, in words and as a key where it is one."""
    harp, starting = report.harp, report.plan.starting
    up = [index for index, state in enumerate(starting) if state]
    with_lever = [index for index, string in enumerate(harp.strings) if string.lever]
    levers = f"{strings_text(harp, up, with_lever)} up, all other levers down" if up else "all levers down"
    letters: dict[int, set[int]] = {}
    for string, state in zip(harp.strings, starting, strict=True):
        letters.setdefault(string.diatonic % 7, set()).add(string.tuned + state)
    alike = [letters.get(letter, set()) for letter in range(7)]
    key = KEYS.get(tuple(alters.copy().pop() if len(alters) == 1 else 9 for alters in alike))  # type: ignore[arg-type]
    return f"{levers} at the start{f', which sounds {key} major' if key else ''}"


def starting_rows(report: Report) -> list[tuple[str, tuple[str, ...]]]:
    """The levers that are up at the start, by octave from the top: "octave 4" and "F♯4 (17)" for each."""
    harp, starting = report.harp, report.plan.starting
    up = [index for index, state in enumerate(starting) if state]
    octaves = sorted({harp.strings[index].diatonic // 7 for index in up}, reverse=True)
    return [
        (
            f"octave {octave}",
            tuple(
                f"{note_text(harp.strings[index].sounding(1))} ({harp.number(index)})"
                for index in reversed(up)
                if harp.strings[index].diatonic // 7 == octave
            ),
        )
        for octave in octaves
    ]


# Flips.


def flip_beat(report: Report, time: FlipTime) -> Fraction:
    """The beat of its bar at which a flip starts, exactly."""
    score = report.performance.score
    measure = score.measures[time.moment.measure]
    return beat_at(measure, time.moment.quarters * score.resolution, score.resolution)


def lever_text(harp: Harp, flip: Flip) -> str:
    """Which way a lever goes and what it then sounds: "up to F♯4"."""
    return f"{STATE_NAMES[flip.to]} to {note_text(harp.strings[flip.string].sounding(flip.to))}"


def near_beat(beat: Fraction) -> Fraction:
    """A beat to the nearest quarter of a beat, thirds kept."""
    return beat if beat.denominator == 3 else Fraction(round(4 * beat), 4)


def beats_and_seconds(beats: Fraction, milliseconds: int) -> str:
    """A stretch of time, "1½ b 0.9 s"."""
    if not milliseconds:
        return "none"
    return f"{number_text(near_beat(beats))} b {seconds_text(milliseconds)}"


# Places.


def bars_played_again(report: Report) -> frozenset[int]:
    """Indexes of the bars that are played more than once, whose pass has to be told."""
    counts = Counter(visit.measure for visit in report.performance.timeline.visits)
    return frozenset(measure for measure, count in counts.items() if count > 1)


def stretch_text(score: Score, start: Place, end: Place) -> str:
    """A place or a stretch, "bar 5 beat 3 to bar 6 beat 1"."""
    first, last = score.measures[start.measure], score.measures[end.measure]
    one = number_text(near_beat(beat_at(first, start.tick, score.resolution)))
    other = number_text(near_beat(beat_at(last, end.tick, score.resolution)))
    text = f"bar {first.number} beat {one}"
    if first.index != last.index:
        return f"{text} to bar {last.number} beat {other}"
    return text if one == other else f"{text} to {other}"


def place_text(score: Score, place: Place) -> str:
    """A place, "bar 5 beat 3"."""
    return stretch_text(score, place, place)


# Keys.


def signature_text(key: KeySignature) -> str:
    """A signature in words: "2 sharps, D major", "1 flat"."""
    if key.fifths is None:
        return "a mixed signature"
    count = abs(key.fifths)
    signs = count_text(count, "sharp" if key.fifths > 0 else "flat") if count else "no sharps or flats"
    return f"{signs}, {key_name(key.fifths, key.mode)}" if key.mode else signs


def key_levers_text(report: Report, index: int) -> str:
    """The levers that a signature of the score needs, or what is out of reach."""
    found = report.keys[index]
    if not found.reached:
        return f"out of reach: {strings_text(report.harp, found.setting.unreachable)}"
    up = strings_text(report.harp, found.setting.up)
    return f"levers up on {up}" if up else "no lever up"


def suggestion_sentences(report: Report) -> Iterator[str]:
    """Where the notes suggest another key than the signature says."""
    measures = report.performance.score.measures
    for section in report.suggested:
        if not section.agrees:
            first, last = measures[section.first].number, measures[section.last].number
            yield f"The notes of bars {first} to {last} suggest {section.guess.name}."


def tunings_sentence(report: Report) -> str:
    """In which tunings all signatures are in reach, where they are not in this one; else ""."""
    if not report.tunings:
        return ""
    return f"All these signatures are in reach with the tuning {alternatives(report.tunings)}."


# Tempo.


def opening_tempo(report: Report) -> str:
    """The opening tempo and where it comes from."""
    clock = report.performance.clock
    source = {"score": "from the score", "assumed": "assumed", "given": "as asked"}[clock.source]
    if report.performance.scale != 1:
        source += f", times {float(report.performance.scale):g}"
    return f"quarter = {tempo_number(clock.bpm)} ({source})"


def tempo_sentences(report: Report) -> list[str]:
    """How fast the flips go, what a slower tempo or a quicker player would do, and what is proved."""
    answers, bpm = report.tempo, report.performance.clock.bpm
    sentences = []
    if answers.ceiling is not None:
        factor = Fraction(str(answers.ceiling.factor))
        sentences.append(
            f"These flips hold up to {floor(100 * factor) / 100:g} times the tempo "
            f"(quarter = {tempo_number(bpm * factor)}); flip {answers.ceiling.flip + 1} sets the limit."
        )
    if answers.playing is None and answers.player_needed is None:
        sentences.append(
            "No tempo down to a tenth of this one, and none of the named players, avoids every loss for "
            "lack of time and every cut."
        )
    else:
        sentences += _slower_or_quicker(report)
    if report.plan.proved and report.plan.flips:
        sentences.append("No plan loses or cuts less, or moves fewer levers: proved.")
    return sentences


def _slower_or_quicker(report: Report) -> Iterator[str]:
    """What a slower tempo or a quicker player would do."""
    answers = report.tempo
    if answers.playing is None:
        yield "No tempo down to a tenth of this one avoids every loss for lack of time and every cut."
    elif answers.playing < 1:
        bpm = report.performance.clock.bpm * Fraction(str(answers.playing))
        yield (
            f"Taken at {answers.playing:g} of the tempo (quarter = {tempo_number(bpm)}) or slower, nothing "
            "is lost for lack of time and no ringing note is cut."
        )
    if answers.player_needed is None:
        yield "At this tempo it needs quicker hands than any of the named players has."
    elif report.plan.flips or "no time" in report.plan.lost:
        yield f"At this tempo the flips suit players from {answers.player_needed.name} on."


# Small words.


def count_text(number: int, word: str) -> str:
    """A number of things: "1 note", "3 notes"."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def ordinal(number: int) -> str:
    """ "1st", "2nd", "3rd", "11th"."""
    suffix = "th" if 10 < number % 100 < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{suffix}"


def alternatives(words: Iterable[str]) -> str:
    """ "a", "a or b", "a, b or c"."""
    return listed(list(words)).replace(" and ", " or ")


def capital(text: str) -> str:
    """A text that begins with a capital."""
    return text[:1].upper() + text[1:]


def seconds_text(milliseconds: int | None) -> str:
    """Seconds in two figures, from ten on to the tenth: 0.05 s, 0.45 s, 1.4 s, 12.5 s."""
    time = (milliseconds or 0) / 1000
    return f"{time:.2g} s" if time < 10 else f"{time:.1f} s"


def tempo_number(bpm: Fraction) -> str:
    """A tempo as metronomes count, in whole numbers, slow ones to the tenth; rounded down, which is safe."""
    return f"{floor(10 * bpm) / 10:g}" if bpm < 40 else str(floor(bpm))

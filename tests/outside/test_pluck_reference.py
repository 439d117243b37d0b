"""Plucks, keys and times beside what music21 makes of the same files.

music21 expands the repeats, merges the tied notes and sounds transposing instruments; hidden and cue notes
are left out by hand. Only files are compared whose order of bars both agree on (see test_route_reference),
and whose chords are tied whole or not at all, since music21 merges the ties of a chord only together.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from route_scores import HEAD, TAIL

from harpkeys.score.clock import make_clock
from harpkeys.score.key_map import key_map
from harpkeys.score.plucks import find_plucks
from harpkeys.score.reader import read_score
from harpkeys.score.route import perform

FILES = {
    "bach/bwv103.6.mxl": "repeats",
    "bach/bwv244.15.mxl": "repeats and ties",
    "bach/bwv161.6.mxl": "ties over barlines",
    "bach/bwv31.9.mxl": "transposing instruments and ties",
    "liliuokalani/aloha_oe.mxl": "voices and a piano",
    "schoenberg/opus19/movement2.mxl": "a piano with double accidentals and staves that share voices",
    "mozart/k545/movement1_exposition.mxl": "a piano with a repeat",
    "verdi/laDonnaEMobile.mxl": "a piano with grace notes",
    "webern/webern_dormi_jesu_op_16_no_2.mxl": "a transposing instrument",
}
"""Files of music21's corpus, and what they are good for."""

Sounding = tuple[Fraction, Fraction, float]


def corpus(name: str) -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus" / name


def music21_notes(staff: Any) -> Counter[Sounding]:
    """Onset, end and sounding number of each note of a staff as performed, ties merged."""
    from music21 import chord, harmony, note, repeat

    found: Counter[Sounding] = Counter()
    for element in repeat.Expander(staff).process().stripTies().flatten().notes:
        if isinstance(element, harmony.Harmony) or not isinstance(element, (note.Note, chord.Chord)):
            continue
        for one in element.notes if isinstance(element, chord.Chord) else (element,):
            styles = (element.style, one.style)
            if any(style.hideObjectOnPrint or style.noteSize == "cue" for style in styles):
                continue
            onset = Fraction(element.offset)
            found[onset, onset + Fraction(element.quarterLength), one.pitch.ps] += 1
    return found


@pytest.mark.parametrize("name", FILES)
def test_plucks_are_music21s_notes(name: str) -> None:
    from music21 import converter

    score = read_score(corpus(name))
    timeline = perform(score)
    clock = make_clock(score, timeline)
    staves = iter(converter.parse(corpus(name), forceSource=True).toSoundingPitch().parts)
    for index, part in enumerate(score.parts):
        ours = Counter(
            (
                Fraction(pluck.onset_tick, score.resolution),
                Fraction(pluck.end_tick, score.resolution),
                float(pluck.pitch.midi),
            )
            for pluck in find_plucks(score, (index,), timeline, clock)
            if pluck.kind != "auxiliary"
        )
        theirs: Counter[Sounding] = Counter()
        for _ in range(part.staves):
            theirs += music21_notes(next(staves))
        assert ours == theirs
        assert ours


def test_the_files_have_what_they_are_good_for() -> None:
    scores = {name: read_score(corpus(name)) for name in FILES}
    notes = [note for score in scores.values() for part in score.parts for note in part.notes]
    assert sum(note.tie_stop for note in notes) > 40
    assert sum(note.grace for note in notes) > 0
    assert sum(bool(measure.closes) for score in scores.values() for measure in score.measures) > 2
    assert any(part.staves > 1 for score in scores.values() for part in score.parts)


@pytest.mark.parametrize(
    "name", ["bach/bwv103.6.mxl", "liliuokalani/aloha_oe.mxl", "joplin/maple_leaf_rag.mxl"]
)
def test_keys_are_music21s(name: str) -> None:
    """The signature in force at each bar: its alteration of every letter, for the first staff of every
    part."""
    from music21 import converter, key

    score = read_score(corpus(name))
    parts = converter.parse(corpus(name), forceSource=True).parts
    staves = iter(parts)
    for part in score.parts:
        keys = key_map(part)
        staff = next(staves)
        for _ in range(part.staves - 1):
            next(staves)
        signature = key.KeySignature(0)
        for index, measure in enumerate(staff.getElementsByClass("Measure")):
            signature = measure.keySignature or signature
            ours = [keys.alteration(index, 0, 1, 28 + letter) for letter in range(7)]
            accidentals = [signature.accidentalByStep(step) for step in "CDEFGAB"]
            assert ours == [accidental.alter if accidental else 0 for accidental in accidentals]


ATTRIBUTES = (
    "<attributes><divisions>1</divisions><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
)
QUARTER_NOTE = (
    "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration><type>quarter</type></note>"
)


def tempo_mark(bpm: str) -> str:
    """A direction with a metronome mark and its sound."""
    return (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        f"<per-minute>{bpm}</per-minute></metronome></direction-type>"
        f'<sound tempo="{bpm}"/></direction>'
    )


def test_times_are_music21s(tmp_path: Path) -> None:
    """Tempo marks at and between barlines, in bars of 3/4; music21 gives seconds as floats."""
    from music21 import converter

    tempos = {0: "60", 2: "132.5", 3: "47", 7: "201", 8: "90", 13: "66.6"}
    bars = []
    for bar in range(5):
        beats = "".join(
            (tempo_mark(tempos[beat]) if beat in tempos else "") + QUARTER_NOTE
            for beat in range(3 * bar, 3 * bar + 3)
        )
        bars.append(f'<measure number="{bar + 1}">{"" if bar else ATTRIBUTES}{beats}</measure>')
    path = tmp_path / "tempos.musicxml"
    path.write_text(HEAD + "".join(bars) + TAIL, encoding="utf-8")
    score = read_score(path)
    timeline = perform(score)
    plucks = find_plucks(score, (0,), timeline, make_clock(score, timeline))
    mapped = [
        (entry["offsetSeconds"], entry["endTimeSeconds"])
        for entry in converter.parse(path, forceSource=True).parts[0].flatten().secondsMap
        if "Note" in entry["element"].classes
    ]
    assert len(plucks) == len(mapped) == 15
    for pluck, (onset, end) in zip(plucks, mapped, strict=True):
        assert pluck.onset == pytest.approx(1000 * onset, abs=0.501)
        assert pluck.end == pytest.approx(1000 * end, abs=0.501)

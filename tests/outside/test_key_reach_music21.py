"""Key reach against music21's scale objects, every setting tried in turn, and the trade's tables."""

from __future__ import annotations

from functools import cache
from itertools import product

import pytest

from harpkeys.choose.key_reach import find_obstacles, reach_all, reach_chord, reach_scale
from harpkeys.choose.scales import (
    CHORDS,
    Scale,
    chord_on,
    note_signs,
    pitch_class,
    scale_on,
    usual_scales,
)
from harpkeys.harp.builtin import find_harp
from harpkeys.harp.model import Harp
from harpkeys.harp.tunings import make_harp
from harpkeys.pitch import LETTERS

BASES = ["C", "F", "B-flat", "E-flat", "A-flat", "G", "D", "free: Bb F#"]
LEVERS = ["all", "F C", "F C B", "F", "F C G", "none", "G D A E"]
HARPS = [(base, levers) for base in BASES for levers in LEVERS]


def harp_in(base: str, levers: str) -> Harp:
    return make_harp("h", "C3", high="C6", tuning=base, levers=levers)


@cache
def music21_notes(scale: Scale) -> tuple[tuple[str, int], ...]:
    """The seven notes of a scale on the way up, as music21 spells them."""
    from music21 import scale as scales

    makers = {
        "major": scales.MajorScale,
        "minor": scales.MinorScale,
        "harmonic minor": scales.HarmonicMinorScale,
        "melodic minor": scales.MelodicMinorScale,
        "dorian": scales.DorianScale,
        "phrygian": scales.PhrygianScale,
        "lydian": scales.LydianScale,
        "mixolydian": scales.MixolydianScale,
        "locrian": scales.LocrianScale,
    }
    tonic = note_signs(scale.tonic, ascii_only=True).replace("b", "-")
    pitches = makers[scale.kind](tonic).getPitches(
        f"{tonic}3", f"{tonic}4", direction=scales.Direction.ASCENDING
    )
    return tuple((pitch.step, int(pitch.alter)) for pitch in pitches[:7])


@pytest.mark.parametrize("scale", usual_scales(), ids=lambda scale: scale.name)
def test_scales_are_music21s(scale: Scale) -> None:
    assert tuple((LETTERS[letter], alter) for letter, alter in scale.notes) == music21_notes(scale)


def test_melodic_minors_come_down_as_music21s() -> None:
    from music21 import scale as scales

    for fifths in range(-7, 8):
        found = scale_on(fifths, "melodic minor")
        tonic = note_signs(found.tonic, ascii_only=True).replace("b", "-")
        down = scales.MelodicMinorScale(tonic).getPitches(
            f"{tonic}3", f"{tonic}4", direction=scales.Direction.DESCENDING
        )
        told = {(LETTERS[letter], alter) for letter, alter in enumerate(found.letters_down)}
        assert told == {(pitch.step, int(pitch.alter)) for pitch in down}


def settings_of(harp: Harp) -> dict[frozenset[int], set[tuple[tuple[str, int], ...]]]:
    """Every setting of the seven letters: the pitch classes it sounds, and its spellings."""
    letters = {s.diatonic % 7: s for s in harp.strings}
    states = [range(2) if letters[letter].lever else range(1) for letter in range(7)]
    found: dict[frozenset[int], set[tuple[tuple[str, int], ...]]] = {}
    for setting in product(*states):
        notes = tuple((LETTERS[k], letters[k].tuned + state) for k, state in enumerate(setting))
        classes = frozenset(letters[k].sounding(state).midi % 12 for k, state in enumerate(setting))
        found.setdefault(classes, set()).add(notes)  # type: ignore[arg-type]
    return found


@pytest.mark.parametrize(("base", "levers"), HARPS)
def test_reach_is_what_trying_every_setting_finds(base: str, levers: str) -> None:
    from music21 import pitch

    harp = harp_in(base, levers)
    settings = settings_of(harp)
    for reach in reach_all(harp):
        notes = music21_notes(reach.scale)
        classes = frozenset(
            pitch.Pitch(step + ("#" * alter if alter > 0 else "-" * -alter)).pitchClass
            for step, alter in notes
        )
        spelled = tuple(sorted(notes, key=lambda note: LETTERS.index(note[0])))
        assert reach.reached == any(spelled == setting for setting in settings.get(classes, ()))
        assert (reach.setting is not None) == (classes in settings), reach.scale.name
        if reach.setting is not None:
            sounded = {s.sounding(k in reach.setting).midi % 12 for k, s in enumerate(harp.strings)}
            assert sounded == classes
        # Out of reach there is always a reason, and in reach never one.
        assert bool(reach.obstacles) == (reach.setting is None)


@pytest.mark.parametrize(("base", "levers"), HARPS)
def test_every_reason_is_one(base: str, levers: str) -> None:
    """The notes of a shared reason have only the contested strings, one too few; a lonely note has none."""
    harp = harp_in(base, levers)
    sounds = {s.diatonic % 7: {s.down % 12} | ({s.down % 12 + 1} if s.lever else set()) for s in harp.strings}
    sounds = {letter: {midi % 12 for midi in classes} for letter, classes in sounds.items()}
    for reach in reach_all(harp):
        for obstacle in reach.obstacles:
            notes = {obstacle.note, *obstacle.rivals}
            able = {
                letter
                for letter, classes in sounds.items()
                if classes & {pitch_class(note) for note in notes}
            }
            assert able == set(obstacle.contested)
            assert len(able) == len(notes) - 1
            assert (obstacle.reason == "shared") == bool(able)
            assert notes <= set(reach.scale.notes)


LEVERS_BY_KEY = [
    # The trade's table: arithmetic on the line of fifths; agrees with published lists for E-flat (Perrett,
    # "Tips on composing for harp"; Shabkie, "Alternate E-flat tuning": G four levers, D five) and for F (the
    # tuning chapter of a harp-building text).
    ("C", "C: G:F D:FC A:FCG E:FCGD B:FCGDA F♯:FCGDAE C♯:FCGDAEB"),
    ("F", "F: C:B G:BF D:BFC A:BFCG E:BFCGD B:BFCGDA F♯:BFCGDAE"),
    ("B-flat", "B♭: F:E C:EB G:EBF D:EBFC A:EBFCG E:EBFCGD B:EBFCGDA"),
    ("E-flat", "E♭: B♭:A F:AE C:AEB G:AEBF D:AEBFC A:AEBFCG E:AEBFCGD"),
    ("A-flat", "A♭: E♭:D B♭:DA F:DAE C:DAEB G:DAEBF D:DAEBFC A:DAEBFCG"),
]


@pytest.mark.parametrize(("base", "row"), LEVERS_BY_KEY)
def test_levers_of_the_major_keys(base: str, row: str) -> None:
    reaches = [reach for reach in reach_all(harp_in(base, "all")) if reach.scale.kind == "major"]
    told = [
        f"{note_signs(reach.scale.tonic)}:{''.join(LETTERS[k] for k in reach.letters)}"
        for reach in reaches
        if reach.reached
    ]
    assert told == row.split()


LEADING_NOTES = [
    # Leading notes that share a string with their tonic, of A E B F# C# minor: arithmetic.
    ("C", ""),
    ("F", "C♯"),
    ("B-flat", "F♯ C♯"),
    ("E-flat", "B F♯ C♯"),
    ("A-flat", "E B F♯"),
]


@pytest.mark.parametrize(("base", "tonics"), LEADING_NOTES)
def test_leading_notes_that_need_the_string_of_their_tonic(base: str, tonics: str) -> None:
    found = []
    for fifths in range(5):
        reach = reach_scale(harp_in(base, "all"), scale_on(fifths, "harmonic minor"))
        tonic, leading = reach.scale.notes[0], reach.scale.notes[6]
        if any({obstacle.note, *obstacle.rivals} == {tonic, leading} for obstacle in reach.obstacles):
            found.append(note_signs(tonic))
    assert " ".join(found) == tonics


PARTIAL_SETS = [
    # Arithmetic; the sets themselves, common practice.
    ("C", "F", "C G"),
    ("C", "F C", "C G D"),
    ("F", "F C B", "F C G D"),
    ("C", "F C G", "C G D A"),
    ("C", "none", "C"),
]


@pytest.mark.parametrize(("base", "levers", "keys"), PARTIAL_SETS)
def test_partial_sets(base: str, levers: str, keys: str) -> None:
    reaches = reach_all(harp_in(base, levers))
    majors = [reach for reach in reaches if reach.scale.kind == "major" and reach.reached]
    assert [note_signs(reach.scale.tonic) for reach in majors] == keys.split()
    # One signature and its modes: every mode of a reached signature is reached, and no other.
    modes = [reach for reach in reaches if not reach.scale.kind.endswith("ic minor")]
    for reach in modes:
        assert reach.reached == (reach.scale.fifths in {major.scale.fifths for major in majors})


MUSIC21_SUFFIXES = {
    "maj7": "maj7",
    "m7b5": "ø7",
    "dim7": "o7",
    "dim": "o",
    "aug": "+",
    "5": "power",
    "maj9": "M9",
}


@pytest.mark.parametrize("suffix", list(CHORDS))
def test_chords_are_music21s(suffix: str) -> None:
    from music21 import harmony

    for root in ((0, 0), (6, -1), (3, 1), (1, 0)):
        name = note_signs(root, ascii_only=True).replace("b", "-")
        symbol = harmony.ChordSymbol(name + MUSIC21_SUFFIXES.get(suffix, suffix))
        told = {(LETTERS[letter], alter) for letter, alter in chord_on(root, suffix).notes}
        assert told == {(pitch.step, int(pitch.alter)) for pitch in symbol.pitches}, (suffix, symbol.pitches)


@pytest.mark.parametrize(("base", "levers"), HARPS)
def test_chords_are_reached_where_some_setting_sounds_them(base: str, levers: str) -> None:
    harp = harp_in(base, levers)
    settings = settings_of(harp)
    for root in usual_scales()[::9]:
        for suffix in ("", "m", "7", "dim7", "maj9"):
            chord = chord_on(root.tonic, suffix)
            classes = {pitch_class(note) for note in chord.notes}
            reach = reach_chord(harp, chord)
            assert (not reach.obstacles) == any(classes <= sounded for sounded in settings), chord.name
            assert bool(reach.obstacles) == bool(find_obstacles(harp, dict(chord.notes)))


def test_the_usual_harps_have_their_keys_in_every_octave() -> None:
    # A harp whose lowest strings have no lever reaches only what those strings give.
    harp = make_harp("h", "A1", high="A6", tuning="E-flat", levers="all but A1 B1 C2 D2 E2")
    majors = [reach.scale.name for reach in reach_all(harp) if reach.reached and reach.scale.kind == "major"]
    assert majors == ["E-flat major"]
    assert reach_scale(find_harp("34 in E-flat"), scale_on(0, "major")).reached

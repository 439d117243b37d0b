"""Keys and chords as somebody calls them out.

Capo arithmetic: sounding = shape + frets in semitones; checked against music21's transposition as well.
"""

from __future__ import annotations

import re

import pytest

from harpkeys.choose.called_out import moved_chord, moved_scale, parse_called, reach_called
from harpkeys.choose.scales import Chord, Scale, chord_on, note_signs, usual_scales
from harpkeys.errors import OptionError
from harpkeys.harp.builtin import find_harp

CALLED = [
    ("capo 3, shapes of G", "G major", 3, 0, "B-flat major"),
    ("G shapes with the capo on the 2nd fret", "G major", 2, 0, "A major"),
    ("capo on 4 in D", "D major", 4, 0, "F-sharp major"),
    ("capo 2, Em", "E minor", 2, 0, "F-sharp minor"),
    ("capo 4, chords of C, down a tone", "C major", 4, -2, "D major"),
    ("A major, down a tone", "A major", 0, -2, "G major"),
    ("up a minor third from E", "E major", 0, 3, "G major"),
    ("D, up 2", "D major", 0, 2, "E major"),
    ("G, up a tone and a half", "G major", 0, 3, "B-flat major"),
    ("F, up a semitone", "F major", 0, 1, "F-sharp major"),
    ("D mixolydian down a whole step", "D mixolydian", 0, -2, "C mixolydian"),
    ("Bb, down a fifth", "B-flat major", 0, -7, "E-flat major"),
    ("F sharp harmonic minor", "F-sharp harmonic minor", 0, 0, "F-sharp harmonic minor"),
    ("B flat dorian", "B-flat dorian", 0, 0, "B-flat dorian"),
    ("E♭", "E-flat major", 0, 0, "E-flat major"),
    ("bb", "B-flat major", 0, 0, "B-flat major"),
    ("g minor", "G minor", 0, 0, "G minor"),
    ("in the key of A", "A major", 0, 0, "A major"),
    ("play in A minor", "A minor", 0, 0, "A minor"),
    ("GM", "G major", 0, 0, "G major"),
    ("A natural minor", "A minor", 0, 0, "A minor"),
    ("C ionian", "C major", 0, 0, "C major"),
    ("capo 2, Em7", "Em7", 2, 0, "F♯m7"),
    ("D7/F#", "D7/F♯", 0, 0, "D7/F♯"),
    ("D7/F# down a tone", "D7/F♯", 0, -2, "C7/E"),
    ("Bø7", "Bm7b5", 0, 0, "Bm7b5"),
    ("CM7", "Cmaj7", 0, 0, "Cmaj7"),
    ("Gsus", "Gsus4", 0, 0, "Gsus4"),
    ("Eb+", "E♭aug", 0, 0, "E♭aug"),
]


@pytest.mark.parametrize(("text", "said", "capo", "moved", "sounding"), CALLED)
def test_what_is_meant(text: str, said: str, capo: int, moved: int, sounding: str) -> None:
    called = parse_called(text)
    assert (called.said.name, called.capo, called.moved) == (said, capo, moved)
    assert called.sounding[0].name == sounding


MISTAKES = [
    (
        "xyzzy",
        '"xyzzy" cannot be read; say a key such as "B flat minor", a chord such as "D7", a capo such as '
        '"capo 3, shapes of G", or a move such as "A major, down a tone".',
    ),
    (
        "down a tone",
        '"down a tone" names no key or chord; say a key such as "B flat minor", a chord such as "D7", a capo '
        'such as "capo 3, shapes of G", or a move such as "A major, down a tone".',
    ),
    (
        "B double flat",
        '"B double flat" cannot be read; say a key such as "B flat minor", a chord such as "D7", a capo such '
        'as "capo 3, shapes of G", or a move such as "A major, down a tone".',
    ),
    ("capo 14, G", '"capo 14, G" puts the capo on fret 14; give a fret up to 12.'),
    ("G up 30", '"G up 30" moves 30 semitones; move at most 24.'),
    ("up from G", '"up from G" does not say how far up; say "a tone" or "2".'),
]


@pytest.mark.parametrize(("text", "sentence"), MISTAKES)
def test_mistakes(text: str, sentence: str) -> None:
    with pytest.raises(OptionError, match=re.escape(sentence)):
        parse_called(text)


@pytest.mark.parametrize("semitones", range(-12, 13))
def test_moves_sound_as_music21_moves_them(semitones: int) -> None:
    from music21 import pitch

    for scale in usual_scales()[::4]:
        tonic = pitch.Pitch(note_signs(scale.tonic, ascii_only=True).replace("b", "-"))
        sounding = (tonic.pitchClass + semitones) % 12
        moved = moved_scale(scale, semitones)
        assert moved
        for spelled in moved:
            name = note_signs(spelled.tonic, ascii_only=True).replace("b", "-")
            assert pitch.Pitch(name).pitchClass == sounding
            assert spelled.kind == scale.kind
        signs = [abs(spelled.fifths) for spelled in moved]
        assert signs == sorted(signs)
        assert max(signs) <= 7


def test_an_unmoved_key_keeps_its_spelling() -> None:
    assert [scale.name for scale in parse_called("G flat").sounding] == ["G-flat major"]
    assert [scale.name for scale in parse_called("F, up a semitone").sounding] == [
        "F-sharp major",
        "G-flat major",
    ]


def test_chords_move_with_their_bass() -> None:
    moved = moved_chord(chord_on((3, 0), "m", (5, -1)), 2)
    assert [chord.name for chord in moved] == ["Gm/B♭"]
    assert isinstance(moved[0], Chord)


def test_levers_between_the_key_as_said_and_as_it_sounds() -> None:
    harp = find_harp("34 in E-flat")
    answer = reach_called(harp, parse_called("A major, down a tone"))
    assert answer.key is not None
    assert isinstance(answer.key.scale, Scale)
    # A major has C and G sharp, G major neither.
    assert answer.raised == ()
    assert {harp.strings[k].name[0] for k in answer.lowered} == {"C", "G"}


def test_no_moves_are_told_where_the_key_as_said_is_out_of_reach() -> None:
    answer = reach_called(find_harp("34"), parse_called("F, up a tone"))
    assert answer.key is not None
    assert answer.key.scale.name == "G major"
    assert (answer.raised, answer.lowered) == ((), ())

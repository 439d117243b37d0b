"""Which scales a harp reaches, against music21's scale objects and against the trade's table of base tunings.

music21 names the notes of each scale; whether a harp has them all at once is worked out here by trying every
lever setting of one octave, which shares nothing with the matching in `choose.key_reach`.

Sources of the table: Perrett, "Tips on composing for harp" and Shabkie, "Alternate E-flat tuning" (G needs
four levers, D five on E-flat); the rest follows by arithmetic.
"""

from __future__ import annotations

from itertools import product

import pytest
from music21 import scale

from harpkeys.choose.called_out import parse_called, reach_called
from harpkeys.choose.key_reach import reach_all
from harpkeys.harp.tunings import make_harp

SCALES = {
    "major": scale.MajorScale,
    "minor": scale.MinorScale,
    "harmonic minor": scale.HarmonicMinorScale,
    "dorian": scale.DorianScale,
    "phrygian": scale.PhrygianScale,
    "lydian": scale.LydianScale,
    "mixolydian": scale.MixolydianScale,
    "locrian": scale.LocrianScale,
}

# Base tuning, key, letters whose levers go up.
ROWS = (
    ("C", "G major", "F"),
    ("C", "A major", "FCG"),
    ("C", "C# major", "FCGDAEB"),
    ("F", "C major", "B"),
    ("F", "E major", "BFCGD"),
    ("B-flat", "C major", "EB"),
    ("B-flat", "A major", "EBFCG"),
    ("E-flat", "G major", "AEBF"),
    ("E-flat", "D major", "AEBFC"),
    ("E-flat", "E major", "AEBFCGD"),
    ("A-flat", "E-flat major", "D"),
    ("A-flat", "G major", "DAEBF"),
)


@pytest.mark.parametrize(("tuning", "key", "letters"), ROWS)
def test_levers_of_the_trade_table(tuning: str, key: str, letters: str) -> None:
    harp = make_harp("test", "C3", count=22, tuning=tuning)
    reach = reach_called(harp, parse_called(key)).key
    assert reach is not None
    assert reach.reached
    assert "".join("CDEFGAB"[letter] for letter in reach.letters) == letters


@pytest.mark.parametrize("tuning", ["C", "F", "B-flat", "E-flat", "A-flat"])
def test_reach_is_what_trying_every_setting_finds(tuning: str) -> None:
    harp = make_harp("test", "C4", count=7, tuning=tuning)
    settings = {
        frozenset((string.down + state) % 12 for string, state in zip(harp.strings, states, strict=True))
        for states in product((0, 1), repeat=7)
    }
    checked = 0
    for reach in reach_all(harp):
        words = reach.scale.name.split(" ", 1)
        if words[1] not in SCALES:
            continue
        tonic = words[0].replace("-sharp", "#").replace("-flat", "-")
        pitches = SCALES[words[1]](tonic).getPitches(f"{tonic}4", f"{tonic}5")
        wanted = frozenset(pitch.pitchClass for pitch in pitches)
        assert (reach.setting is not None) == (wanted in settings), reach.scale.name
        checked += 1
    assert checked >= 100

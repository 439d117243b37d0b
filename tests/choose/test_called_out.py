"""Keys and chords as somebody calls them out. Capo arithmetic: sounding key = shape + frets in semitones."""

from __future__ import annotations

import pytest

from harpkeys.choose.called_out import parse_called
from harpkeys.errors import OptionError


@pytest.mark.parametrize(
    ("text", "sounding"),
    [
        ("capo 3, shapes of G", "B-flat major"),
        ("capo 2, shapes of C", "D major"),
        ("A major, down a tone", "G major"),
        ("F, up a semitone", "F-sharp major"),
        ("B flat minor", "B-flat minor"),
    ],
)
def test_what_sounds(text: str, sounding: str) -> None:
    assert sounding in [one.name for one in parse_called(text).sounding]


def test_what_cannot_be_read() -> None:
    with pytest.raises(OptionError) as caught:
        parse_called("xyzzy")
    assert caught.value.sentence == (
        '"xyzzy" cannot be read; say a key such as "B flat minor", a chord such as "D7", a capo such as '
        '"capo 3, shapes of G", or a move such as "A major, down a tone".'
    )

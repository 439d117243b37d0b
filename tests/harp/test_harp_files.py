"""Harp files: read, written, and told what is wrong with them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harpkeys.errors import FileError, HarpkeysError
from harpkeys.harp.builtin import builtin_harps
from harpkeys.harp.files import file_example, harp_of_text, harp_to_toml, load_harp
from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.harp.players import PLAYERS, own_times
from harpkeys.harp.tunings import make_harp, tuning_of_strings

ROWAN = """\
name = "Rowan"
lowest = "C2"
strings = 34
tuning = "E-flat"
levers = "all but C2 D2 E2"

[string.B2]
tuned = "natural"
lever = false

[player]
flip = 0.5
leave = 0.1
place = 0.25
"""


def test_the_example_of_the_documentation_reads() -> None:
    read = harp_of_text(file_example())
    assert read.player == PLAYERS[1]
    assert read.harp == harp_of_text(ROWAN).harp


def test_a_harp_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "rowan.toml"
    path.write_text(ROWAN, encoding="utf-8")
    read = load_harp(path)
    expected = make_harp("Rowan", "C2", 34, tuning="E-flat, B2 natural", levers="all but C2 D2 E2 B2")
    assert read.harp == expected
    assert read.player == Player("own times", 500, 100, 250)


def test_the_least_a_file_may_say(tmp_path: Path) -> None:
    path = tmp_path / "little one.toml"
    path.write_bytes(b'\xef\xbb\xbflowest = "C4"\r\nhighest = "C5"\r\n')
    assert load_harp(str(path)).harp == make_harp("little one", "C4", 8)
    assert load_harp(path).player is None


def test_a_player_by_name() -> None:
    assert harp_of_text('lowest="C4"\nstrings=8\nplayer="nimble"').player == PLAYERS[2]


def test_strings_by_dotted_keys_and_inline_tables() -> None:
    expected = make_harp("harp", "C4", 8, tuning="C with B4 flat")
    assert harp_of_text('lowest="C4"\nstrings=8\nstring.B4.tuned = "flat"').harp == expected
    assert harp_of_text('lowest="C4"\nstrings=8\nstring = { B4 = { tuned = -1 } }').harp == expected


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'levers = "all',
            'lever = "all',
            'line 5: "lever" means nothing in a harp file; did you mean levers.',
        ),
        (
            'name = "Rowan"',
            "colour = 3",
            'line 1: "colour" means nothing in a harp file; '
            "it may hold name, lowest, strings, highest, tuning, levers, string and player.",
        ),
        (
            "strings = 34",
            "strings = true",
            "line 3: strings has a value of the wrong kind; give a whole number, such as 34.",
        ),
        (
            "strings = 34",
            "strings = 34.0",
            "line 3: strings has a value of the wrong kind; give a whole number, such as 34.",
        ),
        ("strings = 34", "strings = 0", "line 3: a harp of 0 strings cannot be made; give 1 to 60 strings."),
        ("strings = 34", "", "the number of strings is missing; add a line such as strings = 34."),
        (
            "strings = 34",
            'strings = 34\nhighest = "A6"',
            "line 4: both strings and highest are given; leave out one of them.",
        ),
        (
            "strings = 34",
            'highest = "A1"',
            "line 3: the highest string A1 is below the lowest string C2; change one of them.",
        ),
        (
            "strings = 34",
            'highest = "A#6"',
            'line 3: "A#6" is no string; name a string by letter and octave without a sign, such as "C2".',
        ),
        ('lowest = "C2"', "", 'the lowest string is missing; add a line such as lowest = "C2".'),
        (
            'lowest = "C2"',
            "lowest = 2",
            'line 2: lowest has a value of the wrong kind; give text in double quotes, such as "C2".',
        ),
        (
            'lowest = "C2"',
            'lowest = "Do2"',
            'line 2: "Do2" is no string; name a string by letter and octave without a sign, such as "C2".',
        ),
        (
            'name = "Rowan"',
            'name = ""',
            'line 1: "" is no name for a harp; give it a name of 1 to 100 characters.',
        ),
        (
            'tuning = "E-flat"',
            'tuning = "E##"',
            'line 4: "E##" in the tuning "E##" is 2 semitones from the natural note; '
            "tune a string flat, natural or sharp.",
        ),
        (
            'levers = "all but C2 D2 E2"',
            'levers = "all but C1"',
            'line 5: the levers "all but C1" name C1, which the harp does not have; '
            "its strings are C2 to A6.",
        ),
        ("[string.B2]", "[string.B7]", "line 7: the harp has no string B7; its strings are C2 to A6."),
        (
            "[string.B2]",
            "[string.low]",
            'line 7: "low" is no string; name a string by letter and octave without a sign, such as "C2".',
        ),
        (
            'tuned = "natural"',
            "tuned = 2",
            'line 8: the string B2 cannot be tuned 2; write "flat", "natural" or "sharp", or -1, 0 or 1.',
        ),
        (
            'tuned = "natural"',
            'tuned = "double sharp"',
            'line 8: the string B2 cannot be tuned "double sharp"; '
            'write "flat", "natural" or "sharp", or -1, 0 or 1.',
        ),
        (
            'tuned = "natural"',
            "tuned = true",
            'line 8: the string B2 cannot be tuned True; write "flat", "natural" or "sharp", or -1, 0 or 1.',
        ),
        (
            'tuned = "natural"',
            "tune = 0",
            'line 8: "tune" means nothing in [string.B2]; did you mean tuned.',
        ),
        (
            "lever = false",
            'levers = "all"',
            'line 9: "levers" means nothing in [string.B2]; put it above the first line in square brackets.',
        ),
        (
            "lever = false",
            "lever = 0",
            "line 9: string.B2.lever has a value of the wrong kind; give true or false.",
        ),
        ("[string.B2]", "[[string.B2]]", "line 7: string.B2 has a value of the wrong kind; give a table."),
        ("flip = 0.5", "flop = 0.5", 'line 12: "flop" means nothing in [player]; did you mean flip.'),
        ("flip = 0.5", "", "line 11: the player has no flip time; give flip, leave and place in seconds."),
        (
            "flip = 0.5",
            'flip = "0.5"',
            "line 12: player.flip has a value of the wrong kind; give seconds, such as 0.6.",
        ),
        (
            "leave = 0.1",
            "leave = nan",
            "line 13: a leave time of nan seconds is out of range; give 0 to 60 seconds, such as 0.3.",
        ),
        (
            "flip = 0.5",
            "flip = 0",
            "line 12: a flip of less than a millisecond takes no time; "
            "give the flip time in seconds, such as 0.6.",
        ),
        (
            "[player]\nflip = 0.5\nleave = 0.1\nplace = 0.25",
            "[[player]]",
            "line 11: player has a value of the wrong kind; give a table.",
        ),
        (
            'tuning = "E-flat"',
            "tuning = E-flat",
            "line 4: this is not TOML (invalid value); put text in double quotes.",
        ),
        (
            'tuning = "E-flat"',
            'tuning = "E-flat',
            "line 4: this is not TOML (illegal character '\\n'); "
            "write one name = value to a line, with text in double quotes.",
        ),
        (
            "strings = 34",
            'lowest = "C3"',
            "line 3: this is not TOML (cannot overwrite a value); "
            "write one name = value to a line, with text in double quotes.",
        ),
        (
            "strings = 34",
            "strings = 34\n" + "x = " + "[" * 30000,
            "this is not a harp file (a value is too long or too deep); check the file.",
        ),
        (
            "strings = 34",
            "strings = " + "9" * 5000,
            "this is not a harp file (a value is too long or too deep); check the file.",
        ),
    ],
)
def test_a_wrong_file_is_told_with_its_line(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    path = tmp_path / "rowan.toml"
    assert old in ROWAN
    path.write_text(ROWAN.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(HarpkeysError) as caught:
        load_harp(path)
    place = f"{path}, " if sentence.startswith("line ") else f"{path}: "
    assert str(caught.value) == place + sentence


def test_the_name_of_the_player_is_told_with_its_line() -> None:
    with pytest.raises(HarpkeysError) as caught:
        harp_of_text('lowest="C4"\nstrings=8\n\nplayer="fast"')
    assert str(caught.value) == (
        'line 4: there is no player "fast"; the named ones are unhurried, steady and nimble, '
        "or give flip/leave/place in seconds, such as 0.5/0.1/0.25."
    )


def test_not_utf_8(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes('# first\nname = "Ébène"\n'.encode("latin-1"))
    with pytest.raises(FileError) as caught:
        load_harp(path)
    assert str(caught.value) == f"{path}: line 2 is not UTF-8 text; save the file as UTF-8."


def test_too_large(tmp_path: Path) -> None:
    path = tmp_path / "large.toml"
    path.write_text(ROWAN + "#" * 70000, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        load_harp(path)
    assert (
        str(caught.value)
        == f"{path}: a harp file of more than 64 KB is not read; check that this is the file."
    )


def test_a_directory(tmp_path: Path) -> None:
    with pytest.raises(FileError) as caught:
        load_harp(tmp_path)
    assert str(caught.value) == f"{tmp_path}: this is no file; give the path of a harp file."


def test_a_path_that_cannot_be() -> None:
    with pytest.raises(FileError):
        load_harp("a\x00b.toml")


@pytest.mark.parametrize("entry", builtin_harps(), ids=lambda entry: entry.id)
@pytest.mark.parametrize("player", [None, *PLAYERS, own_times(0.123, 0, 60)])
def test_built_in_harps_are_written_and_read_back(entry: object, player: Player | None) -> None:
    harp = entry.harp()  # type: ignore[attr-defined]
    read = harp_of_text(harp_to_toml(harp, player))
    assert (read.harp, read.player) == (harp, player)


names = st.text(min_size=1, max_size=20).filter(
    lambda text: text.isprintable() and " ".join(text.split()) == text
)


@given(
    names, st.integers(0, 40), st.lists(st.tuples(st.integers(-1, 1), st.booleans()), min_size=1, max_size=30)
)
def test_any_harp_is_written_and_read_back(name: str, lowest: int, strings: list[tuple[int, bool]]) -> None:
    row = tuple(HarpString(lowest + k, tuned, lever) for k, (tuned, lever) in enumerate(strings))
    harp = Harp(name, tuning_of_strings(row).name, row)
    assert harp_of_text(harp_to_toml(harp)).harp == harp


def test_a_tuning_whose_name_is_wrong_is_named_anew() -> None:
    harp = make_harp("h", "C4", 8, tuning="F")
    for name in ("C", "my own"):
        assert harp_of_text(harp_to_toml(Harp("h", name, harp.strings))).harp == harp


@given(st.text(max_size=60))
def test_any_text_is_read_or_told(text: str) -> None:
    for whole in (text, 'lowest = "C2"\nstrings = 8\n' + text):
        try:
            read = harp_of_text(whole)
        except HarpkeysError:
            continue
        assert read.harp.strings

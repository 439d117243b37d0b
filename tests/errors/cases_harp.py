"""Mistakes in what is said of a harp and its player, and in harp files."""

from __future__ import annotations

from unittest import mock

from reaching import Case

from harpkeys.harp.frequency import frequency
from harpkeys.harp.players import own_times
from harpkeys.harp.tunings import alterations, make_harp, parse_range

LEVERS = 'write "all", "none", letters such as "F C", strings such as "F4 C5", or "all but C2 D2".'
TUNING = (
    'name the major key that sounds with all levers down, such as "C" or "E-flat", or the altered letters, '
    "such "
    'as "Bb Eb".'
)
HARP = 'lowest = "C2"\nstrings = 34\n'


def file(trigger: str, sentence: str, text: str | bytes) -> Case:
    """A harp file with a mistake."""
    return Case(
        trigger,
        f"h.toml{', ' if sentence.startswith('line ') and ': ' in sentence[:9] else ': '}{sentence}",
        ("keys", "--harp", "h.toml"),
        {"h.toml": text},
    )


def levers(trigger: str, sentence: str, text: str) -> Case:
    return Case(trigger, sentence, ("keys", "--harp", "34", "--levers", text))


def tuning(trigger: str, sentence: str, text: str) -> Case:
    return Case(trigger, sentence, ("keys", "--harp", "34", "--tuning", text))


CASES = (
    Case(
        "--harp names neither a built-in harp nor a range nor a file",
        'there is no harp "banjo"; the built-in ones are 22, 22-none, 22-f, 22-fc, 22-fcb, 26, 27, 28, 29, '
        "29-a, 34, "
        '34-eb, 36, 36-c and 38, each also as "34 in E-flat", a range such as "C2-A6", or the path of a '
        "harp file "
        "(.toml).",
        ("keys", "--harp", "banjo"),
    ),
    Case(
        "a harp file that is not there",
        "h.toml: there is no such file; check the path.",
        ("keys", "--harp", "h.toml"),
    ),
    Case(
        "a folder in place of a harp file",
        "h.toml: this is no file; give the path of a harp file.",
        ("keys", "--harp", "h.toml"),
        {"h.toml/x": ""},
    ),
    Case(
        "a harp file's name that the system does not take",
        "h.toml: the file cannot be read (Permission denied); check the path and its permissions.",
        ("keys", "--harp", "h.toml"),
        {"h.toml": HARP},
        {"pathlib.Path.open": mock.Mock(side_effect=PermissionError(13, "Permission denied"))},
    ),
    file(
        "a harp file too long to be one",
        "a harp file of more than 64 KB is not read; check that this is the file.",
        HARP + "#" * 70_000,
    ),
    file(
        "a harp file in another encoding",
        "line 3 is not UTF-8 text; save the file as UTF-8.",
        HARP.encode() + b"\xe4",
    ),
    file(
        "a harp file that is not TOML",
        "line 1: this is not TOML (invalid value); put text in double quotes.",
        "lowest = C2\n",
    ),
    Case(
        "a harp file nested or numbered beyond Python's limits",
        "h.toml: this is not a harp file (a value is too long or too deep); check the file.",
        ("keys", "--harp", "h.toml"),
        {"h.toml": "strings = " + "1" * 5000},
    ),
    file(
        "an unknown key in a harp file",
        'line 3: "levrs" means nothing in a harp file; did you mean levers.',
        HARP + 'levrs = "all"\n',
    ),
    file(
        "a value of another type in a harp file",
        "line 2: strings has a value of the wrong kind; give a whole number, such as 34.",
        'lowest = "C2"\nstrings = "many"\n',
    ),
    file(
        "a harp file without its lowest string",
        'the lowest string is missing; add a line such as lowest = "C2".',
        "strings = 34\n",
    ),
    file(
        "a harp file without its number of strings",
        "the number of strings is missing; add a line such as strings = 34.",
        'lowest = "C2"\n',
    ),
    file(
        "a harp file with a highest string and a number of strings",
        "line 3: both strings and highest are given; leave out one of them.",
        HARP + 'highest = "A6"\n',
    ),
    file(
        "an exception for a string that the harp does not have",
        "line 3: the harp has no string C8; its strings are C2 to A6.",
        HARP + "[string.C8]\nlever = false\n",
    ),
    file(
        "an exception that tunes a string by more than a semitone",
        'line 4: the string C3 cannot be tuned 2; write "flat", "natural" or "sharp", or -1, 0 or 1.',
        HARP + "[string.C3]\ntuned = 2\n",
    ),
    file(
        "a player without all three times",
        "line 3: the player has no leave and place time; give flip, leave and place in seconds.",
        HARP + "[player]\nflip = 1\n",
    ),
    file(
        "a player's time that is no number",
        "line 4: player.flip has a value of the wrong kind; give seconds, such as 0.6.",
        HARP + '[player]\nflip = "quick"\nleave = 0.1\nplace = 0.1\n',
    ),
    Case(
        "A4 beyond what a harp is tuned to",
        "A4 at 100 Hz is out of range; give 300 to 600 Hz; the standard is 440.",
        ("tuning", "--a4", "100"),
    ),
    Case(
        "A4 beyond what a harp is tuned to, asked by a program",
        "A4 at 601 Hz is out of range; give 300 to 600 Hz; the standard is 440.",
        lambda: frequency(69, 601),
    ),
    levers('"but" twice', f'the levers "all but C2 but D2" say "but" twice; {LEVERS}', "all but C2 but D2"),
    levers(
        "no string in --levers",
        f'the levers " but C2" name no string; {LEVERS}'.replace('" b', '"b'),
        " but C2",
    ),
    Case(
        "a letter without a string on a short harp",
        f'the harp has no A string for the levers "A B"; {LEVERS}',
        ("keys", "--lowest", "C4", "--strings", "5", "--levers", "A B"),
    ),
    levers("a word in --levers", f'"some" in the levers "some" cannot be read; {LEVERS}', "some"),
    levers(
        "a string in --levers that the harp does not have",
        'the levers "C9" name C9, which the harp does not have; its strings are C2 to A6.',
        "C9",
    ),
    levers(
        "a stretch from high to low",
        'the levers "E5-F3" run downwards; write the lower string first.',
        "E5-F3",
    ),
    Case(
        "a string's name with a sign or without an octave",
        '"Cb2" is no string; name a string by letter and octave without a sign, such as "C2".',
        ("keys", "--lowest", "Cb2", "--strings", "30"),
    ),
    Case(
        "a string's name with another count of octaves",
        '"C12" is beyond octave 9; count octaves so that middle C is C4.',
        ("keys", "--lowest", "C12", "--strings", "30"),
    ),
    Case(
        "an unknown player",
        'there is no player "swift"; the named ones are unhurried, steady and nimble, or give '
        "flip/leave/place in "
        "seconds, such as 0.5/0.1/0.25.",
        ("vet", "x.musicxml", "--player", "swift"),
    ),
    Case(
        "a flip that takes no time",
        "a flip of less than a millisecond takes no time; give the flip time in seconds, such as 0.6.",
        ("vet", "x.musicxml", "--player", "0/0/0"),
    ),
    Case(
        "a player's time beyond a minute",
        "a leave time of 61 seconds is out of range; give 0 to 60 seconds, such as 0.3.",
        ("vet", "x.musicxml", "--player", "1/61/0"),
    ),
    Case(
        "a player's time below 0, asked by a program",
        "a place time of -1 seconds is out of range; give 0 to 60 seconds, such as 0.3.",
        lambda: own_times(1, 0, -1),
    ),
    Case(
        "a program asks for the letters of a tuning with exceptions by string",
        'the tuning "C with F4 sharp" names single strings; name only a key or letters here.',
        lambda: alterations("C with F4 sharp"),
    ),
    tuning("words that are no tuning", f'the tuning "" cannot be read; {TUNING}', " "),
    tuning(
        "one string tuned twice",
        'the tuning "C with F4 sharp, F4 flat" names F4 twice; name each string once.',
        "C with F4 sharp, F4 flat",
    ),
    tuning("a word in --tuning", f'"H" in the tuning "H" cannot be read; {TUNING}', "H"),
    tuning(
        "a double sharp or flat",
        '"Bbb" in the tuning "Bbb Eb" is 2 semitones from the natural note; tune a string flat, natural or '
        "sharp.",
        "Bbb Eb",
    ),
    tuning(
        "a key of eight signs or more",
        f'the key G-sharp of the tuning "G#" has more than seven signs; {TUNING}',
        "G#",
    ),
    tuning("one letter tuned twice", 'the tuning "Bb B#" names B twice; name each letter once.', "Bb B#"),
    Case(
        "a program asks for a harp without an end",
        "a harp needs its lowest string and either the number of strings or its highest string; give one of "
        "the two.",
        lambda: parse_range("C2"),
    ),
    Case(
        "a highest string below the lowest",
        "h.toml: line 2: the highest string C1 is below the lowest string C2; change one of them.".replace(
            "toml: ", "toml, "
        ),
        ("keys", "--harp", "h.toml"),
        {"h.toml": 'lowest = "C2"\nhighest = "C1"\n'},
    ),
    Case(
        "a harp of no strings, or of more than any",
        "a harp of 61 strings cannot be made; give 1 to 60 strings.",
        ("keys", "--lowest", "C1", "--strings", "61"),
    ),
    Case(
        "strings beyond octave 9",
        "60 strings from C6 go beyond the octaves 0 to 9; count octaves so that middle C is C4.",
        ("keys", "--lowest", "C6", "--strings", "60"),
    ),
    Case(
        "a harp without a name, or with an endless one",
        '"" is no name for a harp; give it a name of 1 to 100 characters.',
        lambda: make_harp("", "C2", 34),
    ),
    tuning(
        "a string in --tuning that the harp does not have",
        'the tuning "C with C9 sharp" names C9, which the harp does not have; its strings are C2 to A6.',
        "C with C9 sharp",
    ),
)

"""Mistakes in what is asked of a command."""

from __future__ import annotations

from unittest import mock

from cases_score import HARP, NOTE, bar, score
from reaching import Case

from harpkeys.cli.terminal import show

CALL = (
    'say a key such as "B flat minor", a chord such as "D7", a capo such as "capo 3, shapes of G", or a '
    "move such "
    'as "A major, down a tone".'
)
SCORE = score(HARP)
NAMED_KEYS = 'name keys, such as "G, D, E minor".'


def called(trigger: str, sentence: str, text: str) -> Case:
    return Case(trigger, sentence, ("keys", text))


def given(trigger: str, sentence: str, *words: str, data: str = SCORE) -> Case:
    """A command with a score that is in order."""
    return Case(trigger, sentence, (words[0], "s.xml", *words[1:]), {"s.xml": data})


def in_key(key: str) -> str:
    """A score with this key signature."""
    return score(HARP, bars=bar(f"<attributes><divisions>1</divisions><key>{key}</key></attributes>{NOTE}"))


def show_on_a_full_disk() -> None:
    full = mock.Mock(write=mock.Mock(side_effect=OSError(28, "No space left on device")), encoding="utf-8")
    with mock.patch("sys.stdout", full):
        show("text")


CASES = (
    Case(
        "standard output that goes to a full disk",
        "standard output cannot be written (No space left on device); write it somewhere else.",
        show_on_a_full_disk,
        {},
        {"os.dup2": mock.Mock()},
    ),
    called(
        "a call that says how to move and not what",
        f'"down a tone" names no key or chord; {CALL}',
        "down a tone",
    ),
    called("a call that is no key or chord", f'"H moll" cannot be read; {CALL}', "H moll"),
    called(
        "a call that moves farther than two octaves",
        '"C, up 25 semitones" moves 25 semitones; move at most 24.',
        "C, up 25 semitones",
    ),
    called(
        "a capo beyond the neck", '"capo 13, C" puts the capo on fret 13; give a fret up to 12.', "capo 13, C"
    ),
    called(
        "a move without a distance", '"C, up by" does not say how far up; say "a tone" or "2".', "C, up by"
    ),
    given(
        "--single beyond what is searched",
        "4 single strings are more than are searched; give a number up to 3.",
        "retune",
        "--single",
        "4",
    ),
    Case(
        "a piece named twice by --first and --last",
        "a piece is to open or to close twice; name each piece once.",
        ("programme", "s.xml", "t.xml", "--first", "s", "--last", "s"),
        {"s.xml": SCORE, "t.xml": SCORE},
    ),
    given(
        "--by beyond three octaves",
        "a score is not moved by 37 semitones; move it by at most 36.",
        "transpose",
        "--by",
        "37",
    ),
    Case(
        "--set names a key out of the harp's reach",
        "the levers of a harp tuned in C cannot be set for F major (A and B♭ both need the A string); name "
        "a key that "
        "it reaches, or tune with all levers down.",
        ("tuning", "--harp", "34", "--set", "F"),
    ),
    Case("--keys without a key", f"--keys names no key; {NAMED_KEYS}", ("base", "--keys", ",")),
    Case("a chord in --keys", f'"D7" in --keys is a chord; {NAMED_KEYS}', ("base", "--keys", "G, D7")),
    given(
        "--json beside --csv in compare",
        "--json and --csv both say how to print; leave out one of them.",
        "compare",
        "--json",
        "--csv",
    ),
    given(
        "--all beside --tuning",
        "--all and --tuning both say which tunings; leave out one of them.",
        "compare",
        "--all",
        "--tuning",
        "C",
    ),
    given(
        "--transpose that is no range",
        "--transpose cannot be 'up'; give semitones from -36 to 36, the lower first, such as -3..3.",
        "compare",
        "--transpose",
        "up",
    ),
    Case(
        "--json beside --csv in keys",
        "--json and --csv both say how to print; leave out one of them.",
        ("keys", "--json", "--csv"),
    ),
    Case(
        "--csv for a single key", "--csv is for whole tables; use --json for one key.", ("keys", "G", "--csv")
    ),
    given(
        "--harp beside --lowest",
        "--harp and --lowest both say which harp; leave out one of them.",
        "vet",
        "--harp",
        "34",
        "--lowest",
        "C2",
    ),
    given(
        "--lowest or --strings alone",
        "--strings alone does not describe a harp; give --lowest too.",
        "vet",
        "--strings",
        "34",
    ),
    given(
        "a tempo, factor or frequency that is no number or out of range",
        "--tempo cannot be 'fast'; give a number above 0 and up to 1000, such as 96.",
        "vet",
        "--tempo",
        "fast",
    ),
    given(
        "--span names no span",
        "--span cannot be 'fifth'; it is one of octave, ninth, tenth, eleventh, twelfth.",
        "vet",
        "--span",
        "fifth",
    ),
    given(
        "--labels names no way",
        "--labels cannot be 'solfa'; it is one of scientific, harp-octave, number, plain.",
        "mark",
        "--labels",
        "solfa",
    ),
    Case(
        "--clear with a score in another notation",
        "--clear takes marks off MusicXML files only; give it the marked score.",
        ("mark", "s.abc", "--clear"),
        {"s.abc": "X:1\nK:C\nC"},
    ),
    given(
        "another ending for pages",
        "--output cannot be 'out.doc'; its name ends in .html, .htm.",
        "report",
        "-o",
        "out.doc",
    ),
    given(
        "--first or --last names no piece, or several",
        '--first "x" names no piece; give the title or the file of one of the scores.',
        "programme",
        "--first",
        "x",
    ),
    given(
        "neither --by nor --to",
        "say either how far to move the score or to which key; give one of --by and --to.",
        "transpose",
    ),
    given(
        "--by 0",
        "a move by 0 semitones moves nothing; give another number with --by.",
        "transpose",
        "--by",
        "0",
    ),
    given(
        "--to names the key it is in",
        "the score is in that key already; use --by to move it by octaves.",
        "transpose",
        "--to",
        "C",
    ),
    given(
        "--by that is no distance",
        "--by cannot be 'far'; give semitones such as -2, or words such as \"down a tone\".",
        "transpose",
        "--by",
        "far",
    ),
    given(
        "--to that is no key",
        '--to cannot be \'H\'; name a key, such as "G", "B-flat" or "E minor".',
        "transpose",
        "--to",
        "H",
    ),
    given(
        "--to with a signature that is of no key",
        "the score opens with a mixed key signature; use --by to say how far to move it.",
        "transpose",
        "--to",
        "G",
        data=in_key(
            "<key-step>F</key-step><key-alter>1</key-alter><key-step>B</key-step><key-alter>-1</key-alter>"
        ),
    ),
    given(
        "--to names another mode",
        'the score is in G major, which moving does not make minor; name the tonic alone, such as "G".',
        "transpose",
        "--to",
        "E minor",
        data=in_key("<fifths>1</fifths><mode>major</mode>"),
    ),
    given(
        "--to with more than seven signs",
        "the key 'G sharp major' has 8 sharps or flats; name the key that sounds the same.",
        "transpose",
        "--to",
        "G sharp major",
    ),
    given(
        "--way",
        "--way cannot be 'round'; it is one of up, down, near.",
        "transpose",
        "--to",
        "G",
        "--way",
        "round",
    ),
    given(
        "a move that leaves the octaves that can be written",
        "a move by +36 semitones takes notes of part P1 out of the octaves 0 to 9; transpose by less.",
        "transpose",
        "--by",
        "36",
        data=score(HARP, bars=bar(NOTE.replace("<octave>4", "<octave>7"))),
    ),
    given(
        "--colour in a score that has that colour already",
        "the score has notes of its own in #C2410C, the colour of flagged notes; leave the flagged notes "
        "uncoloured.",
        "mark",
        "--colour",
        data=score(HARP, bars=bar(NOTE.replace("<note>", '<note color="#C2410C">'))),
    ),
    Case(
        "two of --json, --csv and --pdf",
        "--json, --csv and --pdf say three ways to print; choose one of them.",
        ("tuning", "--json", "--csv"),
    ),
    Case(
        "--set names a chord",
        '--set cannot be "D7"; name a key, such as "C" or "G".',
        ("tuning", "--set", "D7"),
    ),
)

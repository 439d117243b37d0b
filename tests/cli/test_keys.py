"""`harpkeys keys` as it is typed."""

from __future__ import annotations

import csv
import io
import json

import pytest

from harpkeys.cli import main

Capture = pytest.CaptureFixture[str]


def keys(capsys: Capture, *words: str) -> str:
    assert main(["keys", *words]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_a_key_called_out(capsys: Capture) -> None:
    told = keys(capsys, "capo 3, shapes of G", "--harp", "34 in E-flat")
    # From E-flat B flat needs the A levers, G needs A, E, B and F (the trade's table).
    assert told.splitlines()[:8] == [
        "Capo 3, shapes of G major: sounds B-flat major",
        "Levers up on A.",
        "",
        "Harp    34-string in E-flat: 34 strings, C2 to A6, a lever on every string.",
        "Tuning  E-flat: that is how it sounds with all levers down.",
        "Notes   B♭ C D E♭ F G A",
        "From G  lower every E, F and B.",
        "",
    ]
    assert "  raise E  F major and D minor." in told.splitlines()
    assert "  B-flat  no lever up." in told.splitlines()


def test_a_chord_called_out(capsys: Capture) -> None:
    told = keys(capsys, "Bb7").splitlines()
    assert told[0] == "B♭7"
    assert " ".join(told[1:3]) == (
        "B♭ on the A string (lever up), D (lever down), F (lever down) and A♭ on the G string (lever up); "
        "the other strings stand as you like."
    )


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--explain",),
        ("--tunings",),
        ("--harp", "22-fc"),
        ("--harp", "22-none", "--explain"),
        ("--levers", "all but C2 D2 E2", "--tuning", "E-flat"),
        ("Gb",),
        ("Bb",),
        ("D melodic minor",),
        ("capo 4 chords of C, down a tone",),
    ],
)
def test_everything_fits_eighty_columns(capsys: Capture, words: tuple[str, ...]) -> None:
    told = keys(capsys, *words)
    assert max(map(len, told.splitlines())) <= 80
    assert "\x1b" not in told


def test_the_table_of_tunings(capsys: Capture) -> None:
    # The trade's table of base tunings, by key.
    rows = [line.split() for line in keys(capsys, "--tunings").splitlines()]
    assert ["D", "B", "FC", "AEBFC", "BFC", "DAEBFC", "EBFC"] in rows
    assert ["C", "A", "none", "AEB", "B", "DAEB", "EB"] in rows
    assert ["G♭", "E♭", "=", "F♯", "-", "=", "F♯", "-", "-"] in rows


def test_json_is_one_object(capsys: Capture) -> None:
    told = json.loads(keys(capsys, "--json"))
    assert told["format"] == "harpkeys/keys/1"
    majors = [one for one in told["harps"][0]["scales"] if one["kind"] == "major" and one["reached"]]
    assert len(majors) == 8  # a base of b fifths reaches the signatures b to b + 7
    (f_major,) = [one for one in told["harps"][0]["scales"] if one["name"] == "F major"]
    assert f_major["obstacles"] == [
        {
            "note": "Bb",
            "strings": ["B2", "B3", "B4", "B5"],
            "reason": "shared",
            "rivals": ["A"],
            "contested": ["A"],
        }
    ]


def test_json_of_what_was_called_out(capsys: Capture) -> None:
    told = json.loads(keys(capsys, "A, down a tone", "--json", "--harp", "34 in E-flat"))
    assert told["called"] == {
        "text": "A, down a tone",
        "said": "A major",
        "capo": 0,
        "semitones": -2,
        "sounding": ["G major"],
    }
    assert told["key"]["levers"] == ["A", "E", "B", "F"]
    assert {name[0] for name in told["lower"]} == {"C", "G"}
    assert [one["tuning"] for one in told["elsewhere"]] == ["C", "F", "A-flat", "B-flat"]


def test_csv_has_a_line_for_each_scale(capsys: Capture) -> None:
    rows = list(csv.DictReader(io.StringIO(keys(capsys, "--csv", "--tunings"))))
    assert len(rows) == 5 * 15 * 9
    (row,) = [
        row for row in rows if (row["tuning"], row["key"], row["kind"]) == ("E-flat", "B", "harmonic minor")
    ]
    assert (row["reached"], row["reason"]) == ("no", "A♯ and B both need the B string")


MISTAKES = [
    (
        ("xyzzy",),
        '"xyzzy" cannot be read; say a key such as "B flat minor", a chord such as "D7", a capo such as '
        '"capo 3, shapes of G", or a move such as "A major, down a tone".',
    ),
    (("--json", "--csv"), "--json and --csv both say how to print; leave out one of them."),
    (("G", "--csv"), "--csv is for whole tables; use --json for one key."),
]


@pytest.mark.parametrize(("words", "sentence"), MISTAKES)
def test_a_mistake_is_one_sentence(capsys: Capture, words: tuple[str, ...], sentence: str) -> None:
    assert main(["keys", *words]) == 2
    assert capsys.readouterr() == ("", sentence + "\n")

"""Built-in harps, and finding the harp a user means."""

from __future__ import annotations

from pathlib import Path

import pytest

from harpkeys.errors import FileError, HarpError
from harpkeys.harp.builtin import DEFAULT_HARP, builtin_harps, find_harp
from harpkeys.harp.files import harp_to_toml
from harpkeys.harp.levers import levers_text

IDS = "22, 22-none, 22-f, 22-fc, 22-fcb, 26, 27, 28, 29, 29-a, 34, 34-eb, 36, 36-c and 38"
MEND = (
    f'the built-in ones are {IDS}, each also as "34 in E-flat", a range such as "C2-A6", '
    "or the path of a harp file (.toml)"
)


@pytest.mark.parametrize("entry", builtin_harps(), ids=lambda entry: entry.id)
def test_each_has_the_strings_its_id_says(entry: object) -> None:
    harp = entry.harp()  # type: ignore[attr-defined]
    assert str(len(harp.strings)) == entry.id.split("-")[0]  # type: ignore[attr-defined]
    assert harp.name.startswith(f"{len(harp.strings)}-string in {harp.tuning}")
    assert find_harp(entry.id) == find_harp(entry.name.upper()) == harp  # type: ignore[attr-defined]


def test_ids_and_names_are_unique() -> None:
    entries = builtin_harps()
    assert len({entry.id for entry in entries}) == len({entry.name for entry in entries}) == len(entries)


def test_the_default_is_built_in() -> None:
    assert find_harp(DEFAULT_HARP).name == "34-string in C"


@pytest.mark.parametrize(
    ("text", "name", "tuning", "ends", "levers"),
    [
        ("34 in E-flat", "34-string in E-flat", "E-flat", "C2 A6", "all"),
        ("34-string in Eb", "34-string in E-flat", "E-flat", "C2 A6", "all"),
        ("34-eb in F", "34-string in F", "F", "C2 A6", "all"),
        ("22-fcb in C", "22-string in C, F, C and B levers", "C", "C3 C6", "F C B"),
        ("26 in Bb Eb", "26-string in B-flat", "B-flat", "C3 G6", "all"),
        ("C2-A6", "34-string in C from C2", "C", "C2 A6", "all"),
        ("c2 to a6", "34-string in C from C2", "C", "C2 A6", "all"),
        ("G2-G6 in F", "29-string in F from G2", "F", "G2 G6", "all"),
    ],
)
def test_a_harp_by_words(text: str, name: str, tuning: str, ends: str, levers: str) -> None:
    harp = find_harp(text)
    assert (harp.name, harp.tuning) == (name, tuning)
    assert f"{harp.strings[0].name} {harp.strings[-1].name}" == ends
    assert levers_text(harp) == levers


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("33", f'there is no harp "33"; {MEND}.'),
        ("22-cf", f'there is no harp "22-cf"; did you mean 22-f; {MEND}.'),
        ("", f'there is no harp ""; {MEND}.'),
        ("A6-C2", 'harp "A6-C2": the highest string C2 is below the lowest string A6; change one of them.'),
    ],
)
def test_an_unknown_harp_is_told(text: str, sentence: str) -> None:
    with pytest.raises(HarpError) as caught:
        find_harp(text)
    assert str(caught.value) == sentence


def test_a_wrong_tuning_of_a_known_harp_is_told() -> None:
    with pytest.raises(HarpError, match=r'^"H" in the tuning "H" cannot be read; name the major key'):
        find_harp("34 in H")


def test_a_harp_file_is_found_by_its_path(tmp_path: Path) -> None:
    harp = find_harp("36 in A-flat")
    path = tmp_path / "rowan.TOML"
    path.write_text(harp_to_toml(harp), encoding="utf-8")
    assert find_harp(str(path)) == harp


def test_a_missing_harp_file_is_told() -> None:
    with pytest.raises(FileError) as caught:
        find_harp("nowhere.toml")
    assert str(caught.value) == "nowhere.toml: there is no such file; check the path."


def test_a_file_of_another_name_is_told(tmp_path: Path) -> None:
    path = tmp_path / "rowan.txt"
    path.write_text("", encoding="utf-8")
    with pytest.raises(HarpError, match=r"; a harp file is a text file whose name ends in \.toml\.$"):
        find_harp(str(path))

"""Limits as DEVELOPERS.md lists them: what is at one is read, what is beyond it is refused or not counted.

Where a file at the real limit would be large, the limit is lowered for the test.
"""

from __future__ import annotations

import importlib
import io
import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from harpkeys.errors import HarpkeysError
from harpkeys.harp.files import LARGEST_FILE, load_harp
from harpkeys.harp.tunings import LONGEST_NAME, MOST_STRINGS, make_harp
from harpkeys.score import container
from harpkeys.score.container import open_score, parse_score_tree, read_tree
from harpkeys.score.model import Score
from harpkeys.score.reader import score_from_tree
from harpkeys.score.route import perform

TABLE = (Path(__file__).resolve().parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| ([^|]+?) \| ([\d,]+) \| ([\w.]+) \|$", TABLE, re.MULTILINE)

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"


def limit(name: str) -> int:
    """The number that the table gives for a name of the code."""
    return next(int(most.replace(",", "")) for _, most, said in ROWS if said == name)


def document(bars: str, title: str = "", parts: int = 1) -> bytes:
    """A score whose parts all have these bars."""
    named = "".join(f'<score-part id="P{k}"/>' for k in range(parts))
    held = "".join(f'<part id="P{k}">{bars}</part>' for k in range(parts))
    head = f"<movement-title>{title}</movement-title>"
    return f"<score-partwise>{head}<part-list>{named}</part-list>{held}</score-partwise>".encode()


def bar(body: str) -> str:
    return f"<measure>{body}</measure>"


def read(data: bytes) -> Score:
    return score_from_tree(parse_score_tree(data), "s")


def archive(data: bytes, *, container_text: str = "", extra: int = 0) -> bytes:
    """A compressed score with some empty members more."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        text = '<container><rootfiles><rootfile full-path="s"/></rootfiles></container>'
        packed.writestr("META-INF/container.xml", container_text or text)
        packed.writestr("s", data)
        for number in range(extra):
            packed.writestr(str(number), b"")
    return stream.getvalue()


def opened(folder: Path, data: bytes) -> Score:
    path = folder / "s.mxl"
    path.write_bytes(data)
    return score_from_tree(read_tree(open_score(path)), "s")


def padded(size: int, what: bytes = b" ") -> bytes:
    """A score of exactly so many bytes."""
    score = document(bar(NOTE))
    return score + what * (size - len(score))


def noise(size: int) -> bytes:
    """A score of so many bytes that do not pack well, so that the ratio stays small."""
    score = document(bar(NOTE))
    letters = random.Random(1).randbytes(size).hex().encode()[: size - len(score) - 7]
    return b"<!--" + letters + b"-->" + score


Attempt = Callable[[Path, int], object]
"""Does something that is as large as it is told."""


def notes_repeated(_: Path, size: int) -> object:
    sign = "<measure-style><measure-repeat type='start'>1</measure-repeat></measure-style>"
    return read(document(bar(NOTE * (size // 2)) + bar(f"<attributes>{sign}</attributes>")))


def container_of(folder: Path, size: int) -> object:
    text = '<container><rootfiles><rootfile full-path="s"/></rootfiles></container>'
    return opened(folder, archive(document(bar("")), container_text=text + " " * (size - len(text))))


def harp_file(folder: Path, size: int) -> object:
    text = 'lowest = "C2"\nstrings = 34\n#'
    (folder / "h.toml").write_text(text + "x" * (size - len(text)))
    return load_harp(folder / "h.toml")


def tags(_: Path, size: int) -> object:
    """Root, part list, score-part, part and their ends and attributes are 11 in all; a measure is 2."""
    score = document("<measure/>" * 100)
    return parse_score_tree(score.replace(b"<part-list>", b"<part-list>" + b"<a/>" * (size - counted(score))))


def counted(data: bytes) -> int:
    return data.count(b"<") + data.count(b"=")


def deep(_: Path, size: int) -> object:
    return parse_score_tree(b"<a>" * size + b"</a>" * size)


def long_text(_: Path, size: int) -> object:
    return parse_score_tree(b"<a>" + b"x" * size + b"</a>")


def repeated(_: Path, size: int) -> object:
    """Bars played 99 times each, and the rest once."""
    times, rest = divmod(size, 99)
    repeat = "<barline location='{}'><repeat direction='{}' times='99'/></barline>"
    often = bar(repeat.format("left", "forward") + repeat.format("right", "backward")) * times
    return perform(read(document(often + bar("") * rest)))


def duration(_: Path, size: int) -> object:
    note = NOTE.replace("<duration>1<", f"<duration>{size}<")
    return read(document(bar(f"<attributes><divisions>1</divisions></attributes>{note}")))


def divisions(_: Path, size: int) -> object:
    return read(document(bar(f"<attributes><divisions>{size}</divisions></attributes>{NOTE}")))


REFUSED: dict[str, tuple[Attempt, int]] = {
    "score.container.MAX_FILE_BYTES": (lambda folder, size: opened(folder, padded(size)), 9_000),
    "score.container.MAX_INFLATED_BYTES": (
        lambda folder, size: opened(folder, archive(noise(size))),
        3_000_000,
    ),
    "score.container.MAX_MEMBERS": (
        lambda folder, size: opened(folder, archive(document(bar("")), extra=size - 2)),
        0,
    ),
    "score.container.MAX_CONTAINER_BYTES": (container_of, 0),
    "score.container.MAX_TAGS_AND_ATTRIBUTES": (tags, 1000),
    "score.reader.MAX_PARTS": (lambda _, size: read(document(bar(NOTE), parts=size)), 0),
    "score.reader_walk.MAX_MEASURES": (lambda _, size: read(document("<measure/>" * size)), 0),
    "score.route.MOST_VISITS": (repeated, 0),
    "score.reader_draft.MAX_NOTES": (lambda _, size: read(document(bar(NOTE * size))), 900),
    "score.reader_draft.MAX_QUARTERS": (duration, 0),
    "score.reader_draft.MAX_RESOLUTION": (divisions, 0),
    "score.notations.MAX_BYTES": (lambda folder, size: abc(folder, size), 900),
    "harp.files.LARGEST_FILE": (harp_file, 0),
    "harp.tunings.MOST_STRINGS": (lambda _, size: make_harp("h", "C0", size), 0),
    "harp.tunings.LONGEST_NAME": (lambda _, size: make_harp("h" * size, "C2", 34), 0),
}
"""What is refused where it is one larger than a limit, and the lowered limit (0 for the real one)."""

USED_IN = {
    "score.reader_draft.MAX_NOTES": "score.reader_walk.MAX_NOTES",
}
"""Modules that took a limit by name when they were imported."""


def abc(folder: Path, size: int) -> object:
    from harpkeys.score.notations import read_notation

    text = "X:1\nM:4/4\nL:1/4\nK:C\nCDEF|\n\n"
    (folder / "t.abc").write_text(text + "%" * (size - len(text)))
    return read_notation(folder / "t.abc")


@pytest.mark.parametrize("name", REFUSED)
def test_at_the_limit_and_beyond(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    attempt, lowered = REFUSED[name]
    most = lowered or limit(name)
    if lowered:
        monkeypatch.setattr(f"harpkeys.{USED_IN.get(name, name)}", lowered)
        monkeypatch.setattr(container, "COUNTED_BYTES", 0)
    attempt(tmp_path, most)
    with pytest.raises(HarpkeysError):
        attempt(tmp_path, most + 1)


def test_notes_of_repeated_bars_count(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("harpkeys.score.reader_combine.MAX_NOTES", 1000)
    notes_repeated(tmp_path, 1000)
    with pytest.raises(HarpkeysError, match="more than 1000 notes"):
        notes_repeated(tmp_path, 1002)


@pytest.mark.parametrize(("attempt", "most"), [(deep, 256), (long_text, 10_000_000)])
def test_limits_of_the_parser(attempt: Attempt, most: int, tmp_path: Path) -> None:
    assert [int(row[1].replace(",", "")) for row in ROWS if row[2] == "libxml2"] == [256, 10_000_000]
    attempt(tmp_path, most)
    with pytest.raises(HarpkeysError):
        attempt(tmp_path, most + 1)


def test_the_ratio_of_an_archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The ratio of a document is measured, and the limit put just there and just below."""
    packed = archive(padded(3 * 2**20))
    with zipfile.ZipFile(io.BytesIO(packed)) as held:
        info = held.getinfo("s")
    whole = -(-info.file_size // info.compress_size)
    assert whole > container.MAX_INFLATE_RATIO == limit("score.container.MAX_INFLATE_RATIO")
    with pytest.raises(HarpkeysError, match="more than 200 times its size"):
        opened(tmp_path, packed)
    monkeypatch.setattr(container, "MAX_INFLATE_RATIO", whole)
    opened(tmp_path, packed)
    monkeypatch.setattr(container, "MAX_INFLATE_RATIO", whole - 1)
    with pytest.raises(HarpkeysError, match="times its size"):
        opened(tmp_path, packed)


def test_a_small_member_may_have_any_ratio(tmp_path: Path) -> None:
    opened(tmp_path, archive(padded(container.RATIO_FREE_BYTES)))
    with pytest.raises(HarpkeysError, match="times its size"):
        opened(tmp_path, archive(padded(container.RATIO_FREE_BYTES + 1)))


def test_repeats_are_counted_to_99() -> None:
    repeat = "<barline><repeat direction='backward' times='{}'/></barline>"
    for times in (99, 100, 999_999):
        assert len(perform(read(document(bar(repeat.format(times))))).visits) == 99


def test_signs_of_a_bar_are_counted_to_100() -> None:
    for count in (100, 101):
        signs = "".join(f'<sound segno="{number}"/>' for number in range(count))
        assert len(read(document(bar(signs))).measures[0].jumps) == 100


def test_staves_are_counted_to_99() -> None:
    for count in (99, 100, 10**9):
        staves = f"<attributes><staves>{count}</staves></attributes>"
        assert read(document(bar(staves + NOTE))).parts[0].staves == 99


def test_titles_are_kept_to_200_characters() -> None:
    for count in (200, 201):
        assert read(document(bar(NOTE), title="x" * count)).title == "x" * 200


COUNTED = {
    "score.reader_barlines.MAX_TIMES",
    "score.reader_draft.MAX_SIGNS",
    "score.reader_attributes.MAX_STAVES",
    "score.reader_header.MAX_TITLE",
    "score.container.MAX_INFLATE_RATIO",
}
"""Limits with a test of their own."""


def test_the_table_is_that_of_the_code() -> None:
    assert len(ROWS) > 20
    for _, most, name in ROWS:
        if name != "libxml2":
            module, _, constant = name.rpartition(".")
            assert getattr(importlib.import_module(f"harpkeys.{module}"), constant) == int(
                most.replace(",", "")
            )
    assert {name for *_, name in ROWS} == {*REFUSED, *COUNTED, "libxml2"}
    assert (LARGEST_FILE, MOST_STRINGS, LONGEST_NAME) == (65_536, 60, 100)

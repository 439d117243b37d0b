"""Other open notations, read through music21 and handed on as MusicXML: ABC, MIDI, MEI and Humdrum.

music21 translates such a file into MusicXML, and the tree of that takes the same road as any other score.
An ABC file may hold many tunes; each is a score of its own, translated only when it is asked for, so that one
tune that cannot be read does not hold up the others.

An ABC tune starts at its X: field and ends at the first empty line after its K: field; fields above the first
X: hold for every tune of the file.

References: ABC standard 2.1 (file structure, information fields); MIDI 1.0 files; MEI 5; Humdrum **kern;
music21's converter. What a format, or music21's reading of it, cannot tell is said in each score's remarks.
"""

from __future__ import annotations

import contextlib
import io
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lxml import etree

from harpkeys.errors import FileError, HarpkeysError, ScoreError, located
from harpkeys.score.abc_text import counts, readable
from harpkeys.score.container import parse_score_tree
from harpkeys.score.model import Score
from harpkeys.score.reader import score_from_tree
from harpkeys.score.texts import plain_text

FORMATS = {
    ".abc": "abc",
    ".mid": "midi",
    ".midi": "midi",
    ".mei": "mei",
    ".krn": "humdrum",
}
"""music21's name of the format that a file name's ending stands for."""

MAX_BYTES = 16 * 2**20
"""Largest file that is translated; the largest tune book met has 0.6 MB."""

_NAMES = {"abc": "ABC", "midi": "MIDI", "mei": "MEI", "humdrum": "Humdrum"}

_VOICE = re.compile(r"\[V:\s*([^\]\s]+)[^\]]*\]|V:\s*(\S+)")
"""A change of voice at the start of a line of ABC: inline, or a line of its own."""

_CONTROLS = bytes(code for code in range(0x20) if code not in b"\t\n\r")
"""What music21 hands on from titles and XML 1.0 does not allow."""

_HANDS = "does not tell the hands: a part on one staff is for the right hand unless two parts are joined"

LIMITS = {
    "abc": (
        f"It was read from ABC, which {_HANDS}.",
        "Of ABC's signs, ornaments, fermatas, jumps (D.C., D.S.), ties of chords, voices laid over one "
        "another (&), repeats of more than two rounds (|::), endings for several rounds ([1,3), the order of "
        "parts (P:) and accidentals added to a key are not read.",
    ),
    "midi": (
        f"It was read from MIDI, which {_HANDS}.",
        "MIDI tells sounds, not spellings: sharps and flats are music21's choice, and so are note values, "
        "which it rounds.",
    ),
    "mei": (f"It was read from MEI, each staff as a part of its own, which {_HANDS}.",),
    "humdrum": (f"It was read from Humdrum, each spine as a part of its own, which {_HANDS}.",),
}
"""What each format, or the reading of it, cannot tell."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of music in a file of another notation.

    Attributes:
        label: what tells it from the others of its file, "X:52"; "" where the file holds only one.
        score: the score, None where it cannot be read.
        problem: a sentence about why it cannot be read, "" where it can.
    """

    label: str
    score: Score | None
    problem: str = ""


def is_notation(path: Path) -> bool:
    """Whether a file's name is that of a notation that is read through music21."""
    return path.suffix.lower() in FORMATS


def read_notation(path: Path) -> tuple[Score, ...]:
    """Every piece of a file of another notation.

    Args:
        path: an .abc, .mid, .midi, .mei or .krn file.

    Returns:
        The scores in the order of the file: every tune of an ABC file, else one.

    Raises:
        FileError: the file cannot be opened, or is of no such notation.
        ScoreError: a piece cannot be read; `notation_pieces` goes on past it.
    """
    scores: list[Score] = []
    for piece in notation_pieces(path):
        if piece.score is None:
            # The sentence is complete already; its full stop comes again.
            raise ScoreError(piece.problem.rstrip("."))
        scores.append(piece.score)
    return tuple(scores)


def notation_pieces(path: Path) -> Iterator[Piece]:
    """Read a file of another notation piece by piece; a piece that cannot be read comes with its reason.

    Args:
        path: an .abc, .mid, .midi, .mei or .krn file.

    Raises:
        FileError: the file cannot be opened, or is of no such notation.
    """
    path = Path(path)
    with located(plain_text(str(path))):
        form = FORMATS.get(path.suffix.lower())
        if form is None:
            raise FileError(
                "this is no notation that is read", f"its name has to end in {', '.join(FORMATS)}"
            )
        data = _bytes(path)
        sources = _tunes(data) if form == "abc" else [("", data)]
    for label, source in sources:
        try:
            with located(plain_text(str(path))), located(label) if label else contextlib.nullcontext():
                score = _translated(source, form, path.stem if not label else f"{path.stem} {label}")
        except HarpkeysError as error:
            yield Piece(label, None, error.sentence)
        else:
            yield Piece(label, score)


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise FileError(f"the file has more than {MAX_BYTES // 2**20} MB", "check that this is the file")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the path is not usable"
        raise FileError(
            f"the file cannot be read ({reason})", "check the path and its permissions"
        ) from error


def text_of(data: bytes) -> str:
    """The text of a file, line ends as \\n: UTF-16 by its mark, else UTF-8, else Latin-1."""
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def abc_tunes(text: str) -> Iterator[tuple[str, str]]:
    """The tunes of an ABC file, each with the fields that hold for the whole file put before it.

    Args:
        text: the file, line ends as \\n.

    Yields:
        What tells the tune from the others ("X:52", "" where there is no X: field), and its text.
    """
    head, *tunes = re.split(r"(?m)^(?=X:)", text)
    if not tunes:
        yield "", text
        return
    common = "".join(
        line + "\n" for line in head.split("\n") if re.match(r"[A-Za-z]:|%abc", line) and line[0] not in "KTX"
    )
    for tune in tunes:
        first, _, rest = tune.partition("\n")
        number = plain_text(first[2:].partition("%")[0]).strip()
        # A tune without a K: field has no music; what stands before one may have empty lines.
        body = re.search(r"(?m)^K:.*$", rest)
        end = re.compile(r"\n[ \t]*(?:\n|$)").search(rest, body.end()) if body else None
        yield f"X:{number}", f"{first}\n{common}{rest[: end.start() + 1] if end else rest}"


def gathered_voices(tune: str) -> str:
    """A tune with the lines of each voice put together, which music21 needs to tell its voices apart.

    Voices come in the order in which they are first played, numbered from 1; fields that only define a voice
    are left out.

    Args:
        tune: an ABC tune, line ends as \\n.
    """
    lines = tune.split("\n")
    start = next((number for number, line in enumerate(lines) if line.startswith("K:")), len(lines) - 1) + 1
    head = [line for line in lines[:start] if not line.startswith("V:")]
    voices: dict[str, list[str]] = {}
    current = ""
    for line in lines[start:]:
        switch = _VOICE.match(line)
        if switch:
            current, line = switch[1] or switch[2], line[switch.end() :] if switch[1] else ""
        if line.strip():
            voices.setdefault(current, []).append(line)
    if len(voices) < 2:
        body = [line for voice in voices.values() for line in voice]
    else:
        # What stands before the first voice belongs to it.
        before = voices.pop("", [])
        body = []
        for number, voice in enumerate(voices.values(), 1):
            body += [f"V:{number}", *(before if number == 1 else []), *voice]
    return "\n".join([*head, *body]) + "\n"


def with_unit_length(tune: str) -> str:
    """A tune with the length of its notes said, where neither L: nor a meter says it.

    An eighth stands for a free meter (ABC standard 2.1, section 3.1.7); from a meter music21 takes it itself.

    Args:
        tune: an ABC tune, line ends as \\n.
    """
    head, key, body = tune.partition("\nK:")
    if not key or re.search(r"(?m)^(?:L:|M:[ \t]*\d)", head):
        return tune
    return f"{head}\nL:1/8{key}{body}"


def _tunes(data: bytes) -> list[tuple[str, bytes]]:
    return [
        (label, readable(with_unit_length(gathered_voices(tune))).encode())
        for label, tune in abc_tunes(text_of(data))
    ]


def _translated(source: bytes, form: str, name: str) -> Score:
    """One piece through music21 into a score.

    Raises:
        ScoreError: music21 cannot read or write it, or it has no notes.
    """
    tree = parse_score_tree(musicxml_of(source, form))
    _steady(tree)
    remarks = LIMITS[form] + (_compared(tree, source.decode()) if form == "abc" else ())
    score = score_from_tree(tree, name)
    if form == "abc" and _begins_with_a_full_bar_0(score):
        for measure in tree.iter("measure"):
            number = measure.get("number", "")
            measure.set("number", str(int(number) + 1) if number.isdecimal() else number)
        score = score_from_tree(tree, name)
    return replace(score, remarks=remarks + score.remarks)


def _compared(tree: Any, tune: str) -> tuple[str, ...]:
    """Remarks on what music21 made of an ABC tune, whose only bar is given its repeat again.

    Of a voice with one bar music21 reads no repeats.
    """
    expected = counts(tune)
    read = sum(repeat.get("direction") == "backward" for repeat in tree.iter("repeat"))
    parts = list(tree.iter("part"))
    if not read and expected.ends_in_repeat and expected.repeats == len(parts):
        for part in parts:
            last = part.findall("measure")[-1]
            for line in last.findall("barline[@location='right']"):
                last.remove(line)
            line = etree.SubElement(last, "barline", location="right")
            etree.SubElement(line, "repeat", direction="backward")
            read += 1
    remarks = []
    if read < expected.repeats:
        remarks.append(
            "Repeats of this tune were not all understood: compare the order of its bars with the page."
        )
    notes = sum(note.find("pitch") is not None for note in tree.iter("note"))
    if notes < expected.notes:
        remarks.append(
            f"Of this tune's {expected.notes} notes only {notes} were understood: compare it with the page."
        )
    return tuple(remarks)


def _begins_with_a_full_bar_0(score: Score) -> bool:
    """Whether the first bar has the number of a pickup and is none, as music21 numbers the bars of ABC."""
    first = score.measures[0]
    if first.number != "0" or first.beats is None:
        return first.number == "0"
    count, kind = first.beats
    return first.length * kind >= score.resolution * 4 * count


def _steady(tree: Any) -> None:
    """Replace ids of chance and leave out what music21 adds of its own, the date above all.

    So the same file reads the same every time.
    """
    names: dict[str, str] = {}
    for tag, letter in (("score-part", "P"), ("score-instrument", "I")):
        for number, element in enumerate(tree.iter(tag), 1):
            names[element.get("id", "")] = f"{letter}{number}"
    for element in tree.iter("score-part", "score-instrument", "midi-instrument", "instrument", "part"):
        element.set("id", names.get(element.get("id", ""), ""))
    for element in list(tree.iter("encoding-date", "movement-title", "work-title", "creator")):
        # music21 gives its own name where the file has no title or composer.
        if element.tag == "encoding-date" or (element.text or "") in ("Music21", "Music21 Fragment"):
            element.getparent().remove(element)


def musicxml_of(source: bytes, form: str) -> bytes:
    """MusicXML of one piece in another notation, by music21.

    Args:
        source: the piece.
        form: music21's name of the format, one of FORMATS' values.

    Raises:
        ScoreError: music21 cannot read or write it, or it has no notes.
    """
    from music21 import converter

    with _silence():
        try:
            stream = converter.parseData(source if form == "midi" else text_of(source), format=form)
            parts = list(stream.getElementsByClass("Part"))
            sounding = any(part.recurse().notes for part in parts)
        except Exception as error:  # music21 raises whatever its parsers run into
            raise ScoreError(
                f"music21 cannot read this {_NAMES[form]} ({_reason(error)})", "check it in another program"
            ) from error
        if not sounding:
            raise ScoreError(f"this {_NAMES[form]} holds no notes", "check that this is the file")
        try:
            return _exported(stream, form).translate(None, _CONTROLS)
        except Exception as error:
            raise ScoreError(
                f"music21 cannot write this {_NAMES[form]} as MusicXML ({_reason(error)})",
                "check it in another program",
            ) from error


def _exported(stream: Any, form: str) -> bytes:
    """A music21 stream as MusicXML, bars as they were read where it has them.

    music21 would fill up short bars with rests and look for beams, which takes most of its time; MIDI has no
    bars and needs it.
    """
    from music21.exceptions21 import Music21Exception
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    if form != "midi" and stream["Measure"]:
        exporter = GeneralObjectExporter(stream)
        exporter.makeNotation = False
        with contextlib.suppress(Music21Exception):
            return bytes(exporter.parse())
    return bytes(GeneralObjectExporter(stream).parse())


def _reason(error: Exception) -> str:
    text = plain_text(str(error))
    return text if len(text) <= 80 else text[:79] + "…"


@contextlib.contextmanager
def _silence() -> Iterator[None]:
    """Keep music21's remarks on odd files off standard error."""
    with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()):
        warnings.simplefilter("ignore")
        yield

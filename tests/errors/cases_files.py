"""Files that cannot be opened or written, and scores that cannot be drawn."""

from __future__ import annotations

import io
import os
import signal
import zipfile
from pathlib import Path
from unittest import mock

from cases_score import HARP, score
from lxml import etree
from reaching import Case

from harpkeys.mark.files import packed_like, write_safely
from harpkeys.page.engraver import system_of
from harpkeys.page.score_copy import copied_tree
from harpkeys.score.container import Opened, _syntax_error

EXPORT = "export the score from its notation program as MusicXML (.musicxml or .mxl)."
SCORE = score(HARP)
ROOT = '<rootfile full-path="s.xml"/>'


def packed(rootfiles: str | None, *, method: int = zipfile.ZIP_DEFLATED, **members: bytes) -> bytes:
    """An archive with these members, dots in their names written as "__"."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", method) as archive:
        if rootfiles is not None:
            text = f"<container><rootfiles>{rootfiles}</rootfiles></container>"
            archive.writestr("META-INF/container.xml", text)
        for name, data in members.items():
            archive.writestr(name.replace("__", "."), data)
    return stream.getvalue()


def patched(data: bytes, mark: bytes, offset: int, value: int) -> bytes:
    """An archive with a byte changed, counted from the last place of a signature."""
    changed = bytearray(data)
    changed[data.rindex(mark) + offset] = value
    return bytes(changed)


HONEST = packed(ROOT, s__xml=SCORE.encode())
CENTRAL = b"PK\x01\x02"
"""Signature of an entry of a zip archive's directory (PKWARE APPNOTE 6.3)."""


def opened(trigger: str, sentence: str, data: str | bytes, **changed: object) -> Case:
    """A file that is no score."""
    names = {f"harpkeys.score.container.{name}": value for name, value in changed.items()}
    return Case(trigger, f"s.mxl: {sentence}", ("vet", "s.mxl"), {"s.mxl": data}, names)


def written(trigger: str, sentence: str, *words: str, data: str | bytes = SCORE, **files: str) -> Case:
    """A marked score that cannot be written."""
    named = {"s.xml": data, **{name.replace("__", "."): text for name, text in files.items()}}
    return Case(trigger, sentence, ("mark", "s.xml", *words), named)


def drawn(trigger: str, sentence: str, **changed: object) -> Case:
    """A score that cannot be drawn, with something replaced, dots in its name written as "__"."""
    names = {name.replace("__", "."): value for name, value in changed.items()}
    return Case(trigger, f"s.xml: {sentence}", ("print", "s.xml"), {"s.xml": SCORE}, names)


CASES = (
    Case("a score that is not there", "s.xml: there is no such file; check its name.", ("vet", "s.xml")),
    Case(
        "a folder in place of a score",
        "s.xml: this is a directory, not a score; name a file inside it.",
        ("vet", "s.xml"),
        {"s.xml/x": ""},
    ),
    Case(
        "a device or a pipe in place of a score",
        "/dev/null: this is not an ordinary file; name a MusicXML file.",
        ("vet", "/dev/null"),
    ),
    opened(
        "a file beyond the limit",
        "the file is larger than 0 MB; split the score into parts.",
        SCORE,
        MAX_FILE_BYTES=9,
    ),
    Case(
        "a file that grows beyond the limit while it is read",
        "s.xml: the file is larger than 0 MB; split the score into parts.",
        ("vet", "s.xml"),
        {"s.xml": SCORE, "small": "x"},
        {
            "harpkeys.score.container.MAX_FILE_BYTES": 9,
            "pathlib.Path.stat": lambda self, **_: os.stat("small"),
        },
    ),
    Case(
        "a file without permission to read",
        "s.xml: the file may not be read; check its permissions.",
        ("vet", "s.xml"),
        {"s.xml": SCORE},
        {"pathlib.Path.open": mock.Mock(side_effect=PermissionError(13, "Permission denied"))},
    ),
    Case(
        "a name that the system does not take",
        f"{'x' * 300}: the file cannot be read (File name too long); check its name.",
        ("vet", "x" * 300),
    ),
    opened("an empty file", f"the file is empty; {EXPORT}", " \n"),
    opened(
        "a PDF, a picture or an archive of another kind", f"this is a PDF, not MusicXML; {EXPORT}", "%PDF-1.7"
    ),
    opened(
        "an archive in an archive",
        f"the archive's root document is itself a zip archive; {EXPORT}",
        packed(ROOT, s__xml=HONEST),
    ),
    opened(
        "a web page that was saved in place of the score",
        "this is a web page (HTML), not MusicXML; download the score file itself.",
        "<!DOCTYPE html><html></html>",
    ),
    opened("a text", f"this is not XML; {EXPORT}", "C D E F"),
    opened(
        "another XML file", f"the root element is <svg>, not that of a MusicXML score; {EXPORT}", "<svg/>"
    ),
    opened(
        "a MusicXML opus",
        "this is a MusicXML opus, which only lists scores; open each of its scores instead.",
        "<opus/>",
    ),
    opened(
        "a document with more tags and attributes than are built",
        f"the document has more tags than any score; {EXPORT}",
        SCORE,
        COUNTED_BYTES=9,
        MAX_TAGS_AND_ATTRIBUTES=9,
    ),
    opened(
        "an archive of too many members",
        f"the archive has more than 1000 members; {EXPORT}",
        packed(ROOT, **{f"m{k}": b"" for k in range(1001)}),
    ),
    opened(
        "an archive that is no compressed score",
        f"this is a zip archive without META-INF/container.xml, so no compressed MusicXML score; {EXPORT}",
        packed(None, s__xml=b""),
    ),
    opened(
        "an archive that breaks off",
        "the archive is damaged; export or download the score again.",
        HONEST[:-30],
    ),
    opened(
        "an archive of a later version of zip",
        f"the archive needs a newer unpacker than MusicXML allows; {EXPORT}",
        patched(HONEST, CENTRAL, 6, 99),
    ),
    opened(
        "an encrypted archive",
        "the archive is encrypted; unpack it with its password first.",
        patched(HONEST, CENTRAL, 8, 1),
    ),
    opened(
        "an archive packed by bzip2 or the like",
        f"the archive is packed by a method that MusicXML does not allow; {EXPORT}",
        packed(ROOT, method=zipfile.ZIP_BZIP2, s__xml=SCORE.encode()),
    ),
    opened(
        "an archive whose document is beyond the limit",
        f"a document in the archive unpacks to more than 1 MB; {EXPORT}",
        packed(ROOT, s__xml=b"<" + os.urandom(2**20)),
        MAX_INFLATED_BYTES=2**20,
    ),
    opened(
        "an archive made to swell",
        f"a document in the archive unpacks to more than 200 times its size; {EXPORT}",
        packed(ROOT, s__xml=b" " * 2**21),
    ),
    opened("a container that is no XML", f"META-INF/container.xml cannot be read; {EXPORT}", packed("<")),
    opened(
        "a container that names a file outside the archive",
        f"META-INF/container.xml points outside the archive; {EXPORT}",
        packed('<rootfile full-path="../s.xml"/>'),
    ),
    opened(
        "a container that names no score",
        f"META-INF/container.xml names no MusicXML document; {EXPORT}",
        packed(""),
    ),
    opened(
        "a container that names what is not there",
        f"the archive has no member 's.xml' that META-INF/container.xml names; {EXPORT}",
        packed(ROOT),
    ),
    opened(
        "tags without end inside each other",
        f"the document is nested deeper than any score; {EXPORT}",
        "<a>" * 999,
    ),
    opened(
        "entities that refer to each other",
        f"the document's entities expand beyond all measure; {EXPORT}",
        '<!DOCTYPE a [<!ENTITY b "&c;"><!ENTITY c "&b;">]><a d="&b;"/>',
    ),
    opened(
        "a text longer than the parser takes",
        f"the document expands beyond all measure; {EXPORT}",
        b"<a>" + b"x" * 10_000_001 + b"</a>",
    ),
    opened(
        "an encoding that is not the one declared",
        "the document is not in the character encoding that it declares (line 1); export the score again.",
        b"<a>\xff</a>",
    ),
    opened(
        "XML that breaks off",
        "the XML breaks off at line 1; export or download the score again.",
        "<a><b></b>",
    ),
    opened(
        "XML with tags that do not match",
        "the XML is broken at line 1; export the score again.",
        "<a></b></a>",
    ),
    Case(
        "a program asks what the parser's words for entities mean",
        f"the document's entities expand beyond all measure; {EXPORT}",
        lambda: _raise(
            _syntax_error(b"", etree.XMLSyntaxError("Detected an entity reference loop", 89, 1, 1))
        ),
    ),
    written(
        "a folder in place of the result",
        "out.xml: this is a folder, so no file can be written there; name a file in it.",
        "-o",
        "out.xml",
        **{"out__xml/x": ""},
    ),
    written(
        "a result that exists",
        "s.levers.xml: the file exists already; allow --overwrite, or name another with --output.",
        s__levers__xml="",
    ),
    Case(
        "a result that appears while it is being made",
        "s.levers.xml: the file exists already; allow --overwrite, or name another with --output.",
        ("mark", "s.xml"),
        {"s.xml": SCORE},
        {"os.link": mock.Mock(side_effect=FileExistsError(17, "File exists"))},
    ),
    written(
        "a folder that is not there",
        "no/out.xml: there is no such folder to write to; make it first.",
        "-o",
        "no/out.xml",
    ),
    Case(
        "a folder without permission to write",
        "s.levers.xml: the file may not be written; check the permissions of its folder.",
        ("mark", "s.xml"),
        {"s.xml": SCORE},
        {"tempfile.mkstemp": mock.Mock(side_effect=PermissionError(13, "Permission denied"))},
    ),
    Case(
        "a disk that is full, or a name that the system does not take",
        "s.levers.xml: the file cannot be written (No space left on device); write it somewhere else.",
        ("mark", "s.xml"),
        {"s.xml": SCORE},
        {"os.fsync": mock.Mock(side_effect=OSError(28, "No space left on device"))},
    ),
    written(
        "another ending for a marked or transposed score",
        "--output cannot be 'out.pdf'; its name ends in .musicxml, .xml, .mxl.",
        "-o",
        "out.pdf",
    ),
    Case(
        "a score that has the name of its own result",
        "s.levers.xml already has the name of its own result; name the result with --output, and allow "
        "--overwrite "
        "if it is to be the same file.",
        ("mark", "s.levers.xml"),
        {"s.levers.xml": SCORE},
    ),
    Case(
        "an archive with more beside the score than is carried along",
        "s.mxl: what else is in the archive unpacks to more than 64 MB; write a plain score instead, ending "
        "in "
        ".musicxml.",
        ("mark", "s.mxl"),
        {"s.mxl": packed(ROOT, s__xml=SCORE.encode(), a__png=b" " * (65 * 2**20))},
    ),
    Case(
        "an archive with something beside the score that cannot be unpacked",
        "s.mxl: what else is in the archive cannot be read; write a plain score instead, ending in "
        ".musicxml.",
        ("mark", "s.mxl"),
        {"s.mxl": patched(packed(ROOT, s__xml=SCORE.encode(), a__png=b"x"), CENTRAL, 8, 1)},
    ),
    Case(
        "an archive that another program changes meanwhile",
        "s.mxl: the archive has changed since it was opened; try again.",
        lambda: packed_like(Opened(Path("s.mxl"), b"<a/>", True, "gone.xml"), b"<a/>", Path("out.mxl")),
        {"s.mxl": HONEST},
    ),
    Case(
        "a program writes where a file stands",
        "s.xml: the file exists already; allow --overwrite, or name another with --output.",
        lambda: write_safely(Path("s.xml"), b""),
        {"s.xml": ""},
    ),
    drawn(
        "a score that verovio does not read",
        "the score cannot be drawn, because verovio does not understand it; open and save it in a notation "
        "program.",
        verovio__toolkit=mock.Mock(return_value=mock.Mock(loadData=lambda text: False)),
    ),
    drawn(
        "a score of which verovio draws nothing",
        "the score cannot be drawn, because nothing in it can be seen; see that its notes are not hidden.",
        verovio__toolkit=mock.Mock(return_value=mock.Mock(getPageCount=lambda: 0)),
    ),
    drawn(
        "a score on which verovio breaks down",
        "the score cannot be drawn, because verovio breaks down on it; open and save it in a notation "
        "program.",
        verovio__toolkit=lambda: os.kill(os.getpid(), signal.SIGFPE),
    ),
    Case(
        "another version of verovio",
        "verovio's drawing has an unknown shape; install the version of verovio listed.",
        lambda: system_of("<svg/>"),
    ),
    Case(
        "a program draws what is no score",
        "the root element is svg; give a MusicXML score.",
        lambda: copied_tree("<svg/>"),
    ),
    Case(
        "a program draws a score without bars",
        "the score has no measures; export it again.",
        lambda: copied_tree(score(HARP, bars="")),
    ),
    Case(
        "a program draws what is no XML",
        "the score is not well-formed XML (no element found: line 1, column 0); export it again.",
        lambda: copied_tree(""),
    ),
    Case(
        "a program draws a part that is not there",
        "the score has no part P9; name one that it has.",
        lambda: copied_tree(SCORE, parts=("P9",)),
    ),
    Case(
        "--paper names no paper",
        'there is no paper "A3"; choose A4 or Letter.',
        ("print", "s.xml", "--paper", "A3"),
        {"s.xml": SCORE},
    ),
    Case(
        "a margin or a staff beyond what fits",
        "a margin of 99 mm is out of range; choose 5 to 50 mm.",
        ("print", "s.xml", "--margin", "99"),
        {"s.xml": SCORE},
    ),
)


def _raise(error: Exception) -> None:
    raise error

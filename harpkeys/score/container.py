"""From a path to the bytes and the tree of a MusicXML document, whatever it is wrapped in.

A compressed score (.mxl) is a zip archive whose `META-INF/container.xml` names its root document. What a file
is, its content decides, never its name alone. Nothing outside the file is ever read: no network, no DTD, no
entity from elsewhere, no path that leaves the archive.

References: MusicXML 4.0, "Compressed .MXL files" (W3C Music Notation Community Group); PKWARE APPNOTE 6.3
(zip signatures); W3C XML 1.0.
"""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from lxml import etree

from harpkeys.errors import FileError, ScoreError, located
from harpkeys.score.texts import plain_text

MAX_FILE_BYTES = 64 * 2**20
"""Largest file that is opened; the largest honest score met was 11 MB unpacked."""

MAX_INFLATED_BYTES = 64 * 2**20
"""Largest root document inside an archive."""

MAX_INFLATE_RATIO = 200
"""Largest ratio of unpacked to packed size; honest scores reach 59."""

RATIO_FREE_BYTES = 2**20
"""A member no larger than this unpacked may have any ratio: it cannot hurt."""

MAX_MEMBERS = 1000
"""Most members an archive may have."""

MAX_CONTAINER_BYTES = 2**20
"""Largest META-INF/container.xml."""

COUNTED_BYTES = 16 * 2**20
"""Documents above this size have their tags and attributes counted before a tree is built."""

MAX_TAGS_AND_ATTRIBUTES = 8_000_000
"""Most tags and attributes of a document: what bounds the memory of its tree (about 120 bytes each)."""

CONTAINER = "META-INF/container.xml"

ZIP_MAGIC = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")

OTHER_MAGIC = (
    (b"%PDF", "a PDF"),
    (b"MThd", "a MIDI file"),
    (b"RIFF", "a RIFF media file"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\xd0\xcf\x11\xe0", "an old office document"),
)
"""First bytes of what people mistake for scores (file format signatures, common practice)."""

EXPORT_HINT = "export the score from its notation program as MusicXML (.musicxml or .mxl)"


@dataclass(frozen=True, slots=True)
class Opened:
    """A score file that has been opened.

    Attributes:
        path: the file as the user named it.
        data: bytes of the MusicXML document (the root document of an archive).
        is_archive: whether the file is a compressed score.
        member: name of the root document inside the archive, "" for a plain file.
    """

    path: Path
    data: bytes = field(repr=False)
    is_archive: bool = False
    member: str = ""


def open_score(path: Path) -> Opened:
    """Read a plain or compressed MusicXML file.

    Args:
        path: a .musicxml, .xml or .mxl file; its content decides which it is.

    Returns:
        The bytes of its MusicXML document and where they came from.

    Raises:
        FileError: no such file, a directory, too large, empty, or not a MusicXML file.
    """
    path = Path(path)
    with located(plain_text(str(path))):
        data = _read_file(path)
        if data.startswith(ZIP_MAGIC):
            member, inner = _root_document(data)
            _refuse_other_formats(inner)
            return Opened(path, inner, True, member)
        _refuse_other_formats(data)
        return Opened(path, data)


def parse_score_tree(data: bytes) -> Any:
    """Parse the bytes of a MusicXML document into an lxml tree, safely.

    Entities stay unexpanded, nothing is fetched, and nesting and text sizes are bounded by the parser.

    Args:
        data: the document in any encoding that XML allows.

    Returns:
        The lxml ElementTree.

    Raises:
        FileError: not well-formed XML, or larger than what is read.
    """
    data = data.lstrip(b" \t\r\n")
    if len(data) > COUNTED_BYTES and data.count(b"<") + data.count(b"=") > MAX_TAGS_AND_ATTRIBUTES:
        raise FileError("the document has more tags than any score", EXPORT_HINT)
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise _syntax_error(data, error) from None
    return root.getroottree()


def read_tree(opened: Opened) -> Any:
    """Parse what `open_score` opened, and see that it is a score.

    Args:
        opened: the opened file.

    Returns:
        The lxml ElementTree.

    Raises:
        FileError: not well-formed XML.
        ScoreError: XML, but no MusicXML score.
    """
    with located(plain_text(str(opened.path))):
        tree = parse_score_tree(opened.data)
        check_root(tree)
        return tree


def check_root(tree: Any) -> None:
    """See that a tree's root is that of a MusicXML score.

    Args:
        tree: an lxml ElementTree.

    Raises:
        ScoreError: another root.
    """
    name = etree.QName(tree.getroot()).localname
    if name in ("score-partwise", "score-timewise"):
        return
    if name == "opus":
        raise ScoreError(
            "this is a MusicXML opus, which only lists scores", "open each of its scores instead"
        )
    raise ScoreError(
        f"the root element is <{plain_text(name)[:40]}>, not that of a MusicXML score", EXPORT_HINT
    )


def _read_file(path: Path) -> bytes:
    """All bytes of a regular file of bearable size.

    Raises:
        FileError: it cannot be read, is empty or too large.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise FileError("this is a directory, not a score", "name a file inside it")
        if not stat.S_ISREG(status.st_mode):
            raise FileError("this is not an ordinary file", "name a MusicXML file")
        if status.st_size > MAX_FILE_BYTES:
            raise FileError(
                f"the file is larger than {MAX_FILE_BYTES // 2**20} MB", "split the score into parts"
            )
        with path.open("rb") as stream:
            data = stream.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        raise FileError("there is no such file", "check its name") from None
    except PermissionError:
        raise FileError("the file may not be read", "check its permissions") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FileError(f"the file cannot be read ({plain_text(reason)})", "check its name") from None
    if not data.strip():
        raise FileError("the file is empty", EXPORT_HINT)
    if len(data) > MAX_FILE_BYTES:
        raise FileError(f"the file is larger than {MAX_FILE_BYTES // 2**20} MB", "split the score into parts")
    return data


def _refuse_other_formats(data: bytes) -> None:
    """Name the commonest things that are no MusicXML.

    Raises:
        FileError: it is one of them, or no XML at all.
    """
    for magic, name in OTHER_MAGIC:
        if data.startswith(magic):
            raise FileError(f"this is {name}, not MusicXML", EXPORT_HINT)
    if data.startswith(ZIP_MAGIC):
        raise FileError("the archive's root document is itself a zip archive", EXPORT_HINT)
    # Zero bytes go so that UTF-16 reads like ASCII here.
    head = data[:2048].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").lower()
    if head.startswith((b"<!doctype html", b"<html")) or (b"<html" in head and b"score-" not in head):
        raise FileError("this is a web page (HTML), not MusicXML", "download the score file itself")
    if not head.startswith(b"<"):
        raise FileError("this is not XML", EXPORT_HINT)


def _root_document(data: bytes) -> tuple[str, bytes]:
    """Name and bytes of an archive's MusicXML document.

    Raises:
        FileError: the archive is damaged, is no compressed score, or is hostile.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
            if len(infos) > MAX_MEMBERS:
                raise FileError(f"the archive has more than {MAX_MEMBERS} members", EXPORT_HINT)
            container = next((i for i in infos if i.filename.replace("\\", "/") == CONTAINER), None)
            if container is None:
                raise FileError(
                    f"this is a zip archive without {CONTAINER}, so no compressed MusicXML score", EXPORT_HINT
                )
            name = _root_name(_inflate(archive, container, MAX_CONTAINER_BYTES))
            member = _find_member(infos, name)
            return member.filename, _inflate(archive, member, MAX_INFLATED_BYTES)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, UnicodeDecodeError, ValueError):
        raise FileError("the archive is damaged", "export or download the score again") from None
    except NotImplementedError:
        raise FileError("the archive needs a newer unpacker than MusicXML allows", EXPORT_HINT) from None


def _inflate(archive: zipfile.ZipFile, info: zipfile.ZipInfo, limit: int) -> bytes:
    """Unpack one member within bounds.

    Raises:
        FileError: encrypted, packed by another method than MusicXML allows, or too large.
    """
    if info.flag_bits & 1:
        raise FileError("the archive is encrypted", "unpack it with its password first")
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise FileError("the archive is packed by a method that MusicXML does not allow", EXPORT_HINT)
    ratio_limit = max(RATIO_FREE_BYTES, info.compress_size * MAX_INFLATE_RATIO)
    with archive.open(info) as stream:
        data = stream.read(min(limit, ratio_limit) + 1)
    if len(data) > limit or info.file_size > limit:
        raise FileError(f"a document in the archive unpacks to more than {limit // 2**20} MB", EXPORT_HINT)
    if len(data) > ratio_limit:
        raise FileError(
            f"a document in the archive unpacks to more than {MAX_INFLATE_RATIO} times its size", EXPORT_HINT
        )
    return data


def _root_name(container: bytes) -> str:
    """Path of the first root document that may be MusicXML, as `container.xml` gives it.

    Raises:
        FileError: the container cannot be read, names none, or points outside the archive.
    """
    try:
        root = parse_score_tree(container).getroot()
    except FileError:
        raise FileError(f"{CONTAINER} cannot be read", EXPORT_HINT) from None
    for rootfile in root.iter("{*}rootfile"):
        media = (rootfile.get("media-type") or "").lower()
        name = (rootfile.get("full-path") or "").strip().replace("\\", "/")
        # Many programs give no media type; a second root file may be a PDF or a sound.
        if not name or (media and "xml" not in media):
            continue
        if name.startswith("/") or ":" in name.split("/")[0] or ".." in PurePosixPath(name).parts:
            raise FileError(f"{CONTAINER} points outside the archive", EXPORT_HINT)
        return name
    raise FileError(f"{CONTAINER} names no MusicXML document", EXPORT_HINT)


def _find_member(infos: list[zipfile.ZipInfo], name: str) -> zipfile.ZipInfo:
    """The member of that name, or the one that differs only in slashes and case.

    Raises:
        FileError: no such member.
    """
    for info in infos:
        if info.filename == name:
            return info
    wanted = str(PurePosixPath(name)).lower()
    for info in infos:
        if str(PurePosixPath(info.filename.replace("\\", "/"))).lower() == wanted:
            return info
    raise FileError(
        f"the archive has no member {plain_text(name)[:80]!r} that {CONTAINER} names", EXPORT_HINT
    )


def _syntax_error(data: bytes, error: etree.XMLSyntaxError) -> FileError:
    """The one sentence for what the parser said."""
    message = plain_text(error.msg or "").lower()
    line = error.lineno or 1
    if "depth" in message:
        return FileError("the document is nested deeper than any score", EXPORT_HINT)
    if "entity" in message and ("loop" in message or "amplification" in message):
        return FileError("the document's entities expand beyond all measure", EXPORT_HINT)
    if "amplification" in message or "huge" in message:
        return FileError("the document expands beyond all measure", EXPORT_HINT)
    if "encod" in message or "utf-8" in message or "not proper" in message:
        return FileError(
            f"the document is not in the character encoding that it declares (line {line})",
            "export the score again",
        )
    ended = "premature end" in message or "end of data" in message or "eof" in message
    if ended or not data.rstrip().rstrip(b"\x00").endswith((b">", b">\x00")):
        return FileError(f"the XML breaks off at line {line}", "export or download the score again")
    return FileError(f"the XML is broken at line {line}", "export the score again")

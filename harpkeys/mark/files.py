"""Writing files so that none is ever half written, and compressed scores with everything else in them kept.

A file is written under another name in the same folder, brought to the disk, and only then given its name: a
write that is interrupted leaves the old file or the new one. A file that exists is replaced only if the user
says so.

References: POSIX `rename` and `link`, which change a name at once or not at all; MusicXML 4.0, "Compressed
.MXL files" (container, and the mimetype that stands first and is not packed).
"""

from __future__ import annotations

import io
import os
import re
import tempfile
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from harpkeys.errors import FileError, OptionError, located
from harpkeys.score.container import CONTAINER, MAX_INFLATED_BYTES, Opened
from harpkeys.score.texts import plain_text

PLAIN_ENDINGS = (".musicxml", ".xml")
ARCHIVE_ENDING = ".mxl"

MEDIA_TYPE = "application/vnd.recordare.musicxml"
"""Media type of a compressed score; with "+xml" that of its document. Registered with IANA."""

_EXISTS = ("the file exists already", "allow --overwrite, or name another with --output")

_LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The date given to members of new archives, the earliest that zip knows, so that equal scores give equal
files."""


def write_safely(path: Path, data: bytes, *, overwrite: bool = False) -> None:
    """Write a file whole or not at all.

    Args:
        path: where; a symbolic link is followed.
        data: all bytes of the file.
        overwrite: whether an existing file may be replaced.

    Raises:
        FileError: it exists and may not be replaced, or cannot be written.
    """
    refuse_existing(path, overwrite=overwrite)
    with located(plain_text(str(path))), _as_file_errors():
        target = Path(os.path.realpath(path))
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
        try:
            with open(descriptor, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(name, _mode_for(target))
            if overwrite:
                os.replace(name, target)
            else:
                _name_if_free(name, target)
        finally:
            with suppress(FileNotFoundError):
                os.unlink(name)
        _sync_folder(target.parent)


def refuse_existing(path: Path, *, overwrite: bool) -> None:
    """See that a file may be written, before any work is done for it.

    Args:
        path: where.
        overwrite: whether an existing file may be replaced.

    Raises:
        FileError: it exists and may not be replaced, is a folder, its folder does not exist, or the system
            does not take its name.
    """
    with located(plain_text(str(path))), _as_file_errors():
        if path.is_dir():
            raise FileError("this is a folder, so no file can be written there", "name a file in it")
        if path.exists() and not overwrite:
            raise FileError(*_EXISTS)
        if not Path(os.path.realpath(path)).parent.is_dir():
            raise FileError("there is no such folder to write to", "make it first")


def _name_if_free(temporary: str, target: Path) -> None:
    """Give a file its name unless somebody has taken the name meanwhile."""
    try:
        os.link(temporary, target)
    except FileExistsError:
        raise FileError(*_EXISTS) from None
    except (OSError, NotImplementedError, AttributeError):  # a file system without links
        os.replace(temporary, target)


def _mode_for(target: Path) -> int:
    """The permissions of the file that is replaced, else those of any new file."""
    try:
        return target.stat().st_mode & 0o777
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """Bring the new name to the disk, where the system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


@contextmanager
def _as_file_errors() -> Iterator[None]:
    """Turn what the system says into a sentence.

    Raises:
        FileError: the file cannot be written.
    """
    try:
        yield
    except PermissionError:
        raise FileError("the file may not be written", "check the permissions of its folder") from None
    except OSError as error:
        reason = plain_text(error.strerror or str(error))
        raise FileError(f"the file cannot be written ({reason})", "write it somewhere else") from None


def output_path(source: Path, wanted: Path | None, word: str) -> Path:
    """Where a result goes: where the user says, else beside the score, named after it.

    Args:
        source: the score.
        wanted: what the user says, None for nothing.
        word: what the result is, for its name: "levers" makes tune.levers.musicxml of tune.musicxml.

    Returns:
        The path.

    Raises:
        OptionError: the ending of the name is that of no MusicXML file, or the score has the very name that
            its result would get.
    """
    endings = (*PLAIN_ENDINGS, ARCHIVE_ENDING)
    if wanted is not None:
        if wanted.suffix.lower() not in endings:
            raise OptionError(
                f"--output cannot be {plain_text(str(wanted))!r}", f"its name ends in {', '.join(endings)}"
            )
        return wanted
    ending = source.suffix if source.suffix.lower() in endings else PLAIN_ENDINGS[0]
    stem = source.stem if source.suffix.lower() in endings else source.name
    for suffix in (".levers", ".cleared"):
        stem = stem.removesuffix(suffix)
    found = source.with_name(f"{stem}.{word}{ending}")
    if found.name == source.name:
        raise OptionError(
            f"{plain_text(source.name)} already has the name of its own result",
            "name the result with --output, and allow --overwrite if it is to be the same file",
        )
    return found


def packed(document: bytes, target: Path) -> bytes:
    """The bytes of a file that holds a document and was made from no MusicXML file.

    Args:
        document: the MusicXML document.
        target: where it will be written: .mxl makes a compressed score, anything else a plain one.
    """
    return _new_archive(document) if target.suffix.lower() == ARCHIVE_ENDING else document


def packed_like(opened: Opened, document: bytes, target: Path) -> bytes:
    """The bytes of a file that holds a document in place of the one that was opened.

    Args:
        opened: the file as opened.
        document: the new MusicXML document.
        target: where it will be written: .mxl makes a compressed score, anything else a plain one.

    Returns:
        All bytes of the file. Every other member of a compressed score stays as it is.

    Raises:
        FileError: the archive changed since it was opened, or its other members cannot be carried along.
    """
    document = _with_line_ends_of(opened.data, _with_declaration_of(opened.data, document))
    if target.suffix.lower() != ARCHIVE_ENDING or not opened.is_archive:
        return packed(document, target)
    with located(plain_text(str(opened.path))):
        return _repacked(opened, document)


_DECLARATION = re.compile(rb"""<\?xml\s[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["'][^>]*\?>\s*""")


def _with_declaration_of(original: bytes, document: bytes) -> bytes:
    """The document with the XML declaration of the original, byte for byte, where both name one encoding.

    A parser does not tell how it was written, nor whether it said anything of `standalone`.
    """
    before = _DECLARATION.match(original.removeprefix(b"\xef\xbb\xbf"))
    after = _DECLARATION.match(document)
    if before is None or after is None or before[1].lower() != after[1].lower():
        return document
    return before[0].replace(b"\r\n", b"\n") + document[after.end() :]


def _with_line_ends_of(original: bytes, document: bytes) -> bytes:
    """The document with the line ends of the original, which an XML parser makes single feeds or drops.

    Documents in which a character takes more than one byte by rule (UTF-16) are left as they are.
    """
    if b"\x00" in document[:64]:
        return document
    document += original[len(original.rstrip(b" \t\r\n")) :].replace(b"\r\n", b"\n")
    lines = original.count(b"\n")
    return document.replace(b"\n", b"\r\n") if lines and original.count(b"\r\n") == lines else document


def _new_archive(document: bytes) -> bytes:
    """A compressed score of one document."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
        f'<rootfile full-path="score.musicxml" media-type="{MEDIA_TYPE}+xml"/>'
        "</rootfiles></container>\n"
    )
    result = io.BytesIO()
    with zipfile.ZipFile(result, "w") as archive:
        for name, content, method in (
            ("mimetype", MEDIA_TYPE.encode(), zipfile.ZIP_STORED),
            (CONTAINER, container.encode(), zipfile.ZIP_DEFLATED),
            ("score.musicxml", document, zipfile.ZIP_DEFLATED),
        ):
            archive.writestr(_member(name, method), content)
    return result.getvalue()


def _member(name: str, method: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _LONG_AGO)
    info.compress_type = method
    info.external_attr = 0o644 << 16
    return info


def _repacked(opened: Opened, document: bytes) -> bytes:
    """A compressed score with another document and everything else as it was."""
    result = io.BytesIO()
    left = MAX_INFLATED_BYTES
    replaced = False
    try:
        with zipfile.ZipFile(opened.path) as source, zipfile.ZipFile(result, "w") as archive:
            archive.comment = source.comment
            for info in source.infolist():
                if info.filename == opened.member and not replaced:
                    content, replaced = document, True
                else:
                    with source.open(info) as stream:
                        content = stream.read(left + 1)
                    left -= len(content)
                if left < 0:
                    raise FileError(
                        f"what else is in the archive unpacks to more than {MAX_INFLATED_BYTES // 2**20} MB",
                        f"write a plain score instead, ending in {PLAIN_ENDINGS[0]}",
                    )
                with warnings.catch_warnings():
                    warnings.simplefilter("ignore")  # of two members with one name both are kept
                    archive.writestr(info, content, compress_type=info.compress_type)
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, OSError):
        raise FileError(
            "what else is in the archive cannot be read",
            f"write a plain score instead, ending in {PLAIN_ENDINGS[0]}",
        ) from None
    if not replaced:
        raise FileError("the archive has changed since it was opened", "try again")
    return result.getvalue()

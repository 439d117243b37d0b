"""Opening files: every way a file can be wrong gives one clear sentence, and every encoding is read."""

from __future__ import annotations

import gzip
import io
import os
import subprocess
import sys
import zipfile
from pathlib import Path
from random import Random

import pytest

from harpkeys.errors import FileError, HarpkeysError, ScoreError
from harpkeys.score import container
from harpkeys.score.container import open_score, parse_score_tree, read_tree

EXPORT = "export the score from its notation program as MusicXML (.musicxml or .mxl)."

BODY = (
    '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Härp</part-name></score-part>'
    '</part-list><part id="P1"><measure number="1"/></part></score-partwise>'
)

CONTAINER = '<?xml version="1.0" encoding="UTF-8"?><container><rootfiles>{rootfiles}</rootfiles></container>'


def make_archive(
    members: dict[str, bytes], rootfiles: str | None = None, *, compression: int = zipfile.ZIP_DEFLATED
) -> bytes:
    """A zip archive with these members and a container that lists these root files."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as archive:
        if rootfiles is not None:
            archive.writestr("META-INF/container.xml", CONTAINER.format(rootfiles=rootfiles))
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def sentence_of(path: Path) -> str:
    """The sentence that opening and parsing a file ends in, without its path."""
    with pytest.raises(HarpkeysError) as caught:
        read_tree(open_score(path))
    sentence = str(caught.value)
    assert sentence.startswith(f"{path}: ")
    assert "\n" not in sentence
    return sentence.removeprefix(f"{path}: ")


def written(tmp_path: Path, data: bytes, name: str = "score.musicxml") -> Path:
    """A file with these bytes."""
    path = tmp_path / name
    path.write_bytes(data)
    return path


ENTITY_BOMB = (
    '<!DOCTYPE score-partwise [<!ENTITY a0 "0123456789">'
    + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 9))
    + ']><score-partwise><part-list><score-part id="&a8;"/></part-list><movement-title>&a8;'
    + "</movement-title></score-partwise>"
)
"""Ten digits, ten times over, eight times: a gigabyte where a reader expands entities."""


def zip_bomb() -> bytes:
    """Forty megabytes of spaces in forty kilobytes."""
    return make_archive({"s.xml": b"<a>" + b" " * (40 * 2**20)}, '<rootfile full-path="s.xml"/>')


def large_member() -> bytes:
    """Sixty-five megabytes, packed about fifty to one."""
    runs = b"".join(bytes([byte]) * 130 for byte in Random(1).randbytes(65 * 2**20 // 130 + 1))
    return make_archive({"s.xml": b"<a>" + runs}, '<rootfile full-path="s.xml"/>')


BAD_FILES = {
    "empty": (b"", f"the file is empty; {EXPORT}"),
    "blank": (b" \n ", f"the file is empty; {EXPORT}"),
    "text": (b"not a score", f"this is not XML; {EXPORT}"),
    "truncated": (
        BODY.encode()[:-30],
        "the XML breaks off at line 1; export or download the score again.",
    ),
    "html": (
        b"<!DOCTYPE html>\n<html><head><title>Login</title></head></html>",
        "this is a web page (HTML), not MusicXML; download the score file itself.",
    ),
    "xhtml": (
        b'<?xml version="1.0"?><html xmlns="http://www.w3.org/1999/xhtml"><body/></html>',
        "this is a web page (HTML), not MusicXML; download the score file itself.",
    ),
    "midi": (b"MThd\x00\x00\x00\x06\x00\x01", f"this is a MIDI file, not MusicXML; {EXPORT}"),
    "pdf": (b"%PDF-1.7\n%\xe2\xe3", f"this is a PDF, not MusicXML; {EXPORT}"),
    "gzip": (gzip.compress(BODY.encode()), f"this is a gzip archive, not MusicXML; {EXPORT}"),
    "binary": (bytes(range(256)), f"this is not XML; {EXPORT}"),
    "svg": (
        b'<svg xmlns="http://www.w3.org/2000/svg"/>',
        f"the root element is <svg>, not that of a MusicXML score; {EXPORT}",
    ),
    "opus": (
        b'<opus version="4.0"/>',
        "this is a MusicXML opus, which only lists scores; open each of its scores instead.",
    ),
    "broken": (
        b"<score-partwise><part-list></part></score-partwise>",
        "the XML is broken at line 1; export the score again.",
    ),
    "unbound entity": (
        b"<score-partwise><movement-title>&nbsp;</movement-title></score-partwise>",
        "the XML is broken at line 1; export the score again.",
    ),
    "wrong encoding": (
        b'<?xml version="1.0" encoding="UTF-8"?><score-partwise><a>H\xe4rp</a></score-partwise>',
        "the document is not in the character encoding that it declares (line 1); export the score again.",
    ),
    "unknown encoding": (
        b'<?xml version="1.0" encoding="klingon"?><score-partwise/>',
        "the document is not in the character encoding that it declares (line 1); export the score again.",
    ),
    "deep": (
        b"<score-partwise>" + b"<a>" * 100_000,
        f"the document is nested deeper than any score; {EXPORT}",
    ),
    "entity bomb": (
        ENTITY_BOMB.encode(),
        f"the document's entities expand beyond all measure; {EXPORT}",
    ),
    "zip without container": (
        make_archive({"score.xml": BODY.encode()}),
        f"this is a zip archive without META-INF/container.xml, so no compressed MusicXML score; {EXPORT}",
    ),
    "empty zip": (
        make_archive({}),
        f"this is a zip archive without META-INF/container.xml, so no compressed MusicXML score; {EXPORT}",
    ),
    "no rootfile": (
        make_archive({"score.xml": BODY.encode()}, ""),
        f"META-INF/container.xml names no MusicXML document; {EXPORT}",
    ),
    "only a PDF": (
        make_archive({"s.pdf": b"%PDF"}, '<rootfile full-path="s.pdf" media-type="application/pdf"/>'),
        f"META-INF/container.xml names no MusicXML document; {EXPORT}",
    ),
    "PDF named as root": (
        make_archive({"s.pdf": b"%PDF"}, '<rootfile full-path="s.pdf"/>'),
        f"this is a PDF, not MusicXML; {EXPORT}",
    ),
    "broken container": (
        make_archive({"META-INF/container.xml": b"<container>"}),
        f"META-INF/container.xml cannot be read; {EXPORT}",
    ),
    "missing member": (
        make_archive({}, '<rootfile full-path="a/score.xml"/>'),
        f"the archive has no member 'a/score.xml' that META-INF/container.xml names; {EXPORT}",
    ),
    "absolute path": (
        make_archive({}, '<rootfile full-path="/etc/passwd"/>'),
        f"META-INF/container.xml points outside the archive; {EXPORT}",
    ),
    "parent path": (
        make_archive({}, '<rootfile full-path="a/../../etc/passwd"/>'),
        f"META-INF/container.xml points outside the archive; {EXPORT}",
    ),
    "drive path": (
        make_archive({}, '<rootfile full-path="C:\\score.xml"/>'),
        f"META-INF/container.xml points outside the archive; {EXPORT}",
    ),
    "address": (
        make_archive({}, '<rootfile full-path="file:///etc/passwd"/>'),
        f"META-INF/container.xml points outside the archive; {EXPORT}",
    ),
    "zip bomb": (
        zip_bomb(),
        f"a document in the archive unpacks to more than 200 times its size; {EXPORT}",
    ),
    "large member": (
        large_member(),
        f"a document in the archive unpacks to more than 64 MB; {EXPORT}",
    ),
    "many members": (
        make_archive({f"{n}": b"" for n in range(1001)}, '<rootfile full-path="0"/>'),
        f"the archive has more than 1000 members; {EXPORT}",
    ),
    "cut archive": (
        make_archive({"s.xml": BODY.encode()}, '<rootfile full-path="s.xml"/>')[:-40],
        "the archive is damaged; export or download the score again.",
    ),
    "bzip2 member": (
        make_archive(
            {"s.xml": BODY.encode()}, '<rootfile full-path="s.xml"/>', compression=zipfile.ZIP_BZIP2
        ),
        f"the archive is packed by a method that MusicXML does not allow; {EXPORT}",
    ),
    "zip in zip": (
        make_archive({"s.mxl": make_archive({})}, '<rootfile full-path="s.mxl"/>'),
        f"the archive's root document is itself a zip archive; {EXPORT}",
    ),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_bad_files_give_one_clear_sentence(name: str, tmp_path: Path) -> None:
    data, expected = BAD_FILES[name]
    assert sentence_of(written(tmp_path, data)) == expected


def test_flipped_bytes_in_an_archive_are_damage(tmp_path: Path) -> None:
    data = bytearray(make_archive({"s.xml": BODY.encode() * 50}, '<rootfile full-path="s.xml"/>'))
    at = data.index(b"s.xml") + 20
    data[at : at + 8] = b"\xff" * 8
    assert sentence_of(written(tmp_path, bytes(data))) == (
        "the archive is damaged; export or download the score again."
    )


def test_encrypted_archive(tmp_path: Path) -> None:
    data = bytearray(make_archive({"s.xml": BODY.encode()}, '<rootfile full-path="s.xml"/>'))
    at = data.rindex(b"PK\x01\x02")
    data[at + 8] |= 1
    assert sentence_of(written(tmp_path, bytes(data))) == (
        "the archive is encrypted; unpack it with its password first."
    )


def test_missing_file(tmp_path: Path) -> None:
    assert sentence_of(tmp_path / "nowhere.mxl") == "there is no such file; check its name."


def test_missing_file_below_a_file(tmp_path: Path) -> None:
    path = written(tmp_path, b"x", "file")
    assert sentence_of(path / "below") == "the file cannot be read (Not a directory); check its name."


def test_directory(tmp_path: Path) -> None:
    assert sentence_of(tmp_path) == "this is a directory, not a score; name a file inside it."


def test_pipe_does_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert sentence_of(tmp_path / "pipe") == "this is not an ordinary file; name a MusicXML file."


def test_name_with_a_zero_byte() -> None:
    with pytest.raises(FileError, match="the file cannot be read"):
        open_score(Path("a\x00b"))


def test_overlong_name(tmp_path: Path) -> None:
    assert sentence_of(tmp_path / ("x" * 300)) == (
        "the file cannot be read (File name too long); check its name."
    )


def test_too_large_a_file(tmp_path: Path) -> None:
    path = tmp_path / "large.musicxml"
    with path.open("wb") as stream:
        stream.truncate(container.MAX_FILE_BYTES + 1)
    assert sentence_of(path) == "the file is larger than 64 MB; split the score into parts."


def test_more_tags_than_any_score(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(container, "COUNTED_BYTES", 1000)
    monkeypatch.setattr(container, "MAX_TAGS_AND_ATTRIBUTES", 500)
    data = b"<score-partwise>" + b"<a/>" * 499 + b"</score-partwise>"
    with pytest.raises(FileError) as caught:
        parse_score_tree(data)
    assert str(caught.value) == f"the document has more tags than any score; {EXPORT}"


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")
@pytest.mark.parametrize("name", ["entity bomb", "deep", "zip bomb", "large member"])
def test_hostile_files_cost_little_memory(name: str, tmp_path: Path) -> None:
    path = written(tmp_path, BAD_FILES[name][0])
    program = (
        "import re, sys\n"
        "from pathlib import Path\n"
        "from harpkeys.errors import HarpkeysError\n"
        "from harpkeys.score.container import open_score, read_tree\n"
        "try:\n    read_tree(open_score(Path(sys.argv[1])))\n"
        # Not ru_maxrss: a child starts with its parent's.
        "except HarpkeysError:\n    status = Path('/proc/self/status').read_text()\n"
        "    print(re.search(r'VmHWM:\\s+(\\d+)', status)[1])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) < 400 * 1024  # kilobytes


ENCODED = {
    "utf-8": BODY.encode(),
    "utf-8 declared": b'<?xml version="1.0" encoding="UTF-8"?>' + BODY.encode(),
    "utf-8 with BOM": b"\xef\xbb\xbf" + b'<?xml version="1.0" encoding="UTF-8"?>' + BODY.encode(),
    "no encoding declared": b'<?xml version="1.0"?>' + BODY.encode(),
    "latin-1": b'<?xml version="1.0" encoding="ISO-8859-1"?>' + BODY.encode("latin-1"),
    "windows-1252": b'<?xml version="1.0" encoding="windows-1252"?>' + BODY.encode("cp1252"),
    "utf-16 with BOM": ('<?xml version="1.0" encoding="UTF-16"?>' + BODY).encode("utf-16"),
    "utf-16 little endian": b"\xff\xfe"
    + ('<?xml version="1.0" encoding="UTF-16"?>' + BODY).encode("utf-16-le"),
    "utf-16 big endian": b"\xfe\xff" + ('<?xml version="1.0" encoding="UTF-16"?>' + BODY).encode("utf-16-be"),
    "utf-16 without declaration": BODY.encode("utf-16"),
    "white space before": b'\n\n  <?xml version="1.0" encoding="UTF-8"?>' + BODY.encode(),
    "DTD on the network": b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    b'"http://www.musicxml.org/dtds/partwise.dtd">' + BODY.encode(),
    "DTD on somebody's disk": b'<!DOCTYPE score-partwise SYSTEM "C:\\Music\\partwise.dtd">' + BODY.encode(),
    "DTD in a file that exists": b'<!DOCTYPE score-partwise SYSTEM "/etc/passwd">' + BODY.encode(),
}


@pytest.mark.parametrize("name", ENCODED)
def test_every_encoding_is_read(name: str, tmp_path: Path) -> None:
    tree = read_tree(open_score(written(tmp_path, ENCODED[name])))
    assert tree.getroot().findtext("part-list/score-part/part-name") == "Härp"


def test_file_entities_are_not_read(tmp_path: Path) -> None:
    secret = written(tmp_path, b"secret", "secret.txt")
    body = BODY.replace("Härp", "&s;")
    data = f'<!DOCTYPE score-partwise [<!ENTITY s SYSTEM "{secret}">]>{body}'.encode()
    tree = read_tree(open_score(written(tmp_path, data)))
    assert "secret" not in "".join(
        tree.getroot().itertext(tag=None) if False else tree.getroot().itertext("*")
    )
    assert tree.getroot().find("part-list/score-part/part-name").text is None


@pytest.mark.parametrize("name", ["score.mxl", "score.musicxml", "score.xml", "score"])
def test_content_decides_what_a_file_is(name: str, tmp_path: Path) -> None:
    archive = make_archive({"a/score.xml": BODY.encode()}, '<rootfile full-path="a/score.xml"/>')
    opened = open_score(written(tmp_path, archive, name))
    assert (opened.is_archive, opened.member, opened.data) == (True, "a/score.xml", BODY.encode())
    opened = open_score(written(tmp_path, BODY.encode(), name))
    assert (opened.is_archive, opened.member, opened.data) == (False, "", BODY.encode())
    assert opened.path == tmp_path / name


ROOTFILES = {
    "no media type": '<rootfile full-path="s.xml"/>',
    "media type": '<rootfile full-path="s.xml" media-type="application/vnd.recordare.musicxml+xml"/>',
    "a PDF second": '<rootfile full-path="s.xml"/><rootfile full-path="s.pdf" media-type="application/pdf"/>',
    "a PDF first": '<rootfile full-path="s.pdf" media-type="application/pdf"/><rootfile full-path="s.xml"/>',
    "another case": '<rootfile full-path="S.XML"/>',
    "dot path": '<rootfile full-path="./s.xml"/>',
}


@pytest.mark.parametrize("name", ROOTFILES)
def test_root_document_of_an_archive(name: str, tmp_path: Path) -> None:
    archive = make_archive({"s.pdf": b"%PDF", "s.xml": BODY.encode()}, ROOTFILES[name])
    opened = open_score(written(tmp_path, archive))
    assert (opened.member, opened.data) == ("s.xml", BODY.encode())


def test_container_in_its_namespace_and_honest_ratio(tmp_path: Path) -> None:
    # Ratio about 150 within the first megabyte, and about 60 above it, both met in honest files.
    honest = BODY.encode() + b" " * 900_000
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.recordare.musicxml")
        archive.writestr(
            "META-INF/container.xml",
            '<container xmlns="urn:oasis:names:tc:opendocument:xmlns:container"><rootfiles>'
            '<rootfile full-path="s.xml"/></rootfiles></container>',
        )
        archive.writestr("s.xml", honest)
    assert open_score(written(tmp_path, stream.getvalue())).data == honest


def test_error_kinds(tmp_path: Path) -> None:
    with pytest.raises(ScoreError):
        read_tree(open_score(written(tmp_path, b"<svg/>")))
    with pytest.raises(FileError):
        open_score(written(tmp_path, b"%PDF"))

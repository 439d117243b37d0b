"""Write the demo scores of corpus/ from the pieces in scripts/corpus_pieces/.

    python scripts/compose_corpus.py [DIRECTORY]

Each piece becomes NAME.musicxml, or NAME.mxl (compressed) where its first line is "% mxl". The same pieces
give the same bytes on every run.
"""

from __future__ import annotations

import io
import sys
import zipfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from corpus_musicxml import write_document  # noqa: E402
from corpus_notation import read_piece  # noqa: E402

PIECES = HERE / "corpus_pieces"
CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    '<rootfile full-path="{name}" media-type="application/vnd.recordare.musicxml+xml"/>'
    "</rootfiles></container>\n"
)
EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest time a zip entry can bear: the container must not change from day to day."""


def compose(directory: Path = PIECES) -> dict[str, bytes]:
    """Every piece of a directory as (file name, content), by name."""
    files = {}
    for path in sorted(directory.glob("*.notes")):
        text = path.read_text(encoding="utf-8")
        try:
            document = write_document(read_piece(text))
        except (ValueError, KeyError) as error:
            raise ValueError(f"{path.name}: {error}") from error
        if text.startswith("% mxl"):
            files[f"{path.stem}.mxl"] = compress(f"{path.stem}.musicxml", document)
        else:
            files[f"{path.stem}.musicxml"] = document
    return files


def compress(name: str, document: bytes) -> bytes:
    """A compressed MusicXML file: the mimetype member first, stored, then the container, then the score."""
    buffer = io.BytesIO()
    members = (
        ("mimetype", b"application/vnd.recordare.musicxml", zipfile.ZIP_STORED),
        ("META-INF/container.xml", CONTAINER.format(name=name).encode(), zipfile.ZIP_DEFLATED),
        (name, document, zipfile.ZIP_DEFLATED),
    )
    with zipfile.ZipFile(buffer, "w") as archive:
        for member, content, method in members:
            entry = zipfile.ZipInfo(member, EPOCH)
            entry.compress_type = method
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content, compresslevel=9)
    return buffer.getvalue()


def main() -> None:
    """Write every piece to the directory given, else to corpus/."""
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "corpus"
    target.mkdir(parents=True, exist_ok=True)
    for name, content in compose().items():
        (target / name).write_bytes(content)
        print(f"{name}: {len(content)} bytes")


if __name__ == "__main__":
    main()

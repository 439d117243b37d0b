"""What the tests of engraving and print share."""

from __future__ import annotations

import importlib.util
import io
import json
import zipfile
from functools import cache
from pathlib import Path
from typing import Any

from pypdf import PdfReader

HERE = Path(__file__).parent
BOXED = HERE / "boxed-words.musicxml"


@cache
def joplin() -> bytes:
    """The Maple Leaf Rag of music21's corpus: a pickup, repeats, a change from four flats to five."""
    spec = importlib.util.find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    with zipfile.ZipFile(Path(spec.origin).parent / "corpus" / "joplin" / "maple_leaf_rag.mxl") as container:
        name = next(n for n in container.namelist() if n.endswith(".xml") and not n.startswith("META"))
        return container.read(name)


def one_part(measures: list[str], part_list: str = "") -> str:
    """A score of one one-staff part, from the insides of its measures."""
    body = "".join(f'<measure number="{k + 1}">{inside}</measure>' for k, inside in enumerate(measures))
    listed = part_list or '<score-part id="P1"><part-name>Harp</part-name></score-part>'
    return (
        f'<score-partwise version="4.0"><part-list>{listed}</part-list><part id="P1">{body}</part>'
        "</score-partwise>"
    )


START = (
    "<attributes><divisions>1</divisions><key><fifths>0</fifths></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>"
)
WHOLE = (
    "<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><voice>1</voice>"
    "<type>whole</type></note>"
)
BAR_REST = '<note><rest measure="yes"/><duration>4</duration><voice>1</voice></note>'


def read_pdf(pdf: bytes) -> PdfReader:
    """The PDF as an independent reader sees it."""
    return PdfReader(io.BytesIO(pdf))


def measured_by_typst(texts: list[str], *, font: str, weight: str = "regular") -> list[float]:
    """Widths of texts in ems, as typst sets them."""
    import typst

    listed = ", ".join(json.dumps(text, ensure_ascii=False) for text in texts)
    source = (
        f'#set text(font: "{font}", size: 100pt, weight: "{weight}")\n'
        f"#context [#metadata(({listed},).map(t => measure(text(t)).width.pt())) <widths>]"
    )
    found: Any = typst.query(source.encode(), "<widths>", field="value", one=True, ignore_system_fonts=True)
    return [width / 100 for width in json.loads(found)]

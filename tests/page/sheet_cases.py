"""Demo scores, vetted and marked once for all tests of sheets, print and web pages."""

from __future__ import annotations

import re
import warnings
from fractions import Fraction
from functools import cache
from pathlib import Path

from harpkeys.harp.files import load_harp
from harpkeys.harp.players import find_player
from harpkeys.mark.document import marked_document
from harpkeys.page.cue_sheet import CueSheet, make_cue_sheet
from harpkeys.report.vet import vet
from harpkeys.score.reader import read_score

CORPUS = Path(__file__).resolve().parents[2] / "corpus"

CASES = (
    ("cellar-and-attic", "wren"),
    ("crossing-lane", "kestrel"),
    ("doorstep-jig", "moth"),
    ("down-the-quay-steps", "kestrel"),
    ("five-bridges", "heron"),
    ("fog-on-the-cut", "kestrel"),
    ("heron-standing", "heron"),
    ("lantern-waltz", "heron"),
    ("magpies-minuet", "otter"),
    ("owl-light-lullaby", "kestrel"),
    ("rain-on-the-skylight", "bittern"),
    ("the-giants-porch", "kestrel"),
    ("the-loom", "kestrel"),
    ("the-mill-turns", "heron"),
    ("twice-round-the-well", "kestrel"),
)
"""Every demo score on a harp that its sidecar names, with a steady player."""

HOSTILE = '=cmd|\' /C calc\'!A0 </title><script>alert("1")</script> #panic("x") [*_$ & \u202e\x07'
"""A title that tries to be a formula, markup, typst code and a control character."""


def path_of(name: str) -> Path:
    """File of a demo score."""
    return next(path for path in CORPUS.glob(f"{name}.*") if path.suffix in (".musicxml", ".mxl"))


@cache
def sheet_of(name: str, harp: str, player: str = "steady") -> tuple[CueSheet, bytes]:
    """The cue sheet of a demo score, and the marked document."""
    return sheet_of_file(path_of(name), harp, player)


def sheet_of_file(path: Path, harp: str, player: str = "steady") -> tuple[CueSheet, bytes]:
    """The cue sheet of any file, and the marked document."""
    loaded = load_harp(CORPUS / "harps" / f"{harp}.toml").harp
    report = vet(read_score(path), loaded, find_player(player))
    return make_cue_sheet(report), marked_document(report)


def hostile_file(folder: Path) -> Path:
    """A demo score whose title, part and composer are hostile."""
    from xml.sax.saxutils import escape

    text = path_of("fog-on-the-cut").read_text("utf-8")
    bad = escape(HOSTILE.replace("\x07", ""))
    for tag in ("work-title", "part-name"):
        start = text.index(f"<{tag}>") + len(tag) + 2
        end = text.index(f"</{tag}>")
        text = text[:start] + bad + text[end:]
    start = text.index(">", text.index("<creator")) + 1
    text = text[:start] + bad + text[text.index("</creator>") :]
    path = folder / "hostile.musicxml"
    path.write_text(text, "utf-8")
    return path


def boxes_of(xml: bytes) -> set[tuple[str, Fraction, str, str]]:
    """Bar, beat, note and arrow of each move in the boxes of a marked file, as music21 reads it."""
    from music21 import converter, expressions

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = converter.parse(xml, format="musicxml")
    boxes = set()
    for part in score.parts:
        unit = Fraction(1)
        for measure in part.getElementsByClass("Measure"):
            if measure.timeSignature:
                unit = Fraction(4, measure.timeSignature.denominator)
            for text in measure.recurse().getElementsByClass(expressions.TextExpression):
                beat = 1 + Fraction(text.offset).limit_denominator(1000) / unit
                for note, arrow in re.findall(r"([A-G][♮♯♭]+\d) ([↑↓])", text.content):
                    boxes.add((str(measure.number), beat, note, arrow))
    return boxes

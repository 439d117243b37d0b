"""Transposed scores as verovio, music21 and `harpkeys.mark.transpose` make them, in comparable form.

verovio moves a score by an interval while it loads it, and gives the result as MEI: there every note has its
name, octave, the accidental printed beside it and the one it sounds, every staff its signature. music21 moves
pitches, signatures and chord symbols by a spelled interval.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from lxml import etree

from harpkeys.choose.transposition import Move, choose_move, page_keys
from harpkeys.mark.transpose import REMARKS, transposed
from harpkeys.score.container import parse_score_tree
from harpkeys.score.reader import read_score

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"

NATURAL = (0, 2, 4, 5, 7, 9, 11)
PERFECT = (0, 3, 4)


def canonical(tree: Any) -> bytes:
    """A document in canonical XML, so that equal trees give equal bytes."""
    return etree.tostring(tree, method="c14n", with_comments=True)


MOVING = (
    *("step", "alter", "octave", "accidental", "accidental-mark"),
    *("key", "fifths", "cancel", "key-step", "key-alter", "key-accidental", "key-octave"),
    *("root-step", "root-alter", "bass-step", "bass-alter", "prefix", "suffix"),
)


def still(tree: Any) -> bytes:
    """A document without what a transposition may change."""
    root = parse_score_tree(etree.tostring(tree)).getroot()
    names = {
        etree.QName(element).localname: element.tag for element in root.iter() if isinstance(element.tag, str)
    }
    etree.strip_elements(root, *[names[name] for name in MOVING if name in names], with_tail=True)
    for element in root.iter():
        if not (element.text or "").strip():
            element.text = None
    return etree.tostring(root, method="c14n")


def interval_name(move: Move) -> str:
    """A move as verovio and music21 name intervals: "+M2", "-A4", "+m10"."""
    sign = -1 if move.semitones < 0 or (not move.semitones and move.letters < 0) else 1
    octaves, letters = divmod(sign * move.letters, 7)
    excess = sign * move.semitones - 12 * octaves - NATURAL[letters]
    if letters in PERFECT:
        quality = {-2: "dd", -1: "d", 0: "P", 1: "A", 2: "AA"}[excess]
    else:
        quality = {-2: "d", -1: "m", 0: "M", 1: "A", 2: "AA"}[excess]
    return f"{'+' if sign > 0 else '-'}{quality}{letters + 1 + 7 * octaves}"


def verovio_mei(document: str, transpose: str = "") -> Any:
    """A MusicXML document as verovio's MEI, moved by an interval; None where verovio cannot load it."""
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"transpose": transpose, "xmlIdSeed": 1, "breaks": "none"})
    if not toolkit.loadData(document):
        return None
    return etree.fromstring(toolkit.getMEI().encode())


def told_by_mei(root: Any) -> tuple[list[str], list[str]]:
    """Notes, with printed and sounding accidentals, and signatures, each in document order."""
    notes: list[str] = []
    keys: list[str] = []
    for element in root.iter(f"{MEI}note", f"{MEI}keySig", f"{MEI}staffDef"):
        name = etree.QName(element).localname
        if name != "note":
            if name == "keySig" or element.get("keysig") is not None:
                keys.append(element.get("sig") or element.get("keysig") or "0")
        elif element.get("pname") is not None:
            accids = [element, *element.iter(f"{MEI}accid")]
            printed = "".join(accid.get("accid") or "" for accid in accids).replace("x", "ss")
            sounding = "".join(accid.get("accid.ges") or "" for accid in accids).replace("x", "ss") or printed
            notes.append(f"{element.get('pname')}{element.get('oct')} {printed or '-'} {sounding or 'n'}")
    return notes, keys


def told_by_music21(score: Any) -> list[list[str]]:
    """Of each part the notes, signatures and chord symbols, in document order.

    Whether an accidental is printed is left out: music21 forgets it when it moves a note.
    """
    from music21 import chord, harmony, key, note

    parts: list[list[str]] = []
    for part in score.parts:
        found: list[str] = []
        for element in part.recurse().getElementsByClass(["GeneralNote", "KeySignature"]):
            if isinstance(element, key.KeySignature):
                if not element.isNonTraditional:
                    found.append(f"key {element.sharps}")
            elif isinstance(element, harmony.ChordSymbol):
                found.append(f"chord {element.root().name} {element.bass().name} {element.chordKind}")
            elif isinstance(element, (note.Note, chord.Chord)):
                found += [pitch.nameWithOctave for pitch in element.pitches]
        parts.append(found)
    return parts


def parsed_by_music21(document: str) -> Any:
    """A MusicXML document as a music21 score."""
    from music21 import converter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return converter.parseData(document, format="musicxml")


def moved_by_music21(score: Any, move: Move) -> Any:
    """A music21 score moved by the same interval."""
    from music21 import interval

    return score.transpose(interval.Interval(interval_name(move).removeprefix("+")))


@dataclass(frozen=True, slots=True)
class Moved:
    """A file moved by the code under test.

    Attributes:
        move: by how much.
        before, after: the documents.
        is_turned: whether some of it is spelled twelve fifths away, as neither engine would.
        has_new_key: whether it was given a signature.
    """

    move: Move
    before: str
    after: str
    is_turned: bool
    has_new_key: bool


def moved_file(path: Path, semitones: int) -> Moved:
    """A file moved by so many semitones."""
    score = read_score(path)
    keys = [key.fifths for key in page_keys(score.parts[:1]) if key.fifths is not None]
    move = choose_move(semitones, keys)
    result = transposed(score.tree, move)
    return Moved(
        move,
        etree.tostring(score.tree).decode(),
        etree.tostring(result.tree).decode(),
        REMARKS["turned"] in result.remarks,
        REMARKS["key"] in result.remarks,
    )

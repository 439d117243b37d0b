"""Small MusicXML documents for reports, written as text: one line a part, bars parted by "|".

A bar is a row of words, each a note and its length in quarters ("G#4:2", "r:1" for a rest, "Bb3+D4:1" for a
chord); "/" parts the staves of a bar, upper first.
"""

from __future__ import annotations

import re
from fractions import Fraction
from io import BytesIO

from lxml import etree

from harpkeys.score.model import Score
from harpkeys.score.reader import score_from_tree

DIVISIONS = 12


def small_score(
    *parts: str,
    tempo: int | None = 60,
    time: tuple[int, int] = (4, 4),
    fifths: int = 0,
    names: tuple[str, ...] = ("Harp",),
    implicit: bool = False,
) -> Score:
    """A score read from such texts."""
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{names[n - 1]}</part-name></score-part>'
        for n in range(1, len(parts) + 1)
    )
    body = "".join(
        f'<part id="P{n}">{_bars(text, tempo if n == 1 else None, time, fifths, implicit)}</part>'
        for n, text in enumerate(parts, 1)
    )
    xml = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{body}</score-partwise>'
    return score_from_tree(etree.parse(BytesIO(xml.encode())), "small")


def _bars(text: str, tempo: int | None, time: tuple[int, int], fifths: int, implicit: bool) -> str:
    bars = text.split("|")
    staves = len(bars[0].split("/"))
    found = []
    for number, bar in enumerate(bars, 0 if implicit else 1):
        content = ""
        if not found:
            content = (
                f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{fifths}</fifths></key>"
                f"<time><beats>{time[0]}</beats><beat-type>{time[1]}</beat-type></time>"
                f"<staves>{staves}</staves></attributes>"
            )
            if tempo:
                content += f'<sound tempo="{tempo}"/>'
        for staff, row in enumerate(bar.split("/"), 1):
            notes, length = _row(row, staff)
            content += notes
            if staff < staves:
                content += f"<backup><duration>{length}</duration></backup>"
        mark = ' implicit="yes"' if implicit and not found else ""
        found.append(f'<measure number="{number}"{mark}>{content}</measure>')
    return "".join(found)


def _row(row: str, staff: int) -> tuple[str, int]:
    notes, total = "", 0
    for word in row.split():
        names, _, quarters = word.partition(":")
        duration = int(Fraction(quarters) * DIVISIONS)
        total += duration
        for place, name in enumerate(names.split("+")):
            chord = "<chord/>" if place else ""
            sound = "<rest/>" if name == "r" else _pitch(name)
            notes += (
                f"<note>{chord}{sound}<duration>{duration}</duration><voice>{staff}</voice>"
                f"<staff>{staff}</staff></note>"
            )
    return notes, total


def _pitch(name: str) -> str:
    match = re.fullmatch(r"([A-G])([#b]*)(\d)", name)
    assert match is not None, name
    alter = match[2].count("#") - match[2].count("b")
    return f"<pitch><step>{match[1]}</step><alter>{alter}</alter><octave>{match[3]}</octave></pitch>"

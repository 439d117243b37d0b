"""Structure-aware mutation of scores: faults that keep a document XML and much of it music.

A mutation is a list of operations drawn by hypothesis, so that a find shrinks to the fewest and smallest.
"""

from __future__ import annotations

import copy
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from lxml import etree

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted(
    [*(ROOT / "corpus").glob("*.musicxml"), *(ROOT / "tests" / "score" / "data").glob("*.musicxml")]
)
LARGEST = 60_000

NUMBERS = (
    "0",
    "-1",
    "1",
    "2",
    "99",
    "400",
    "1e9",
    "-0.5",
    "0.1",
    "1/3",
    "NaN",
    "inf",
    "1000000",
    "999999999999",
    "123456789012345678901234567890",
    "",
    " 4 ",
    "\u0663",
    "x",
)
"""What numbers become; one is a digit to Python, but not to XML Schema."""

SNIPPETS = (
    '<barline location="right"><repeat direction="backward" times="{n}"/></barline>',
    '<barline location="left"><repeat direction="forward"/></barline>',
    '<barline><ending number="{n}" type="start"/></barline>',
    '<barline><ending number="{n}" type="stop"/></barline>',
    '<barline><ending number="1, {n}" type="discontinue"/></barline>',
    '<sound dacapo="yes"/>',
    '<sound dalsegno="{n}" time-only="{n}"/>',
    '<sound segno="{n}"/>',
    '<sound coda="{n}"/>',
    '<sound tocoda="{n}"/>',
    '<sound fine="{n}"/>',
    '<sound tempo="{n}"/>',
    "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>",
    ""
    "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{n}</per-minute></metronome>"
    "</direction-type></direction>",
    '<direction><direction-type><octave-shift type="down" size="{n}"/></direction-type></direction>',
    "<attributes><divisions>{n}</divisions></attributes>",
    "<attributes><key><fifths>{n}</fifths></key></attributes>",
    "<attributes><key><key-step>F</key-step><key-alter>{n}</key-alter></key></attributes>",
    "<attributes><time><beats>{n}</beats><beat-type>{n}</beat-type></time></attributes>",
    "<attributes><staves>{n}</staves></attributes>",
    "<attributes><transpose><diatonic>{n}</diatonic><chromatic>{n}</chromatic></transpose></attributes>",
    "<attributes><measure-style><measure-repeat "
    'type="start">{n}</measure-repeat></measure-style></attributes>',
    "<attributes><measure-style><multiple-rest>{n}</multiple-rest></measure-style></attributes>",
    "<backup><duration>{n}</duration></backup>",
    "<forward><duration>{n}</duration></forward>",
    ""
    "<note><pitch><step>B</step><alter>{n}</alter><octave>{n}</octave></pitch><duration>{n}</duration></note>",
    "<note><grace/><pitch><step>E</step><octave>4</octave></pitch></note>",
    ""
    "<note><chord/><pitch><step>E</step><octave>4</octave></pitch><duration>{n}</duration><staff>{n}</staff></note>",
    "<note><pitch><step>E</step><octave>4</octave></pitch><duration>2</duration><tie type='start'/></note>",
    "<note><pitch><step>E</step><octave>4</octave></pitch><duration>2</duration><notations><ornaments>"
    "<trill-mark/><inverted-mordent/><accidental-mark>flat-flat</accidental-mark><tremolo "
    "type='start'>3</tremolo>"
    "</ornaments><glissando type='start'/></notations></note>",
)
"""Music that is put where it may not belong; {n} becomes one of NUMBERS."""

Operation = tuple[int, int, int, int]
"""What is done, to which element, with which other element or text, and how often."""

operations = st.lists(
    st.tuples(st.integers(0, 8), st.integers(0, 2**16), st.integers(0, 2**16), st.integers(1, 40)),
    min_size=1,
    max_size=12,
)


@cache
def source(number: int) -> Any:
    return etree.parse(str(SOURCES[number % len(SOURCES)])).getroot()


def mutated(number: int, changes: list[Operation]) -> bytes:
    """A source with these changes made one after another.

    Args:
        number: which source.
        changes: the operations.
    """
    root = copy.deepcopy(source(number))
    for change in changes:
        elements = [e for e in root.iter() if isinstance(e.tag, str) and e is not root]
        if not elements:
            break
        _apply(change, root, elements)
        if len(elements) > 4000:
            break
    return etree.tostring(root)


def _apply(change: Operation, root: Any, elements: list[Any]) -> None:
    what, where, other, times = change
    element = elements[where % len(elements)]
    second = elements[other % len(elements)]
    number = NUMBERS[other % len(NUMBERS)]
    bars = [e for e in elements if e.tag == "measure"] or [root]
    bar = bars[where % len(bars)]
    if what == 0:
        element.getparent().remove(element)
    elif what == 1:
        for _ in range(times):
            element.addnext(copy.deepcopy(element))
    elif what == 2:
        if second is not element and second not in element.iterdescendants():
            second.append(copy.deepcopy(element) if times % 2 else element)
    elif what == 3:
        numeric = [e for e in elements if (e.text or "").strip().lstrip("-").isdigit()]
        if numeric:
            numeric[where % len(numeric)].text = number
    elif what == 4 and element.attrib:
        names = list(element.attrib)
        element.set(names[times % len(names)], number)
    elif what == 5:
        parent = element.getparent()
        children = list(parent)
        for child in children:
            parent.remove(child)
        for child in children[times % len(children) :] + children[: times % len(children)]:
            parent.append(child)
    elif what == 6:
        element.tag = second.tag
    else:
        snippet = SNIPPETS[other % len(SNIPPETS)].replace("{n}", NUMBERS[times % len(NUMBERS)])
        bar.insert(other % (len(bar) + 1), etree.fromstring(snippet))

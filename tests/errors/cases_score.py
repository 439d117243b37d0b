"""Scores that cannot be read: what is in them, which part is meant, and other notations."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any
from unittest import mock

from reaching import Case

from harpkeys.score.clock import make_clock
from harpkeys.score.container import parse_score_tree
from harpkeys.score.notations import notation_pieces, read_notation
from harpkeys.score.parts import choose_part
from harpkeys.score.reader import score_from_tree
from harpkeys.score.route import perform

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
TUNE = "X:1\nT:One\nM:4/4\nL:1/4\nK:C\nCDEF|\n\n"


def bar(body: str, number: str = "1") -> str:
    """A bar."""
    return f'<measure number="{number}">{body}</measure>'


def score(*parts: tuple[str, str], bars: str = bar(NOTE)) -> str:
    """A score with these parts, id and name, all with the same bars."""
    named = "".join(f'<score-part id="{i}"><part-name>{n}</part-name></score-part>' for i, n in parts)
    held = "".join(f'<part id="{i}">{bars}</part>' for i, _ in parts)
    return f"<score-partwise><part-list>{named}</part-list>{held}</score-partwise>"


HARP = ("P1", "Harp")


def read(trigger: str, sentence: str, bars: str, **changed: object) -> Case:
    """A score of one part that cannot be read."""
    return Case(
        trigger,
        sentence,
        ("vet", "s.xml"),
        {"s.xml": score(HARP, bars=bars)},
        {k.replace("__", "."): v for k, v in changed.items()},
    )


def part(
    trigger: str, sentence: str, wanted: str | None, *parts: tuple[str, str], bars: str = bar(NOTE)
) -> Case:
    """A part that cannot be had."""
    words = ("vet", "s.xml") if wanted is None else ("vet", "s.xml", "--part", wanted)
    return Case(trigger, sentence, words, {"s.xml": score(*parts, bars=bars)})


def small_score(bars: str = bar(NOTE)) -> Any:
    """A score as read, for what only a program can ask."""
    return score_from_tree(parse_score_tree(score(HARP, bars=bars).encode()), "s")


TWO = "P1 (Flute), P2 (Oboe)"
FLUTE, OBOE = ("P1", "Flute"), ("P2", "Oboe")

CASES = (
    read("a part without bars", "s.xml: the score has no measures; export it again.", ""),
    Case(
        "a thousand parts and more",
        "s.xml: the score has more than 3 parts; split it.",
        ("vet", "s.xml"),
        {"s.xml": score(*((f"P{k}", "Harp") for k in range(4)))},
        {"harpkeys.score.reader.MAX_PARTS": 3},
    ),
    read(
        "divisions of nothing",
        "s.xml, part P1, measure 7: the divisions '0' are not a positive number; export the score again.",
        bar(f"<attributes><divisions>0</divisions></attributes>{NOTE}", "7"),
    ),
    read(
        "a bar repeated by sign until there are too many notes",
        "s.xml: the score has more than 3 notes; split it into parts.",
        bar(NOTE * 3)
        + bar(
            "<attributes><measure-style><measure-repeat "
            "type='start'>1</measure-repeat></measure-style></attributes>"
        )
        + bar(""),
        harpkeys__score__reader_combine__MAX_NOTES=3,
    ),
    read(
        "divisions that share no measure",
        "s.xml: the divisions of its parts have no bearable common measure; export the score again.",
        "".join(
            bar(f"<attributes><divisions>{n}</divisions></attributes>{NOTE}", str(k))
            for k, n in enumerate((999_999_937, 999_999_929, 999_999_893), 1)
        ),
    ),
    read(
        "a duration that is no number",
        "s.xml, part P1, measure 1: the duration 'long' is not a number of divisions; mend it in the file.",
        bar(NOTE.replace("<duration>1", "<duration>long")),
    ),
    read(
        "a duration beyond any score",
        "s.xml, part P1, measure 1: the duration '999999999999999' is longer than any score; mend it in the "
        "file.",
        bar(NOTE.replace("<duration>1", "<duration>999999999999999")),
    ),
    read(
        "more bars than are read",
        "s.xml, part P1, measure 2: the score has more than 2 bars; split it into parts.",
        bar("", "1") + bar("", "2") + bar("", "3"),
        harpkeys__score__reader_walk__MAX_MEASURES=2,
    ),
    read(
        "more notes than are read",
        "s.xml, part P1, measure 1: the score has more than 2 notes; split it into parts.",
        bar(NOTE * 3),
        harpkeys__score__reader_walk__MAX_NOTES=2,
    ),
    read(
        "repeats without end",
        "s.xml, measure 1100: with its repeats played the score has more than 20,000 bars; check its repeat "
        "marks, above all here, and how many times each is to be played.",
        "".join(bar("<barline><repeat direction='forward'/></barline>" + NOTE, str(k)) for k in range(1100))
        + "".join(
            bar(NOTE + "<barline><repeat direction='backward' times='99'/></barline>", str(k))
            for k in range(1100, 2200)
        ),
    ),
    Case(
        "a program asks for a tempo of nothing",
        "a tempo of 0 cannot be played; give a tempo above 0.",
        lambda: make_clock(small_score(), perform(small_score()), bpm=Fraction(0)),
    ),
    part(
        "--part names none",
        "s.xml: there is no part 'flute'; choose one of P1 (Harp).".removeprefix("s.xml: "),
        "flute",
        HARP,
    ),
    part(
        "three parts joined",
        'more than two parts are joined; join two one-staff parts, such as "P1+P2".',
        "P1+P2+P3",
        FLUTE,
        OBOE,
    ),
    part(
        "a part to join that is not there", f"there is no part 'P9'; choose from {TWO}.", "P1+P9", FLUTE, OBOE
    ),
    part(
        "a part on two staves to join",
        "part P1 (Flute) has 2 staves, so it cannot be joined; name it alone, or join two one-staff parts.",
        "P1+P2",
        FLUTE,
        OBOE,
        bars=bar(f"<attributes><staves>2</staves></attributes>{NOTE}"),
    ),
    part(
        "a part joined with itself",
        f"a part cannot be joined with itself; choose two of {TWO}.",
        "P1+P1",
        FLUTE,
        OBOE,
    ),
    part(
        "a name that several parts have",
        "several parts are named 'flute'; choose one of P1 (Flute), P2 (Flute).",
        "flute",
        FLUTE,
        ("P2", "Flute"),
    ),
    part(
        "two parts on one staff for harp, none chosen",
        'two one-staff parts are for harp: P1 (Harp), P2 (Harp); join them with --part "P1+P2", or name one.',
        None,
        HARP,
        ("P2", "Harp"),
    ),
    part(
        "several parts, none for harp",
        f"no telling which part is the harp's; choose one of {TWO}.",
        None,
        FLUTE,
        OBOE,
    ),
    Case(
        "a program asks for a part that is not there",
        "there is no part 'x'; choose one of P1 (Harp).",
        lambda: choose_part(small_score(), "x"),
    ),
    Case(
        "a tune that cannot be read, asked by a program",
        "t.abc, X:1: this ABC holds no notes; check that this is the file.",
        lambda: read_notation(Path("t.abc")),
        {"t.abc": "X:1\nT:One\nK:C\n"},
    ),
    Case(
        "a tune without notes",
        "t.abc, X:1: this ABC holds no notes; check that this is the file.",
        ("vet", "t.abc"),
        {"t.abc": "X:1\nT:One\nK:C\n"},
    ),
    Case(
        "another ending, asked by a program",
        "t.ly: this is no notation that is read; its name has to end in .abc, .mid, .midi, .mei, .krn.",
        lambda: list(notation_pieces(Path("t.ly"))),
    ),
    Case(
        "a tune book beyond the limit",
        "t.abc: the file has more than 0 MB; check that this is the file.",
        ("vet", "t.abc"),
        {"t.abc": TUNE},
        {"harpkeys.score.notations.MAX_BYTES": 10},
    ),
    Case(
        "a file in another notation that is not there",
        "t.abc: the file cannot be read (No such file or directory); check the path and its permissions.",
        ("vet", "t.abc"),
    ),
    Case(
        "a file that music21 does not understand",
        "t.mid: music21 cannot read this MIDI (badly formatted midi bytes, got: b'no MIDI at all'); check "
        "it in another program.",
        ("vet", "t.mid"),
        {"t.mid": b"no MIDI at all"},
    ),
    Case(
        "a file that music21 reads and cannot write",
        "t.abc, X:1: music21 cannot write this ABC as MusicXML (a planted fault); check it in another "
        "program.",
        ("vet", "t.abc"),
        {"t.abc": TUNE},
        {"harpkeys.score.notations._exported": mock.Mock(side_effect=ValueError("a planted fault"))},
    ),
    Case(
        "--piece with a score that is one",
        "--piece is for files of many tunes and this is one score; leave it out.",
        ("vet", "s.xml", "--piece", "2"),
        {"s.xml": score(HARP)},
    ),
    Case(
        "a number that no tune of the file has",
        't.abc holds no piece "9"; give the number in its X: field.',
        ("vet", "t.abc", "--piece", "9"),
        {"t.abc": TUNE},
    ),
    Case(
        "a file of several tunes, none chosen",
        "t.abc holds several pieces; choose one with --piece, such as --piece 1.",
        ("vet", "t.abc"),
        {"t.abc": TUNE + TUNE.replace("X:1", "X:2")},
    ),
)

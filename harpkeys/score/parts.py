"""Which part of a score is the harp's.

Without a choice by the user: the part that names itself a harp, else the only part, else the only part with
two staves. Names of the harp in the languages that scores are printed in are common knowledge, no source;
General MIDI program 47 is "Orchestral Harp" (General MIDI level 1, counted from 1); MusicXML's sounds name
harps "pluck.harp" and so on (MusicXML 4.0, standard sounds).
"""

from __future__ import annotations

import re

from harpkeys.errors import PartError
from harpkeys.score.model import Part, Score
from harpkeys.score.texts import plain_text

HARP_PROGRAM = 47
"""General MIDI program of the harp, counted from 1 as MusicXML counts."""

HARP_WORDS = (
    r"harp(?:s|e|es|a|as|an|ppu|pu|o|or|en|er)?",
    r"harfen?",
    r"\w*harfe",  # Hakenharfe, Liederharfe
    r"arpas?",
    r"arpe",
    r"hárfa",
    r"harfa|harfy",
    r"harfă|harpă",
    r"telyn(?:au)?",
    r"cl[àa]rsach",
    r"cl[áa]irseach",
    r"telenn?",
    r"arfa|harf",
    r"αρπα|άρπα",
    r"арфа|арфи",
    r"hörpu?",
    r"נבל",
)
"""The harp in the languages of printed scores, as whole words."""

HARP_SIGNS = ("竖琴", "豎琴", "竪琴", "ハープ", "하프", "قيثارة", "هارب")
"""The harp in scripts that do not part words."""

NOT_HARPS = re.compile(
    r"\b(harpsi\w*|harpej\w*|auto-?harp\w*|mouth +harp|jew'?s +harp|blues +harp)", re.IGNORECASE
)
"""Instruments whose names hold a harp but are none."""

_HARP = re.compile(r"\b(?:" + "|".join(HARP_WORDS) + r")\b", re.IGNORECASE)
_SHORT = re.compile(r"(?:hp|hrp|hf|arp)\.?(?: *[1-9])?", re.IGNORECASE)


def is_harp(part: Part) -> bool:
    """Whether a part says that it is for harp, by its name, its sound or its MIDI program.

    Args:
        part: the part.

    Returns:
        Whether it does; another instrument's name overrules the program.
    """
    name = NOT_HARPS.sub(" ", part.name)
    if _HARP.search(name) or _SHORT.fullmatch(name.strip()) or any(sign in name for sign in HARP_SIGNS):
        return True
    if NOT_HARPS.search(part.name):
        return False
    return part.sound.startswith("pluck.harp") or part.program == HARP_PROGRAM


def choose_part(score: Score, wanted: str | None = None) -> tuple[int, ...]:
    """The part to plan for.

    Args:
        score: the score.
        wanted: a part's id, its name in any case, or its number from 1; two joined by "+" are one harp's
            right and left hand. None to let the score decide.

    Returns:
        Indexes of the parts: one, or two that are joined (right hand first).

    Raises:
        PartError: no such part, or none or several to choose from; it lists the parts.
    """
    if wanted is None or not wanted.strip():
        return (_own_choice(score),)
    whole = _find(score, wanted)
    if whole is not None:
        return (whole,)
    pieces = wanted.split("+")
    if len(pieces) == 1:
        raise PartError(f"there is no part {plain_text(wanted)!r}", f"choose one of {listing(score)}")
    if len(pieces) > 2:
        raise PartError("more than two parts are joined", 'join two one-staff parts, such as "P1+P2"')
    indexes = []
    for piece in pieces:
        index = _find(score, piece)
        if index is None:
            raise PartError(f"there is no part {plain_text(piece)!r}", f"choose from {listing(score)}")
        if score.parts[index].staves > 1:
            staves = score.parts[index].staves
            raise PartError(
                f"part {_label(score.parts[index])} has {staves} staves, so it cannot be joined",
                "name it alone, or join two one-staff parts",
            )
        indexes.append(index)
    if indexes[0] == indexes[1]:
        raise PartError("a part cannot be joined with itself", f"choose two of {listing(score)}")
    return tuple(indexes)


def listing(score: Score) -> str:
    """The parts by id and name, for a sentence.

    Args:
        score: the score.

    Returns:
        Such as 'P1 (Flute), P2 (Harp)'; the first twenty.
    """
    labels = [_label(part) for part in score.parts]
    more = f" and {len(labels) - 20} more" if len(labels) > 20 else ""
    return ", ".join(labels[:20]) + more


def _label(part: Part) -> str:
    """A part's id and name."""
    identity = plain_text(part.id) or "(no id)"
    name = plain_text(part.name)[:40]
    return f"{identity} ({name})" if name else identity


def _find(score: Score, wanted: str) -> int | None:
    """Index of the part with this id, else this name, else this number."""
    text = wanted.strip()
    for index, part in enumerate(score.parts):
        if part.id == text:
            return index
    folded = text.casefold()
    named = [index for index, part in enumerate(score.parts) if part.name.casefold() == folded]
    if len(named) == 1:
        return named[0]
    if len(named) > 1:
        raise PartError(f"several parts are named {plain_text(text)!r}", f"choose one of {listing(score)}")
    if text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= len(score.parts):
        return int(text[:9]) - 1
    folded_ids = [index for index, part in enumerate(score.parts) if part.id.casefold() == folded]
    return folded_ids[0] if len(folded_ids) == 1 else None


def _own_choice(score: Score) -> int:
    """The part that the score itself offers.

    Raises:
        PartError: none, or no telling which.
    """
    harps = [index for index, part in enumerate(score.parts) if is_harp(part)]
    if harps:
        single = [index for index in harps if score.parts[index].staves == 1]
        if len(harps) == 2 and len(single) == 2:
            joined = "+".join(plain_text(score.parts[index].id) for index in single)
            raise PartError(
                f"two one-staff parts are for harp: {', '.join(_label(score.parts[i]) for i in single)}",
                f'join them with --part "{joined}", or name one',
            )
        return harps[0]
    if len(score.parts) == 1:
        return 0
    double = [index for index, part in enumerate(score.parts) if part.staves == 2]
    if len(double) == 1:
        return double[0]
    raise PartError("no telling which part is the harp's", f"choose one of {listing(score)}")

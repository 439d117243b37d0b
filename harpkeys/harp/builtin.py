"""Harps one can name without describing them, and finding a harp from what a user typed.

Ranges are the usual ones (common practice, no source; 34 strings C2 to A6 has two independent sources):
makers differ, so any harp can be described in a file instead. Lever sets of small harps: F; F and C; F, C and
B with the B strings tuned flat (one credible source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from harpkeys.errors import HarpError, located
from harpkeys.harp.model import Harp
from harpkeys.harp.naming import listed, quoted
from harpkeys.harp.tunings import make_harp, retuned

DEFAULT_HARP = "34"
"""The built-in harp taken where the user names none."""


@dataclass(frozen=True, slots=True)
class BuiltinHarp:
    """A harp known by a short name.

    Attributes:
        id: what to type.
        low, high: ends of its range.
        tuning: what sounds with all levers down.
        levers: which strings have levers.
        name: plain description.
        source: where the range and lever set come from.
    """

    id: str
    low: str
    high: str
    tuning: str
    levers: str
    name: str
    source: str

    def harp(self) -> Harp:
        """The harp itself."""
        return make_harp(self.name, self.low, high=self.high, tuning=self.tuning, levers=self.levers)


_USUAL = "usual range: common practice, no source"
_KNOWN = "range: two independent sources"
_SMALL = "usual range: common practice, no source; lever set: one credible source"

BUILTIN = (
    BuiltinHarp("22", "C3", "C6", "C", "all", "22-string in C", _USUAL),
    BuiltinHarp("22-none", "C3", "C6", "C", "none", "22-string in C without levers", _USUAL),
    BuiltinHarp("22-f", "C3", "C6", "C", "F", "22-string in C, F levers", _SMALL),
    BuiltinHarp("22-fc", "C3", "C6", "C", "F C", "22-string in C, F and C levers", _SMALL),
    BuiltinHarp("22-fcb", "C3", "C6", "F", "F C B", "22-string in F, F, C and B levers", _SMALL),
    BuiltinHarp("26", "C3", "G6", "C", "all", "26-string in C", _USUAL),
    BuiltinHarp("27", "C3", "A6", "C", "all", "27-string in C", _USUAL),
    # A2 to G6 is also given as a range of 27 strings; counted out, it has 28.
    BuiltinHarp("28", "A2", "G6", "C", "all", "28-string in C", _USUAL),
    BuiltinHarp("29", "C2", "C6", "C", "all", "29-string in C from C2", _USUAL),
    BuiltinHarp("29-a", "A2", "A6", "C", "all", "29-string in C from A2", _USUAL),
    BuiltinHarp("34", "C2", "A6", "C", "all", "34-string in C", _KNOWN),
    BuiltinHarp("34-eb", "C2", "A6", "E-flat", "all", "34-string in E-flat", _KNOWN),
    BuiltinHarp("36", "A1", "A6", "C", "all", "36-string in C from A1", _USUAL),
    BuiltinHarp("36-c", "C2", "C7", "C", "all", "36-string in C from C2", _USUAL),
    BuiltinHarp("38", "A1", "C7", "C", "all", "38-string in C", _USUAL),
)
"""The built-in harps, small to large; sources as the trade notes grade them."""

_IN_TUNING = re.compile(r"(?P<harp>\S+)\s+in\s+(?P<tuning>\S.*)", re.IGNORECASE)
_RANGE = re.compile(r"(?P<low>[A-Ga-g][0-9]+)\s*(?:-|–|to)\s*(?P<high>[A-Ga-g][0-9]+)", re.IGNORECASE)


def builtin_harps() -> tuple[BuiltinHarp, ...]:
    """The built-in harps, small to large."""
    return BUILTIN


def find_harp(text: str) -> Harp:
    """The harp a user means: a built-in one, one by its range, or one described in a file.

    Args:
        text: a built-in harp ("34", "22-fc") or a range ("C2-A6", full levers), either with a tuning
            ("34 in E-flat"); else the path of a harp file, which ends in .toml.

    Raises:
        HarpError: there is no such harp, or its description is wrong.
        FileError: the harp file cannot be read.
    """
    word = text.strip()
    if word.lower().endswith(".toml"):
        from harpkeys.harp.files import load_harp

        return load_harp(word).harp
    known = _known(word)
    if known:
        return known
    match = _IN_TUNING.fullmatch(word)
    base = _known(match["harp"].removesuffix("-string")) if match else None
    if match and base:
        tuned = retuned(base, match["tuning"])
        return Harp(_renamed(base, tuned), tuned.tuning, tuned.strings)
    raise HarpError(f"there is no harp {quoted(text)}", _mend(word))


def _known(word: str) -> Harp | None:
    """The built-in harp of this name, or the harp of this range."""
    for entry in BUILTIN:
        if word.lower() in (entry.id, entry.name.lower()):
            return entry.harp()
    match = _RANGE.fullmatch(word)
    if not match:
        return None
    with located(f"harp {quoted(word)}"):
        harp = make_harp("harp", match["low"], high=match["high"])
    name = f"{len(harp.strings)}-string in C from {harp.strings[0].name}"
    return Harp(name, harp.tuning, harp.strings)


def _renamed(base: Harp, tuned: Harp) -> str:
    """The name of a built-in harp in its new tuning."""
    return re.sub(
        rf"\bin {re.escape(base.tuning)}(?![\w-])", lambda _: f"in {tuned.tuning}", base.name, count=1
    )


def _is_file(word: str) -> bool:
    try:
        return Path(word).is_file()
    except OSError:  # no system takes a name of that length
        return False


def _mend(word: str) -> str:
    ids = [entry.id for entry in BUILTIN]
    if _is_file(word):
        return "a harp file is a text file whose name ends in .toml"
    import difflib  # only a mistake needs it

    close = difflib.get_close_matches(word.lower(), ids, n=1, cutoff=0.6)
    hint = f"did you mean {close[0]}; " if close else ""
    return (
        f'{hint}the built-in ones are {listed(ids)}, each also as "34 in E-flat", '
        'a range such as "C2-A6", or the path of a harp file (.toml)'
    )

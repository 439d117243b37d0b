"""Harp files: a harp, and the times of its player, as a small TOML file.

    name = "Rowan"
    lowest = "C2"
    strings = 34                       # or: highest = "A6"
    tuning = "E-flat"                  # what sounds with all levers down; C where not given
    levers = "all but C2 D2 E2"        # all where not given

    [string.B2]                        # one table for each string that differs
    tuned = "natural"                  # flat, natural, sharp, or -1, 0, 1
    lever = false

    [player]                           # or: player = "steady"
    flip = 0.6                         # seconds
    leave = 0.15
    place = 0.3

Tunings and levers are written as in `harpkeys.harp.tunings` and `harpkeys.harp.levers`. The text is UTF-8, at
most 64 KB.

References: TOML 1.0, read with Python's tomllib.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from harpkeys.errors import FileError, HarpError, HarpkeysError, located
from harpkeys.harp.levers import levers_text
from harpkeys.harp.model import Harp, Player
from harpkeys.harp.naming import ALTERATION_WORDS, listed, parse_string, quoted
from harpkeys.harp.players import OWN_TIMES, find_player, own_times
from harpkeys.harp.tunings import (
    make_harp,
    parse_tuning,
    tuning_of,
    tuning_of_strings,
)
from harpkeys.pitch import diatonic_name

LARGEST_FILE = 64 * 1024
"""Bytes."""

_KEYS = ("name", "lowest", "strings", "highest", "tuning", "levers", "string", "player")
_STRING_KEYS = ("tuned", "lever")
_PLAYER_KEYS = ("flip", "leave", "place")
_TUNED = {word: alter for alter, word in ALTERATION_WORDS.items() if abs(alter) == 1} | {"natural": 0}


@dataclass(frozen=True, slots=True)
class HarpFile:
    """What a harp file says.

    Attributes:
        harp: the harp.
        player: its player's times, None where the file gives none.
    """

    harp: Harp
    player: Player | None = None


def load_harp(path: str | Path) -> HarpFile:
    """Read a harp file.

    Args:
        path: the file.

    Returns:
        The harp and, where given, its player.

    Raises:
        FileError: there is no such file, or it cannot be read, is too large or is not UTF-8 text.
        HarpError: what it says is wrong; the sentence names the line.
        OptionError: the player's times are wrong; likewise.
    """
    with located(str(path)):
        return harp_of_text(_text(Path(path)), Path(path).stem)


def harp_of_text(text: str, default_name: str = "harp") -> HarpFile:
    """Read the text of a harp file.

    Args:
        text: the TOML text.
        default_name: the harp's name where the text gives none.

    Raises:
        HarpError: what it says is wrong; the sentence names the line.
        OptionError: the player's times are wrong; likewise.
    """
    source = _Source(text, _toml(text))
    table = source.table
    _check_keys(source, (), table, _KEYS)
    harp = _harp(source, default_name)
    return HarpFile(_with_exceptions(source, harp), _player(source))


def _text(path: Path) -> str:
    try:
        if not path.exists():
            raise FileError("there is no such file", "check the path")
        if not path.is_file():
            raise FileError("this is no file", "give the path of a harp file")
        with path.open("rb") as stream:
            data = stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the path is not usable"
        raise FileError(
            f"the file cannot be read ({reason})", "check the path and its permissions"
        ) from error
    if len(data) > LARGEST_FILE:
        raise FileError(
            f"a harp file of more than {LARGEST_FILE // 1024} KB is not read", "check that this is the file"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise FileError(f"line {line} is not UTF-8 text", "save the file as UTF-8") from error


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, _, place = str(error).partition(" (at ")
        match = re.match(r"line (\d+)", place)
        line = int(match[1]) if match else text.count("\n") + 1
        with located(f"line {line}"):
            raise HarpError(f"this is not TOML ({_lower(what)})", _toml_mend(text, line)) from error
    except (ValueError, RecursionError) as error:
        # tomllib hands on Python's own limits for digits and for nesting.
        raise HarpError(
            "this is not a harp file (a value is too long or too deep)", "check the file"
        ) from error


def _lower(what: str) -> str:
    return what[:1].lower() + what[1:]


def _toml_mend(text: str, line: int) -> str:
    lines = text.splitlines()
    content = lines[line - 1] if line <= len(lines) else ""
    if re.fullmatch(r"\s*[\w-]+\s*=\s*[^\s\"'\[{0-9.+-][^\"']*", content):
        return "put text in double quotes"
    return "write one name = value to a line, with text in double quotes"


@dataclass(frozen=True, slots=True)
class _Source:
    """The text of a harp file beside what it says, to find the line of a key."""

    text: str
    table: dict[str, Any] = field(compare=False)

    def line(self, *path: str) -> int | None:
        """Line of a key, given with the tables it stands in; None where it cannot be found."""
        header: tuple[str, ...] = ()
        found: int | None = None
        for number, content in enumerate(self.text.splitlines(), 1):
            start = re.match(r"\s*\[\[?([^\]]*)\]", content)
            if start:
                header = _dotted(start[1])
                keys = header
            else:
                name = re.match(r"\s*([^=#]+?)\s*=", content)
                keys = header + _dotted(name[1]) if name else ()
            if keys[: len(path)] == path:
                return number
            if keys and path[: len(keys)] == keys and not start:
                found = number  # an inline table that holds the key
            elif keys and path[: len(keys)] == keys:
                found = found or number
        return found

    @contextmanager
    def at(self, *path: str) -> Iterator[None]:
        """Name the line of a key in errors raised inside the block."""
        line = self.line(*path)
        if line is None:
            yield
            return
        with located(f"line {line}"):
            yield


def _dotted(name: str) -> tuple[str, ...]:
    """The parts of a dotted TOML key."""
    return tuple(part.strip().strip("\"'") for part in name.split("."))


def _check_keys(
    source: _Source, path: tuple[str, ...], table: Mapping[str, Any], known: tuple[str, ...]
) -> None:
    for key in table:
        if key in known:
            continue
        import difflib  # only a mistake needs it

        close = difflib.get_close_matches(key.lower(), known, n=1)
        place = f"[{'.'.join(path)}]" if path else "a harp file"
        with source.at(*path, key):
            mend = f"did you mean {close[0]}" if close else f"it may hold {listed(list(known))}"
            if path and key in _KEYS:
                mend = "put it above the first line in square brackets"
            raise HarpError(f"{quoted(key)} means nothing in {place}", mend)


def _typed(source: _Source, kind: type, *path: str) -> Any:
    """The value of a key, None where it is missing, checked for its type."""
    value: Any = source.table
    for key in path:
        if not isinstance(value, dict) or key not in value:
            return None
        value = value[key]
    if isinstance(value, kind) and (kind is bool or not isinstance(value, bool)):
        return value
    wanted = {
        str: 'text in double quotes, such as "C2"',
        int: "a whole number, such as 34",
        bool: "true or false",
        dict: "a table",
    }
    with source.at(*path):
        raise HarpError(f"{'.'.join(path)} has a value of the wrong kind", f"give {wanted[kind]}")


def _harp(source: _Source, default_name: str) -> Harp:
    lowest = _typed(source, str, "lowest")
    count = _typed(source, int, "strings")
    highest = _typed(source, str, "highest")
    tuning = _typed(source, str, "tuning")
    levers = _typed(source, str, "levers")
    name = _typed(source, str, "name")
    if lowest is None:
        raise HarpError("the lowest string is missing", 'add a line such as lowest = "C2"')
    if count is None and highest is None:
        raise HarpError("the number of strings is missing", "add a line such as strings = 34")
    if count is not None and highest is not None:
        with source.at("highest"):
            raise HarpError("both strings and highest are given", "leave out one of them")
    # Each step only checks one more value, so that an error bears the line of the value that caused it.
    with source.at("lowest"):
        low = parse_string(lowest)
    top = highest
    if highest is not None:
        with source.at("highest"):
            top = parse_string(highest)
    with source.at("strings" if highest is None else "highest"):
        harp = make_harp("harp", low, count, top)
    if name is not None:
        with source.at("name"):
            harp = replace(harp, name=make_harp(name, low, 1).name)
    else:
        harp = replace(harp, name=" ".join(default_name.split())[:100] or "harp")
    number = len(harp.strings)
    if tuning is not None:
        with source.at("tuning"):
            harp = make_harp(harp.name, low, number, tuning=tuning)
    if levers is not None:
        with source.at("levers"):
            harp = make_harp(harp.name, low, number, tuning=harp.tuning, levers=levers)
    return harp


def _with_exceptions(source: _Source, harp: Harp) -> Harp:
    """The harp with the tables [string.…] applied."""
    tables = _typed(source, dict, "string") or {}
    if not tables:
        return harp
    strings = list(harp.strings)
    for key in tables:
        with source.at("string", key):
            diatonic = parse_string(key)
            index = harp.index_of(diatonic)
            if index is None:
                raise HarpError(
                    f"the harp has no string {diatonic_name(diatonic)}",
                    f"its strings are {strings[0].name} to {strings[-1].name}",
                )
        table = _typed(source, dict, "string", key)
        _check_keys(source, ("string", key), table, _STRING_KEYS)
        lever = _typed(source, bool, "string", key, "lever")
        tuned = _tuned(source, key, table.get("tuned", strings[index].tuned))
        strings[index] = replace(
            strings[index], tuned=tuned, lever=strings[index].lever if lever is None else lever
        )
    base = parse_tuning(harp.tuning).letters
    tuning = tuning_of(base, {string.diatonic: string.tuned for string in strings})
    return Harp(harp.name, tuning.name, tuple(strings))


def _tuned(source: _Source, key: str, value: object) -> int:
    if isinstance(value, str) and value.strip().lower() in _TUNED:
        return _TUNED[value.strip().lower()]
    if isinstance(value, int) and not isinstance(value, bool) and -1 <= value <= 1:
        return value
    shown = quoted(value) if isinstance(value, str) else str(value)[:20]
    with source.at("string", key, "tuned"):
        raise HarpError(
            f"the string {key} cannot be tuned {shown}", 'write "flat", "natural" or "sharp", or -1, 0 or 1'
        )


def _player(source: _Source) -> Player | None:
    value = source.table.get("player")
    if value is None:
        return None
    if isinstance(value, str):
        with source.at("player"):
            return find_player(value)
    table = _typed(source, dict, "player")
    _check_keys(source, ("player",), table, _PLAYER_KEYS)
    missing = [key for key in _PLAYER_KEYS if key not in table]
    with source.at("player"):
        if missing:
            raise HarpError(
                f"the player has no {listed(missing)} time", "give flip, leave and place in seconds"
            )
    for key in _PLAYER_KEYS:
        with source.at("player", key):
            if isinstance(table[key], bool) or not isinstance(table[key], int | float):
                raise HarpError(f"player.{key} has a value of the wrong kind", "give seconds, such as 0.6")
            # The other two times are sound here, so that an error is this one's.
            own_times(**dict.fromkeys(_PLAYER_KEYS, 1.0) | {key: table[key]})
    return own_times(table["flip"], table["leave"], table["place"])


def harp_to_toml(harp: Harp, player: Player | None = None) -> str:
    """A harp, and its player where given, as the text of a harp file that reads back as the same.

    Args:
        harp: the harp; where its tuning's name does not say what its strings say, the strings decide.
        player: the player.

    Raises:
        HarpError: the harp is beyond what a harp file can say.
    """
    name = harp.tuning
    try:
        if {s.diatonic: parse_tuning(name).of(s.diatonic) for s in harp.strings} != {
            s.diatonic: s.tuned for s in harp.strings
        }:
            name = tuning_of_strings(harp.strings).name
    except HarpkeysError:
        name = tuning_of_strings(harp.strings).name
    make_harp(harp.name, harp.lowest, len(harp.strings), tuning=name)
    lines = [
        f"name = {_quoted(harp.name)}",
        f"lowest = {_quoted(harp.strings[0].name)}",
        f"strings = {len(harp.strings)}",
        f"tuning = {_quoted(name)}",
        f"levers = {_quoted(levers_text(harp))}",
    ]
    if player and player.name != OWN_TIMES:
        lines.append(f"player = {_quoted(player.name)}")
    elif player:
        lines += ["", "[player]"]
        lines += [f"{key} = {getattr(player, key) / 1000!r}" for key in _PLAYER_KEYS]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def file_example() -> str:
    """The example of the documentation, as the text of a harp file."""
    lines = (__doc__ or "").split("\n\n", 1)[1].split("\nTunings and levers", 1)[0].splitlines()
    return "\n".join(line[4:] for line in lines).strip() + "\n"

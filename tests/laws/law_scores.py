"""Scores, harps and comparisons for the laws, and the changes to documents that must change nothing."""

from __future__ import annotations

import copy
import os
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from lxml import etree
from music21_notes import package_folder, package_scores

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.files import load_harp
from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.harp.players import find_player
from harpkeys.pitch import natural_midi
from harpkeys.plan.model import Plan
from harpkeys.plan.planner import make_plan
from harpkeys.report.performance import Performance, perform_part
from harpkeys.score.clock import ASSUMED_TEMPO
from harpkeys.score.container import open_score, parse_score_tree, read_tree
from harpkeys.score.reader import score_from_tree

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
SEED = 3
FILES = 12
LARGEST_BYTES = 40_000
EFFORT = 2


@dataclass(frozen=True)
class Piece:
    """A part of a score, with a harp to play it on."""

    path: Path
    part: str | None
    harp: Harp
    player: Player

    def __str__(self) -> str:
        return f"{self.path.stem}-{self.harp.name}"

    @property
    def tree(self) -> Any:
        return read_tree(open_score(self.path))


def pieces() -> Iterator[Piece]:
    """Every demo score on the harps of its sidecars, and scores of music21's."""
    import tomllib

    for sidecar in sorted(CORPUS.glob("*.toml")):
        path = next(CORPUS.glob(f"{sidecar.stem}.m*"))
        for answer in tomllib.loads(sidecar.read_text("utf-8"))["answer"]:
            harp = load_harp(CORPUS / answer["harp"]).harp
            yield Piece(path, None, harp, find_player(answer["player"]))
    names = package_scores()
    if not os.environ.get("HARPKEYS_WHOLE_CORPUS"):
        small = [name for name in names if (package_folder() / name).stat().st_size < LARGEST_BYTES]
        names = random.Random(SEED).sample(sorted(small), FILES)
    for number, name in enumerate(names):
        harp = find_harp(("34", "34 in E-flat", "22-fc")[number % 3])
        yield Piece(package_folder() / name, "1", harp, find_player("steady"))


PIECES = list(pieces())


@cache
def performed(piece: Piece) -> Performance:
    """The part as performed."""
    return played(piece.tree, piece.part)


def played(tree: Any, part: str | None, scale: Fraction = Fraction(1)) -> Performance:
    """A part of a document as performed."""
    return perform_part(score_from_tree(tree, "law"), part, None, scale)


def planned(performance: Performance, harp: Harp, player: Player) -> Plan:
    return make_plan(performance.plucks, harp, player, effort=EFFORT)


@cache
def plan_of(piece: Piece) -> Plan:
    """The plan that the laws start from."""
    return planned(performed(piece), piece.harp, piece.player)


def is_no_worse(easier: Plan, harder: Plan) -> bool:
    """Whether a plan that has to be at least as good is so, as far as both are known.

    A plan that is not proved may be worse than the best; its bound may not.
    """
    known = easier.criteria.key if easier.proved else easier.bound
    return known <= harder.criteria.key


def is_the_same(one: Plan, other: Plan) -> bool:
    """Whether two plans of one problem agree: both proved, in every criterion, else within the bounds."""
    if one.proved and other.proved:
        return one.criteria == other.criteria
    return one.bound <= other.criteria.key and other.bound <= one.criteria.key


def moved(harp: Harp, letters: int, semitones: int) -> Harp | None:
    """The harp with every string higher by an interval; None where a string would need a double sign."""
    strings = []
    for string in harp.strings:
        diatonic = string.diatonic + letters
        tuned = string.down + semitones - natural_midi(diatonic)
        if not -1 <= tuned <= 1:
            return None
        strings.append(HarpString(diatonic, tuned, string.lever))
    return Harp(harp.name, "moved", tuple(strings))


def with_unused_strings(harp: Harp, sounding: set[int]) -> Harp:
    """The harp with a string more at each end, both of no use for these notes."""
    strings = harp.strings
    for diatonic, front in ((strings[0].diatonic - 1, True), (strings[-1].diatonic + 1, False)):
        for tuned, lever in ((-1, True), (0, True), (1, True), (-1, False), (0, False), (1, False)):
            new = HarpString(diatonic, tuned, lever)
            if not {new.down, new.up} & sounding:
                strings = (new, *strings) if front else (*strings, new)
                break
    return replace(harp, strings=strings)


def with_levers(harp: Harp, seed: str) -> list[Harp]:
    """The harp with a lever more on one string it lacks, for a few strings, and on all."""
    without = [index for index, string in enumerate(harp.strings) if not string.lever]
    chosen = [[index] for index in random.Random(seed).sample(without, min(2, len(without)))]
    return [
        replace(
            harp,
            strings=tuple(
                replace(string, lever=string.lever or index in more)
                for index, string in enumerate(harp.strings)
            ),
        )
        for more in [*chosen, without]
        if more
    ]


def without_levers(harp: Harp, seed: str) -> Harp:
    """The harp without the levers of a few letters, to have levers that can be added."""
    letters = random.Random(seed).sample(range(7), 3)
    strings = (replace(s, lever=s.lever and s.diatonic % 7 not in letters) for s in harp.strings)
    return replace(harp, strings=tuple(strings))


# Documents written otherwise.

_JUMP_WORDS = re.compile(r"\s*(D\. ?C|D\. ?S|Da Capo|Dal Segno|Fine|To Coda|al )", re.IGNORECASE)
_JUMPS = ("dacapo", "dalsegno", "tocoda", "fine", "segno", "coda", "forward-repeat")
_LASTING = ("divisions", "key", "time", "staves", "part-symbol", "clef", "staff-details", "transpose")
"""Attributes that hold until they change, in the order of the schema (MusicXML 4.0, `attributes`)."""


def copied(tree: Any) -> Any:
    return parse_score_tree(etree.tostring(tree))


def written_out(tree: Any) -> Any:
    """The document with its repeats and jumps written out, bar after bar as it is played.

    Bars are put in the order that the route gives, which other tests hold to other readers. What is in force
    on the page is said again at the head of each bar: attributes, and the tempo.
    """
    order = [visit.measure for visit in performed_order(tree)]
    result = copied(tree)
    for part in result.getroot().iter("part"):
        bars = part.findall("measure")
        heads = list(_heads(bars))
        marks = list(_tempos(bars))
        for bar in bars:
            part.remove(bar)
        for number, index in enumerate(order):
            if index >= len(bars):
                continue
            bar = copy.deepcopy(bars[index])
            _take_jumps_off(bar)
            bar.insert(0, copy.deepcopy(heads[index]))
            if marks[index] is not None:
                bar.insert(1, copy.deepcopy(marks[index]))
            bar.set("number", str(number + 1))
            part.append(bar)
    return copied(result)


def performed_order(tree: Any) -> Any:
    from harpkeys.score.route import perform

    return perform(score_from_tree(tree, "law")).visits


def _heads(bars: list[Any]) -> Iterator[Any]:
    """What is in force at the start of each bar, as an `attributes` element."""
    force: dict[tuple[str, str], Any] = {}
    for bar in bars:
        head = etree.Element("attributes")
        for tag in _LASTING:
            for (name, _), element in force.items():
                if name == tag:
                    head.append(copy.deepcopy(element))
        yield head
        for attributes in bar.findall("attributes"):
            for element in attributes:
                if element.tag in _LASTING:
                    if element.get("number") is None:
                        for key in [key for key in force if key[0] == element.tag]:
                            del force[key]
                    force[(element.tag, element.get("number", ""))] = element


def _tempos(bars: list[Any]) -> Iterator[Any]:
    """The tempo in force at the start of each bar, as a direction that says it by sound; None without any.

    Before the first that is said the assumed one holds, on every pass.
    """
    told = [[e.get("tempo") for e in bar.iter("sound") if e.get("tempo")] for bar in bars]
    force = _tempo(f"{ASSUMED_TEMPO}") if any(told) else None
    for tempos in told:
        yield force
        if tempos:
            force = _tempo(tempos[-1])


def _tempo(quarters: str) -> Any:
    direction = etree.Element("direction")
    kind = etree.SubElement(direction, "direction-type")
    etree.SubElement(kind, "words").text = "tempo"
    etree.SubElement(direction, "sound", tempo=quarters)
    return direction


def _take_jumps_off(bar: Any) -> None:
    for barline in bar.findall("barline"):
        for element in list(barline):
            if element.tag in ("repeat", "ending", "segno", "coda"):
                barline.remove(element)
        for name in ("segno", "coda"):
            barline.attrib.pop(name, None)
    for sound in bar.iter("sound"):
        for name in _JUMPS:
            sound.attrib.pop(name, None)
    for kind in bar.iter("direction-type"):
        for element in list(kind):
            if element.tag in ("segno", "coda"):
                kind.replace(element, etree.Element("words"))
            elif element.tag == "words" and _JUMP_WORDS.match(element.text or ""):
                element.text = "…"


def has_jumps(tree: Any) -> bool:
    """Whether bars are played in another order than they are printed."""
    order = [visit.measure for visit in performed_order(tree)]
    return order != list(range(len(order)))


def has_metronomes_only(tree: Any) -> bool:
    """Whether a tempo is told by a metronome mark alone, which writing out as above would not carry along."""
    marks = [d for d in tree.getroot().iter("direction") if d.find(".//metronome") is not None]
    return any(mark.find("sound[@tempo]") is None for mark in marks)


def parts_reversed(tree: Any) -> Any:
    """The document with its parts in the other order, in the part list too."""
    result = copied(tree)
    root = result.getroot()
    part_list = root.find("part-list")
    for holder, tag in ((root, "part"), (part_list, "score-part")):
        found = holder.findall(tag)
        at = holder.index(found[0])
        for element in found:
            holder.remove(element)
        for number, element in enumerate(reversed(found)):
            holder.insert(at + number, element)
    for group in part_list.findall("part-group"):
        part_list.remove(group)
    return copied(result)


def voices_reversed(tree: Any) -> tuple[Any, int]:
    """The document with the voices of each bar in the other order, and how many bars that changed.

    Only bars whose every voice starts at the barline: what stands before the first note stays in front.
    """
    result = copied(tree)
    count = 0
    for bar in result.getroot().iter("measure"):
        count += _reverse_voices(bar)
    return copied(result), count


def _reverse_voices(bar: Any) -> bool:
    children = list(bar)
    start = next((k for k, e in enumerate(children) if e.tag in ("note", "forward", "backup")), len(children))
    stop = max((k for k, e in enumerate(children) if e.tag in ("note", "forward", "backup")), default=-1) + 1
    if any(e.tag in ("barline", "attributes", "direction", "sound") for e in children[start:stop]):
        return False
    voices: list[list[Any]] = [[]]
    lengths: list[Fraction] = [Fraction(0)]
    for element in children[start:stop]:
        duration = Fraction(element.findtext("duration") or 0)
        if element.tag == "backup":
            if duration != lengths[-1]:
                return False
            voices.append([])
            lengths.append(Fraction(0))
            continue
        voices[-1].append(element)
        if element.tag == "forward" or (element.tag == "note" and element.find("chord") is None):
            lengths[-1] += duration if element.find("grace") is None else 0
    if len(voices) < 2 or not all(voices):
        return False
    for element in children[start:stop]:
        bar.remove(element)
    at = start
    for number, (voice, length) in enumerate(reversed(list(zip(voices, lengths, strict=True)))):
        for element in voice:
            bar.insert(at, element)
            at += 1
        if number < len(voices) - 1:
            backup = etree.Element("backup")
            etree.SubElement(backup, "duration").text = str(length)
            bar.insert(at, backup)
            at += 1
    return True

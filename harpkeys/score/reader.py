"""A MusicXML tree into a `Score`.

The tree is only read, never changed: notes remember their nodes so that marks can later go back to them.
Both forms, partwise and timewise, and MusicXML 1.0 to 4.0 with or without a namespace are read. Each part
is walked once (`reader_walk`); what parts say of bars, repeats and tempi is then put together
(`reader_combine`).

Pitches come out as they sound: transpositions are applied, octave-shift lines are not (MusicXML already gives
the sounding octave under them).

References: MusicXML 4.0 (W3C Music Notation Community Group, final report).
"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from math import lcm
from pathlib import Path
from typing import Any

from harpkeys.errors import ScoreError, located
from harpkeys.score.container import check_root, open_score, read_tree
from harpkeys.score.model import Part, Score
from harpkeys.score.reader_combine import combine_measures, combine_tempos, fill_measure_repeats
from harpkeys.score.reader_draft import PartDraft, Shared, checked_resolution
from harpkeys.score.reader_header import PartHeader, read_part_list, read_title
from harpkeys.score.reader_remarks import remarks_of
from harpkeys.score.reader_walk import codes_of_tags, walk_part
from harpkeys.score.texts import exact_decimal, plain_text

MAX_PARTS = 1000
"""Most parts of a score."""


def read_score(path: Path) -> Score:
    """Read a MusicXML file.

    Args:
        path: a .musicxml, .xml or .mxl file.

    Returns:
        The score as printed; its title is the file's name where the file has none.

    Raises:
        FileError: the file cannot be opened, or is not MusicXML.
        ScoreError: it is, but not a score that can be read; with part and bar.
    """
    path = Path(path)
    opened = open_score(path)
    tree = read_tree(opened)
    with located(plain_text(str(path))):
        return score_from_tree(tree, path.stem)


def score_from_tree(tree: Any, fallback_title: str) -> Score:
    """Read a parsed MusicXML document.

    Args:
        tree: an lxml ElementTree; it is not changed.
        fallback_title: title where the document has none.

    Returns:
        The score as printed.

    Raises:
        ScoreError: not a score, or one that cannot be read; with part and bar.
    """
    check_root(tree)
    root = tree.getroot()
    prefix = root.tag[: root.tag.index("}") + 1] if root.tag.startswith("{") else ""
    with _without_garbage_collection():
        resolution = _resolution(root, prefix)
        score, needed = _read(tree, root, prefix, resolution, fallback_title)
        if needed != resolution:
            score, _ = _read(tree, root, prefix, needed, fallback_title)
        return score


@contextmanager
def _without_garbage_collection() -> Iterator[None]:
    """Collect no garbage meanwhile: a reading makes none, and looking for it costs a fifth of the time.

    Afterwards the new objects count as old, or the next collection would look through all of them at once.
    """
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            if gc.get_freeze_count() == 0:
                gc.freeze()
                gc.unfreeze()
            gc.enable()


def _resolution(root: Any, prefix: str) -> int:
    """Ticks to a quarter: the least common multiple of all divisions that are positive numbers.

    Raises:
        ScoreError: it is beyond what any score needs.
    """
    # Looking where divisions stand, and nowhere else, costs a tenth of looking everywhere.
    if prefix:
        found: Any = root.xpath("*/*/m:attributes/m:divisions", namespaces={"m": prefix[1:-1]})
    else:
        found = root.xpath("*/*/attributes/divisions")
    resolution = 1
    for text in {element.text for element in found}:
        value = exact_decimal(text) or Fraction(0)
        if value > 0:
            resolution = checked_resolution(lcm(resolution, value.numerator))
    return resolution


def _read(tree: Any, root: Any, prefix: str, resolution: int, fallback_title: str) -> tuple[Score, int]:
    """One reading at one resolution, and the resolution with which every time is a whole number of ticks.

    Raises:
        ScoreError: nonsense in the file.
    """
    headers = read_part_list(root, prefix)
    shared = Shared(resolution, resolution, prefix, entities=_entities(tree))
    drafts: list[PartDraft] = []
    timewise = root.tag == prefix + "score-timewise"
    codes = codes_of_tags(prefix, "part" if timewise else "measure")
    for part_id, holders in _part_holders(root, prefix, timewise):
        draft = PartDraft(part_id, shared)
        walk_part(draft, holders, codes)
        fill_measure_repeats(draft)
        shared.notes += len(draft.notes)
        drafts.append(draft)
    if not any(draft.bars for draft in drafts):
        raise ScoreError("the score has no measures", "export it again")
    measures = combine_measures(drafts, shared)
    tempos = combine_tempos(shared, measures)
    parts = tuple(_part(draft, headers.get(draft.id, PartHeader(draft.id))) for draft in drafts)
    title = read_title(root, prefix, fallback_title)
    score = Score(title, resolution, parts, measures, tempos, remarks_of(shared), tree)
    return score, shared.needed


def _entities(tree: Any) -> dict[str, str]:
    """The texts of the entities that the document itself defines."""
    subset = tree.docinfo.internalDTD
    if subset is None:
        return {}
    return {entity.name: entity.content or "" for entity in subset.iterentities()}


def _part_holders(root: Any, prefix: str, timewise: bool) -> Iterable[tuple[str, list[Any]]]:
    """Each part's id and the elements that hold its bars, in document order.

    Raises:
        ScoreError: more parts than are read.
    """
    if not timewise:
        parts = [(part.get("id") or "", [part]) for part in root.iterchildren(prefix + "part")]
    else:
        by_id: dict[str, list[Any]] = {}
        for measure in root.iterchildren(prefix + "measure"):
            for part in measure.iterchildren(prefix + "part"):
                by_id.setdefault(part.get("id") or "", []).append(part)
        parts = list(by_id.items())
    if len(parts) > MAX_PARTS:
        raise ScoreError(f"the score has more than {MAX_PARTS} parts", "split it")
    return parts


def _part(draft: PartDraft, header: PartHeader) -> Part:
    """A part from its draft and its place in the part list."""
    staves = max(draft.staves, *draft.staff_numbers.values(), 1)
    return Part(
        draft.id,
        header.name,
        staves,
        tuple(draft.notes),
        tuple(draft.keys),
        header.program,
        header.sound,
        tuple(draft.elements),
    )

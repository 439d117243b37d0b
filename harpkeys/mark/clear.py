"""Taking marks off a tree again, so that what is left is what was there before."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from harpkeys.mark.elements import FLAG_COLOUR, Role, is_as_written, role_of


def clear_marks(root: Any, keeping: Collection[str] = ()) -> int:
    """Take off every mark.

    Args:
        root: root of a MusicXML tree; it is changed.
        keeping: ids of parts whose marks stay, if they have a setting of their own.

    Returns:
        How many marks there were.
    """
    prefix = root.tag[: root.tag.index("}") + 1] if root.tag.startswith("{") else ""
    found = _found(root, prefix)
    settings = [(direction, part) for direction, role, part in found if role == "setting"]
    if not settings:
        return 0
    kept = {part for _, part in settings if part in keeping}
    strict = any(is_as_written(direction, "setting", prefix) for direction, _ in settings)
    count = 0
    for direction, role, part in found:
        if part not in kept and (not strict or is_as_written(direction, role, prefix)):
            _take_out(direction, prefix)
            count += 1
    for note in root.iter(prefix + "note"):
        if note.get("color") == FLAG_COLOUR and part_of(note, prefix) not in kept:
            del note.attrib["color"]
            count += 1
    return count


def is_marked(root: Any) -> bool:
    """Whether a tree bears marks."""
    prefix = root.tag[: root.tag.index("}") + 1] if root.tag.startswith("{") else ""
    return any(role == "setting" for _, role, _ in _found(root, prefix))


def part_of(element: Any, prefix: str) -> str:
    """Id of the part that an element stands in, "" where there is none."""
    holder = next(element.iterancestors(prefix + "part"), None)
    return "" if holder is None else holder.get("id") or ""


def _found(root: Any, prefix: str) -> list[tuple[Any, Role, str]]:
    """Every direction whose words are those of a mark, with its role and its part's id."""
    found: list[tuple[Any, Role, str]] = []
    for words in root.iter(prefix + "words"):
        holder = words.getparent()
        direction = holder.getparent() if holder is not None else None
        if direction is None or direction.tag != prefix + "direction":
            continue
        role = role_of(direction, prefix)
        if role is not None:
            found.append((direction, role, part_of(direction, prefix)))
    return found


def _take_out(direction: Any, prefix: str) -> None:
    """Remove a direction, with the steps back and forth that were made to reach its place."""
    before, after = direction.getprevious(), direction.getnext()
    _remove(direction)
    if before is None or after is None:
        return
    tags = {before.tag, after.tag}
    if tags == {prefix + "backup", prefix + "forward"} and _length(before, prefix) == _length(after, prefix):
        _remove(before)
        _remove(after)


def _length(step: Any, prefix: str) -> str:
    """The text of a step's duration; something unlike any other where it says more than that."""
    only = len(step) == 1 and step[0].tag == prefix + "duration"
    return (step[0].text or "").strip() if only else f"step {id(step)}"


def _remove(element: Any) -> None:
    """Remove an element and the white space after it."""
    tail, parent = (element.tail or ""), element.getparent()
    before = element.getprevious()
    parent.remove(element)
    if tail.strip():  # text among the elements of a bar is no MusicXML, but it is not ours
        if before is not None:
            before.tail = (before.tail or "") + tail
        else:
            parent.text = (parent.text or "") + tail

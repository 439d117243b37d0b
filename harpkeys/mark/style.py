"""How marks look and which are made."""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.mark.words import Labels


@dataclass(frozen=True, slots=True)
class MarkStyle:
    """How a score is marked.

    Attributes:
        labels: how strings are named.
        neighbours: whether notes that are played on a string of another letter say so.
        colour_flagged: whether notes that are lost or cut are coloured.
    """

    labels: Labels = "scientific"
    neighbours: bool = True
    colour_flagged: bool = False

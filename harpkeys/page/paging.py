"""Sharing out systems to pages.

Systems follow one another in order; a page holds as many as its height allows, with at least the least gap
between two. What is left over on a page is spread between its systems, up to the largest gap.

The restriction: systems are not broken anew, only shared out. Within it the result is the best there is: a
dynamic programme over the last system of each page (state: how many systems are placed; recurrence: the
cheapest way to the first system of the page, plus that page) minimises, in this order, the number of pages,
the number of busy page turns, and the sum of the squares of what is left over on each page but the last.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

Cost = tuple[int, int, float]


@dataclass(frozen=True, slots=True)
class Room:
    """Room on pages, in millimetres.

    Attributes:
        height: of a page between its margins.
        first: height kept free at the top of the first page.
        least, most: gap between two systems.
    """

    height: float
    first: float
    least: float
    most: float

    def left_over(self, heights: Sequence[float], start: int, end: int) -> float:
        """Height left over on a page with the systems from start up to end; negative: they do not fit."""
        systems = heights[start:end]
        return self.page(start) - sum(systems) - self.least * (len(systems) - 1)

    def page(self, start: int) -> float:
        """Height for systems on the page that begins with this system."""
        return self.height - (self.first if start == 0 else 0.0)

    def gap(self, heights: Sequence[float], start: int, end: int) -> float:
        """Gap between the systems of such a page."""
        if end - start < 2:
            return self.least
        spread = self.left_over(heights, start, end) / (end - start - 1)
        return self.least + min(max(spread, 0.0), self.most - self.least)


def share_out(
    heights: Sequence[float], room: Room, busy: Collection[int] = ()
) -> tuple[tuple[int, int], ...]:
    """The systems of each page.

    Args:
        heights: height of each system; one taller than its page gets that page for itself.
        room: the pages.
        busy: systems before which no page should be turned if it can be helped.

    Returns:
        For each page the index of its first system and of the one after its last.
    """
    count = len(heights)
    best: list[Cost] = [(0, 0, 0.0)]
    begins = [0]
    for end in range(1, count + 1):
        choices: list[tuple[Cost, int]] = []
        for start in range(end - 1, -1, -1):
            left = room.left_over(heights, start, end)
            if left < 0 and end - start > 1:
                break
            pages, turns, squares = best[start]
            waste = 0.0 if end == count else max(left, 0.0) ** 2
            choices.append(((pages + 1, turns + (end in busy), squares + waste), start))
        cost, start = min(choices)
        best.append(cost)
        begins.append(start)
    pages_found: list[tuple[int, int]] = []
    end = count
    while end:
        pages_found.append((begins[end], end))
        end = begins[end]
    return tuple(reversed(pages_found))

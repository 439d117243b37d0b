"""Sharing out systems to pages: against every possible sharing out, on small cases."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from hypothesis import given
from hypothesis import strategies as st

from harpkeys.page.paging import Room, share_out

Pages = tuple[tuple[int, int], ...]

heights_lists = st.lists(st.integers(1, 12).map(float), min_size=1, max_size=9)
rooms = st.builds(
    Room,
    height=st.integers(8, 30).map(float),
    first=st.integers(0, 7).map(float),
    least=st.just(1.0),
    most=st.just(3.0),
)


def every_sharing(count: int) -> Iterator[Pages]:
    for size in range(count):
        for cuts in combinations(range(1, count), size):
            ends = [0, *cuts, count]
            yield tuple(pairwise(ends))


def cost(pages: Pages, heights: Sequence[float], room: Room, busy: set[int]) -> tuple[int, int, float] | None:
    """What a sharing out costs, computed page by page from the definition; None where it does not fit."""
    squares = 0.0
    for start, end in pages:
        used = sum(heights[start:end]) + room.least * (end - start - 1)
        left = room.height - (room.first if start == 0 else 0) - used
        if left < 0 and end - start > 1:
            return None
        if end < len(heights):
            squares += max(left, 0.0) ** 2
    return len(pages), sum(end in busy for _, end in pages[:-1]), squares


@given(heights_lists, rooms, st.sets(st.integers(1, 8)))
def test_no_sharing_out_is_better(heights: list[float], room: Room, busy: set[int]) -> None:
    busy = {k for k in busy if k < len(heights)}
    costs = [cost(pages, heights, room, busy) for pages in every_sharing(len(heights))]
    assert cost(share_out(heights, room, busy), heights, room, busy) == min(c for c in costs if c is not None)


def test_a_busy_turn_is_avoided_where_the_pages_allow_it() -> None:
    room = Room(height=32.0, first=0.0, least=1.0, most=3.0)
    heights = [10.0] * 5  # three on either page
    assert share_out(heights, room) == ((0, 3), (3, 5))
    assert share_out(heights, room, {3}) == ((0, 2), (2, 5))
    assert share_out(heights, room, {2}) == ((0, 3), (3, 5))


def test_the_first_page_keeps_room_free() -> None:
    room = Room(height=32.0, first=20.0, least=1.0, most=3.0)
    assert share_out([10.0] * 4, room) == ((0, 1), (1, 4))


def test_a_system_taller_than_a_page_gets_one_for_itself() -> None:
    assert share_out([5.0, 40.0, 5.0], Room(30.0, 0.0, 1.0, 3.0)) == ((0, 1), (1, 2), (2, 3))


def test_what_is_left_over_goes_between_the_systems_but_not_without_limit() -> None:
    room = Room(height=34.0, first=0.0, least=1.0, most=3.0)
    assert room.gap([10.0] * 3, 0, 3) == 2.0
    assert room.gap([5.0] * 3, 0, 3) == 3.0
    assert room.gap([5.0], 0, 1) == 1.0

"""What a plan costs, packed into one whole number so that comparing costs is comparing integers.

The criteria of section 5 of the planning problem are compared lexicographically and add up over independent
parts of a piece. Each takes one 40-bit digit of a big integer, the most important first, so the sum of packed
costs is the packed sum and `<` is the lexicographic order, as long as no criterion reaches 2**40.

Order: lost, lost auxiliaries, cuts, flips + off-string plucks, flips, flips by the right hand.
"""

from __future__ import annotations

from collections.abc import Sequence

DIGIT = 40
_MASK = (1 << DIGIT) - 1

Vector = tuple[int, int, int, int, int, int]

LOST = 1 << 5 * DIGIT
LOST_AUXILIARY = 1 << 4 * DIGIT
CUT = 1 << 3 * DIGIT
OFF_STRING = 1 << 2 * DIGIT
FLIP = (1 << 2 * DIGIT) + (1 << DIGIT)
RIGHT = 1

TIERS = (FLIP, FLIP + RIGHT, FLIP + CUT, FLIP + CUT + RIGHT)
"""The four ways to make one flip, cheapest first: clean left, clean right, cut left, cut right."""


def pack(vector: Sequence[int]) -> int:
    """The six criteria as one number."""
    total = 0
    for part in vector:
        total = (total << DIGIT) + part
    return total


def unpack(cost: int) -> Vector:
    """The six criteria of a packed cost."""
    a, b, c, d, e, f = (cost >> shift & _MASK for shift in range(5 * DIGIT, -1, -DIGIT))
    return (a, b, c, d, e, f)


def least_whole(bound: int) -> int:
    """The least cost that a plan can have, given a bound that need not be the cost of any.

    No criterion of a plan comes near the top of its digit, so what is written there is carried over.
    """
    vector = list(unpack(bound))
    for index in range(5, 0, -1):
        if vector[index] >= 1 << DIGIT - 8:
            vector[index:] = [0] * (6 - index)
            vector[index - 1] += 1
    return pack(vector)

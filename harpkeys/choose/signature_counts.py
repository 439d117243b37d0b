"""How common each key signature is: folk tunes by signature, by collection.

Made by scripts/count_signatures.py from the ABC files that come with music21 10.5.1; do not edit.
Counted is the first key field of each of 12949 tunes, read by music21.abcFormat.
"""

from __future__ import annotations

from collections.abc import Mapping

FOLK_SIGNATURES: Mapping[str, Mapping[int, int]] = {
    "Aird's Airs": {
        -2: 5,
        -1: 18,
        0: 62,
        1: 555,
        2: 528,
        3: 12,
    },
    "Essen folk songs": {
        -5: 2,
        -4: 52,
        -3: 263,
        -2: 527,
        -1: 1808,
        0: 1050,
        1: 3074,
        2: 870,
        3: 587,
        4: 268,
        5: 10,
        6: 3,
    },
    "fife and Northumbrian tunes": {
        -4: 1,
        -3: 5,
        -2: 10,
        -1: 4,
        0: 11,
        1: 105,
        2: 48,
        3: 1,
    },
    "Nottingham": {
        0: 1,
        2: 1,
    },
    "O'Neill's 1850": {
        -3: 5,
        -2: 108,
        -1: 86,
        0: 155,
        1: 861,
        2: 568,
        3: 224,
        5: 2,
    },
    "Ryan's Mammoth Collection": {
        -3: 6,
        -2: 109,
        -1: 71,
        0: 73,
        1: 337,
        2: 292,
        3: 161,
        4: 10,
    },
}
"""Tunes by sharps (positive) or flats (negative) of their signature, by collection."""

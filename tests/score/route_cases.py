"""Repeat marks and the order they give, each worked out by hand from section 2 of the planning problem.

A case is a name, the bars in the shorthand of `builders.bars`, and the bars in performed order, numbered
from 1.
"""

from __future__ import annotations

from score.builders import BAR

PLAIN_ORDERS = {
    "no marks": ("- - -", "1 2 3"),
    "one repeat": ("- |:-:| -", "1 2 2 3"),
    "repeat from the start": ("- -:| -", "1 2 1 2 3"),
    "unopened repeat returns to the end of the previous one": ("- |:- -:| - -:| -", "1 2 3 2 3 4 5 4 5 6"),
    "unopened repeat after an unopened one": ("-:| -:| -", "1 1 2 2 3"),
    "times": ("|:- -:|4 -", "1 2 1 2 1 2 1 2 3"),
    "times one is no repeat": ("|:- -:|1 -", "1 2 3"),
    "opened but never closed": ("- |:- -", "1 2 3"),
    "opened twice, closed once": ("|:- |:- -:| -", "1 2 3 2 3 4"),
    "nested": ("|:- |:-:| -:| -", "1 2 2 3 1 2 2 3 4"),
    "nested with times": ("|:- |:-:|3 -:| -", "1 2 2 2 3 1 2 2 2 3 4"),
    "nested deeper": ("|:- |:- |:-:| -:| -:|", "1 2 3 3 4 2 3 3 4 5 1 2 3 3 4 2 3 3 4 5"),
}

ENDINGS = {
    "two endings": ("|:- [1-:| [2- -", "1 2 1 3 4"),
    "two endings from the start": ("- [1-:| [2- -", "1 2 1 3 4"),
    "longer endings": ("|:- [1- [1-:| [2- [2- -", "1 2 3 1 4 5 6"),
    "three endings": ("|:- [1-:| [2-:| [3- -", "1 2 1 3 1 4 5"),
    "one ending for two rounds": ("|:- [1,2-:|3 [3- -", "1 2 1 2 1 3 4"),
    "endings number the rounds even where times is the plain two": ("|:- [1,2-:| [3- -", "1 2 1 2 1 3 4"),
    "alternating endings": ("|:- [1,3-:| [2,4-:| -", "1 2 1 3 1 2 1 3 4"),
    "last ending with a backward repeat": ("|:- [1-:| [2-:| -", "1 2 1 3 4"),
    "one printed ending": ("|:- [1-:| - -", "1 2 1 3 4"),
    "one printed ending for two of three rounds": ("|:- [1,2-:|3 - -", "1 2 1 2 1 3 4"),
    "one printed ending for all rounds": ("|:- [1,2-:| -", "1 2 1 2 3"),
    "next repeat starts at the end of the endings": ("|:- [1-:| [2- - -:| -", "1 2 1 3 4 5 4 5 6"),
    "endings side by side of two repeats": ("|:- [1-:| [2- |:[1-:| [2- -", "1 2 1 3 4 4 5 6"),
    "repeat inside an ending": ("|:- [1- |:[1-:| [1-:| [2- -", "1 2 3 3 4 1 5 6"),
    "repeat inside an ending, from the start": ("- [1- |:[1-:| [1-:| [2- -", "1 2 3 3 4 1 5 6"),
    "repeat inside an ending, endings misnumbered": ("|:- [1- |:[1-:| [1-:| [1- -", "1 2 3 3 4 1 5 6"),
    "nested endings": ("|:- |:- [1-:| [2- -:| -", "1 2 3 2 4 5 1 2 3 2 4 5 6"),
    "endings without a repeat": ("- [1- [2- -", "1 2 3 4"),
    "first ending numbered two": ("|:- [2-:| [2- -", "1 2 1 3 4"),
    "both endings numbered one": ("|:- [1-:| [1- -", "1 2 1 3 4"),
    "endings numbered two and three": ("|:- [2-:| [3- -", "1 2 1 3 4"),
    "first ending returns though all rounds are its own": ("|:- [1,2-:| [2- -", "1 2 1 3 4"),
    "an ending skipped by the numbers is taken in order": ("- [1-:| [4-:| [2- -", "1 2 1 3 1 4 5"),
    "an ending no round reaches is no ending": ("- [1-:| [2- [3- -", "1 2 1 3 4 5"),
    "endings that do not return before one that does": (
        "- [1- [2-:| -",
        "1 2 3 1 2 3 4",
    ),
    "a first ending drawn too short": ("|:- [1- - -:| [2- -", "1 2 3 4 1 5 6"),
    "not too short where no ending follows the repeat": ("- [1- - -:| -", "1 2 3 4 1 2 3 4 5"),
    "not too short where the next ending is no later one": ("- [1- - -:| [1- -", "1 2 3 4 1 2 3 4 5 6"),
    "not too short where another repeat opens": ("- [1- |:- -:| [2- -", "1 2 3 4 3 4 5 6"),
    "second ending alone": ("|:- -:| [2- -", "1 2 1 2 3 4"),
    "endings from the first bar on": ("[1-:| [2-:| -", "1 2 3"),
    "a second ending in the first bar": ("[2-:| [1-:| -", "2 1 3"),
}

JUMPS = {
    "trade.md, last line": ("- to dc coda", "1 2 3 1 2 4"),
    "da capo": ("- - dc -", "1 2 3 1 2 3 4"),
    "da capo al fine": ("- fine - dc", "1 2 3 4 1 2"),
    "fine is ignored before the jump": ("fine - dc", "1 2 3 1"),
    "fine without any jump": ("- fine -", "1 2 3"),
    "dal segno": ("- segno - ds -", "1 2 3 4 2 3 4 5"),
    "dal segno al fine": ("- segno fine ds", "1 2 3 4 2 3"),
    "dal segno al coda": ("- segno to - ds coda -", "1 2 3 4 5 2 3 6 7"),
    "to coda is ignored before the jump": ("to - dc coda", "1 2 3 1 4"),
    "segno and jump in one bar": ("- segno+ds -", "1 2 2 3"),
    "segno and jump in one bar after another segno": ("segno - segno+ds -", "1 2 3 3 4"),
    "a jump is taken once": ("- dc dc -", "1 2 1 2 3 1 2 3 4"),
    "two jumps in one bar": ("- dc+ds segno", "1 2 1 2 3"),
    "jump waits for the last pass of its bar": ("|:- dc -:| -", "1 2 3 1 2 1 2 3 4"),
    "jump waits for all enclosing repeats": ("|:- |:dc:| -:| -", "1 2 2 3 1 2 2 1 2 3 4"),
    "no repeats after the jump": ("|:- -:| - dc", "1 2 1 2 3 4 1 2 3 4"),
    "last ending after the jump": ("|:- [1-:| [2- fine dc", "1 2 1 3 4 5 1 3 4"),
    "one printed ending is skipped after the jump": ("|:- [1-:| fine dc", "1 2 1 3 4 1 3"),
    "third ending after the jump": ("|:- [1,2-:| [3- dc", "1 2 1 2 1 3 4 1 3 4"),
    "fine inside a repeat": ("|:- fine:| - dc", "1 2 1 2 3 4 1 2"),
    "da capo in a first ending": ("- [1dc [2- -", "1 2 1 3 4"),
    "da capo in the second ending of three": ("- [1- [2dc [3- -", "1 2 3 1 4 5"),
    "jump in a first ending that also repeats": ("|:- [1dc:| [2- -", "1 2 1 3 4"),
    "jump in the second ending": ("|:- [1-:| [2dc -", "1 2 1 3 1 3 4"),
    "jump into a first ending plays it": ("- |:- [1segno:| [2- ds", "1 2 3 2 4 5 3 4 5"),
    "repeat in the coda is not taken": ("- to dc |:coda:| -", "1 2 3 1 2 4 5"),
    "segno after the last note belongs to the next bar": (f"segno@{BAR} - ds -", "1 2 3 2 3 4"),
    "segno at the very end has no next bar": (f"ds segno@{BAR}", "1 2"),
    "named signs": (
        "- segno=a to=a segno=b to=b ds=b ds=a coda=b coda=a",
        "1 2 3 4 5 6 4 5 8 9",
    ),
    "names not matched go to the nearest": ("segno - segno ds=x -", "1 2 3 4 3 4 5"),
    "coda before its jump": ("coda - to dc -", "1 2 3 4 1 2 3 1 2 3 4 5"),
    "to coda without a coda": ("to dc -", "1 2 1 2 3"),
    "dal segno without a segno": ("- ds -", "1 2 1 2 3"),
    "coda sign beside to coda is not the target": ("to+coda dc coda", "1 2 1 3"),
    "fine beats to coda and jump": ("- fine+to+dc coda", "1 2 1 2"),
}

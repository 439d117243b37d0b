"""Made-up and cut-out lever-planning problems, repeatable by seed, for tests of `harpkeys.plan`.

The made-up ones aim at what makes planning hard: strings that share pitches (two and more), plucks of one
onset that need both states of a string, unisons with different ends, held notes that must be cut, and player
times of the size of the gaps, so that flips really compete for the hands.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from harpkeys.harp.model import Harp, HarpString, Player
from harpkeys.pitch import Pitch, alteration_in_key
from harpkeys.score.pluck import Hand, Pluck, PluckKind


@dataclass(frozen=True, slots=True)
class Instance:
    """One problem: plucks, a harp, a player, and loss weights where they are not all 1."""

    name: str
    plucks: tuple[Pluck, ...]
    harp: Harp
    player: Player
    weights: tuple[int, ...] | None = None


KINDS = (
    "melody",
    "two hands",
    "crowded",
    "free tuning",
    "held",
    "unisons",
    "ornaments",
    "sustained",
    "wide",
    "chords",
    "contest",
    "shared contest",
)
"""The kinds of made-up problems; `random_instance` takes them in turn."""


def hard_instance(seed: int) -> Instance:
    """A made-up problem in which many flips compete for every gap; larger than those of `random_instance`."""
    rng = random.Random(f"hard {seed}")
    return _contest(
        rng, f"hard contest {seed}", (5, 8), (3, 6), rng.choice((400, 900, 1500)), shared=seed % 2 == 1
    )


def random_instance(seed: int, *, tiny: bool = False) -> Instance:
    """A made-up problem.

    Args:
        seed: decides everything; its remainder by the number of kinds decides the kind.
        tiny: at most six plucks and times of a few dozen milliseconds, for plain enumeration.
    """
    kind = KINDS[seed % len(KINDS)]
    rng = random.Random(f"{seed} {tiny}")
    harp = _random_harp(rng, kind)
    step = rng.choice((3, 5, 8)) if tiny else rng.choice((40, 100, 250, 480))
    count = rng.randint(3, 6) if tiny else rng.randint(4, 20)
    if "contest" in kind:
        name, shared = f"{kind} {seed}", "shared" in kind
        if tiny:
            return _contest(rng, name, (2, 3), (1, 2), rng.choice((12, 20)), shared=shared)
        return _contest(rng, name, (3, 6), (2, 5), rng.choice((400, 900, 1500)), shared=shared)
    if kind == "chords":
        plucks = _random_chords(rng, harp, step, count)
    else:
        plucks = _random_plucks(rng, kind, harp, step, count)
    player = _random_player(rng, kind, step)
    weights = tuple(rng.randint(1, 4) for _ in plucks) if rng.random() < 0.25 else None
    return Instance(f"{kind} {seed}", plucks, harp, player, weights)


def _random_harp(rng: random.Random, kind: str) -> Harp:
    """Three to twelve strings in a key or tuned freely, with all, most, few or no levers."""
    count = rng.randint(3, 12)
    lowest = rng.randint(26, 34)
    levers = rng.choice((1.0, 1.0, 1.0, 0.85, 0.5))
    fifths = rng.choice((0, -1, -2, -3, -4, 2))
    strings = []
    for diatonic in range(lowest, lowest + count):
        tuned = alteration_in_key(diatonic % 7, fifths)
        if kind == "free tuning" or (kind == "unisons" and rng.random() < 0.3):
            # Pulling neighbours together makes three and more strings share a pitch.
            tuned = rng.choice((1, 0, -1)) if rng.random() < 0.6 else (1 if diatonic % 2 else -1)
        strings.append(HarpString(diatonic, tuned, rng.random() < levers))
    return Harp(f"{count} strings", f"{fifths} fifths or free", tuple(strings))


def _random_player(rng: random.Random, kind: str, step: int) -> Player:
    """Times between nothing and one and a half steps, so that hands are now idle and now never free."""
    slow = 1.5 if kind in ("crowded", "sustained") else 1.0
    flip = max(1, round(step * rng.choice((0.1, 0.2, 0.35, 0.5, 0.8)) * slow))
    leave = round(step * rng.choice((0.0, 0.1, 0.2, 0.4)))
    place = round(step * rng.choice((0.0, 0.1, 0.3, 0.6)))
    return Player("made up", flip, leave, place)


def _random_plucks(rng: random.Random, kind: str, harp: Harp, step: int, count: int) -> tuple[Pluck, ...]:
    """Plucks on a few hot strings, in order of onset."""
    hot = rng.sample(range(len(harp.strings)), min(len(harp.strings), rng.randint(1, 4)))
    together = {"two hands": 0.4, "crowded": 0.4, "unisons": 0.6, "wide": 0.1}.get(kind, 0.2)
    plucks: list[Pluck] = []
    onset = rng.randint(0, step)
    while len(plucks) < count:
        hand: Hand = rng.choice(("left", "right"))
        if kind == "melody":
            hand = "right"
        plucks += _one(rng, kind, harp, hot, step, onset, hand)
        if rng.random() >= together:
            onset += max(1, round(step * rng.choice((0.3, 0.5, 1, 1, 1, 2, 3 if kind == "wide" else 2))))
    rank: dict[PluckKind, int] = {"grace": -1}
    plucks.sort(key=lambda p: (p.onset, rank.get(p.kind, 0)))
    return tuple(replace(p, id=i) for i, p in enumerate(plucks[:count]))


def _random_chords(rng: random.Random, harp: Harp, step: int, count: int) -> tuple[Pluck, ...]:
    """Chords on the same few strings, each in states of its own: many flips in every gap between two."""
    hot = rng.sample(range(len(harp.strings)), min(len(harp.strings), rng.randint(2, 5)))
    plucks: list[Pluck] = []
    onset = 0
    while len(plucks) < count:
        end = onset + round(step * rng.choice((0.5, 1, 2)))
        for index in hot:
            if rng.random() < 0.85:
                string = harp.strings[index]
                pitch = string.sounding(rng.randint(0, 1) if string.lever else 0)
                hand: Hand = "left" if index < len(harp.strings) * 0.4 else "right"
                plucks.append(Pluck(0, onset, end, pitch, hand))
        onset += round(step * rng.choice((1, 1.5, 2, 3)))
    return tuple(replace(p, id=i) for i, p in enumerate(plucks[:count]))


def _contest(
    rng: random.Random,
    name: str,
    voices: tuple[int, int],
    notes: tuple[int, int],
    gap: int,
    *,
    shared: bool,
) -> Instance:
    """Several voices that each change one string, so that more flips want a gap than the hands have time for.

    Every voice moves at its own pace and its notes ring for a while, so windows overlap without being alike,
    some can be widened by a cut, and it matters which voice is given up. With shared strings, neighbours a
    semitone apart can stand in for each other.
    """
    lowest = rng.choice((28, 30, 32))
    width = 9 if voices[1] < 8 else 16
    tuned = [rng.choice((0, 0, 0, -1)) if shared else 0 for _ in range(width)]
    harp = Harp("contest", "C", tuple(HarpString(lowest + k, alter, True) for k, alter in enumerate(tuned)))
    steps = range(0, width, 1 if shared else 2)
    strings = rng.sample(steps, min(rng.randint(*voices), len(steps)))
    flip = max(1, round(gap * rng.choice((0.2, 0.3, 0.4, 0.55))))
    player = Player(
        "made up", flip, round(gap * rng.choice((0, 0.05, 0.15))), round(gap * rng.choice((0, 0.1, 0.2)))
    )
    plucks: list[Pluck] = []
    for index in strings:
        onset = rng.randint(0, gap)
        state = rng.randint(0, 1)
        hand: Hand = rng.choice(("left", "right", "right"))
        for _ in range(rng.randint(*notes)):
            end = onset + max(1, round(gap * rng.choice((0.2, 0.5, 1, 1.4))))
            pitch = harp.strings[index].sounding(state)
            if shared and rng.random() < 0.3:
                other = pitch.diatonic + rng.choice((-1, 1))
                pitch = Pitch(other, int(pitch.midi) - int(Pitch(other).midi))
            plucks.append(Pluck(0, onset, end, pitch, hand))
            onset += max(1, round(gap * rng.choice((0.6, 1, 1, 1.5))))
            state = 1 - state if rng.random() < 0.8 else state
    plucks.sort(key=lambda p: p.onset)
    weights = tuple(rng.randint(1, 4) for _ in plucks) if rng.random() < 0.25 else None
    return Instance(name, tuple(replace(p, id=i) for i, p in enumerate(plucks)), harp, player, weights)


def _one(
    rng: random.Random, kind: str, harp: Harp, hot: list[int], step: int, onset: int, hand: Hand
) -> list[Pluck]:
    """One pluck, with its auxiliary or its grace note where the kind asks for ornaments."""
    lasting = (0.4, 0.9, 1, 1, 1.5) if kind != "held" else (1, 2, 3, 5, 8)
    end = onset + max(1, round(step * rng.choice(lasting)))
    main = Pluck(0, onset, end, _random_pitch(rng, harp, hot), hand)
    if kind == "sustained" and rng.random() < 0.4:
        main = replace(main, sustained=True, kind="tremolo")
    if kind == "unisons" and rng.random() < 0.5:
        longer = replace(main, end=end + max(1, round(step * rng.uniform(0.2, 2))))
        if rng.random() < 0.3:
            longer = replace(longer, hand="left" if hand == "right" else "right")
        return [main, longer]
    if kind == "ornaments" and rng.random() < 0.5:
        pitch = _random_pitch(rng, harp, hot)
        if rng.random() < 0.5:
            return [replace(main, end=onset, pitch=pitch, kind="grace"), main]
        trill = replace(main, sustained=rng.random() < 0.7)
        return [trill, replace(trill, pitch=pitch, kind="auxiliary")]
    return [main]


def _random_pitch(rng: random.Random, harp: Harp, hot: list[int]) -> Pitch:
    """A pitch of a hot string in either state, sometimes spelled by a neighbour's letter, rarely anything."""
    if rng.random() < 0.04:
        return Pitch(
            harp.lowest + rng.randint(-2, len(harp.strings) + 1), rng.choice((0, 1, -2, Fraction(1, 2)))
        )
    string = harp.strings[rng.choice(hot) if rng.random() < 0.9 else rng.randrange(len(harp.strings))]
    state = rng.randint(0, 1) if string.lever or rng.random() < 0.1 else 0
    if rng.random() < 0.15:
        other = string.diatonic + rng.choice((-1, 1))
        return Pitch(other, string.down + state - int(Pitch(other).midi))
    return string.sounding(state)


# --- cut out of real scores ---------------------------------------------------------------------------------

CORPUS = (
    "joplin/maple_leaf_rag.mxl",
    "cpebach/h186.mxl",
    "bach/bwv846.mxl",
    "schumann_clara/polonaise_op1n1.mxl",
    "schumann_clara/polonaise_op1n2.mxl",
    "schumann_clara/polonaise_op1n3.mxl",
    "schumann_clara/polonaise_op1n4.mxl",
    "schoenberg/opus19/movement2.mxl",
    "schoenberg/opus19/movement6.mxl",
    "mozart/k545/movement1_exposition.mxl",
)
"""Keyboard scores in music21's corpus."""

CUT_HARPS = (
    Harp(
        "34 strings",
        "E-flat",
        tuple(HarpString(d, alteration_in_key(d % 7, -3), True) for d in range(14, 48)),
    ),
    Harp("34 strings", "C", tuple(HarpString(d, 0, True) for d in range(14, 48))),
    Harp(
        "34 strings",
        "A-flat",
        tuple(HarpString(d, alteration_in_key(d % 7, -4), True) for d in range(14, 48)),
    ),
    Harp(
        "27 strings, levers on F and C only",
        "C",
        tuple(HarpString(d, 0, d % 7 in (0, 3)) for d in range(21, 48)),
    ),
)
"""Harps to play the cut-outs on: C2 to A6 in three tunings, and a partly levered one from C3."""

CUT_PLAYERS = (
    Player("slow", 900, 250, 450),
    Player("middling", 600, 150, 300),
    Player("quick", 300, 60, 120),
    Player("nimble", 150, 30, 60),
)


def cut_outs(count: int, *, longest: int = 40, seed: int = 0) -> Iterator[Instance]:
    """Windows cut from real scores, each on one of the harps and by one of the players above.

    Args:
        count: how many to yield.
        longest: the most plucks in one window.
        seed: decides the windows.
    """
    rng = random.Random(f"cut-outs {seed}")
    scores = {name: corpus_plucks(name) for name in CORPUS[:count]}
    for number in range(count):
        name = CORPUS[number % len(CORPUS)]
        plucks = scores[name]
        size = min(len(plucks), rng.randint(longest // 3, longest))
        first = rng.randint(0, len(plucks) - size)
        window = plucks[first : first + size]
        yield Instance(
            f"{name} from pluck {first}, {size} plucks",
            tuple(replace(p, id=i, note=None) for i, p in enumerate(window)),
            rng.choice(CUT_HARPS),
            rng.choice(CUT_PLAYERS),
            tuple(rng.randint(1, 4) for _ in window) if rng.random() < 0.15 else None,
        )


def corpus_plucks(name: str) -> tuple[Pluck, ...]:
    """Every pluck of a score in music21's corpus, read and timed by harpkeys itself."""
    import music21

    from harpkeys.score.clock import make_clock
    from harpkeys.score.parts import choose_part
    from harpkeys.score.plucks import find_plucks
    from harpkeys.score.reader import read_score
    from harpkeys.score.route import perform

    score = read_score(Path(music21.__file__).parent / "corpus" / name)
    timeline = perform(score)
    return find_plucks(score, choose_part(score), timeline, make_clock(score, timeline))

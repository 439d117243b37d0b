"""Which base tuning suits a harp with levers on some of its letters, for a learner and an experienced player.

Judged are the usual base tunings: how many signatures each reaches before a lever has to move, how many of
the counted folk tunes have one of these, how many letters of levers stand up in the player's usual keys, and
which levers are never used.

- A **learner** needs the usual keys with the least to set: as many of these keys as possible, no levers that
  are never used, then the fewest levers up, then the fewest letters tuned flat.
- An **experienced** player wants reach: as many of the usual keys as possible, then the largest share of the
  counted tunes, then the fewest levers up.

Where no usual keys are given a learner's are the commonest signatures that together make up half of the
counted tunes, and an experienced player's are all of them, by how common they are. These rules are stated
assumptions; that players like the tuning that leaves most strings open has one credible source.

References: counts of signatures, `signature_counts`; usual base tunings as graded in the trade notes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from harpkeys.choose.key_reach import KeyReach, reach_scale
from harpkeys.choose.scales import Scale, scale_on
from harpkeys.choose.signature_counts import FOLK_SIGNATURES
from harpkeys.harp.model import Harp
from harpkeys.harp.reach import letters_up, signatures_reached
from harpkeys.harp.tunings import retuned
from harpkeys.pitch import SHARP_ORDER
from harpkeys.report.vet import USUAL_TUNINGS

Level = Literal["learner", "experienced"]


def counted_signatures() -> Counter[int]:
    """How many of the counted folk tunes have each signature, all collections together."""
    counts: Counter[int] = Counter()
    for collection in FOLK_SIGNATURES.values():
        counts.update(collection)
    return counts


@dataclass(frozen=True, slots=True)
class BaseTuning:
    """What a base tuning does for a harp.

    Attributes:
        harp: the harp in this tuning.
        signatures: signatures it reaches, flattest first.
        tunes: how many of the counted tunes have one of them.
        usual: how it plays each of the player's usual keys.
        levers_up: letters of levers up, on average over the usual keys in reach; None where none is.
        common_up: the same over the counted tunes in reach.
        idle: letters with levers that no signature in reach needs up.
        flats: letters tuned flat.
    """

    harp: Harp
    signatures: tuple[int, ...]
    tunes: int
    usual: tuple[KeyReach, ...]
    levers_up: Fraction | None
    common_up: Fraction | None
    idle: tuple[int, ...]
    flats: int

    @property
    def missed(self) -> tuple[Scale, ...]:
        """Usual keys out of reach."""
        return tuple(reach.scale for reach in self.usual if reach.setting is None)


@dataclass(frozen=True, slots=True)
class LeverAdvice:
    """Advice on the base tuning of a harp.

    Attributes:
        harp: the harp as it stands.
        usual: the usual keys that were given, () where none were.
        tunings: every tuning judged by the usual keys of an experienced player, the most usual first.
        learner: the tuning for a learner, judged by a learner's usual keys.
        learner_tunings: every tuning judged by these.
        experienced: the tuning for an experienced player.
        counted: how many tunes were counted.
    """

    harp: Harp
    usual: tuple[Scale, ...]
    tunings: tuple[BaseTuning, ...]
    learner: BaseTuning
    learner_tunings: tuple[BaseTuning, ...]
    experienced: BaseTuning
    counted: int


def commonest_half() -> tuple[Scale, ...]:
    """Major keys of the commonest signatures that make up half of the counted tunes."""
    counts = counted_signatures()
    found: list[Scale] = []
    covered = 0
    for fifths, tunes in counts.most_common():
        if 2 * covered >= counts.total():
            break
        found.append(scale_on(fifths, "major"))
        covered += tunes
    return tuple(found)


def judge(harp: Harp, tuning: str, usual: Sequence[Scale]) -> BaseTuning:
    """What a base tuning does for a harp and some usual keys.

    Args:
        harp: the harp; its own tuning does not matter.
        tuning: the base tuning.
        usual: the player's usual keys.
    """
    tuned = retuned(harp, tuning)
    counts = counted_signatures()
    signatures = signatures_reached(tuned)
    up = {fifths: letters_up(tuned, fifths) for fifths in signatures}
    tunes = sum(counts[fifths] for fifths in signatures)
    reaches = tuple(reach_scale(tuned, scale) for scale in usual)
    needed = [len(_raised(reach)) for reach in reaches if reach.setting is not None]
    used = {letter for letters in up.values() for letter in letters}
    used |= {letter for reach in reaches if reach.setting is not None for letter in _raised(reach)}
    levers = {string.diatonic % 7 for string in tuned.strings if string.lever}
    flat = {string.diatonic % 7 for string in tuned.strings if string.tuned < 0}
    weighed = sum(counts[fifths] * len(letters) for fifths, letters in up.items())
    return BaseTuning(
        tuned,
        signatures,
        tunes,
        reaches,
        Fraction(sum(needed), len(needed)) if needed else None,
        Fraction(weighed, tunes) if tunes else None,
        tuple(letter for letter in SHARP_ORDER if letter in levers - used),
        len(flat),
    )


def _raised(reach: KeyReach) -> tuple[int, ...]:
    return reach.letters if reach.reached else reach.twin_letters


def advise(harp: Harp, usual: Sequence[Scale] = (), tunings: Sequence[str] = USUAL_TUNINGS) -> LeverAdvice:
    """The base tuning for a harp.

    Args:
        harp: the harp; which strings have levers matters, its tuning does not.
        usual: keys the player usually plays in.
        tunings: the tunings to choose from, the most usual first; at equal merit the first wins.
    """
    judged = tuple(judge(harp, tuning, usual) for tuning in tunings)
    learners = judged if usual else tuple(judge(harp, tuning, commonest_half()) for tuning in tunings)
    return LeverAdvice(
        harp,
        tuple(usual),
        judged,
        min(learners, key=_learner_merit),
        learners,
        min(judged, key=_experienced_merit),
        counted_signatures().total(),
    )


def _learner_merit(choice: BaseTuning) -> tuple[Fraction, ...]:
    """Smaller is better."""
    up = choice.levers_up if choice.levers_up is not None else Fraction(7)
    return Fraction(len(choice.missed)), Fraction(len(choice.idle)), up, Fraction(choice.flats)


def _experienced_merit(choice: BaseTuning) -> tuple[Fraction, ...]:
    """Smaller is better."""
    up = choice.levers_up if choice.usual else choice.common_up
    return Fraction(len(choice.missed)), Fraction(-choice.tunes), up if up is not None else Fraction(7)

"""The report of a vet as one frozen value; views only read it.

Times are whole milliseconds, beats are in the unit of the time signature of the bar they are told for.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from harpkeys.analysis.accidentals import AccidentalsFound
from harpkeys.analysis.reach_of_hands import HandNote
from harpkeys.analysis.signatures import SignatureOnHarp
from harpkeys.analysis.suggested import SuggestedKey
from harpkeys.harp.model import Harp, Player
from harpkeys.plan.model import Plan
from harpkeys.plan.passages import Passage
from harpkeys.plan.tempo import Ceiling
from harpkeys.report.performance import Moment, Performance

Verdict = Literal["as set", "with flips", "with cuts", "not as written"]
"""How a score goes on a harp: without a flip; with clean flips; with flips that cut ringing notes short; or
not as written, since notes are lost."""


@dataclass(frozen=True, slots=True)
class FlipTime:
    """A flip on the page, and how much time its hand has there.

    Attributes:
        flip: its id.
        moment: where it starts.
        free: the free stretch of the hand that it sits in, as far as it lies within the performance.
        free_beats: the same in beats.
        rest: the longest written rest of the hand that meets the flip, 0 where none does.
        rest_beats: the same in beats.
    """

    flip: int
    moment: Moment
    free: int
    free_beats: Fraction
    rest: int
    rest_beats: Fraction


@dataclass(frozen=True, slots=True)
class TempoAnswers:
    """What tempo does to a plan.

    Attributes:
        ceiling: how fast the plan still goes; None where no flip limits it.
        playing: the fastest factor, at most 1, at which nothing is lost for lack of time or cut; None where
            no tempo down to a tenth will do.
        player_needed: the least of the named players for whom the score goes so; None where none will do.
        proved: whether every plan that was asked is proved best, so that the answers are not too careful.
    """

    ceiling: Ceiling | None
    playing: float | None
    player_needed: Player | None
    proved: bool = True


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that vet has to say.

    Attributes:
        performance: what is played, and the score it is in.
        plan: the lever plan, with harp and player.
        keys: the key signatures with the levers they need, in page order.
        suggested: the keys that the notes suggest, section by section.
        accidentals: notes that contradict their signature, and their census.
        flip_times: place and time of each flip, in the order of `plan.flips`.
        passages: where notes are lost or cut, why, and what would mend it.
        tempo: what tempo does to the plan.
        warnings: what hands cannot well do; apart from the verdict.
        verdict: the whole in two or three words.
        assumptions: sentences about everything that was taken for granted.
        cautions: sentences about the safety of harp and player.
        tunings: where a signature is out of reach, the usual tunings that reach them all on this harp.
    """

    performance: Performance
    plan: Plan
    keys: tuple[SignatureOnHarp, ...]
    suggested: tuple[SuggestedKey, ...]
    accidentals: AccidentalsFound
    flip_times: tuple[FlipTime, ...]
    passages: tuple[Passage, ...]
    tempo: TempoAnswers
    warnings: tuple[HandNote, ...]
    verdict: Verdict
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    tunings: tuple[str, ...] = ()

    @property
    def harp(self) -> Harp:
        """The harp it is for."""
        return self.plan.harp

    @property
    def player(self) -> Player:
        """The player it is for."""
        return self.plan.player

    @property
    def min_slack(self) -> int | None:
        """The smallest slack of any flip, in milliseconds; None without flips."""
        return min((flip.slack for flip in self.plan.flips), default=None)

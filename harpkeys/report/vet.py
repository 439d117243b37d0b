"""Vetting: what a score asks of a lever harp and its player, from the page to the verdict.

The steps: perform the part, plan the levers, then ask everything a player asks of a score: which keys, which
accidentals, where the levers move and how much time there is, what is lost and what would mend it, how fast
it goes, and what hands cannot reach.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from harpkeys.analysis.accidentals import find_accidentals
from harpkeys.analysis.reach_of_hands import WIDEST_SPAN, check_hands
from harpkeys.analysis.signatures import SignatureOnHarp, find_signatures
from harpkeys.analysis.suggested import suggest_keys
from harpkeys.harp.model import Harp, Player
from harpkeys.harp.naming import string_names
from harpkeys.harp.players import ASSUMPTION, player_text
from harpkeys.harp.reach import levers_for
from harpkeys.harp.tunings import retuned
from harpkeys.plan.model import Plan
from harpkeys.plan.passages import flagged_passages
from harpkeys.plan.planner import DEFAULT_EFFORT, make_plan
from harpkeys.report.hand_times import flip_times
from harpkeys.report.model import Report, Verdict
from harpkeys.report.performance import Performance, beat_moments, perform_part
from harpkeys.report.tempo_answers import answer_tempo
from harpkeys.score.model import Part, Score

USUAL_TUNINGS = ("C", "E-flat", "F", "A-flat", "B-flat")
"""Usual base tunings, the most usual first: C and E-flat have two independent sources, F and A-flat one, and
B-flat is common practice without a source."""

RAISING = (
    "Do not tune a string above the pitch it is made for: it may break and it loads the soundboard, wound "
    "strings most of all; ask the maker or a technician if unsure, and protect your eyes."
)
"""Sources as the trade notes grade them: two independent, and one credible for wound strings."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the user asks for beside harp and player.

    Attributes:
        part: which part, as `choose_part` takes it; None lets the score decide.
        bpm: opening tempo in quarter notes a minute; None takes the score's.
        scale: a factor on all tempos.
        widest_span: largest span of one hand, in scale steps.
        effort: the planner's work limit.
        harp_assumed: whether the harp is the default, which has then to be said.
        strung_for: the harp as it is strung, where its tuning was changed for this piece.
    """

    part: str | None = None
    bpm: Fraction | None = None
    scale: Fraction = Fraction(1)
    widest_span: int = WIDEST_SPAN
    effort: int = DEFAULT_EFFORT
    harp_assumed: bool = False
    strung_for: Harp | None = None


def quiet(stage: str) -> None:
    """Says nothing of a stage that starts."""


def vet(
    score: Score,
    harp: Harp,
    player: Player,
    wishes: Wishes | None = None,
    say: Callable[[str], None] = quiet,
) -> Report:
    """Everything about a score on a harp.

    Args:
        score: as printed.
        harp: the harp.
        player: whose times count.
        wishes: everything else the user asked for.
        say: told the stages as they start, for long work.

    Returns:
        The report.

    Raises:
        PartError: no such part, or no telling which.
        OptionError: the tempo cannot be played.
        ScoreError: the repeats never end.
    """
    wishes = wishes or Wishes()
    performance = perform_part(score, wishes.part, wishes.bpm, wishes.scale)
    part = played_part(performance)
    keys = find_signatures(part, harp)
    planned = Planning(performance, harp, keys[0].key.alters if keys else None)
    say(f"Planning the levers for {len(performance.plucks)} notes")
    plan = planned.at(Fraction(1), player, wishes.effort)
    say("Asking how fast it goes")
    tempo = answer_tempo(performance, plan, planned.at)
    passages = flagged_passages(performance.plucks, plan, performance.tempo_at)
    return Report(
        performance=performance,
        plan=plan,
        keys=keys,
        suggested=suggest_keys((part,)),
        accidentals=find_accidentals(part, harp),
        flip_times=flip_times(performance, plan),
        passages=passages,
        tempo=tempo,
        warnings=check_hands(performance.plucks, wishes.widest_span),
        verdict=verdict_of(plan),
        assumptions=tuple(_assumptions(performance, plan, wishes, tempo.proved)),
        cautions=tuple(_cautions(harp, wishes)),
        tunings=tuple(_tunings_in_reach(harp, keys)),
    )


@dataclass(frozen=True, slots=True)
class Planning:
    """Plans of one performance on one harp, at any tempo and for any player.

    Attributes:
        performance: what is played.
        harp: on what.
        first_key: alterations of the first key signature, by which unused strings stand; None without one.
    """

    performance: Performance
    harp: Harp
    first_key: tuple[int | Fraction, ...] | None

    def at(self, factor: Fraction, player: Player, effort: int) -> Plan:
        """The best plan with every tempo multiplied by a factor, within a work limit."""
        beats = beat_moments(self.performance) if factor == 1 else ()
        return make_plan(
            self.performance.at_factor(factor),
            self.harp,
            player,
            effort=effort,
            first_key_alters=self.first_key,  # type: ignore[arg-type]
            beats=beats,
        )


def verdict_of(plan: Plan) -> Verdict:
    """How a plan lets a score go."""
    criteria = plan.criteria
    if criteria.lost or criteria.lost_auxiliaries:
        return "not as written"
    if criteria.cuts:
        return "with cuts"
    return "with flips" if criteria.flips else "as set"


def verdict_settled(plan: Plan) -> bool:
    """Whether the best plan has the same verdict, going by this plan's bound."""
    lost, lost_auxiliaries, cuts, both, flips, _ = plan.criteria.key
    least = plan.bound
    if plan.proved:
        return True
    if lost:
        return least[0] > 0
    if lost_auxiliaries:
        return least[1] > 0
    if cuts:
        return least[2] > 0
    # With as many flips and neighbouring strings as there must be, the bound on flips holds for these too.
    return not flips or (least[3] == both and least[4] > 0)


def played_part(performance: Performance) -> Part:
    """The part played; two joined parts as one of two staves."""
    parts = [performance.score.parts[index] for index in performance.parts]
    if len(parts) == 1:
        return parts[0]
    return replace(
        parts[0],
        staves=len(parts),
        notes=tuple(replace(note, staff=staff) for staff, part in enumerate(parts, 1) for note in part.notes),
        keys=tuple(replace(key, staff=staff) for staff, part in enumerate(parts, 1) for key in part.keys),
    )


def _assumptions(performance: Performance, plan: Plan, wishes: Wishes, answers_proved: bool) -> Iterator[str]:
    harp, score = plan.harp, performance.score
    if wishes.harp_assumed:
        yield f"No harp is named: the {harp.name} is assumed."
    if len(score.parts) > 1 and wishes.part is None:
        yield f"Of {len(score.parts)} parts, {_part_name(performance.part)} is taken for the harp's."
    yield _hands_rule(performance)
    yield f"Player's times, a {ASSUMPTION}: {player_text(plan.player)}."
    if performance.clock.source == "given":
        yield "The tempo is the one you gave; all tempos of the score keep their proportion to the first."
    if wishes.scale != 1:
        yield f"All tempos are multiplied by {float(wishes.scale):g}."
    if performance.timeline.length > sum(measure.length for measure in score.measures):
        yield "Repeats and jumps are played out; passes are counted for each bar."
    yield from performance.clock.remarks
    yield from performance.timeline.remarks
    yield from score.remarks
    if not plan.proved:
        yield (
            f"Within the work limit (effort {wishes.effort}) this is the best plan found, not proved the "
            "best possible; a higher effort may find a better one."
        )
    if not answers_proved:
        yield (
            "The playing tempo and the player needed are told from plans that are not all proved the best "
            "possible; the true ones may be a little faster or easier."
        )


def _hands_rule(performance: Performance) -> str:
    """Which staff is for which hand, said of this part."""
    if len(performance.parts) == 2:
        right, left = (performance.score.parts[index] for index in performance.parts)
        return f"{_part_name(right)} is for the right hand, {_part_name(left)} for the left."
    staves = performance.part.staves
    if staves == 1:
        return "The one staff is for the right hand."
    if staves == 2:
        return "The upper staff is for the right hand, the lower for the left."
    return f"The lowest of the {staves} staves is for the left hand, all others for the right."


def _part_name(part: Part) -> str:
    return f"{part.name} ({part.id})" if part.name else f"part {part.id}"


def _cautions(harp: Harp, wishes: Wishes) -> Iterator[str]:
    """What to say before anybody tunes."""
    if wishes.strung_for is None:
        return
    raised = [
        string.diatonic
        for string, before in zip(harp.strings, wishes.strung_for.strings, strict=True)
        if string.tuned > before.tuned
    ]
    if raised:
        yield (
            f"The tuning {harp.tuning} raises {len(raised)} strings above {wishes.strung_for.tuning} "
            f"({string_names(raised)}). {RAISING}"
        )


def _tunings_in_reach(harp: Harp, keys: tuple[SignatureOnHarp, ...]) -> Iterator[str]:
    """Usual tunings in which the harp reaches every signature, where it does not as it is."""
    if all(key.reached for key in keys):
        return
    for tuning in USUAL_TUNINGS:
        other = retuned(harp, tuning)
        if all(levers_for(other, key.key.alters).reached for key in keys):
            yield other.tuning

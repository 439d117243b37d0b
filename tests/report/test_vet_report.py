"""The report of a vet: verdicts, places and times of flips, assumptions and cautions, worked out by hand."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from small_scores import small_score

from harpkeys.harp.builtin import find_harp
from harpkeys.harp.players import DEFAULT_PLAYER, find_player
from harpkeys.harp.tunings import retuned
from harpkeys.report.model import Report
from harpkeys.report.performance import beat_moments, moment_at, perform_part, simplest_between
from harpkeys.report.vet import Wishes, vet
from harpkeys.score.model import Score
from harpkeys.score.reader import read_score

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
HARP = find_harp("34")
STEADY = "a stated assumption, no published figure: steady: flip 0.6 s, leave 0.15 s, place 0.3 s."


def report(score: Score, harp: str = "34", wishes: Wishes | None = None) -> Report:
    return vet(score, find_harp(harp), DEFAULT_PLAYER, wishes)


def test_as_set() -> None:
    found = report(small_score("F#4:4|G4:4", fifths=1))
    assert found.verdict == "as set"
    assert found.plan.flips == ()
    assert found.min_slack is None
    assert (found.tempo.ceiling, found.tempo.playing) == (None, 1.0)
    assert found.tempo.player_needed == find_player("unhurried")


def test_with_flips_tells_free_time_and_written_rest() -> None:
    # At quarter = 120 the left hand plucks every half second and has no time. The right plucks G4 at 0 s and
    # G#4 at 2 s: free from 0.15 to 1.7 s, which is 3.1 beats; the page gives it 3 beats, 1.5 s, of rest.
    left = "C3:1 D3:1 E3:1 D3:1"
    found = report(small_score(f"G4:1 r:3/{left}|G#4:1 r:3/{left}", tempo=120))
    assert found.verdict == "with flips"
    (flip,), (time,) = found.plan.flips, found.flip_times
    assert flip.hand == "right"
    assert (time.free, time.free_beats) == (1550, Fraction(31, 10))
    assert (time.rest, time.rest_beats) == (1500, 3)
    assert (time.moment.measure, time.moment.visit, time.moment.number) == (0, 0, 1)
    assert time.moment.quarters * 500 == flip.start
    # Clean from 0.5 s, when G4 ends, to 1.7 s, less the flip itself.
    assert 500 <= flip.start <= 1100
    assert found.min_slack == 1100 - flip.start


def test_beats_are_those_of_the_time_signature() -> None:
    # The same in 6/8: the beat is an eighth, a quarter of a second, so all counts double.
    left = "C3:1 D3:1 E3:1"
    found = report(small_score(f"G4:1 r:2/{left}|G#4:1 r:2/{left}", tempo=90, time=(6, 8)))
    (time,) = found.flip_times
    assert time.rest_beats == 4
    assert time.free_beats == (2000 - 150 - 300) / (Fraction(60_000, 180))


def test_with_cuts() -> None:
    found = report(small_score("G4:2 G#4:2"))
    assert found.verdict == "with cuts"
    assert [passage.reason for passage in found.passages] == ["cut"]


def test_not_as_written() -> None:
    found = report(small_score("G4+G#4:4"))
    assert found.verdict == "not as written"
    assert [passage.reason for passage in found.passages] == ["clash"]


def test_a_lost_auxiliary_is_not_as_written_either() -> None:
    found = vet(read_score(CORPUS / "magpies-minuet.musicxml"), find_harp("34 in F"), DEFAULT_PLAYER)
    assert found.plan.criteria.lost_auxiliaries
    assert found.verdict == "not as written"


def test_what_is_taken_for_granted() -> None:
    found = report(small_score("C4:4", tempo=None), wishes=Wishes(harp_assumed=True))
    assert found.assumptions == (
        "No harp is named: the 34-string in C is assumed.",
        "The one staff is for the right hand.",
        f"Player's times, {STEADY}",
        "The score gives no tempo: quarter = 90 is assumed.",
    )


def test_a_given_tempo_is_said() -> None:
    found = report(small_score("C4:4/C3:4"), wishes=Wishes(bpm=Fraction(96), scale=Fraction("0.8")))
    assert found.performance.clock.bpm == Fraction("76.8")
    assert found.assumptions == (
        "The upper staff is for the right hand, the lower for the left.",
        f"Player's times, {STEADY}",
        "The tempo is the one you gave; all tempos of the score keep their proportion to the first.",
        "All tempos are multiplied by 0.8.",
    )


def test_the_part_taken_is_said() -> None:
    found = report(small_score("C4:4", "C4:4", names=("Flute", "Harp")))
    assert "Of 2 parts, Harp (P2) is taken for the harp's." in found.assumptions
    assert found.performance.part.id == "P2"


def test_joined_parts_are_two_hands() -> None:
    score = small_score("G#4:4", "Bb2:4", names=("Right", "Left"))
    found = report(score, wishes=Wishes(part="P1+P2"))
    assert found.assumptions[0] == "Right (P1) is for the right hand, Left (P2) for the left."
    assert [(pluck.pitch.name, pluck.hand) for pluck in found.performance.plucks] == [
        ("G#4", "right"),
        ("Bb2", "left"),
    ]
    assert [(one.written.name, one.staff) for one in found.accidentals.notes] == [("G#4", 1), ("Bb2", 2)]
    assert [key.key.staff for key in found.keys] == [1, 2]


def test_raising_strings_is_cautioned() -> None:
    strung = find_harp("34 in E-flat")
    found = vet(small_score("C4:4"), retuned(strung, "C"), DEFAULT_PLAYER, Wishes(strung_for=strung))
    (caution,) = found.cautions
    assert caution.startswith("The tuning C raises 14 strings above E-flat (E2, A2, B2, E3, A3, B3, ")
    assert "Do not tune a string above the pitch it is made for" in caution
    lowered = vet(small_score("C4:4"), strung, DEFAULT_PLAYER, Wishes(strung_for=HARP))
    assert lowered.cautions == ()


def test_tunings_that_reach_the_signatures_are_named() -> None:
    # By the trade's table: 3 flats are reached from E-flat and A-flat, of the usual five.
    assert report(small_score("C4:4", fifths=-3)).tunings == ("E-flat", "A-flat")
    assert report(small_score("C4:4", fifths=1)).tunings == ()


def test_a_pickup_counts_its_beats_from_its_end() -> None:
    performance = perform_part(small_score("G4:1|C4:4", implicit=True))
    assert beat_moments(performance) == (0, 1000, 2000, 3000, 4000)
    half = perform_part(small_score("G4:1.5|C4:4", implicit=True))
    assert beat_moments(half) == (500, 1500, 2500, 3500, 4500)


@pytest.mark.parametrize("name", ["five-bridges", "the-mill-turns", "twice-round-the-well", "doorstep-jig"])
def test_moments_lead_back_to_the_page(name: str) -> None:
    """Every onset, and every millisecond between, is found at a place that sounds at that millisecond."""
    performance = perform_part(read_score(CORPUS / f"{name}.musicxml"))
    clock, resolution = performance.clock, performance.score.resolution
    for pluck in performance.plucks:
        moment = moment_at(performance, pluck.onset)
        assert (moment.measure, moment.visit) == (pluck.place.measure, pluck.place.visit)
        assert moment.quarters == Fraction(pluck.place.tick, resolution)
    for milliseconds in range(0, performance.plucks[-1].onset, 97):
        moment = moment_at(performance, milliseconds)
        tick = clock.visit_starts[moment.visit] + moment.quarters * resolution
        exact = clock.exactly(tick)
        assert milliseconds - Fraction(1, 2) <= exact < milliseconds + Fraction(1, 2)


def test_tempo_at_a_pluck_is_the_tempo_there() -> None:
    performance = perform_part(small_score("C4:1 D4:1 E4:1 F4:1", tempo=84))
    assert {performance.tempo_at(pluck) for pluck in performance.plucks} == {Fraction(84)}
    assert performance.at_factor(Fraction(1, 2))[1].onset == 1429


def test_simplest_between_is_the_smallest_denominator() -> None:
    assert simplest_between(Fraction(2, 7), Fraction(2, 5)) == Fraction(1, 3)
    assert simplest_between(Fraction(3), Fraction(4)) == 3
    assert simplest_between(Fraction(1, 3), Fraction(1, 2)) == Fraction(1, 3)
    assert simplest_between(Fraction(314, 100), Fraction(315, 100)) == Fraction(22, 7)

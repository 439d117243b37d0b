"""The JSON of `harpkeys vet` against the contract: its shape by a JSON Schema, its meaning by a replay.

The replay here reads nothing but the JSON: it moves levers as the flips say and listens to every string.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from plan_schema import PLAN_SCHEMA

from harpkeys.cli import main

CORPUS = Path(__file__).resolve().parents[2] / "corpus"
SCORES = sorted(path for path in CORPUS.iterdir() if path.suffix in (".musicxml", ".mxl"))
CASES = [(path, harp) for path in SCORES for harp in ("34", "34 in E-flat", "22-fc")]
VALIDATOR = jsonschema.Draft202012Validator(PLAN_SCHEMA)

Plan = dict[str, Any]


def vet(capsys: pytest.CaptureFixture[str], *words: str) -> Plan:
    assert main(["vet", *words, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return json.loads(out)  # type: ignore[no-any-return]


def test_the_corpus_was_found() -> None:
    assert len(SCORES) >= 10


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(PLAN_SCHEMA)


@pytest.mark.parametrize(("score", "harp"), CASES, ids=lambda value: getattr(value, "stem", value))
def test_the_json_keeps_the_contract(score: Path, harp: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["vet", str(score), "--harp", harp, "--json"]) == 0
    text = capsys.readouterr().out
    exact = json.loads(text, parse_float=Decimal)
    assert [f"{list(error.path)}: {error.message}" for error in VALIDATOR.iter_errors(exact)] == []
    plan = json.loads(text)
    check_counts(plan)
    check_replay(plan)
    check_flips(plan)
    check_passages(plan)


def check_counts(plan: Plan) -> None:
    plucks, flips, criteria = plan["plucks"], plan["flips"], plan["criteria"]
    lost = [pluck for pluck in plucks if pluck["lost"]]
    assert [pluck["id"] for pluck in plucks] == list(range(len(plucks)))
    assert [flip["id"] for flip in flips] == list(range(len(flips)))
    assert plan["score"]["plucks"] == len(plucks)
    assert criteria["lost"] == sum(pluck["kind"] != "auxiliary" for pluck in lost)
    assert criteria["lost_auxiliaries"] == sum(pluck["kind"] == "auxiliary" for pluck in lost)
    assert criteria["cuts"] == sum(flip["kind"] == "cut" for flip in flips)
    assert criteria["flips"] == len(flips)
    assert criteria["right_hand"] == sum(flip["hand"] == "right" for flip in flips)
    assert criteria["off_string"] == sum(
        pluck["string"] is not None and pluck["string"] != pluck["written"][0] + pluck["written"][-1]
        for pluck in plucks
    )
    assert criteria["min_slack_s"] == min((flip["slack_s"] for flip in flips), default=None)
    bound = [plan["bound"][name] for name in ("lost", "lost_auxiliaries", "cuts", "flips_and_off_string")]
    reached = [criteria["lost"], criteria["lost_auxiliaries"], criteria["cuts"]]
    assert bound <= [*reached, criteria["flips"] + criteria["off_string"]]
    verdict = (
        "not as written" if lost else "with cuts" if criteria["cuts"] else "with flips" if flips else "as set"
    )
    assert plan["verdict"] == verdict


def check_replay(plan: Plan) -> None:
    """Every note that is not lost sounds at its pitch when the levers move as the flips say."""
    strings = {string["name"]: string for string in plan["harp"]["strings"]}
    states = {name: "up" if name in plan["starting_levers"] else "down" for name in strings}
    flips = sorted(plan["flips"], key=lambda flip: flip["start_s"])
    onsets = [pluck["onset_s"] for pluck in plan["plucks"]]
    assert onsets == sorted(onsets)
    for pluck in plan["plucks"]:
        while flips and flips[0]["start_s"] < pluck["onset_s"]:
            flip = flips.pop(0)
            assert states[flip["string"]] != flip["to"], "a flip changes its lever"
            states[flip["string"]] = flip["to"]
        if pluck["lost"]:
            assert (pluck["string"], pluck["state"]) == (None, None)
            continue
        assert pluck["state"] == states[pluck["string"]]
        assert strings[pluck["string"]][pluck["state"]] == pluck["midi"]
    assert flips == []


def check_flips(plan: Plan) -> None:
    strings = {string["name"]: string for string in plan["harp"]["strings"]}
    player = plan["player"]
    for flip in plan["flips"]:
        prepared, left = plan["plucks"][flip["before"]], plan["plucks"][flip["after"]]
        assert (prepared["string"], prepared["state"]) == (flip["string"], flip["to"])
        assert flip["start_s"] + player["flip"] <= prepared["onset_s"] + 1e-9
        assert left["onset_s"] <= flip["start_s"]
        assert (flip["kind"] == "cut") == (flip["start_s"] < left["end_s"])
        assert (flip["cut_s"] > 0) == (flip["kind"] == "cut")
        assert flip["free_s"] >= player["flip"] + flip["slack_s"] - 1e-9
        assert strings[flip["string"]]["lever"]
        letter, octave = flip["sounds"][0], flip["sounds"][-1]
        assert letter + octave == flip["string"]
        assert (flip["rest_beats"] > 0) == (flip["rest_s"] > 0)


def check_passages(plan: Plan) -> None:
    """Every lost and every cut note is flagged exactly once, for its own reason."""
    cut = {flip["after"] for flip in plan["flips"] if flip["kind"] == "cut"}
    wanted = sorted(
        [(pluck["id"], pluck["lost"]) for pluck in plan["plucks"] if pluck["lost"]]
        + [(pluck, "cut") for pluck in cut]
    )
    told = sorted((pluck, passage["reason"]) for passage in plan["passages"] for pluck in passage["plucks"])
    assert told == wanted
    for passage in plan["passages"]:
        first, last = (plan["plucks"][passage["plucks"][end]] for end in (0, -1))
        assert passage["from"]["measure"] == first["measure"]
        assert passage["from"]["q"] == first["q"]
        assert passage["to"]["measure"] == last["measure"]
        assert {plan["plucks"][pluck]["pass"] for pluck in passage["plucks"]} == {passage["pass"]}
        assert passage["say"].endswith(".")
        assert passage["say"] == " ".join(passage["say"].split())


def test_onsets_agree_with_the_tempo(capsys: pytest.CaptureFixture[str]) -> None:
    plan = vet(capsys, str(CORPUS / "five-bridges.musicxml"), "--tempo", "96", "--tempo-scale", "0.8")
    assert plan["score"]["tempo_source"] == "given"
    assert plan["score"]["bpm"] == 76.8
    for pluck in plan["plucks"]:
        exact = Fraction(pluck["onset_q"]) * 60_000 / Fraction("76.8")
        assert round(1000 * pluck["onset_s"]) == (2 * exact + 1) // 2


def test_the_same_input_gives_the_same_bytes() -> None:
    def run(seed: str) -> bytes:
        command = [
            sys.executable,
            "-m",
            "harpkeys",
            "vet",
            str(CORPUS / "rain-on-the-skylight.musicxml"),
            "--json",
        ]
        finished = subprocess.run(
            command, env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        )
        assert finished.stderr == b""
        return finished.stdout

    one, other = run("1"), run("2")
    assert one == other
    assert json.loads(one)["format"] == "harpkeys/plan/1"

"""What other programs may rely on, as a JSON Schema (2020-12): written from the contract, not from the code.

Fields may be added, so extra ones are allowed; those named are required and keep their meaning. Whole
milliseconds are exact only in decimals: read the JSON with `parse_float=Decimal`.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

Schema = dict[str, Any]


def record(**fields: Schema) -> Schema:
    return {"type": "object", "properties": fields, "required": list(fields)}


def listed(item: Schema) -> Schema:
    return {"type": "array", "items": item}


def nullable(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "number"}
COUNT: Schema = {"type": "integer", "minimum": 0}
WHOLE: Schema = {"type": "integer"}
SWITCH: Schema = {"type": "boolean"}
SECONDS: Schema = {"type": "number", "minimum": 0, "multipleOf": Decimal("0.001")}
QUARTERS: Schema = {"type": "string", "pattern": r"^[0-9]+(/[1-9][0-9]*)?$"}
STRING: Schema = {"type": "string", "pattern": r"^[A-G][0-9]$"}
NOTE: Schema = {"type": "string", "pattern": r"^[A-G](#{1,3}|b{1,3})?-?[0-9]+$|^[A-G][+-][0-9.]+ -?[0-9]+$"}
HAND: Schema = {"enum": ["left", "right"]}
STATE: Schema = {"enum": ["down", "up"]}
PASS: Schema = {"type": "integer", "minimum": 1}
LOST = ["below", "above", "no lever", "clash", "no time"]
FACTOR: Schema = {"type": "number", "exclusiveMinimum": 0}

SCORE = record(
    title=TEXT,
    part=TEXT,
    part_name=TEXT,
    measures=COUNT,
    plucks=COUNT,
    tempo_source={"enum": ["score", "assumed", "given"]},
    bpm=FACTOR,
)
HARP = record(
    name=TEXT,
    tuning=TEXT,
    strings=listed(
        record(
            name=STRING,
            number={"type": "integer", "minimum": 1},
            tuned={"enum": [-1, 0, 1]},
            lever=SWITCH,
            down=WHOLE,
            up=nullable(WHOLE),
        )
    ),
)
KEY = record(
    measure=TEXT,
    index=COUNT,
    staff=nullable(COUNT),
    fifths=nullable(WHOLE),
    mode=nullable(TEXT),
    levers=listed(STRING),
    reachable=SWITCH,
)
ACCIDENTAL = record(
    measure=TEXT, index=COUNT, q=QUARTERS, staff=COUNT, written=NOTE, against=NOTE, string=nullable(STRING)
)
PLUCK = record(
    id=COUNT,
    onset_q=QUARTERS,
    onset_s=SECONDS,
    end_s=SECONDS,
    midi=NUMBER,
    written=NOTE,
    hand=HAND,
    staff=COUNT,
    measure=TEXT,
    index=COUNT,
    q=QUARTERS,
    **{"pass": PASS},
    kind={"enum": ["note", "grace", "auxiliary", "tremolo", "harmonic"]},
    string=nullable(STRING),
    state=nullable(STATE),
    lost={"enum": [None, *LOST]},
)
FLIP = record(
    id=COUNT,
    string=STRING,
    to=STATE,
    sounds=NOTE,
    hand=HAND,
    start_s=SECONDS,
    measure=TEXT,
    index=COUNT,
    q=QUARTERS,
    **{"pass": PASS},
    kind={"enum": ["clean", "cut"]},
    cut_s=SECONDS,
    slack_s=SECONDS,
    free_s=SECONDS,
    free_beats={"type": "number", "minimum": 0},
    rest_beats={"type": "number", "minimum": 0},
    before=COUNT,
)
CRITERIA = record(
    lost=COUNT,
    lost_auxiliaries=COUNT,
    cuts=COUNT,
    flips=COUNT,
    off_string=COUNT,
    right_hand=COUNT,
    min_slack_s=nullable(SECONDS),
)
BOUND = record(
    lost=COUNT,
    lost_auxiliaries=COUNT,
    cuts=COUNT,
    flips_and_off_string=COUNT,
    flips=COUNT,
    right_hand=COUNT,
)
PLACE = record(measure=TEXT, q=QUARTERS)
PASSAGE = record(
    **{"from": PLACE, "to": PLACE, "pass": PASS},
    reason={"enum": [*LOST, "cut"]},
    plucks={"type": "array", "items": COUNT, "minItems": 1},
    say=TEXT,
    mend={"type": "array", "items": TEXT, "minItems": 1},
)
HANDS = record(measure=TEXT, q=QUARTERS, hand=HAND, what={"enum": ["notes", "span", "repeat"]}, say=TEXT)

PLAN_SCHEMA: Schema = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    **record(
        format={"const": "harpkeys/plan/1"},
        score=SCORE,
        harp=HARP,
        player=record(flip=SECONDS, leave=SECONDS, place=SECONDS),
        keys=listed(KEY),
        accidentals=listed(ACCIDENTAL),
        starting_levers=listed(STRING),
        plucks=listed(PLUCK),
        flips=listed(FLIP),
        criteria=CRITERIA,
        bound=BOUND,
        proved=SWITCH,
        tempo_ceiling=nullable(record(factor=FACTOR, bpm=FACTOR, flip=COUNT)),
        playing_tempo=nullable(record(factor=FACTOR, bpm=FACTOR)),
        player_needed=nullable({"enum": ["unhurried", "steady", "nimble"]}),
        passages=listed(PASSAGE),
        hands=listed(HANDS),
        verdict={"enum": ["as set", "with flips", "with cuts", "not as written"]},
        assumptions=listed(TEXT),
    ),
}

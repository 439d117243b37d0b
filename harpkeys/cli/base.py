"""`harpkeys base`: which base tuning suits a harp with its levers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

import typer

from harpkeys.cli.options import (
    HarpOption,
    JsonOption,
    LeversOption,
    LowestOption,
    StringsOption,
    chosen_harp,
)
from harpkeys.cli.terminal import Line

if TYPE_CHECKING:
    from harpkeys.choose.lever_advice import BaseTuning, LeverAdvice
    from harpkeys.choose.scales import Scale

FORMAT = "harpkeys/base/1"

KeysOption = Annotated[
    str | None,
    typer.Option("--keys", help='Keys you usually play in, "G, D, E minor".', metavar="KEYS"),
]


def command(
    harp: HarpOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    keys: KeysOption = None,
    as_json: JsonOption = False,
) -> str:
    """Says which base tuning suits a harp with levers on some or all of its strings.

    For a learner and for an experienced player, by the keys they usually play in and by how common each key
    signature is in folk tunes.
    """
    from harpkeys.choose.lever_advice import advise
    from harpkeys.cli.terminal import is_styled, rendered

    chosen = chosen_harp(harp, None, levers, lowest, strings).harp
    advice = advise(chosen, usual_keys(keys) if keys is not None else ())
    return _json(advice) if as_json else rendered(_lines(advice), styled=is_styled())


def usual_keys(text: str) -> tuple[Scale, ...]:
    """The keys of --keys.

    Raises:
        OptionError: one of them is no key.
    """
    import re

    from harpkeys.choose.called_out import parse_called
    from harpkeys.choose.scales import Scale
    from harpkeys.errors import OptionError
    from harpkeys.harp.naming import quoted

    words = [word.strip() for word in re.split(r"[,;]", text) if word.strip()]
    if len(words) == 1:
        # Without commas each word is a key, unless all of it is one ("E minor").
        try:
            parse_called(words[0])
        except OptionError:
            words = words[0].split()
    found: list[Scale] = []
    for word in words:
        key = parse_called(word).sounding[0]
        if not isinstance(key, Scale):
            raise OptionError(f"{quoted(word)} in --keys is a chord", 'name keys, such as "G, D, E minor"')
        found.append(key)
    if not found:
        raise OptionError("--keys names no key", 'name keys, such as "G, D, E minor"')
    return tuple(found)


def _lines(advice: LeverAdvice) -> Iterator[Line]:
    from harpkeys.choose.lever_advice import commonest_half
    from harpkeys.choose.scales import note_signs
    from harpkeys.cli.text_layout import entries, heading, paragraph, table
    from harpkeys.harp.levers import levers_text
    from harpkeys.harp.naming import listed

    learner, experienced = advice.learner, advice.experienced
    same = learner.harp.tuning == experienced.harp.tuning
    yield Line("Base tuning", "heading")
    if same:
        yield from paragraph(f"Tune it in {learner.harp.tuning}, learner or not.", role="alarm")
    else:
        yield from paragraph(
            f"A learner: {learner.harp.tuning}. An experienced player: {experienced.harp.tuning}.",
            role="alarm",
        )
    usual = advice.usual or commonest_half()
    names = listed([scale.name for scale in usual])
    source = "" if advice.usual else ", the commonest of the counted tunes, since none were named"
    yield Line()
    yield from entries(
        [
            ("Levers", f"{_levers(levers_text(advice.harp))}."),
            ("Keys", f"{names}{source}."),
            ("Counted", f"{advice.counted} folk tunes, by their key signatures."),
        ]
    )
    yield from heading("Why")
    yield from paragraph(f"{'Both' if same else 'Learner'}: {_learner_reason(advice)}", 2)
    yield from paragraph(f"{'Reach' if same else 'Experienced'}: {_experienced_reason(advice)}", 2)
    yield from heading("The usual tunings")
    rows = [("tuning", "major keys", "of the tunes", "levers up", "never used")]
    rows += [_row(advice, choice) for choice in advice.learner_tunings]
    yield from table(rows)
    tonics = listed([note_signs(scale.tonic) for scale in usual])
    yield from paragraph(
        "of the tunes: whose signature is in reach before a lever moves; levers up: letters, on average over "
        f"those of {'your' if advice.usual else 'these'} keys that are in reach ({tonics}); never used: "
        "letters with levers that no key in reach needs.",
        2,
    )
    yield from _change(advice)


def _levers(text: str) -> str:
    return {"all": "on every string", "none": "none"}.get(text, f"on {text}")


def _row(advice: LeverAdvice, choice: BaseTuning) -> tuple[str, str, str, str, str]:
    from harpkeys.pitch import LETTERS

    return (
        choice.harp.tuning,
        _range(choice),
        _percent(choice.tunes, advice.counted),
        "-" if choice.levers_up is None else f"{float(choice.levers_up):.1f}{_missed(choice)}",
        " ".join(LETTERS[letter] for letter in choice.idle) or "-",
    )


def _range(choice: BaseTuning) -> str:
    """The major keys in reach: "C to C♯ (8)"."""
    from harpkeys.choose.scales import note_signs, scale_on

    names = [note_signs(scale_on(fifths, "major").tonic) for fifths in choice.signatures]
    if not names:
        return "none"
    return f"{names[0]} to {names[-1]} ({len(names)})" if len(names) > 1 else names[0]


def _missed(choice: BaseTuning) -> str:
    return f", {len(choice.missed)} out" if choice.missed else ""


def _percent(tunes: int, counted: int) -> str:
    return f"{100 * tunes / counted:.1f} %"


def _learner_reason(advice: LeverAdvice) -> str:
    from harpkeys.harp.naming import listed
    from harpkeys.pitch import LETTERS

    choice, tuning = advice.learner, advice.learner.harp.tuning
    if choice.levers_up is None:
        return (
            "no usual tuning reaches any of these keys with these levers; of them all "
            f"{tuning} leaves the fewest strings flat."
        )
    text = f"{tuning} plays {len(choice.usual) - len(choice.missed)} of {len(choice.usual)} keys"
    out = f"out of its reach: {listed([scale.name for scale in choice.missed])}"
    if not any(string.lever for string in advice.harp.strings):
        return f"{text}; {out}." if choice.missed else f"{text}."
    text += f" with {float(choice.levers_up):.1f} letters of levers up on average"
    others = [
        other
        for other in advice.learner_tunings
        if other is not choice and len(other.missed) == len(choice.missed) and other.levers_up is not None
    ]
    if others:
        told = listed([f"{other.harp.tuning} {float(other.levers_up or 0):.1f}" for other in others])
        text += f" ({told})"
    for other in others:
        if (other.levers_up or 0) < choice.levers_up:
            idle = listed([LETTERS[letter] for letter in other.idle])
            text += f"; {other.harp.tuning} would need fewer, but never use its {idle} levers"
    if choice.missed:
        text += f"; {out}"
    return f"{text}. The fewer levers are up, the less there is to forget and the more strings ring open."


def _experienced_reason(advice: LeverAdvice) -> str:
    choice = advice.experienced
    share, number = _percent(choice.tunes, advice.counted), len(choice.signatures)
    signatures = "1 signature, that" if number == 1 else f"{number} signatures, those"
    text = f"{choice.harp.tuning} reaches {signatures} of {share} of the counted tunes, before a lever moves"
    if choice.harp.tuning != advice.learner.harp.tuning:
        learner = next(each for each in advice.tunings if each.harp.tuning == advice.learner.harp.tuning)
        text += f"; with {learner.harp.tuning} it is {_percent(learner.tunes, advice.counted)}"
    return f"{text}."


def _change(advice: LeverAdvice) -> Iterator[Line]:
    """What the strings have to do to come to the tunings advised."""
    from harpkeys.cli.text_layout import heading, paragraph
    from harpkeys.report.vet import RAISING
    from harpkeys.report.words import strings_text

    told, raising = [], False
    for harp in dict.fromkeys((advice.learner.harp, advice.experienced.harp)):
        pairs = list(enumerate(zip(advice.harp.strings, harp.strings, strict=True)))
        down = [index for index, (old, new) in pairs if new.tuned < old.tuned]
        up = [index for index, (old, new) in pairs if new.tuned > old.tuned]
        raising = raising or bool(up)
        moves = [f"lower {strings_text(harp, down)}"] if down else []
        moves += [f"raise {strings_text(harp, up)}"] if up else []
        if moves:
            told.append(f"If it stands in {advice.harp.tuning} now: for {harp.tuning} {', '.join(moves)}.")
    if told:
        yield from heading("The strings")
        for text in told:
            yield from paragraph(text, 2)
        back = "The way back raises the strings to where they were."
        yield from paragraph(RAISING if raising else back, 2)


def _json(advice: LeverAdvice) -> str:
    from harpkeys.cli.data_text import json_text
    from harpkeys.cli.keys_view import harp_entry
    from harpkeys.harp.levers import levers_text

    return json_text(
        {
            "format": FORMAT,
            "harp": {**harp_entry(advice.harp), "levers": levers_text(advice.harp)},
            "counted": advice.counted,
            "usual_keys": [scale.name for scale in advice.usual],
            "learner": advice.learner.harp.tuning,
            "experienced": advice.experienced.harp.tuning,
            "learner_tunings": [_entry(choice) for choice in advice.learner_tunings],
            "tunings": [_entry(choice) for choice in advice.tunings],
        }
    )


def _entry(choice: BaseTuning) -> dict[str, object]:
    from harpkeys.pitch import LETTERS

    return {
        "tuning": choice.harp.tuning,
        "signatures": list(choice.signatures),
        "tunes": choice.tunes,
        "missed": [scale.name for scale in choice.missed],
        "levers_up": None if choice.levers_up is None else round(float(choice.levers_up), 3),
        "common_levers_up": None if choice.common_up is None else round(float(choice.common_up), 3),
        "never_used": [LETTERS[letter] for letter in choice.idle],
        "flats": choice.flats,
    }

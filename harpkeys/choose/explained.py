"""A beginner's question answered for the harp at hand: why a string has two notes, and why flats are hard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from harpkeys.choose.key_reach import KeyReach
from harpkeys.choose.scales import note_signs, note_words
from harpkeys.harp.model import Harp
from harpkeys.harp.naming import listed
from harpkeys.harp.tunings import Letters, tuning_of_strings
from harpkeys.pitch import LETTERS, SHARP_ORDER


def explain(harp: Harp, reaches: Sequence[KeyReach]) -> tuple[str, ...]:
    """Why this harp plays the keys it plays, in a few paragraphs.

    Args:
        harp: the harp.
        reaches: how it plays every usual scale.
    """
    return (*_strings(harp), *_flats(harp), *_keys(harp, reaches))


def _strings(harp: Harp) -> Iterator[str]:
    if not any(string.lever for string in harp.strings):
        yield (
            "This harp has no levers, so each string has one note: the one it is tuned to. Another key means "
            "tuning strings anew."
        )
        return
    yield (
        "A string with a lever has just two notes. With the lever down the whole string sounds, as it was "
        "tuned. With the lever up a shorter piece of it sounds, and that is one semitone higher. There is no "
        "third note: no lever makes a string lower, and none lifts it by two steps."
    )


def _flats(harp: Harp) -> Iterator[str]:
    """What the two notes mean for the letters that are tuned natural, and for those tuned flat."""
    letters = tuning_of_strings(harp.strings).letters
    levers = {string.diatonic % 7 for string in harp.strings if string.lever}
    natural = next((k for k in reversed(SHARP_ORDER) if letters[k] == 0), None)
    if levers and natural is not None:
        yield _about_flats(letters, levers, natural)
        below = (natural - 1) % 7
        if letters[below] == 0 and below in levers:
            yield (
                f"There is one way round. {note_words((below, 1))} sounds the same as "
                f"{note_words((natural, -1))}, "
                f"so you can play it on the {LETTERS[below]} string with its lever up. But while that lever "
                f"is up, the string has no {LETTERS[below]}, and a tune that needs both keeps you moving it."
            )
    flats = [k for k in reversed(SHARP_ORDER) if letters[k] < 0]
    with_lever = [k for k in flats if k in levers]
    letters_up = "one letter" if len(with_lever) == 1 else f"{len(with_lever)} letters"
    if with_lever:
        names = listed([note_signs((k, -1)) for k in with_lever])
        naturals = listed([LETTERS[k] for k in with_lever])
        yield (
            f"That is why this harp is not tuned all natural: its {naturals} strings are tuned flat. With "
            f"their levers down you have {names}, with their levers up {naturals}: both are there, at the "
            f"price of {letters_up} of levers up for C major."
        )
    elif not flats and levers == set(range(7)):
        yield (
            "Many players tune some strings flat for this reason, often B, E and A: their levers up give the "
            "naturals, their levers down the flats. That tuning is called E-flat, after the key that sounds "
            "with every lever down."
        )


def _about_flats(letters: Letters, levers: set[int], natural: int) -> str:
    name, flat = LETTERS[natural], note_words((natural, -1))
    sharp = f"{name} or {note_words((natural, 1))}" if natural in levers else f"{name} alone"
    return (
        "Sharps are easy: a string tuned natural becomes sharp when its lever goes up. Flats are not. "
        f"{name} sounds {sharp} here; {flat} lies lower than the string itself, and a lever cannot take it "
        "there."
    )


def _keys(harp: Harp, reaches: Sequence[KeyReach]) -> Iterator[str]:
    majors = [reach for reach in reaches if reach.scale.kind == "major" and reach.reached]
    if not majors:
        yield "As it is tuned, it sounds none of the usual major keys."
        return
    names = listed([note_words(reach.scale.tonic) for reach in majors])
    if len(majors) == 1:
        yield f"So of the major keys this harp has {names} alone, with its minor and its modes."
        return
    yield (
        f"So the major keys of this harp are {names}. Each next one takes one more letter of levers than the "
        "one before: raise them in every octave before you begin, and the whole piece stays in the key."
    )

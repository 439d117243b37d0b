"""`harpkeys transpose`: the score in another key, as MusicXML."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from harpkeys.cli.options import (
    HarpOption,
    LeversOption,
    LowestOption,
    OverwriteOption,
    PartOption,
    PlayerOption,
    ScoreArgument,
    StringsOption,
    TempoOption,
    TempoScaleOption,
    TuningOption,
    asked,
)

if TYPE_CHECKING:
    from harpkeys.choose.transposition import Move
    from harpkeys.score.model import KeySignature, Score

Way = Literal["up", "down", "near"]

OutputOption = Annotated[
    Path | None,
    typer.Option(
        "--output",
        "-o",
        help="File to write, .musicxml, .xml or .mxl; beside the score and named after its key "
        "(tune.in-G.musicxml) where none is given.",
        metavar="FILE",
    ),
]
ByOption = Annotated[
    str | None,
    typer.Option(
        "--by", help='How far: semitones ("-2") or words ("down a tone", "up a minor third").', metavar="FAR"
    ),
]
ToOption = Annotated[
    str | None,
    typer.Option(
        "--to", help='To which key: its tonic ("G", "B-flat") or its name ("E minor").', metavar="KEY"
    ),
]
WayOption = Annotated[
    str, typer.Option("--way", help="With --to: up, down, or near for the shorter way.", metavar="WAY")
]
MarkOption = Annotated[
    bool, typer.Option("--mark", help="Mark the levers in the transposed score, as mark does, for --harp.")
]


def command(
    score: ScoreArgument,
    by: ByOption = None,
    to: ToOption = None,
    way: WayOption = "near",
    output: OutputOption = None,
    overwrite: OverwriteOption = False,
    part: PartOption = None,
    mark: MarkOption = False,
    harp: HarpOption = None,
    tuning: TuningOption = None,
    levers: LeversOption = None,
    lowest: LowestOption = None,
    strings: StringsOption = None,
    player: PlayerOption = None,
    tempo: TempoOption = None,
    tempo_scale: TempoScaleOption = None,
) -> str:
    """Writes the score in another key, as MusicXML, with nothing else changed.

    Notes, accidentals, key signatures, chord symbols, figured bass and the accidentals of ornaments move;
    all parts move alike, spelled for the harp's part by the signature with the fewest sharps or flats.
    """
    from harpkeys.cli.reading import told_of
    from harpkeys.cli.terminal import SignsOfLife, native_output_silenced
    from harpkeys.errors import located
    from harpkeys.mark.files import output_path, packed_like, refuse_existing, write_safely
    from harpkeys.mark.transpose import transposed
    from harpkeys.score.container import open_score, read_tree
    from harpkeys.score.reader import score_from_tree
    from harpkeys.score.texts import plain_text

    chosen_way = _way(way)
    wanted = asked(harp, tuning, levers, lowest, strings, player, part, tempo, tempo_scale, None)
    with native_output_silenced(), SignsOfLife() as signs:
        signs.say(f"Reading {score.name}")
        opened = open_score(score)
        tree = read_tree(opened)
        with located(plain_text(str(score))):
            read = score_from_tree(tree, score.stem)
        parts = harp_parts(read, part)
        move, before = asked_move(read, parts, by, to, chosen_way)
        target = output_path(score, output, _word(move, before))
        refuse_existing(target, overwrite=overwrite)
        signs.say("Transposing")
        result = transposed(tree, move)
        document, sentences = result.document, list(result.remarks)
        if mark:
            from harpkeys.mark.document import marked_document
            from harpkeys.report.vet import vet
            from harpkeys.report.words import verdict_sentence

            moved = score_from_tree(result.tree, score.stem)
            with told_of(score):
                report = vet(moved, wanted.harp, wanted.player, wanted.wishes, signs.say)
            document = marked_document(report)
            sentences.append(verdict_sentence(report))
        write_safely(target, packed_like(opened, document, target), overwrite=overwrite)
    return _said(move, before, result.notes, sentences, target)


def harp_parts(score: Score, part: str | None) -> tuple[int, ...]:
    """The parts whose key decides how the score is spelled: the harp's, or the first where that is not clear.

    Raises:
        PartError: a part is named that does not exist.
    """
    from harpkeys.errors import PartError
    from harpkeys.score.parts import choose_part

    try:
        return choose_part(score, part)
    except PartError:
        if part is not None:
            raise
        return (0,)


def asked_move(
    score: Score, parts: tuple[int, ...], by: str | None, to: str | None, way: Way
) -> tuple[Move, KeySignature]:
    """The move that is asked for, and the opening signature before it.

    Raises:
        OptionError: none, both or nonsense is asked for, or there is nothing to move.
    """
    from harpkeys.choose.transposition import nearest_semitones, page_keys, spelled_move
    from harpkeys.errors import OptionError
    from harpkeys.score.model import KeySignature

    if (by is None) == (to is None):
        raise OptionError("say either how far to move the score or to which key", "give one of --by and --to")
    keys = page_keys(score.parts[index] for index in parts)
    opening = keys[0] if keys else KeySignature(0, 0, None, 0, None, (0,) * 7)
    if by is not None:
        from harpkeys.choose.transposition import move_of

        semitones = semitones_of(by)
        if not semitones:
            raise OptionError("a move by 0 semitones moves nothing", "give another number with --by")
        return move_of(score, parts, semitones), opening
    fifths = signature_of(to or "", opening) - (opening.fifths or 0)
    semitones = nearest_semitones(fifths, way)
    if not semitones:
        raise OptionError("the score is in that key already", "use --by to move it by octaves")
    return spelled_move(semitones, fifths), opening


def semitones_of(text: str) -> int:
    """The semitones of --by.

    Raises:
        OptionError: it is no distance.
    """
    from harpkeys.choose.called_out import parse_called
    from harpkeys.errors import OptionError
    from harpkeys.score.texts import whole_number

    number = whole_number(text)
    if number is not None:
        return number
    try:
        return parse_called(f"C, {text}").moved
    except OptionError:
        raise OptionError(
            f"--by cannot be {text!r}", 'give semitones such as -2, or words such as "down a tone"'
        ) from None


def signature_of(text: str, opening: KeySignature) -> int:
    """The signature, in fifths, of the key of --to; a tonic alone keeps the mode of the score.

    Args:
        text: what was typed.
        opening: the opening signature of the score.

    Raises:
        OptionError: it is no key, has too many signs, or is of another mode than the score.
    """
    import re

    from harpkeys.choose.called_out import parse_called
    from harpkeys.choose.scales import Scale
    from harpkeys.choose.transposition import MOST_SIGNS
    from harpkeys.errors import OptionError
    from harpkeys.harp.naming import MODE_TONICS, key_name
    from harpkeys.pitch import LETTER_FIFTHS

    try:
        said = parse_called(text).said
    except OptionError:
        said = None
    if not isinstance(said, Scale):
        raise OptionError(f"--to cannot be {text!r}", 'name a key, such as "G", "B-flat" or "E minor"')
    if opening.fifths is None:
        raise OptionError("the score opens with a mixed key signature", "use --by to say how far to move it")
    mode = "minor" if said.kind.endswith("minor") else said.kind
    if re.fullmatch(r"\s*[A-Ga-g](?:[#b♯♭]|[\s-]*(?:sharp|flat))?\s*", text, re.IGNORECASE):
        mode = opening.mode or "major"
    elif opening.mode is not None and MODE_TONICS[mode] != MODE_TONICS[opening.mode]:
        raise OptionError(
            f"the score is in {key_name(opening.fifths, opening.mode)}, which moving does not make {mode}",
            'name the tonic alone, such as "G"',
        )
    fifths = LETTER_FIFTHS[said.tonic[0]] + 7 * said.tonic[1] - MODE_TONICS[mode]
    if abs(fifths) > MOST_SIGNS:
        raise OptionError(
            f"the key {text!r} has {abs(fifths)} sharps or flats", "name the key that sounds the same"
        )
    return fifths


def _way(text: str) -> Way:
    from harpkeys.errors import OptionError

    for way in ("up", "down", "near"):
        if text.strip().lower() == way:
            return way
    raise OptionError(f"--way cannot be {text!r}", "it is one of up, down, near")


def _word(move: Move, before: KeySignature) -> str:
    """What the result is called: "in-G", "in-E-minor"; by how far where the key stays or is a mixed one."""
    after = move.key(before)
    if after.fifths is None or after.fifths == before.fifths:
        return f"{'up' if move.semitones > 0 else 'down'}-{abs(move.semitones)}"
    from harpkeys.harp.naming import tonic_name

    mode = f"-{after.mode}" if after.mode not in (None, "major") else ""
    return f"in-{tonic_name(after.fifths, after.mode)}{mode}"


def _said(move: Move, before: KeySignature, notes: int, sentences: list[str], target: Path) -> str:
    """What was done, and where the result is."""
    from harpkeys.choose.recommend import distance_text, key_phrase
    from harpkeys.cli.terminal import is_styled, rendered
    from harpkeys.cli.text_layout import paragraph
    from harpkeys.report.words import count_text

    way = "up" if move.semitones > 0 else "down"
    what = f"Moved {way} {distance_text(move.semitones)}{key_phrase(move.key(before), ', now ')}"
    lines = [
        *paragraph(f"{what}; {count_text(notes, 'note')}.", role="alarm"),
        *(line for sentence in sentences for line in paragraph(sentence)),
        *paragraph(f"Written to {target}."),
    ]
    return rendered(lines, styled=is_styled())

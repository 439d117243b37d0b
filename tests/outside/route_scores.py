"""MusicXML files with the repeats, endings and jumps of a bar shorthand, for other people's readers.

The shorthand is that of tests/score/builders.py. Bar n holds one whole note; bars are numbered from 1.
"""

from __future__ import annotations

from harpkeys.score.model import Measure

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list><score-part id="P1">'
    '<part-name>Harp</part-name></score-part></part-list><part id="P1">'
)
TAIL = "</part></score-partwise>"

DIRECTION_TYPES = {
    "fine": "<words>Fine</words>",
    "tocoda": "<coda/>",
    "segno": "<segno/>",
    "coda": "<coda/>",
}


def musicxml(measures: tuple[Measure, ...], sound: bool = True) -> str:
    """A one-part MusicXML document with these bars.

    The words of jumps are complete, as in "D.C. al Fine", because music21 goes by words alone.

    Args:
        measures: the bars; their jumps become directions: targets at onset 0 before the note, the others
            after it.
        sound: whether the jumps have sound elements; else words and signs stand alone.
    """
    kinds = {jump.kind for measure in measures for jump in measure.jumps}
    goal = " al Coda" if "tocoda" in kinds else " al Fine" if "fine" in kinds else ""
    words = {"dacapo": f"<words>D.C.{goal}</words>", "dalsegno": f"<words>D.S.{goal}</words>"}
    types = {**DIRECTION_TYPES, **words}
    return HEAD + "".join(_measure(measures, index, types, sound) for index in range(len(measures))) + TAIL


def _measure(measures: tuple[Measure, ...], index: int, types: dict[str, str], sound: bool) -> str:
    measure = measures[index]
    before = measures[index - 1].ending if index else ()
    after = measures[index + 1].ending if index + 1 < len(measures) else ()
    starts = measure.ending and (measure.ending != before or measures[index - 1].closes)
    stops = measure.ending and (measure.ending != after or measure.closes)
    number = ",".join(str(one) for one in measure.ending)
    left = f'<ending number="{number}" type="start"/>' if starts else ""
    left += '<repeat direction="forward"/>' if measure.opens else ""
    kind = "stop" if measure.closes else "discontinue"
    right = f'<ending number="{number}" type="{kind}"/>' if stops else ""
    if measure.closes:
        times = f' times="{measure.closes}"' if measure.closes != 2 else ""
        right += f'<repeat direction="backward"{times}/>'
    early = [jump for jump in measure.jumps if jump.kind in ("segno", "coda") and not jump.onset]
    late = [jump for jump in measure.jumps if jump not in early]
    divisions = "<attributes><divisions>1</divisions></attributes>" if not index else ""
    note = (
        "<note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note>"
    )
    return (
        f'<measure number="{index + 1}">'
        + (f'<barline location="left">{left}</barline>' if left else "")
        + divisions
        + "".join(_direction(jump.kind, jump.name, types, sound) for jump in early)
        + note
        + "".join(_direction(jump.kind, jump.name, types, sound) for jump in late)
        + (f'<barline location="right">{right}</barline>' if right else "")
        + "</measure>"
    )


def _direction(kind: str, name: str, types: dict[str, str], sound: bool) -> str:
    plain = "segno" if kind in ("dalsegno", "segno") else "coda"
    value = "yes" if kind in ("dacapo", "fine") else name or plain
    element = f'<sound {kind}="{value}"/>' if sound else ""
    return f"<direction><direction-type>{types[kind]}</direction-type>{element}</direction>"

"""From a piece in the note list to a MusicXML 4.0 document, laid out bar by bar as an engraver would.

References: MusicXML 4.0 (W3C Music Notation Community Group, final report); General MIDI, program 47 (harp).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import lcm

from corpus_marks import add, add_harmony, add_notations, alteration, beams_of, triplet_brackets
from corpus_notation import LETTERS, Bar, Direction, Note, Piece, Pitch
from lxml import etree

VOICES = {"R": (1, "1", "up"), "R2": (1, "2", "down"), "L": (2, "5", "up"), "L2": (2, "6", "down")}
"""Staff, voice number and stem direction (where two voices share a staff) by voice name."""

KEYS = {"C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "F": -1, "Bb": -2, "Eb": -3, "Ab": -4}
RELATIVE = {"A": 0, "E": 1, "B": 2, "F#": 3, "D": -1, "G": -2, "C": -3, "F": -4}
ACCIDENTALS = {0: "natural", 1: "sharp", -1: "flat"}
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)
LICENCE = "Composed for this project, under the project's licence."


def write_document(piece: Piece) -> bytes:
    """The piece as a MusicXML file, UTF-8."""
    return etree.tostring(
        _score(piece),
        xml_declaration=True,
        encoding="UTF-8",
        standalone=False,
        doctype=DOCTYPE,
        pretty_print=True,
    )


def _score(piece: Piece) -> etree._Element:
    score = etree.Element("score-partwise", version="4.0")
    add(score, "work/work-title", piece.header["title"])
    about = add(score, "identification")
    add(about, "creator", "harpkeys, demo scores", type="composer")
    add(about, "rights", LICENCE)
    encoding = add(about, "encoding")
    add(encoding, "software", "harpkeys scripts/compose_corpus.py")
    for element in ("accidental", "beam"):
        add(encoding, "supports", element=element, type="yes")
    for attribute in ("new-system", "new-page"):
        add(encoding, "supports", element="print", attribute=attribute, type="yes", value="yes")
    defaults = add(score, "defaults")
    scaling = add(defaults, "scaling")
    add(scaling, "millimeters", 7)
    add(scaling, "tenths", 40)
    part = add(add(score, "part-list"), "score-part", id="P1")
    add(part, "part-name", "Harp")
    add(part, "part-abbreviation", "Hp.")
    instrument = add(part, "score-instrument", id="P1-I1")
    add(instrument, "instrument-name", piece.header["for"])
    add(instrument, "instrument-sound", "pluck.harp")
    midi = add(part, "midi-instrument", id="P1-I1")
    add(midi, "midi-channel", 1)
    add(midi, "midi-program", 47)
    _Writer(piece, add(score, "part", id="P1")).write()
    return score


def _divisions(piece: Piece) -> int:
    times = [
        time for bar in piece.bars for voice in bar.voices.values() for event in voice
        for time in (event.onset, getattr(event, "length", Fraction(0)))
    ]  # fmt: skip
    return lcm(*(time.denominator for time in times))


class _Writer:
    """Writes the bars of a piece into its part, remembering what later bars need to know of earlier ones."""

    def __init__(self, piece: Piece, part: etree._Element) -> None:
        self.piece = piece
        self.part = part
        self.divisions = _divisions(piece)
        self.staves = int(piece.header["staves"])
        self.time = piece.header["time"]
        self.key = piece.header["key"]
        self.ties: dict[str, set[Pitch]] = {}

    def write(self) -> None:
        """Write every bar."""
        per_system, per_page = (
            int(self.piece.header.get("system", "4")),
            int(self.piece.header.get("page", "9")),
        )
        counted = 0
        for index, bar in enumerate(self.piece.bars):
            pickup = {"implicit": "yes"} if "pickup" in bar.attributes else {}
            measure = add(self.part, "measure", number=bar.number, **pickup)
            if counted and counted % (per_system * per_page) == 0:
                add(measure, "print", new_page="yes")
            elif counted and counted % per_system == 0:
                add(measure, "print", new_system="yes")
            counted += not pickup
            self._attributes(measure, bar, first=index == 0)
            self._left_barline(measure, bar)
            self._start_directions(measure, bar, first=index == 0)
            self._voices(measure, bar)
            self._end_directions(measure, bar)
            self._right_barline(measure, bar, last=index == len(self.piece.bars) - 1)

    def _attributes(self, measure: etree._Element, bar: Bar, first: bool) -> None:
        self.key = bar.attributes.get("key", self.key)
        self.time = bar.attributes.get("time", self.time)
        clefs = {n: bar.attributes[f"clef{n}"] for n in (1, 2) if f"clef{n}" in bar.attributes}
        if not (first or clefs or "key" in bar.attributes or "time" in bar.attributes):
            return
        attributes = add(measure, "attributes")
        if first:
            add(attributes, "divisions", self.divisions)
        if first or "key" in bar.attributes:
            key = add(attributes, "key")
            add(key, "fifths", self._fifths())
            add(key, "mode", self.key.replace("_", " ").split()[1])
        if first or "time" in bar.attributes:
            time = add(attributes, "time")
            beats, unit = self.time.split("/")
            add(time, "beats", beats)
            add(time, "beat-type", unit)
        if first and self.staves > 1:
            add(attributes, "staves", self.staves)
        if first:
            clefs = {n: clefs.get(n, "GF"[n - 1]) for n in range(1, self.staves + 1)}
        for number, sign in clefs.items():
            clef = add(attributes, "clef", number=str(number))
            add(clef, "sign", sign)
            add(clef, "line", {"G": 2, "F": 4}[sign])

    def _fifths(self) -> int:
        tonic, mode = self.key.replace("_", " ").split()
        return KEYS[tonic] if mode == "major" else RELATIVE[tonic]

    def _left_barline(self, measure: etree._Element, bar: Bar) -> None:
        if not {"repeat", "ending"} & set(bar.attributes):
            return
        barline = add(measure, "barline", location="left")
        if "repeat" in bar.attributes:
            add(barline, "bar-style", "heavy-light")
        if "ending" in bar.attributes:
            number = bar.attributes["ending"]
            add(barline, "ending", f"{number}.", number=number, type="start")
        if "repeat" in bar.attributes:
            add(barline, "repeat", direction="forward")

    def _right_barline(self, measure: etree._Element, bar: Bar, last: bool) -> None:
        style = "light-heavy" if last or "end" in bar.attributes or "final" in bar.attributes else None
        style = style or ("light-light" if "double" in bar.attributes else None)
        stops = next((a for a in ("ending-stop", "ending-open") if a in bar.attributes), None)
        if not style and not stops:
            return
        barline = add(measure, "barline", location="right")
        if style:
            add(barline, "bar-style", style)
        if stops:
            kind = "stop" if stops == "ending-stop" else "discontinue"
            add(barline, "ending", number=bar.attributes[stops], type=kind)
        if "end" in bar.attributes:
            times = {"times": bar.attributes["end"]} if bar.attributes["end"] else {}
            add(barline, "repeat", direction="backward", **times)

    def _start_directions(self, measure: etree._Element, bar: Bar, first: bool) -> None:
        for sign in ("segno", "coda"):
            if sign in bar.attributes:
                direction = add(measure, "direction", placement="above")
                add(direction, f"direction-type/{sign}")
                self._close_direction(direction)
                add(direction, "sound", **{sign: sign})
        if first:
            self._tempo(measure, *(part.strip() for part in self.piece.header["tempo"].split("|")))
        elif "tempo" in bar.attributes:
            unit, _, minute = bar.attributes["tempo"].partition("=")
            self._tempo(measure, bar.attributes.get("words", "").replace("_", " "), unit, minute)

    def _tempo(self, measure: etree._Element, words: str, unit: str, minute: str) -> None:
        direction = add(measure, "direction", placement="above", system="only-top")
        if words:
            add(direction, "direction-type/words", words, font_weight="bold")
        metronome = add(direction, "direction-type/metronome", parentheses="no")
        add(metronome, "beat-unit", {"2": "half", "4": "quarter", "8": "eighth"}[unit.rstrip(".")])
        if unit.endswith("."):
            add(metronome, "beat-unit-dot")
        add(metronome, "per-minute", minute)
        self._close_direction(direction)
        quarters = Fraction(4, int(unit.rstrip("."))) * (Fraction(3, 2) if unit.endswith(".") else 1)
        add(direction, "sound", tempo=f"{float(quarters * int(minute)):g}")

    def _end_directions(self, measure: etree._Element, bar: Bar) -> None:
        signs = {"ds": "D.S. al Coda", "dc": "D.C. al Fine", "fine": "Fine", "tocoda": "To Coda"}
        sounds = {
            "ds": ("dalsegno", "segno"),
            "dc": ("dacapo", "yes"),
            "fine": ("fine", "yes"),
            "tocoda": ("tocoda", "coda"),
        }
        for sign, words in signs.items():
            if sign in bar.attributes:
                direction = add(measure, "direction", placement="above")
                add(
                    direction,
                    "direction-type/words",
                    words,
                    font_weight="bold",
                    justify="right",
                    halign="right",
                )
                self._close_direction(direction)
                add(direction, "sound", **dict([sounds[sign]]))

    def _close_direction(self, direction: etree._Element) -> None:
        if self.staves > 1:
            add(direction, "staff", 1)

    def _voices(self, measure: etree._Element, bar: Bar) -> None:
        accidentals = self._accidentals(bar)
        length = max(
            sum((e.length for e in v if isinstance(e, Note)), Fraction(0)) for v in bar.voices.values()
        )
        shared = {
            VOICES[a][0] for a in bar.voices for b in bar.voices if a != b and VOICES[a][0] == VOICES[b][0]
        }
        for index, (name, events) in enumerate(bar.voices.items()):
            if index:
                add(measure, "backup/duration", length * self.divisions)
            beams = beams_of([e for e in events if isinstance(e, Note)], self.time)
            triplets = triplet_brackets([e for e in events if isinstance(e, Note)])
            for event in events:
                if isinstance(event, Direction):
                    self._direction(measure, event, VOICES[name][0])
                    continue
                stem = VOICES[name][2] if VOICES[name][0] in shared else None
                self._note(
                    measure, event, name, accidentals, beams.get(id(event), ()), triplets.get(id(event)), stem
                )

    def _accidentals(self, bar: Bar) -> dict[tuple[int, Pitch], str]:
        """The accidental to print for each pitch of a note (by the note's id), as the bar so far demands."""
        in_force: dict[tuple[int, str, int], int] = {}
        signature = {letter: alteration(letter, self._fifths()) for letter in LETTERS}
        printed: dict[tuple[int, Pitch], str] = {}
        pending = {name: set(pitches) for name, pitches in self.ties.items()}
        notes = [(name, e) for name, events in bar.voices.items() for e in events if isinstance(e, Note)]
        notes.sort(key=lambda row: (row[1].onset, not row[1].grace, VOICES[row[0]][0]))
        for name, event in notes:
            staff = VOICES[name][0]
            for pitch in event.pitches:
                place = (staff, pitch.letter, pitch.octave)
                tied = pitch in pending.get(name, set())
                if not tied and (
                    in_force.get(place, signature[pitch.letter]) != pitch.alter or "!" in event.marks
                ):
                    printed[id(event), pitch] = ACCIDENTALS[pitch.alter]
                if not tied:
                    in_force[place] = pitch.alter
            if event.length:
                pending[name] = set(event.pitches) if event.tie else set()
        return printed

    def _direction(self, measure: etree._Element, event: Direction, staff: int) -> None:
        if event.kind == "harmony":
            add_harmony(measure, event.text)
            return
        above = event.kind == "words"
        direction = add(measure, "direction", placement="above" if above else "below")
        if event.kind == "dynamics":
            add(direction, f"direction-type/dynamics/{event.text}")
        elif event.kind == "wedge":
            add(direction, "direction-type/wedge", type=event.text)
        else:
            add(direction, "direction-type/words", event.text, font_style="italic")
        if self.staves > 1:
            add(direction, "staff", staff)

    def _note(
        self,
        measure: etree._Element,
        event: Note,
        name: str,
        accidentals: dict[tuple[int, Pitch], str],
        beams: Sequence[str],
        tuplet: str | None,
        stem: str | None,
    ) -> None:
        staff, voice, _ = VOICES[name]
        stopping = self.ties.get(name, set())
        for index, pitch in enumerate(event.pitches or (None,)):
            note = add(measure, "note")
            if event.grace:
                add(note, "grace", slash="yes")
            if index:
                add(note, "chord")
            if pitch is None:
                add(note, "rest", **({"measure": "yes"} if event.whole_bar else {}))
            else:
                sounding = add(note, "pitch")
                add(sounding, "step", pitch.letter)
                if pitch.alter:
                    add(sounding, "alter", pitch.alter)
                add(sounding, "octave", pitch.octave)
            if not event.grace:
                add(note, "duration", event.length * self.divisions)
            stop = pitch in stopping and not event.grace
            ties = [kind for kind, on in (("stop", stop), ("start", event.tie)) if on]
            for kind in ties:
                add(note, "tie", type=kind)
            add(note, "voice", voice)
            self._look(
                note, event, accidentals.get((id(event), pitch)) if pitch else None, stem if pitch else None
            )
            if self.staves > 1:
                add(note, "staff", staff)
            for level, state in enumerate(beams if not index else ()):
                if state:
                    add(note, "beam", state, number=str(level + 1))
            add_notations(note, event, ties, tuplet, first=index == 0)
        if event.length:
            self.ties[name] = set(event.pitches) if event.tie else set()

    def _look(self, note: etree._Element, event: Note, accidental: str | None, stem: str | None) -> None:
        if not event.whole_bar:
            add(note, "type", event.type)
        for _ in range(event.dots):
            add(note, "dot")
        if accidental:
            courtesy = {"cautionary": "yes"} if "!" in event.marks else {}
            add(note, "accidental", accidental, **courtesy)
        tremolo = any("trem" in mark for mark in event.marks)
        if event.triplet or tremolo:
            ratio = add(note, "time-modification")
            add(ratio, "actual-notes", 2 if tremolo else 3)
            add(ratio, "normal-notes", 1 if tremolo else 2)
        if stem and event.type != "whole":
            add(note, "stem", stem)

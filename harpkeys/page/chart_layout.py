"""Where everything stands on a lever chart, and what its lettering says.

Conventions: lengths are millimetres (one unit of the drawing's viewBox); x grows from the lowest string to
the highest, as on a keyboard; y grows downwards. `labels` is what the chart draws and what its tests
measure.

Source: strings counted from the highest = 1, by two independent sources.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from harpkeys.harp.model import UP, Harp
from harpkeys.harp.naming import harp_octave, listed, note_text
from harpkeys.mark.words import Labels, string_label
from harpkeys.page import svg
from harpkeys.page.text_width import cut_to_width, text_width
from harpkeys.pitch import LETTERS, SHARP_ORDER, Pitch

GREY, WHITE = "#3a3a3a", "#ffffff"

SIDE = 3.0
"""Blank left and right of the strings."""

WIDEST_PITCH = 8.0
"""Strings of a small harp are not spread further apart than this."""

NARROWEST_WORDS = 160.0
"""Width that caption and legend take at least, where the drawing is as wide."""

LONGEST, SHORTEST = 31.0, 15.0
"""Lengths of the lowest and the highest string."""

CAPTION, CAPTION_SIZE = 5.0, 3.6
"""Height kept for the first caption line, and its em."""

LEGEND, SMALL = 7.5, 2.9
"""Height of the legend; em of legend and octaves."""

LEGEND_SIGN = 3.2
"""Room for a sign before its words."""

LEGEND_GAP, LEGEND_GAP_MOST = 4.0, 14.0
"""Room between two signs of the legend with their words."""

LEGEND_LINE = 5.4
"""Height of a further line of the legend."""


@dataclass(frozen=True, slots=True)
class Label:
    """A piece of lettering.

    Attributes:
        kind: "raised", "tuned", "number", "octave", "name", "summary" or "legend".
        words: what it says; of a note the letter and its sign.
        x, base: where its anchor stands on its baseline.
        size: em.
        width: width of its box.
        anchor: "start", "middle" or "end" of the words.
        pitch: for a note name, drawn by `svg.note_name`.
        heavy: whether it is bold.
    """

    kind: str
    words: str
    x: float
    base: float
    size: float
    width: float
    anchor: str = "middle"
    pitch: Pitch | None = None
    heavy: bool = False

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of what it fills."""
        left = self.x - self.width * {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor]
        return left, self.base - self.size * 0.78, left + self.width, self.base + self.size * 0.2

    def drawn(self) -> str:
        """Its markup."""
        ink = {"raised": WHITE, "number": GREY}.get(self.kind, svg.INK)
        if self.pitch is not None:
            signed = len(self.words) > 1
            return svg.note_name(
                self.pitch, self.x, self.base, self.size, signed=signed, ink=ink, heavy=self.heavy
            )
        font = svg.LETTER_FONT if self.kind == "number" else svg.WORD_FONT
        return svg.text(
            self.words, self.x, self.base, self.size, font=font, anchor=self.anchor, ink=ink, heavy=self.heavy
        )


@dataclass(frozen=True, slots=True)
class Layout:
    """Where everything stands.

    Attributes:
        width: of the drawing.
        pitch: distance between strings.
        first: x of the lowest string.
        size: em of the note letters.
        flag: height of the flag of a raised lever.
        neck: y of each string's upper end.
        foot: y of every string's lower end.
        legend_lines: lines of the legend.
    """

    width: float
    pitch: float
    first: float
    size: float
    flag: float
    neck: tuple[float, ...]
    foot: float
    legend_lines: int = 1

    @property
    def edge(self) -> float:
        """Blank left and right of caption and legend: as beside the strings, if they are spread enough."""
        return max(SIDE, min(self.first - self.pitch / 2, (self.width - NARROWEST_WORDS) / 2))

    def x(self, index: int) -> float:
        """x of a string."""
        return self.first + index * self.pitch

    def flag_base(self, index: int) -> float:
        """Baseline of the note in the flag of a raised lever."""
        return self.neck[index] - 1.6 - self.flag / 2 + self.size * 0.365

    @property
    def tuned_base(self) -> float:
        """Baseline of the row of tuned notes."""
        return self.foot + 1.6 + self.size * 0.75

    @property
    def number_size(self) -> float:
        """Em of the string numbers."""
        return min(2.7, self.size * 0.72)

    @property
    def number_base(self) -> float:
        """Baseline of the row of string numbers."""
        return self.tuned_base + self.size * 0.25 + 0.6 + self.number_size * 0.75

    @property
    def octave_line(self) -> float:
        """y of the lines that group the strings by octave."""
        return self.number_base + self.number_size * 0.25 + 1.0

    @property
    def height(self) -> float:
        """Height of the drawing."""
        return round(self.octave_line + 4.6 + LEGEND + (self.legend_lines - 1) * LEGEND_LINE, 2)


def layout(harp: Harp, width: float) -> Layout:
    """Where everything stands on a chart of this width."""
    count = len(harp.strings)
    pitch = min(WIDEST_PITCH, (width - 2 * SIDE) / count)
    # A letter and its sign, with a rim left and right, have to fit between two neighbours.
    size = min(4.4, (pitch - 0.8) / (svg.LETTER_WIDTH + svg.SIGN_WIDTH))
    flag = size * 1.05 + 0.7
    foot = CAPTION + flag + 1.6 + LONGEST
    neck = tuple(foot - _length(index / max(count - 1, 1)) for index in range(count))
    place = Layout(width, pitch, (width - pitch * (count - 1)) / 2, size, flag, neck, foot)
    return place if _fits_a_line(harp, place) else replace(place, legend_lines=2)


def _fits_a_line(harp: Harp, place: Layout) -> bool:
    """Whether a line holds the legend, however the levers stand."""
    down = [0] * len(harp.strings)
    some_up = [int(string.lever and index > 0) for index, string in enumerate(harp.strings)]
    entries = [words for words, shown in LEGEND_WORDS.items() if shown(harp, down) or shown(harp, some_up)]
    return _legend_gap(entries, place) >= LEGEND_GAP


def _legend_gap(entries: Sequence[str], place: Layout) -> float:
    """What is left between the signs and words of a line of the legend, evenly spread."""
    words = sum(LEGEND_SIGN + text_width(entry, SMALL) for entry in entries)
    return (place.width - 2 * place.edge - 1.6 - words) / max(len(entries) - 1, 1)


def _length(place: float) -> float:
    """Length of a string by its place, 0 lowest to 1 highest: the neck sinks, less and less steeply."""
    return SHORTEST + (LONGEST - SHORTEST) * float((1 - place) ** 1.4)


def labels(
    harp: Harp, states: Sequence[int], width: float = 180.0, naming: Labels = "scientific"
) -> tuple[Label, ...]:
    """Every piece of lettering of a chart, with its box."""
    place = layout(harp, width)
    return (
        *_note_labels(harp, states, place),
        *_octave_labels(harp, place, naming),
        *_caption(harp, states, place, naming),
        *legend(harp, states, place),
    )


def _note_labels(harp: Harp, states: Sequence[int], place: Layout) -> Iterator[Label]:
    """Under each string its tuned note and its number, in each flag the raised note."""
    for index, string in enumerate(harp.strings):
        x, size = place.x(index), place.size
        if states[index] == UP:
            # The sign is shown even where it is a natural: "B♮" says that the lever did it.
            raised = string.sounding(UP)
            words = note_text(raised, octave=False) + ("" if raised.alter else "♮")
            wide = size * (svg.LETTER_WIDTH + svg.SIGN_WIDTH)
            yield Label("raised", words, x, place.flag_base(index), size, wide, pitch=raised, heavy=True)
        tuned = string.sounding(0)
        wide = size * (svg.LETTER_WIDTH + (svg.SIGN_WIDTH if tuned.alter else 0))
        heavy = LETTERS[tuned.letter] in "CF"
        words = note_text(tuned, octave=False)
        yield Label("tuned", words, x, place.tuned_base, size, wide, pitch=tuned, heavy=heavy)
        count, size = str(harp.number(index)), place.number_size
        yield Label("number", count, x, place.number_base, size, len(count) * size * svg.LETTER_WIDTH)


def octaves(harp: Harp, naming: Labels = "scientific") -> Iterator[tuple[int, int]]:
    """First and last string of each octave: C up to B, of harp octaves F up to E."""
    start, count = 0, len(harp.strings)
    lowest = LETTERS.index("F" if naming == "harp-octave" else "C")
    for index in range(1, count + 1):
        if index == count or harp.strings[index].diatonic % 7 == lowest:
            yield start, index - 1
            start = index


def _octave_labels(harp: Harp, place: Layout, naming: Labels) -> Iterator[Label]:
    """The octave's number under its strings, with the word where there is room."""
    by_harp = naming == "harp-octave"
    word, room = ("harp octave", 26.0) if by_harp else ("octave", 18.0)
    for start, end in octaves(harp, naming):
        diatonic = harp.strings[start].diatonic
        octave = str(harp_octave(diatonic) if by_harp else diatonic // 7)
        words = f"{word} {octave}" if (end - start + 1) * place.pitch > room else octave
        middle = (place.x(start) + place.x(end)) / 2
        base = place.octave_line + 3.1
        yield Label("octave", words, middle, base, SMALL, text_width(words, SMALL))


def _caption(harp: Harp, states: Sequence[int], place: Layout, naming: Labels) -> Iterator[Label]:
    """Name, tuning and what is raised, at the right, over the short strings."""
    size, x = CAPTION_SIZE, place.width - place.edge
    name = cut_to_width(harp.name, size, 58)
    tuning = cut_to_width(f"tuned in {harp.tuning}", size, 48)
    first = f"{name} · {tuning}" if name else tuning
    second = cut_to_width(
        raised_in_words(harp, states, naming), size, (place.width - 2 * place.edge) * 0.62, heavy=True
    )
    yield Label("name", first, x, 3.6, size, text_width(first, size), "end")
    wide = text_width(second, size, heavy=True)
    yield Label("summary", second, x, 8.2, size, wide, "end", heavy=True)


def legend(harp: Harp, states: Sequence[int], place: Layout) -> Iterator[Label]:
    """Words for each sign that the drawing shows, evenly spread; the sign stands to their left."""
    entries = [words for words, shown in LEGEND_WORDS.items() if shown(harp, states)]
    on_line = -(-len(entries) // place.legend_lines)
    base = place.height - 2.2 - (place.legend_lines - 1) * LEGEND_LINE
    for start in range(0, len(entries), on_line):
        line = entries[start : start + on_line]
        gap = min(_legend_gap(line, place), LEGEND_GAP_MOST)
        x = place.edge + 1.6 + LEGEND_SIGN
        for words in line:
            wide = text_width(words, SMALL)
            yield Label("legend", words, x, base, SMALL, wide, "start")
            x += wide + gap + LEGEND_SIGN
        base += LEGEND_LINE


def chart_in_words(harp: Harp, states: Sequence[int], naming: Labels = "scientific") -> str:
    """Everything the chart shows, in sentences: harp, raised levers, then string by string from the top."""
    strings = harp.strings
    lines = [
        f"{len(strings)} strings from {strings[0].name} to {strings[-1].name}, tuned in {harp.tuning}.",
        f"{raised_in_words(harp, states, naming)}.",
    ]
    for index in reversed(range(len(strings))):
        string = strings[index]
        lever = "lever down" if string.lever else "no lever"
        if states[index] == UP:
            lever = f"lever up, sounds {note_text(string.sounding(UP))}"
        lines.append(f"String {harp.number(index)}: {note_text(string.sounding(0))}, {lever}.")
    return " ".join(lines)


def raised_in_words(harp: Harp, states: Sequence[int], naming: Labels = "scientific") -> str:
    """Which levers stand up: "Levers up at the start: every F and C; B4 and B5".

    "every F" means all F strings that have a lever, two or more. Letters come in the order of the sharps.
    """
    with_levers = [state for string, state in zip(harp.strings, states, strict=True) if string.lever]
    if not with_levers:
        return "This harp has no levers"
    if len(with_levers) > 1 and all(state == UP for state in with_levers):
        return "All levers are up at the start"
    whole: list[str] = []
    single: list[str] = []
    for letter in SHARP_ORDER:
        levers = [
            k for k, string in enumerate(harp.strings) if string.diatonic % 7 == letter and string.lever
        ]
        raised = [k for k in levers if states[k] == UP]
        if len(raised) == len(levers) > 1:
            whole.append(LETTERS[letter])
        else:
            single += [string_label(harp, k, naming) for k in raised]
    names = [f"every {listed(whole)}"] if whole else []
    names += [listed(single)] if single else []
    return f"Levers up at the start: {'; '.join(names)}" if names else "No lever is up at the start"


def _any_down(harp: Harp, states: Sequence[int]) -> bool:
    return any(string.lever and state != UP for string, state in zip(harp.strings, states, strict=True))


def _has_letter(letter: str) -> Callable[[Harp, Sequence[int]], bool]:
    return lambda harp, states: any(LETTERS[string.diatonic % 7] == letter for string in harp.strings)


LEGEND_WORDS: dict[str, Callable[[Harp, Sequence[int]], bool]] = {
    "lever up, and what it sounds": lambda harp, states: UP in states,
    "lever down": _any_down,
    "no lever": lambda harp, states: not all(string.lever for string in harp.strings),
    "C string": _has_letter("C"),
    "F string": _has_letter("F"),
    "number from the highest string": lambda harp, states: True,
}
"""The legend's words, and whether a chart of this harp in these states shows their sign."""

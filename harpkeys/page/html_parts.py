"""Parts that web pages share: head, facts, chart, flips, flagged passages, closing lists."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from harpkeys.harp.model import UP
from harpkeys.harp.naming import note_text
from harpkeys.page import html
from harpkeys.page.chart import lever_chart
from harpkeys.page.cue_sheet import CueSheet, SheetFlip, SheetPassage
from harpkeys.report import words

Target = Callable[[int], str]
"""The id of a printed bar in the page, by the bar's index."""

FLIPS_NOTE = (
    "A lever moves after the notes on its beat. Strings are numbered from the highest. Rest: the hand's "
    "written rest there; free: its time between plucks, since a hand is free while its notes ring on. A "
    "clean flip cuts no ringing note."
)


def title_block(sheet: CueSheet, by: str = "") -> str:
    """Title, who made it, and the verdict."""
    lost = "verdict lost" if sheet.report.verdict == "not as written" else "verdict"
    parts = [html.element("h1", html.text(sheet.title))]
    if by:
        parts.append(html.element("p", html.text(by), class_="by"))
    parts.append(html.element("p", html.text(words.verdict_sentence(sheet.report)), class_=lost))
    return html.element("header", *parts)


def facts(sheet: CueSheet) -> str:
    """Harp, tuning, setting, player and tempo."""
    pairs = (
        html.element("dt", html.text(label)) + html.element("dd", html.text(text))
        for label, text in sheet.facts()
    )
    return html.element("dl", *pairs, class_="facts")


def chart(sheet: CueSheet) -> str:
    """The lever chart, with all it says in a table below it."""
    harp, starting = sheet.report.harp, sheet.report.plan.starting
    rows: list[tuple[str | None, list[str]]] = []
    for index in reversed(range(len(harp.strings))):
        string = harp.strings[index]
        lever = STANDS[starting[index] == UP] if string.lever else "no lever"
        sounds = note_text(string.sounding(starting[index]))
        cells = [str(harp.number(index)), string.name, note_text(string.sounding(0)), lever, sounds]
        rows.append((None, [html.text(cell) for cell in cells]))
    header = ["number", "string", "tuned", "lever at the start", "sounds"]
    table = html.table("Every string, the highest first", header, rows)
    details = html.element("details", html.element("summary", "The chart as a table"), table)
    drawn = html.scrolling("Lever chart", lever_chart(harp, starting, prefix="chart"))
    return html.element("figure", drawn) + details


STANDS = {True: "up", False: "down"}


def starting_levers(sheet: CueSheet) -> str:
    """The levers that are up before the start, by octave."""
    rows = words.starting_rows(sheet.report)
    if not rows:
        return html.element("p", "No lever is up at the start.")
    pairs = (
        html.element("dt", html.text(octave)) + html.element("dd", html.text(", ".join(names)))
        for octave, names in rows
    )
    told = html.element("p", "Up before the start, each with its number from the highest string:")
    return told + html.element("dl", *pairs, class_="facts")


def bar_link(text: str, target: str | None) -> str:
    """A bar as a link where it has somewhere to lead to."""
    return html.text(text) if target is None else html.link(target, text, label=f"bar {text} in the score")


def flips_table(sheet: CueSheet, target: Target | None = None) -> str:
    """Every flip in playing order."""
    header = ["flip", "bar", "beat", "string", "number", "lever", "hand", "rest before it", "free", "kind"]
    rows: list[tuple[str | None, list[str]]] = [
        (f"flip-{flip.number}", _flip(flip, None if target is None else target(flip.measure)))
        for flip in sheet.flips
    ]
    note = html.element("p", html.text(FLIPS_NOTE), class_="note")
    return note + html.table("Lever flips in playing order", header, rows, class_="tight")


def _flip(flip: SheetFlip, target: str | None) -> list[str]:
    lever = f"{flip.arrow} {flip.direction} to {note_text(flip.sounds)}"
    return [
        html.text(str(flip.number)),
        bar_link(flip.bar_text, target),
        html.text(flip.beat_text),
        html.element("strong", html.text(flip.string_name)),
        html.text(str(flip.string_number)),
        html.element("strong", html.text(lever)),
        html.text(flip.hand),
        html.text(_long(words.beats_and_seconds(flip.rest_beats, flip.rest))),
        html.text(_long(words.beats_and_seconds(flip.free_beats, flip.free))),
        html.text(flip.kind),
    ]


def _long(text: str) -> str:
    """ "1½ b 0.9 s" with its beats spelled out."""
    return text.replace(" b ", " beats, ")


def passages(sheet: CueSheet, drawings: Sequence[str], target: Target | None = None) -> str:
    """Every flagged passage: where, its excerpt, what happens and what would mend it."""
    found = []
    for number, passage in enumerate(sheet.passages, 1):
        drawing = drawings[number - 1] if drawings else ""
        found.append(_passage(passage, f"flagged-{number}", drawing, target))
    return "".join(found)


def _passage(passage: SheetPassage, name: str, drawing: str, target: Target | None) -> str:
    places = [
        words.capital(place.text) if not number else place.text for number, place in enumerate(passage.places)
    ]
    links = [
        html.text(text) if target is None else html.link(target(place.first), text)
        for text, place in zip(places, passage.places, strict=True)
    ]
    parts = [html.element("h3", "; ".join(links), html.text(f": {passage.reason}"))]
    if drawing:
        parts.append(html.element("figure", drawing))
    parts.append(html.element("p", html.text(passage.say)))
    mend = html.text("; or ".join(passage.mend) + ".")
    parts.append(html.element("p", html.element("strong", "Mend: "), mend))
    return html.element("article", *parts, class_="flagged", id=name)


def sentences(texts: Sequence[str]) -> str:
    """A list of sentences."""
    return html.listing([html.text(text) for text in texts])


def closing(sheet: CueSheet) -> list[tuple[str, str, str]]:
    """Tempo, assumptions and cautions as (id, heading, markup), those that have anything to say."""
    found = (
        ("tempo", "Tempo and player", words.tempo_sentences(sheet.report)),
        ("assumed", "Taken for granted", sheet.report.assumptions),
        ("safety", "Safety", sheet.cautions),
    )
    return [(name, heading, sentences(texts)) for name, heading, texts in found if texts]

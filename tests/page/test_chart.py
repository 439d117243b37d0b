"""The lever chart: what it says, that nothing overlaps, and that it can be read without colour.

Outside judges: an XML parser, typst (widths of letters), and a rendering in which ink is counted.
"""

from __future__ import annotations

import io
from itertools import combinations
from xml.etree import ElementTree

import pytest
from page_helpers import measured_by_typst
from PIL import Image

from harpkeys.harp.model import Harp, HarpString
from harpkeys.harp.tunings import make_harp
from harpkeys.mark.words import LABELS
from harpkeys.page import svg
from harpkeys.page.chart import chart_in_words, lever_chart, raised_in_words
from harpkeys.page.chart_layout import LEGEND_SIGN, LEGEND_WORDS, Label, labels, layout
from harpkeys.page.formats import PageFormat
from harpkeys.page.text_width import text_width
from harpkeys.page.typeset import Document, to_png
from harpkeys.pitch import LETTERS

SVG = "{http://www.w3.org/2000/svg}"
SIZES = range(19, 48)


def harp_of(count: int, low: int = 14, tuned: int = -1, lever: bool = True) -> Harp:
    """A harp with so many strings, every one tuned flat: the widest labels there are."""
    return Harp("Test", "all flat", tuple(HarpString(low + k, tuned, lever) for k in range(count)))


def all_up(harp: Harp) -> list[int]:
    return [int(string.lever) for string in harp.strings]


def drawn(harp: Harp, states: list[int]) -> ElementTree.Element:
    return ElementTree.fromstring(lever_chart(harp, states))


def overlap(one: Label, other: Label) -> bool:
    left, top, right, bottom = one.box
    left2, top2, right2, bottom2 = other.box
    return left < right2 and left2 < right and top < bottom2 and top2 < bottom


EFLAT = make_harp("Willow", "C2", high="A6", tuning="E-flat", levers="all")


def test_the_same_chart_twice_is_the_same_text() -> None:
    assert lever_chart(EFLAT, all_up(EFLAT)) == lever_chart(EFLAT, all_up(EFLAT))


@pytest.mark.parametrize("count", SIZES)
@pytest.mark.parametrize("tuned", [-1, 0, 1])
def test_no_lettering_overlaps_or_leaves_the_drawing(count: int, tuned: int) -> None:
    for low in (14, 17, 20):  # C2, F2, B2: octaves cut off in different places
        harp = harp_of(count, low, tuned)
        found = labels(harp, all_up(harp))
        assert [label.kind for label in found].count("tuned") == count
        assert [label.kind for label in found].count("raised") == count
        clashes = [(a.words, b.words) for a, b in combinations(found, 2) if overlap(a, b)]
        assert clashes == []
        place = layout(harp, 180.0)
        for label in found:
            left, top, right, bottom = label.box
            assert 0 <= left < right <= place.width
            assert 0 <= top < bottom <= place.height


@pytest.mark.parametrize("width", [130.0, 140.0, 150.0, 165.0, 180.0])
@pytest.mark.parametrize("count", [19, 22, 26, 34, 38, 47])
def test_signs_of_the_legend_stand_clear_of_its_words(count: int, width: float) -> None:
    """On every width on which a sheet draws it, whatever there is to explain; a sign is up to 3.2 mm wide."""
    harp = replace_levers(harp_of(count), every=2)
    up = all_up(harp)
    for states in ([0] * count, up, [*up[:-2], 0, 0]):
        found = labels(harp, states, width)
        clashes = [(a.words, b.words) for a, b in combinations(found, 2) if overlap(a, b)]
        assert clashes == []
        legend = [label for label in found if label.kind == "legend"]
        assert len(legend) >= 5
        for one, other in combinations(legend, 2):
            if one.base == other.base:
                assert one.x + one.width < other.x - LEGEND_SIGN - 1.6 + 0.01
        assert max(label.x + label.width for label in legend) <= width


def test_strings_are_named_as_in_the_score() -> None:
    """By harp octave middle C is 4C, octaves run from E down to F (two independent sources)."""
    harp = make_harp("Willow", "C2", high="A6", tuning="C", levers="all")
    states = [int(string.name in ("G4", "C4")) for string in harp.strings]
    named = {
        "scientific": "C4 and G4",
        "harp-octave": "4C and 3G",
        "number": "string 20 and string 16",
        "plain": "C4 and G4",
    }
    for naming in LABELS:
        found = labels(harp, states, 180.0, naming)
        summary = next(label.words for label in found if label.kind == "summary")
        assert summary == f"Levers up at the start: {named[naming]}"
        clashes = [(a.words, b.words) for a, b in combinations(found, 2) if overlap(a, b)]
        assert clashes == []
    under = {
        naming: [label.words for label in labels(harp, states, 180.0, naming) if label.kind == "octave"]
        for naming in LABELS
    }
    assert under["harp-octave"] == ["6", *(f"harp octave {octave}" for octave in (5, 4, 3, 2)), "1"]
    assert under["scientific"] == [f"octave {octave}" for octave in (2, 3, 4, 5, 6)]


def replace_levers(harp: Harp, every: int) -> Harp:
    """The harp with levers on every second string only."""
    strings = [
        HarpString(one.diatonic, one.tuned, number % every == 0) for number, one in enumerate(harp.strings)
    ]
    return Harp(harp.name, harp.tuning, tuple(strings))


def test_an_overlap_would_be_seen() -> None:
    label = Label("tuned", "A", 10.0, 10.0, 4.0, 2.0)
    assert overlap(label, Label("tuned", "B", 11.5, 10.0, 4.0, 2.0))
    assert not overlap(label, Label("tuned", "B", 12.5, 10.0, 4.0, 2.0))


@pytest.mark.parametrize("landscape", [False, True])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_largest_harp_fits_the_text_width_in_readable_letters(paper: str, landscape: bool) -> None:
    place = layout(harp_of(47), PageFormat(paper, landscape).text_width)
    # 2.6 mm are 7.4 points; 34 strings and fewer get 11 points and more.
    assert place.size >= 2.6
    assert layout(harp_of(34), PageFormat(paper, landscape).text_width).size >= 3.9


def test_letters_are_as_wide_as_computed() -> None:
    """typst measures DejaVu Sans Mono; boxes of notes and numbers rest on it."""
    for weight in ("regular", "bold"):
        for width in measured_by_typst([*LETTERS, "0", "7"], font="DejaVu Sans Mono", weight=weight):
            assert width == pytest.approx(svg.LETTER_WIDTH, abs=0.001)


def test_words_are_no_wider_than_computed() -> None:
    """typst measures Libertinus Serif, with kerning."""
    texts = [*LEGEND_WORDS, "octave 4", "34-string · tuned in E-flat", "F4 ▲ F♯, B3 ▼ B♭, E5 ▲ E♮ (2nd time)"]
    for text, width in zip(texts, measured_by_typst(texts, font="Libertinus Serif"), strict=True):
        assert width <= text_width(text, 1.0) * 1.001
        assert width >= text_width(text, 1.0) * 0.97
    heavy = ["Levers up at the start: every F and C; B4 and B5", "No lever is up at the start"]
    for text, width in zip(
        heavy, measured_by_typst(heavy, font="Libertinus Serif", weight="bold"), strict=True
    ):
        assert width <= text_width(text, 1.0, heavy=True)


def test_it_says_in_words_what_it_shows() -> None:
    harp = make_harp("Small", "A3", high="D4", tuning="F", levers="C B")
    states = [0, 1, 1, 0]
    root = drawn(harp, states)
    title, words = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert words is not None
    assert title.text == "Lever chart: Small"
    assert words.text == (
        "4 strings from A3 to D4, tuned in F. All levers are up at the start. "
        "String 1: D4, no lever. String 2: C4, lever up, sounds C♯4. "
        "String 3: B♭3, lever up, sounds B3. String 4: A3, no lever."
    )
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"


def test_every_string_of_every_harp_is_named() -> None:
    for count in SIZES:
        harp = harp_of(count)
        words = chart_in_words(harp, [0] * count)
        assert all(f"String {number}: " in words for number in range(1, count + 1))


@pytest.mark.parametrize(
    ("raised", "sentence"),
    [
        ([], "No lever is up at the start"),
        (["F4"], "Levers up at the start: F4"),
        (["F2", "F3", "F4", "F5", "F6"], "Levers up at the start: every F"),
        (["C4", "F2", "F3", "F4", "F5", "F6", "C5"], "Levers up at the start: every F; C4 and C5"),
        (["B3", "E3", "A3"], "Levers up at the start: A3, E3 and B3"),
    ],
)
def test_raised_levers_are_told_as_players_do(raised: list[str], sentence: str) -> None:
    states = [int(string.name in raised) for string in EFLAT.strings]
    assert raised_in_words(EFLAT, states) == sentence


def test_all_levers_or_none_at_all_are_told_in_one_word() -> None:
    assert raised_in_words(EFLAT, all_up(EFLAT)) == "All levers are up at the start"
    bare = make_harp("Bare", "C3", high="C6", tuning="C", levers="none")
    assert raised_in_words(bare, [0] * 22) == "This harp has no levers"
    one = make_harp("One", "C4", high="B4", tuning="C", levers="F")
    assert raised_in_words(one, [0, 0, 0, 1, 0, 0, 0]) == "Levers up at the start: F4"


def test_one_lever_of_a_letter_is_not_called_every() -> None:
    harp = make_harp("Tiny", "C4", high="B4", tuning="C", levers="F C")
    assert raised_in_words(harp, [0, 0, 0, 1, 0, 0, 0]) == "Levers up at the start: F4"


@pytest.mark.parametrize(
    "name",
    [
        "</title><script>alert(1)</script>",
        '"><svg onload="x">',
        "a & b ]]> c",
        "\x00\x08\ufffe\ud800bell",
        "x" * 500,
    ],
)
def test_hostile_names_are_only_text(name: str) -> None:
    harp = Harp(name, name, EFLAT.strings)
    root = drawn(harp, all_up(harp))
    allowed = {"svg", "title", "desc", "line", "rect", "circle", "path", "polyline", "polygon", "text"}
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= allowed
    assert not [key for element in root.iter() for key in element.attrib if key.startswith("on")]
    kept = "".join(sign for sign in name if sign >= " " and sign not in "\ufffe\ud800")
    title = root.find(f"{SVG}title")
    assert title is not None
    assert title.text == f"Lever chart: {kept}"


def test_a_long_name_is_cut_and_stays_on_the_drawing() -> None:
    harp = Harp(
        "My grandmother's harp from the attic " * 9, "a tuning nobody has a name for " * 9, EFLAT.strings
    )
    found = {label.kind: label for label in labels(harp, all_up(harp))}
    assert found["name"].words.count("…") == 2
    assert found["name"].box[0] >= 0


def test_ids_can_be_told_apart_on_one_page() -> None:
    one, other = (set(_ids(lever_chart(EFLAT, all_up(EFLAT), prefix=prefix))) for prefix in ("a", "b"))
    assert one
    assert not one & other


def _ids(text: str) -> list[str]:
    return [element.attrib["id"] for element in ElementTree.fromstring(text).iter() if "id" in element.attrib]


def test_states_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^1 states for 34 strings$"):
        lever_chart(EFLAT, [0])
    harp = make_harp("Bare", "C4", high="E4", tuning="C", levers="none")
    with pytest.raises(ValueError, match=r"^D4 has no lever to raise$"):
        lever_chart(harp, [0, 1, 0])


def test_the_legend_explains_only_what_is_shown() -> None:
    harp = make_harp("Bare", "C4", high="F4", tuning="C", levers="none")
    words = [label.words for label in labels(harp, [0] * 4) if label.kind == "legend"]
    assert words == ["no lever", "C string", "F string", "number from the highest string"]


# Read off a rendering.

DOTS = 254  # Ten pixels to the millimetre.


def black_and_white(harp: Harp, states: list[int]) -> Image.Image:
    """The chart as a photocopier would give it: every pixel black or white."""
    source = (
        '#set page(width: 180mm, height: auto, margin: 0mm)\n#image(bytes(sys.inputs.at("c")), width: 180mm)'
    )
    png = to_png(Document(source, (("c", lever_chart(harp, states)),)), dots=DOTS)[0]
    return Image.open(io.BytesIO(png)).convert("L").point(lambda value: 255 if value > 160 else 0)


def runs(image: Image.Image, y: float, left: float, right: float) -> list[int]:
    """Lengths in pixels of the dark stretches of a row, between two places in millimetres."""
    found, length = [], 0
    for x in range(round(left * 10), round(right * 10) + 1):
        if image.getpixel((x, round(y * 10))) == 0:
            length += 1
        elif length:
            found.append(length)
            length = 0
    return [*found, length] if length else found


def test_strings_are_told_apart_without_colour() -> None:
    harp, states = EFLAT, [0] * 34
    image, place = black_and_white(harp, states), layout(harp, 180.0)
    half = place.pitch / 2 - 0.2
    for k, string in enumerate(harp.strings):
        found = runs(image, place.foot - 5, place.x(k) - half, place.x(k) + half)
        letter = LETTERS[string.diatonic % 7]
        if letter == "C":
            assert len(found) == 1
            assert 8 <= found[0] <= 10
        elif letter == "F":
            assert len(found) == 2
            assert max(found) <= 4
        else:
            assert len(found) == 1
            assert found[0] <= 4


def test_raised_levers_stand_out_without_colour() -> None:
    states = [int(string.diatonic % 7 == 3) for string in EFLAT.strings]
    image, place = black_and_white(EFLAT, states), layout(EFLAT, 180.0)
    for k, state in enumerate(states):
        # The rim of the flag, above the neck and beside its letter.
        y, x = place.neck[k] - 1.6 - place.flag + 0.25, place.x(k)
        found = runs(image, y, x - place.pitch / 2 + 0.3, x + place.pitch / 2 - 0.3)
        assert (sum(found) > 30) is bool(state)


def test_strings_without_levers_look_different() -> None:
    harp = make_harp("Some", "C3", high="C6", tuning="C", levers="F C")
    image, place = black_and_white(harp, [0] * 22), layout(harp, 180.0)
    for k, string in enumerate(harp.strings):
        # A lever's tag is 1.6 mm wide; a bare string has dots of 0.6 mm there.
        rows = [place.neck[k] + 1.6 + step / 10 for step in range(24)]
        widest = max((sum(runs(image, y, place.x(k) - 1.2, place.x(k) + 1.2)) for y in rows), default=0)
        assert (widest >= 12) is string.lever

"""Print: engraved pages and typeset sheets as PDF or PNG, through typst.

A **block** is a piece of typst markup with the pictures it shows; whatever came from a user went through
`escape` first, so a title can never be taken for a command. Blocks are stacked into a sheet, or put in
front of engraved pages. Nothing is read from or written to disk, and the date is left out: the same input
gives the same bytes.

Conventions: lengths are millimetres, sizes of letters points.

Fonts: words in Libertinus Serif, figures of charts in DejaVu Sans Mono; typst brings both along (SIL Open
Font License 1.1 and the free DejaVu licence). Musical signs inside words in Harpkeys Music, a selection
under another name of verovio's font Leipzig (SIL Open Font License 1.1, beside the font in page/fonts).
Fonts of the system are looked at only where a text has letters that these lack.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import unescape

from harpkeys.page.font_face import FONTS
from harpkeys.page.formats import PageFormat

TEXT_SIZE = 10.5
"""Points of running text."""

_BEYOND_OUR_FONTS = re.compile("[^\t\n\r -\u052f\u1e00-\u2bff\ue000-\uf8ff\ufb00-\ufb06\ufeff]")
"""Letters outside Latin, Greek, Cyrillic, punctuation and signs."""

_BREAKS = re.compile("[\t\n\r\x85\u2028\u2029]")
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")

_TITLE = re.compile(r"<title[^>]*>([^<]*)</title>")
_UNIT = re.compile(r"(?<=\d) (?=s\b|%|mm\b)")


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of a sheet.

    Attributes:
        markup: typst markup, every text in it escaped.
        pictures: SVG documents it shows, each with the key by which the markup names it.
    """

    markup: str
    pictures: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Document:
    """Everything typst needs.

    Attributes:
        source: typst markup.
        pictures: SVG documents by key.
    """

    source: str
    pictures: tuple[tuple[str, str], ...]


def escape(text: str) -> str:
    """Markup that prints a text exactly as it is, on one line, whatever it contains.

    The text becomes a typst string, in which nothing is a command; the semicolon ends the expression, so what
    follows cannot be taken for a part of it.
    """
    return f"#{_quoted(text)};"


def _quoted(text: str) -> str:
    """A typst string literal; line breaks become spaces, other control characters vanish."""
    plain = _CONTROLS.sub("", _BREAKS.sub(" ", text))
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'


# Blocks.


def stack(blocks: Iterable[Block], *, gap: float = 4.0) -> Block:
    """Blocks one under another."""
    parts = tuple(blocks)
    markup = f"\n#v({gap:g}mm, weak: true)\n".join(block.markup for block in parts)
    return Block(markup, tuple(dict.fromkeys(picture for block in parts for picture in block.pictures)))


def title_block(title: str, subtitle: str = "", left: str = "", right: str = "") -> Block:
    """A title, centred; a smaller line under it; under that a line at the left and one at the right."""
    lines = [f'#align(center, text(size: 20pt, weight: "bold", {_quoted(title)}))']
    if subtitle.strip():
        lines.append(f"#align(center, text(size: 12pt, {_quoted(subtitle)}))")
    if (left + right).strip():
        sides = f"[{escape(left)}], align(right, [{escape(right)}])"
        lines.append(f"#grid(columns: (1fr, 1fr), column-gutter: 6mm, {sides})")
    return Block("\n#v(2.5mm, weak: true)\n".join(lines))


def heading_block(text: str) -> Block:
    """A heading within a sheet; it stays with what follows."""
    return Block(f"#heading(level: 2, {_quoted(text)})")


def paragraph(text: str, *, heavy: bool = False, size: float | None = None) -> Block:
    """A paragraph; in the size of what surrounds it where none is given, in points."""
    weight = "bold" if heavy else "regular"
    points_ = "" if size is None else f"size: {size:g}pt, "
    return Block(f'#par(text({points_}weight: "{weight}", {_quoted(_tied(text))}))')


def points(texts: Iterable[str]) -> Block:
    """A list of points."""
    return Block("#list(" + "".join(f"[{escape(_tied(text))}], " for text in texts) + ")")


def _tied(text: str) -> str:
    """Text in which no line breaks between a number and its unit."""
    return _UNIT.sub("\N{NO-BREAK SPACE}", text)


def picture(drawing: str, *, width: float | None = None, alternative: str = "") -> Block:
    """An SVG document, in its own size or on a width in millimetres.

    Args:
        drawing: the SVG document.
        width: millimetres; its own width where None.
        alternative: what it shows, for who cannot see it; the drawing's title where empty.
    """
    key, wide = _key(drawing), "auto" if width is None else f"{width:g}mm"
    return Block(_image(key, f"width: {wide}", alternative or _title(drawing)), ((key, drawing),))


def table(
    header: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    widths: Sequence[str] = (),
    heavy: Sequence[int] = (),
    inset: tuple[float, float] = (1.6, 1.5),
) -> Block:
    """A table whose header comes again on every page.

    Args:
        header: head of each column.
        rows: the cells of each row.
        widths: typst's column widths, such as "auto", "1fr" or "18mm"; all "auto" but the last where empty.
        heavy: indices of columns printed bold.
        inset: millimetres around the text of a cell, at the sides and above and below.
    """
    columns = list(widths) or ["auto"] * (len(header) - 1) + ["1fr"]
    cells = [f"table.header({', '.join(f'strong({_quoted(cell)})' for cell in header)})"]
    for row in rows:
        cells += [f"{'strong' if k in heavy else 'text'}({_quoted(cell)})" for k, cell in enumerate(row)]
    body = ",\n  ".join(cells)
    return Block(
        f"#table(columns: ({', '.join(columns)},), inset: (x: {inset[0]:g}mm, y: {inset[1]:g}mm), "
        "align: left + top,\n"
        "  stroke: (x, y) => (bottom: if y == 0 { 0.8pt } else { 0.3pt + luma(150) }),\n"
        f"  {body})"
    )


def entries(rows: Iterable[tuple[str, str]], *, gap: float = 1.6) -> Block:
    """Labels in bold with what is said of each beside it, aligned.

    Args:
        rows: (label, text).
        gap: millimetres between two rows.
    """
    cells = ", ".join(f"strong({_quoted(label)}), text({_quoted(text)})" for label, text in rows)
    return Block(f"#grid(columns: (auto, 1fr), column-gutter: 4mm, row-gutter: {gap:g}mm, {cells})")


def sized(block: Block, size: float) -> Block:
    """A block in letters of another size, in points; its headings a fifth larger."""
    head = f"#set text(size: {size:g}pt)\n#show heading: set text(size: {size * 1.2:g}pt)"
    return Block(f"#[{head}\n{block.markup}\n]", block.pictures)


def beside(blocks: Iterable[Block], *, gap: float = 6.0, widths: Sequence[str] = ("1fr", "1fr")) -> Block:
    """Blocks side by side, row after row.

    Args:
        blocks: the blocks.
        gap: millimetres between two columns; between rows two thirds of it.
        widths: typst's width of each column.
    """
    parts = tuple(blocks)
    cells = ", ".join(f"[\n{block.markup}\n]" for block in parts)
    columns, rows = ", ".join(widths), f"{gap * 2 / 3:g}mm"
    markup = f"#grid(columns: ({columns},), column-gutter: {gap:g}mm, row-gutter: {rows}, {cells})"
    return Block(markup, tuple(dict.fromkeys(picture for block in parts for picture in block.pictures)))


def page_break() -> Block:
    """The end of a page."""
    return Block("#pagebreak()")


def centred(block: Block) -> Block:
    """A block in the middle of the line."""
    return Block(f"#align(center)[\n{block.markup}\n]", block.pictures)


def kept_together(block: Block) -> Block:
    """A block that is not torn by the end of a page."""
    return Block(f"#block(breakable: false, width: 100%)[\n{block.markup}\n]", block.pictures)


# Documents.


def print_document(
    front: Block | None,
    pages: Sequence[str],
    page: PageFormat,
    *,
    title: str,
    front_alone: bool = False,
    notes: Sequence[str] = (),
) -> Document:
    """Engraved pages, with something in front.

    Args:
        front: a block for the room kept free on the first page; None for nothing.
        pages: SVG documents, each as large as the page.
        page: the page.
        title: title of the document, which also stands at the foot of each page.
        front_alone: give the front a page of its own.
        notes: what else stands at the foot of each engraved page, "" for nothing; none where empty.
    """
    parts = [_preamble(page, title)]
    pictures = dict(front.pictures) if front else {}
    if front and (front_alone or not pages):
        parts.append(f"#page[\n{front.markup}\n]")
    for number, drawing in enumerate(pages):
        pictures[_key(drawing)] = drawing
        above = front if front and not front_alone and number == 0 else None
        parts.append(_engraved_page(drawing, page, above, notes[number] if notes else ""))
    return Document("\n".join(parts), tuple(pictures.items()))


def _engraved_page(drawing: str, page: PageFormat, above: Block | None, note: str) -> str:
    """An engraved page with what stands above the music and at its foot."""
    wide = f"{page.text_width:g}mm"
    shown = _image(_key(drawing), "width: 100%", _title(drawing)).removeprefix("#")
    parts = ["#page(margin: 0mm, footer: none)["]
    if above:  # first, so that it is read aloud first
        at = f"dx: {page.margin:g}mm, dy: {page.margin:g}mm"
        parts.append(f"#place(top + left, {at}, block(width: {wide})[\n{above.markup}\n])")
    parts.append(f"#place(top + left, {shown})")
    low = page.margin / 2 - 1.5
    if note:
        words = f'align(right, text(size: 8.5pt, weight: "bold", {_quoted(note)}))'
        parts.append(_at_foot(page, low + 4.2, words))
    parts.append(_at_foot(page, low, "foot"))
    return "\n".join([*parts, "]"])


def _at_foot(page: PageFormat, above: float, words: str) -> str:
    """Something between the margins, so many millimetres above the lower edge of the paper."""
    block = f"block(width: {page.text_width:g}mm, {words})"
    return f"#place(bottom + left, dx: {page.margin:g}mm, dy: -{above:g}mm, {block})"


def sheet_document(blocks: Iterable[Block], page: PageFormat, *, title: str, gap: float = 4.0) -> Document:
    """Blocks set one under another, a gap in millimetres between, on as many pages as they need."""
    body = stack(blocks, gap=gap)
    return Document(f"{_preamble(page, title)}\n{body.markup}", body.pictures)


def print_pdf(
    front: Block | None,
    pages: Sequence[str],
    page: PageFormat,
    *,
    title: str,
    front_alone: bool = False,
    notes: Sequence[str] = (),
) -> bytes:
    """`print_document` as PDF."""
    return to_pdf(print_document(front, pages, page, title=title, front_alone=front_alone, notes=notes))


def to_pdf(document: Document) -> bytes:
    """A tagged PDF; the same document gives the same bytes."""
    return bytes(_compile(document, format="pdf"))


def to_png(document: Document, *, dots: float = 144.0) -> tuple[bytes, ...]:
    """Pictures of the pages.

    Args:
        document: what to print.
        dots: pixels an inch.
    """
    found = _compile(document, format="png", ppi=dots)
    return tuple(found) if isinstance(found, list) else (found,)


def block_height(block: Block, page: PageFormat) -> float:
    """Height in millimetres of a block set on the text width of a page."""
    import typst

    source = (
        f"{_preamble(page, '')}\n#context [#metadata(measure(block(width: {page.text_width:g}mm)[\n"
        f"{block.markup}\n]).height.mm()) <height>]"
    )
    around = _surroundings(Document(source, block.pictures))
    found = typst.query(source.encode(), "<height>", field="value", one=True, **around)
    return float(json.loads(found))


def _preamble(page: PageFormat, title: str) -> str:
    """Paper, fonts and the foot of the page."""
    return "\n".join(
        [
            f"#set document(title: {_quoted(title)}, date: none)",
            f'#set text(font: "Libertinus Serif", size: {TEXT_SIZE:g}pt, lang: "en")',
            "#set par(justify: false)",
            "#show heading: set text(size: 12.5pt)",
            "#show heading: set block(above: 5mm, below: 2.5mm, sticky: true)",
            "#let foot = context grid(columns: (1fr, auto), column-gutter: 6mm,",
            f"  text(size: 8.5pt, {_quoted(title)}),",
            "  text(size: 8.5pt)[#counter(page).display() / #counter(page).final().first()])",
            f"#set page(width: {page.width:g}mm, height: {page.height:g}mm, margin: {page.margin:g}mm, "
            "footer: foot, footer-descent: 35%)",
        ]
    )


def _image(key: str, size: str, alternative: str) -> str:
    return f'#image(bytes(sys.inputs.at("{key}")), format: "svg", alt: {_quoted(alternative)}, {size})'


def _key(drawing: str) -> str:
    """A key that depends on the drawing alone, so that blocks can be combined freely."""
    return hashlib.sha256(drawing.encode()).hexdigest()[:24]


def _title(drawing: str) -> str:
    """The title of an SVG document, as text."""
    match = _TITLE.search(drawing)
    return unescape(match[1]) if match else ""


def _compile(document: Document, **options: Any) -> Any:
    """Hand the document to typst."""
    import typst

    return typst.compile(document.source.encode(), **_surroundings(document), **options)


def _surroundings(document: Document) -> dict[str, Any]:
    """Pictures and fonts for typst."""
    texts = (document.source, *(drawing for _, drawing in document.pictures))
    foreign = any(_BEYOND_OUR_FONTS.search(text) for text in texts)
    return {
        "sys_inputs": dict(document.pictures),
        "font_paths": [str(FONTS)],
        "ignore_system_fonts": not foreign,
    }

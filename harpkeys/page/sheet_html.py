"""The cue sheet as a web page, whole in itself."""

from __future__ import annotations

from harpkeys.page import html, html_parts
from harpkeys.page.cue_sheet import CueSheet, excerpt_drawings
from harpkeys.page.html_style import style_sheet


def sheet_html(sheet: CueSheet, xml: str | bytes) -> bytes:
    """The cue sheet as HTML, in UTF-8.

    Args:
        sheet: the cue sheet.
        xml: the marked score, for the excerpts.

    Raises:
        ScoreError: the engraver cannot draw the score.
    """
    drawings = excerpt_drawings(sheet, xml, width=150, staff=6.0)
    sections = [
        html.section("start", "Before the start", html_parts.facts(sheet), html_parts.chart(sheet)),
    ]
    if sheet.flips:
        sections.append(html.section("flips", "Lever flips", html_parts.flips_table(sheet)))
    if sheet.passages:
        sections.append(html.section("flagged", sheet.passages_heading, html_parts.passages(sheet, drawings)))
    sections += [html.section(name, heading, body) for name, heading, body in html_parts.closing(sheet)]
    page = html.document(
        f"Cue sheet: {sheet.title}",
        style_sheet(music=bool(drawings)),
        html_parts.title_block(sheet),
        html.element("main", *sections),
    )
    return page.encode()

"""The style sheet of web pages: black on white, one accent, and rules for paper.

Every pair of colours is named here with its ground, so that a test can compute the contrast. Nothing is told
by colour alone. Lengths of type are relative, so that a reader's own size of letters is kept.

Reference: WCAG 2.2, success criteria 1.4.3 (contrast of text 4.5 to 1) and 1.4.11 (of signs 3 to 1).
"""

from __future__ import annotations

from harpkeys.page import svg
from harpkeys.page.font_face import font_faces

INK, SOFT, LINK, ALARM, RULE = "#1a1a1a", "#4d4d4d", "#1f3d8c", "#9a2f06", "#808080"
PAPER, TINT = "#ffffff", "#f3f1ec"

TEXT_PAIRS = (
    (INK, PAPER),
    (INK, TINT),
    (SOFT, PAPER),
    (SOFT, TINT),
    (LINK, PAPER),
    (LINK, TINT),
    (ALARM, PAPER),
)
"""Colours of text with the ground they stand on."""

SIGN_PAIRS = ((RULE, PAPER), (ALARM, TINT))
"""Colours of lines and signs with their ground."""

_SCREEN = f"""
:root {{ color-scheme: light; }}
* {{ box-sizing: border-box; }}
html {{ font-family: {svg.WORD_FONT}; font-size: 112.5%; line-height: 1.45; color: {INK}; background: {PAPER};
  scroll-padding-top: 1rem; }}
body {{ max-width: 50rem; margin: 0 auto; padding: 1.2rem 1.2rem 4rem; }}
h1 {{ font-size: 2.1rem; line-height: 1.15; margin: 0.4rem 0 0.2rem; }}
h2 {{ font-size: 1.35rem; line-height: 1.2; margin: 2.6rem 0 0.7rem; padding-top: 0.5rem;
  border-top: 2px solid {INK}; }}
h3 {{ font-size: 1.05rem; margin: 1.5rem 0 0.3rem; }}
p, ul, dl {{ margin: 0.4rem 0 0.7rem; }}
ul {{ padding-left: 1.2rem; }}
a {{ color: {LINK}; text-underline-offset: 0.15em; }}
a:focus-visible, [tabindex]:focus-visible {{ outline: 3px solid {LINK}; outline-offset: 2px; }}
.skip {{ position: absolute; left: -100rem; }}
.skip:focus {{ position: static; }}
.by {{ color: {SOFT}; margin: 0; }}
.verdict {{ font-size: 1.15rem; font-weight: bold; margin: 1rem 0; padding: 0.7rem 1rem; background: {TINT};
  border-left: 0.5rem solid {INK}; }}
.verdict.lost {{ border-left-style: double; border-left-color: {ALARM}; }}
nav ul {{ list-style: none; padding: 0; display: flex; flex-wrap: wrap; gap: 0.2rem 1.2rem; }}
dl.facts {{ display: grid; grid-template-columns: max-content 1fr; gap: 0.25rem 1.2rem; }}
dl.facts dt {{ font-weight: bold; }}
dl.facts dd {{ margin: 0; }}
figure {{ margin: 0.6rem 0 1.2rem; }}
figcaption, .note {{ color: {SOFT}; font-size: 0.88rem; }}
svg {{ display: block; max-width: 100%; height: auto; }}
.scroll {{ overflow-x: auto; }}
.scroll svg {{ max-width: none; min-width: 44rem; width: 100%; }}
.tight th, .tight td {{ white-space: nowrap; }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; margin: 0.4rem 0 1rem; }}
caption {{ text-align: left; color: {SOFT}; font-size: 0.88rem; padding-bottom: 0.3rem; }}
th, td {{ text-align: left; vertical-align: top; padding: 0.22rem 0.9rem 0.22rem 0; }}
thead th {{ border-bottom: 2px solid {INK}; white-space: nowrap; }}
tbody th, tbody td {{ border-bottom: 1px solid {RULE}; }}
tr:target > *, .flagged:target {{ background: {TINT}; }}
tr:target > th:first-child, .flagged:target {{ box-shadow: inset 0.3rem 0 0 {INK}; }}
tr:target > th:first-child {{ padding-left: 0.6rem; }}
.flagged {{ padding: 0.1rem 0 0.1rem 0.8rem; border-left: 1px solid {RULE}; margin-bottom: 1rem; }}
.flagged h3 {{ margin-top: 0.4rem; }}
summary {{ cursor: pointer; color: {LINK}; }}
g.measure:target {{ color: {LINK}; fill: {LINK}; }}
svg a:focus-visible {{ outline: 3px solid {LINK}; outline-offset: 2px; }}
"""

_PAPER = """
@media print {
  @page { margin: 14mm; }
  html { font-size: 10pt; color: #000000; }
  body { max-width: none; padding: 0; }
  nav, .skip, .back { display: none; }
  a { color: #000000; text-decoration: none; }
  .verdict { background: none; border: 1pt solid #000000; border-left-width: 4pt; }
  h2 { margin: 1.4rem 0 0.5rem; }
  h2, h3, caption, .note { break-after: avoid; break-inside: avoid; }
  figure { margin: 0.3rem 0 0.6rem; }
  figure, tr, .flagged { break-inside: avoid; }
  .scroll { overflow: visible; }
  .scroll svg { min-width: 0; }
  details:not([open]) { display: none; }
  tr:target > *, .flagged:target { background: none; box-shadow: none; }
  g.measure:target { color: inherit; fill: inherit; }
}
"""


def style_sheet(*, music: bool = True) -> str:
    """The whole style sheet.

    Args:
        music: whether to bring the fonts along that engraved drawings name.
    """
    return f"{font_faces() if music else ''}{_SCREEN}{_PAPER}"

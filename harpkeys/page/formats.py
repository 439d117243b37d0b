"""Sizes of paper, margins and staves. Lengths are millimetres.

Sources: A4, ISO 216; Letter, 8.5 by 11 inches (ANSI/ASME Y14.1, size A). A staff of 7 mm is in the range
that engravers use for solo parts (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

from harpkeys.errors import OptionError
from harpkeys.harp.naming import quoted

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of each paper, upright."""

LEAST_TEXT = 100.0
"""Narrowest text on which music can be laid out."""


@dataclass(frozen=True, slots=True)
class PageFormat:
    """A page to engrave or print on; `page_format` checks what a user asked for.

    Attributes:
        paper: a name in PAPERS.
        landscape: whether it lies on its side.
        margin: blank on all four sides; the foot of the page stands in the lower one.
        staff: height of a staff, outer line to outer line.
    """

    paper: str = "A4"
    landscape: bool = False
    margin: float = 15.0
    staff: float = 7.0

    @property
    def width(self) -> float:
        """Width of the page."""
        return PAPERS[self.paper][1 if self.landscape else 0]

    @property
    def height(self) -> float:
        """Height of the page."""
        return PAPERS[self.paper][0 if self.landscape else 1]

    @property
    def text_width(self) -> float:
        """Width between the margins."""
        return self.width - 2 * self.margin

    @property
    def text_height(self) -> float:
        """Height between the margins."""
        return self.height - 2 * self.margin


def page_format(
    paper: str = "A4", *, landscape: bool = False, margin: float = 15.0, staff: float = 7.0
) -> PageFormat:
    """The page that a user asked for.

    Args:
        paper: "A4" or "Letter", in any case.
        landscape: whether it lies on its side.
        margin: millimetres, 5 to 50.
        staff: height of a staff in millimetres, 4 to 12.

    Raises:
        OptionError: no such paper, or a length out of range.
    """
    known = {name.lower(): name for name in PAPERS}
    name = known.get(paper.strip().lower())
    if name is None:
        raise OptionError(f"there is no paper {quoted(paper)}", f"choose {' or '.join(PAPERS)}")
    for length, what, least, most in ((margin, "margin", 5, 50), (staff, "staff", 4, 12)):
        if not least <= length <= most:
            raise OptionError(f"a {what} of {length:g} mm is out of range", f"choose {least} to {most} mm")
    return PageFormat(name, landscape, margin, staff)

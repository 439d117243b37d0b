"""The fonts for web pages, carried inside the page: engraved SVG names one for the signs inside words, the
other for the words of cues, whose boxes are made to fit them."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path

MUSIC_FONT = "Harpkeys Music"
"""Family of the font with the musical signs inside words; scripts/music_font.py tells its licence."""

CUE_FONT = "Harpkeys Words"
"""Family of the font with the letters of cues, for who lacks the text font; scripts/word_font.py tells its
licence."""

FONTS = Path(__file__).parent / "fonts"


def font_faces() -> str:
    """Style sheet rules that bring both fonts along, to stand once in a page with engraved SVG."""
    return _face(MUSIC_FONT, "harpkeys-music.otf") + _face(CUE_FONT, "harpkeys-words.otf")


def _face(family: str, name: str) -> str:
    data = b64encode((FONTS / name).read_bytes()).decode("ascii")
    return (
        f'@font-face {{ font-family: "{family}"; '
        f'src: url("data:font/otf;base64,{data}") format("opentype"); }}'
    )

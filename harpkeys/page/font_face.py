"""The music font for web pages, carried inside the page: engraved SVG names it for the signs inside words."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path

MUSIC_FONT = "Harpkeys Music"
"""Family of the font with the musical signs inside words; scripts/music_font.py tells its licence."""

FONTS = Path(__file__).parent / "fonts"


def music_font_face() -> str:
    """A style sheet rule that brings the music font along, to stand once in a page with engraved SVG."""
    data = b64encode((FONTS / "harpkeys-music.otf").read_bytes()).decode("ascii")
    return (
        f'@font-face {{ font-family: "{MUSIC_FONT}"; '
        f'src: url("data:font/otf;base64,{data}") format("opentype"); }}'
    )

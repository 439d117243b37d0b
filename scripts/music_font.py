"""Make the small font in which musical signs inside words are printed, from the one verovio brings along.

verovio draws notes as outlines, but a sign inside words ("♩ = 96", a dynamic beside a word) as a letter
of its music font, Leipzig, which typst can neither find nor read (it is inside a style sheet,
compressed). Leipzig is under the SIL Open Font License 1.1 with its name reserved; what this script
makes is a modified version, hence the new name and the same licence, which stands beside it in
harpkeys/page/fonts.

Run by hand when verovio's font changes:  pip install fonttools brotli verovio && python scripts/music_font.py
"""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path

FAMILY = "Harpkeys Music"
NOTICE = (
    "Copyright (c) 2014, Etienne Darbellay, Jean-Francois Marti and Laurent Pugin (info@rism.digital), "
    'with Reserved Font Name "Leipzig". A selection of its glyphs under another name.'
)
LICENCE = "This Font Software is licensed under the SIL Open Font License, Version 1.1."

RANGES = (
    (0x20, 0x20),
    (0x266D, 0x266F),  # flat, natural, sharp
    (0xE040, 0xE04F),  # repeats, segno, coda
    (0xE1D0, 0xE1FF),  # single notes and augmentation dots
    (0xE240, 0xE24F),  # flags
    (0xE260, 0xE26F),  # accidentals
    (0xE520, 0xE54F),  # dynamics
    (0xE560, 0xE56F),  # ornaments
    (0xEA50, 0xEA7F),  # figured bass
    (0xECA0, 0xECBF),  # metronome marks
)
"""Code points kept, by the ranges of SMuFL 1.4."""


def original() -> bytes:
    """verovio's Leipzig, taken out of its style sheet."""
    import verovio

    css = Path(verovio.__file__).parent / "data" / "Leipzig.css"
    match = re.search(r"base64,([A-Za-z0-9+/=]+)", css.read_text("utf-8"))
    if match is None:
        raise SystemExit("verovio's Leipzig.css holds no font.")
    return base64.b64decode(match[1])


def main() -> None:
    """Write harpkeys/page/fonts/harpkeys-music.otf."""
    from fontTools import subset
    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO(original()), recalcTimestamp=False)
    wanted = {code for first, last in RANGES for code in range(first, last + 1)}
    options = subset.Options(layout_features=["*"], name_IDs=["*"], notdef_outline=True)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=wanted & set(font.getBestCmap()))
    subsetter.subset(font)
    plain = FAMILY.replace(" ", "")
    names = {0: NOTICE, 1: FAMILY, 2: "Regular", 3: plain, 4: FAMILY, 5: "Version 1.0", 6: plain, 13: LICENCE}
    names[14] = "https://openfontlicense.org"
    font["name"].names = []
    for number, text in names.items():
        font["name"].setName(text, number, 3, 1, 0x409)
    if "CFF " in font:
        font["CFF "].cff.fontNames = [plain]
        top = font["CFF "].cff.topDictIndex[0]
        top.FullName, top.FamilyName, top.Notice = FAMILY, FAMILY, NOTICE.encode("latin-1").decode("latin-1")
    font.flavor = None
    target = Path(__file__).resolve().parents[1] / "harpkeys" / "page" / "fonts" / "harpkeys-music.otf"
    font.save(target)
    print(f"{target.name}: {len(font.getBestCmap())} glyphs, {target.stat().st_size} bytes")


if __name__ == "__main__":
    main()

"""Make the small font in which the words of cues stand on web pages, from the one typst brings along.

Boxes of cues are as wide as their words in Libertinus Serif, the text font in print. A web browser seldom has
it, and another font would have to be squeezed into the boxes. typst keeps the font inside itself: it is taken
out of a PDF that holds every letter once, without kerning, as the widths of harpkeys/page/text_width.py are.
Libertinus is under the SIL Open Font License 1.1 with names reserved; what this script makes is a modified
version, hence the new name and the same licence, which stands beside it in harpkeys/page/fonts.

Run by hand when typst's font changes:  pip install fonttools pypdf typst && python scripts/word_font.py
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

FAMILY = "Harpkeys Words"
NOTICE = (
    "Copyright (c) 2012-2017 The Libertinus Project Authors, with Reserved Font Name "
    '"Linux Libertine", "Biolinum", "STIX Fonts". A selection of its glyphs under another name.'
)
LICENCE = "This Font Software is licensed under the SIL Open Font License, Version 1.1."

LETTERS = "".join(map(chr, range(0x21, 0x7F))) + "♭♮♯↑↓"
"""What cues are made of, and what else an ordinary keyboard writes."""


def printed_font() -> Any:
    """typst's Libertinus Serif, with the letters wanted and the space, as a PDF holds it."""
    import pypdf
    import typst

    quoted = ", ".join('"' + "\\" * (letter in '"\\') + f'{letter}"' for letter in LETTERS)
    source = (
        '#set text(font: "Libertinus Serif", fallback: false, kerning: false, ligatures: false)\n'
        f"#for letter in ({quoted}) [#letter #letter ]"
    )
    pdf = typst.compile(source.encode(), format="pdf")
    fonts = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]["/Resources"]["/Font"]
    (font,) = (entry.get_object() for entry in fonts.values())
    return font


def code_points(font: Any) -> dict[int, int]:
    """For each code point the number of its glyph, as the PDF tells them."""
    lines = font["/ToUnicode"].get_object().get_data().decode().splitlines()
    pairs = (line.split() for line in lines if line.startswith("<") and line.count("<") == 2)
    found = {int(code[1:-1], 16): int(glyph[1:-1], 16) for glyph, code in pairs if len(code) == 6}
    return {code: glyph for code, glyph in found.items() if code != 0xFFFF}


def main() -> None:
    """Write harpkeys/page/fonts/harpkeys-words.otf."""
    from fontTools.cffLib import CFFFontSet
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.pens.t2CharStringPen import T2CharStringPen
    from fontTools.ttLib import newTable

    font = printed_font()
    inner = font["/DescendantFonts"][0].get_object()
    descriptor = inner["/FontDescriptor"].get_object()
    outlines = CFFFontSet()
    outlines.decompile(io.BytesIO(descriptor["/FontFile3"].get_object().get_data()), None)
    drawn, order = outlines[0].CharStrings, outlines[0].charset
    by_code = code_points(font)
    missing = [letter for letter in f" {LETTERS}" if ord(letter) not in by_code]
    if missing:
        raise SystemExit(f"typst's font lacks {missing}")
    names = {".notdef": 0} | {f"uni{code:04X}": glyph for code, glyph in sorted(by_code.items())}
    strings, metrics = {}, {}
    for name, glyph in names.items():
        old = drawn[order[glyph]]
        bounds = BoundsPen(None)
        old.draw(bounds)  # also finds its width
        width = round(old.width)
        pen = T2CharStringPen(width, None)
        old.draw(pen)
        strings[name] = pen.getCharString()
        metrics[name] = (width, round(bounds.bounds[0]) if bounds.bounds else 0)
    builder = FontBuilder(1000, isTTF=False)
    builder.setupHead(unitsPerEm=1000, created=0, modified=0)
    builder.setupGlyphOrder(list(names))
    builder.setupCharacterMap({code: f"uni{code:04X}" for code in by_code})
    plain = FAMILY.replace(" ", "")
    builder.setupCFF(plain, {"FullName": FAMILY, "FamilyName": FAMILY, "Notice": NOTICE}, strings, {})
    builder.setupHorizontalMetrics(metrics)
    ascent, descent = round(descriptor["/Ascent"]), round(descriptor["/Descent"])
    builder.setupHorizontalHeader(ascent=ascent, descent=descent)
    said = {0: NOTICE, 1: FAMILY, 2: "Regular", 3: plain, 4: FAMILY, 5: "Version 1.0", 6: plain, 13: LICENCE}
    said[14] = "https://openfontlicense.org"
    builder.font["name"] = newTable("name")
    for number, text in said.items():
        builder.font["name"].setName(text, number, 3, 1, 0x409)
    builder.setupOS2(sTypoAscender=ascent, sTypoDescender=descent, usWinAscent=ascent, usWinDescent=-descent)
    builder.setupPost()
    target = Path(__file__).resolve().parents[1] / "harpkeys" / "page" / "fonts" / "harpkeys-words.otf"
    builder.save(target)
    print(f"{target.name}: {len(by_code)} glyphs, {target.stat().st_size} bytes")


if __name__ == "__main__":
    main()

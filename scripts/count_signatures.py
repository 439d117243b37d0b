"""How common each key signature is in folk tunes: makes `harpkeys/choose/signature_counts.py`.

    python scripts/count_signatures.py           print the counts
    python scripts/count_signatures.py --write   write the module

Counted is the first key (K:) field of every ABC tune in the folk collections that come with music21; what the
field says is read by music21.abcFormat, five fields that are no keys of ABC (H, Bn, Es) included. Keys that
change inside a tune are not counted.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from harpkeys.score.notations import abc_tunes, text_of

COLLECTIONS = {
    "airdsAirs": "Aird's Airs",
    "essenFolksong": "Essen folk songs",
    "miscFolk": "fife and Northumbrian tunes",
    "nottingham-dataset": "Nottingham",
    "oneills1850": "O'Neill's 1850",
    "ryansMammoth": "Ryan's Mammoth Collection",
}
"""Folders of music21's corpus, and what their tunes are known as."""

MODULE = Path(__file__).resolve().parents[1] / "harpkeys" / "choose" / "signature_counts.py"


def signature_of(tune: str) -> int | None:
    """Sharps (positive) or flats of the first key field of an ABC tune; None where there is none."""
    from music21 import abcFormat

    line = next((line for line in tune.splitlines() if line.startswith("K:")), None)
    if line is None:
        return None
    field = abcFormat.ABCMetadata(line.partition("%")[0].strip())
    field.preParse()
    return int(field.getKeySignatureParameters()[0])


def count(paths: Sequence[Path]) -> Counter[int]:
    """Tunes by signature in some ABC files."""
    counts: Counter[int] = Counter()
    for path in paths:
        for _, tune in abc_tunes(text_of(path.read_bytes())):
            fifths = signature_of(tune)
            if fifths is not None:
                counts[fifths] += 1
    return counts


def corpus_files(folder: str) -> list[Path]:
    """The ABC files of a folder of music21's corpus."""
    from music21 import corpus

    return sorted((Path(corpus.__file__).parent / folder).glob("*.abc"))


def count_all() -> dict[str, Counter[int]]:
    """Tunes by signature, by collection."""
    return {name: count(corpus_files(folder)) for folder, name in COLLECTIONS.items()}


def module_text(counts: Mapping[str, Mapping[int, int]]) -> str:
    """The data module."""
    from music21 import __version__ as version

    tunes = sum(sum(row.values()) for row in counts.values())
    lines = [
        '"""How common each key signature is: folk tunes by signature, by collection.',
        "",
        "Made by scripts/count_signatures.py from the ABC files that come with music21 "
        f"{version}; do not edit.",
        f"Counted is the first key field of each of {tunes} tunes, read by music21.abcFormat.",
        '"""',
        "",
        "from __future__ import annotations",
        "",
        "from collections.abc import Mapping",
        "",
        "FOLK_SIGNATURES: Mapping[str, Mapping[int, int]] = {",
    ]
    for name, row in counts.items():
        lines.append(f'    "{name}": {{')
        lines += [f"        {fifths}: {row[fifths]}," for fifths in sorted(row)]
        lines.append("    },")
    lines += ["}", '"""Tunes by sharps (positive) or flats (negative) of their signature, by collection."""']
    return "\n".join(lines) + "\n"


def main() -> None:
    """Print or write the counts."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--write", action="store_true", help="write the module")
    text = module_text(count_all())
    if parser.parse_args().write:
        MODULE.write_text(text, encoding="utf-8")
    else:
        print(text, end="")


if __name__ == "__main__":
    main()

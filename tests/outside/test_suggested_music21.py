"""Suggested keys against music21's own Krumhansl-Schmuckler analysis, on music21's corpus.

music21 implements the same published algorithm (Krumhansl 1990) with the same profiles, in other code and on
its own reading of the files. All 110 pieces get the same key with the same correlation. Where the two differ:

- Hidden notes: some files hold the notes an exporting program plays for an ornament, hidden on the page.
  music21 weighs them; here they are no notes. They are taken out of music21's score before comparing, and one
  piece shows that they make the difference.
- Enharmonic spelling: music21 counts sharps against flats to choose between F sharp and G flat; here the
  nearest place on the line of fifths is taken. Keys are compared by pitch class, spellings are counted: one
  piece, an exercise through all triads, is a tie (F sharp there, G flat here).
- music21 knows nothing of church modes; the suggested key itself is compared.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from harpkeys.analysis.suggested import MAJOR_PROFILE, MINOR_PROFILE, KeyGuess, suggest_keys
from harpkeys.harp.naming import fifths_note, tonic_name
from harpkeys.pitch import NATURAL_SEMITONES
from harpkeys.score.reader import read_score

PIECES = 110

WITH_HIDDEN_NOTES = "haydn/opus1no1/movement4.mxl"


def corpus_files() -> list[Path]:
    """The MusicXML files of music21's corpus, small ones first."""
    from music21 import corpus

    paths = [Path(path) for path in corpus.getCorePaths()]
    chosen = [
        path for path in paths if path.suffix in (".mxl", ".xml", ".musicxml") and "demos" not in path.parts
    ]
    return sorted(chosen, key=lambda path: (path.stat().st_size, path.name))


def read_by_music21(path: Path, *, hidden: bool = False) -> Any:
    """music21's reading of a file, with or without notes that are hidden on the page."""
    from music21 import converter

    score = converter.parse(path)
    if not hidden:
        unseen = [note for note in score.recurse().notes if note.style.hideObjectOnPrint]
        score.remove(unseen, recurse=True)
    return score


def analysed(score: Any) -> tuple[int, str, float]:
    """Tonic's pitch class, mode and correlation as music21 finds them."""
    key = score.analyze("KrumhanslSchmuckler")
    return key.tonic.pitchClass, key.mode, key.correlationCoefficient


def own(guess: KeyGuess) -> tuple[int, str, float]:
    letter, alter = fifths_note(guess.fifths + (3 if guess.mode == "minor" else 0))
    return (NATURAL_SEMITONES[letter] + alter) % 12, guess.mode, guess.correlation


def test_the_profiles_are_music21s() -> None:
    from music21.analysis import discrete

    analysis = discrete.KrumhanslSchmuckler()
    assert list(MAJOR_PROFILE) == analysis.getWeights("major")
    assert list(MINOR_PROFILE) == analysis.getWeights("minor")


@pytest.mark.slow
def test_suggested_keys_agree_on_the_corpus() -> None:
    compared = spelled = 0
    different: list[str] = []
    for path in corpus_files():
        if compared == PIECES:
            break
        suggestions = suggest_keys(read_score(path).parts)
        if len(suggestions) != 1:  # music21 is asked for one key only
            continue
        compared += 1
        guess = suggestions[0].guess
        score = read_by_music21(path)
        tonic, mode, correlation = own(guess)
        if (tonic, mode) != analysed(score)[:2] or correlation != pytest.approx(analysed(score)[2], abs=1e-9):
            different.append(f"{path.name}: {guess} against {analysed(score)}")
        name = tonic_name(guess.fifths, guess.mode).replace("-flat", "-").replace("-sharp", "#")
        spelled += name == score.analyze("KrumhanslSchmuckler").tonic.name
    assert compared >= 100
    assert different == []
    assert spelled >= compared - 1


def test_hidden_notes_make_the_difference() -> None:
    path = next(path for path in corpus_files() if path.as_posix().endswith(WITH_HIDDEN_NOTES))
    (suggestion,) = suggest_keys(read_score(path).parts)
    seen = analysed(read_by_music21(path))
    heard = analysed(read_by_music21(path, hidden=True))
    assert own(suggestion.guess)[:2] == seen[:2]
    assert own(suggestion.guess)[2] == pytest.approx(seen[2], abs=1e-9)
    assert abs(own(suggestion.guess)[2] - heard[2]) > 1e-4

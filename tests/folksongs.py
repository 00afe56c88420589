"""Old tunes of music21's corpus as lead sheets, for tests and benches: the tunes are in the public domain.

Aird's Airs: J. Aird, A Selection of Scotch, English, Irish and Foreign Airs, Glasgow 1782 (book 1). The German ones are
from the Essen Folksong Collection (H. Schaffrath), out of F. M. Boehme, Altdeutsches Liederbuch, Leipzig 1877, and
L. Erk & F. M. Boehme, Deutscher Liederhort, Leipzig 1893. They are read from the installed music21, not shipped here.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

# (file of the corpus, numbers in it)
TUNES = {
    "airdsAirs/book1.abc": (1, 3, 4, 5, 7, 9, 10, 12),
    "essenFolksong/altdeu10.abc": (6, 7, 9, 10, 12),
    "essenFolksong/erk5.abc": (1, 2, 5, 6, 7, 8, 9, 11, 12, 13),
}
NAMES = tuple((file, number) for file, numbers in TUNES.items() for number in numbers)


def corpus() -> Path:
    """The folder of music21's corpus."""
    import music21

    return Path(music21.__file__).parent / "corpus"


def numbers(file: str) -> list[int]:
    """The numbers of the tunes in a book."""
    return [int(k) for k in re.findall(r"^X: *(\d+)", (corpus() / file).read_text("latin-1"), flags=re.MULTILINE)]


@cache
def score_of(file: str, number: int) -> Any:
    """The tune as music21 has it; it alone is parsed, not its whole book."""
    from music21 import converter

    book = (corpus() / file).read_text("latin-1")
    tune = re.split(rf"^X: *0*{number}\b.*$", book, maxsplit=1, flags=re.MULTILINE)[1]
    text = f"X:{number}" + re.split(r"^X:", tune, maxsplit=1, flags=re.MULTILINE)[0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return converter.parse(text, format="abc", forceSource=True)


def write_sheet(file: str, number: int, folder: Path) -> Path:
    """The tune as a MusicXML file in `folder`, written by music21."""
    path = folder / f"{Path(file).stem}-{number}.musicxml"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score_of(file, number).write("musicxml", fp=path)
    return path


def sounding(file: str, number: int) -> Iterator[int]:
    """The MIDI numbers of the tune as written, a tied note once; read by music21 alone."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for note in score_of(file, number).stripTies().flatten().notes:
            if not note.duration.isGrace:
                yield max(p.midi for p in note.pitches)

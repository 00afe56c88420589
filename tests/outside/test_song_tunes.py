"""The tunes of the traditional songs we ship, note for note against music21's corpus.

The tunes are in the public domain; the encodings are their makers' and are read where music21 is installed, not
shipped.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from coach import shelf
from tests.folksongs import score_of

pytest.importorskip("music21", reason="missing tool: music21")

MINSTRELSY = "miscFolk/northumbrianminstrelsyopus.abc"


def ours(name: str, parts: list[str]) -> list[tuple[int, Fraction]]:
    """(MIDI number, length in quarters) of every note of these parts."""
    song = shelf.songs().songs[name]
    quarters = song.meter.quarters_per_beat
    return [(n.pitch.midi, n.length * quarters) for p in parts for bar in song.parts[p].bars for n in bar.tune]


def theirs(score: object) -> list[tuple[int, Fraction]]:
    """The same of a score's notes, chord symbols left out."""
    notes = score.recurse().getElementsByClass("Note")  # type: ignore[attr-defined]
    return [(n.pitch.midi, Fraction(n.quarterLength).limit_denominator(64)) for n in notes]


def test_the_water_of_tyne() -> None:
    """Bruce and Stokoe, Northumbrian Minstrelsy, 1882 (music21 corpus, miscFolk): our first verse has its tune."""
    score = score_of(MINSTRELSY, 23)
    assert score.metadata.title == "The Water of Tyne"
    assert ours("water-of-tyne", ["Verse"]) == theirs(score)


def test_der_mond_ist_aufgegangen() -> None:
    """Böhme 1895, number 237 (music21 corpus, Essen collection): both verses have its tune."""
    score = score_of("essenFolksong/boehme10.abc", 199)
    assert score.metadata.title == "DER MOND IST AUFGEGANGEN"
    assert ours("der-mond", ["Verse"]) == theirs(score)
    assert ours("der-mond", ["Second verse"]) == theirs(score)


def test_the_oak_and_the_ash() -> None:
    """Bruce and Stokoe 1882 (music21 corpus, miscFolk): verse and chorus have its tune."""
    score = score_of(MINSTRELSY, 21)
    assert score.metadata.title == "O the Oak and the Ash and the Bonny Ivy Tree"
    assert ours("oak-and-ash", ["Verse", "Chorus"]) == theirs(score)

"""Pieces for the tests of paper: every shipped pattern over five chords, and a made-up verse with words and a tune."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from coach.music.chords import read_bars
from coach.music.meter import METERS
from coach.music.notes import Pitch
from coach.picking.pattern import Pattern
from coach.picking.plucks import Pluck
from coach.picking.realise import hold_bars
from coach.song.chart import TuneNote, Word
from coach.song.piece import Piece, PieceBar, pattern_piece
from tests.picking.shipped import BOOK, LIBRARY

FIVE = "C | Am | F | G7 | D/F#"
HALF = Fraction(1, 2)


def over(pattern: Pattern | str, chords: str = FIVE, *, bpm: int = 84, loops: int = 1, capo: int = 0) -> Piece:
    """The piece of a shipped pattern over some chords."""
    shipped = LIBRARY.find(pattern) if isinstance(pattern, str) else pattern
    held = hold_bars(read_bars(chords), shipped.meter, BOOK)
    return pattern_piece(shipped, held, Fraction(bpm), loops=loops, capo=capo)


def sung() -> Piece:
    """Two parts of two bars with words; the tune of the first part is known, its last note held over the bar line."""
    piece = over("outside-in", "G | C", bpm=90, loops=2, capo=2)
    first = (Word(Fraction(0), "fer-"), Word(Fraction(1), "ry"), Word(Fraction(2), "bell"))
    tune = [("0", "1", "D4", False), ("1", "1", "F#4", False), ("2", "2", "A3", False)]
    held = [("0", "2", "A3", True)]
    bars = []
    for bar in piece.bars:
        part = "Verse" if bar.number < 2 else "Chorus"
        words = first if bar.number % 2 == 0 else ()
        notes = {0: tune, 1: held}.get(bar.number, [])
        bars.append(replace(bar, part=part, part_bar=bar.number % 2, words=words, tune=tuple(map(_note, notes))))
    return replace(piece, bars=tuple(bars)).sung("thumb")


def _note(row: tuple[str, str, str, bool]) -> TuneNote:
    beat, length, pitch, tied = row
    return TuneNote(Fraction(beat), Fraction(length), Pitch.parse(pitch), tied)


def bar_of(
    meter: str, fingers: Sequence[object] = (), thumb: Sequence[object] = (), *, beats: object = None, slots: int = 8
) -> PieceBar:
    """One bar on a C shape with plucks at these beats: fingers on string 1 (E4), the thumb on string 5 (C3)."""
    metre = METERS[meter]
    plucks = [_pluck(b, 1, 0, 64, "a", "-") for b in fingers] + [_pluck(b, 5, 3, 48, "p", "r") for b in thumb]
    plucks.sort(key=lambda p: (p.beat, -p.string))
    held = hold_bars(read_bars("C"), metre, BOOK)[0]
    length = Fraction(metre.beats if beats is None else str(beats))
    return PieceBar(0, "", 0, 0, Fraction(0), metre, length, slots, Fraction(60), held, tuple(plucks))


def _pluck(beat: object, string: int, fret: int, midi: int, finger: str, role: str) -> Pluck:
    at = Fraction(str(beat))
    return Pluck(0, at, at, string, fret, midi, finger, role)


def piece_of(*bars: PieceBar) -> Piece:
    """Bars one after the other as a piece."""
    start, done = Fraction(0), []
    for number, bar in enumerate(bars):
        plucks = tuple(replace(p, bar=number) for p in bar.plucks)
        done.append(replace(bar, number=number, part_bar=number, start=start, plucks=plucks))
        start += bar.beats
    return Piece("made-up", "Made up", tuple(done))

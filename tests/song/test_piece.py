"""A piece is the plucks of a pattern or a song bar by bar, with the layer that sounds."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from coach import shelf
from coach.music.chords import read_bars
from coach.picking.realise import hold_bars, realise
from coach.song.chart import Word
from coach.song.piece import Piece, pattern_piece, singing_layers


def _piece() -> Piece:
    pattern = shelf.library().find("outside-in")
    held = hold_bars(read_bars("C | F | G | C"), pattern.meter, shelf.shapes())
    return pattern_piece(pattern, held, Fraction(90), loops=2)


def test_a_pattern_s_piece_holds_the_very_plucks_of_the_pattern() -> None:
    """Bar by bar, nothing is lost and nothing is added."""
    pattern = shelf.library().find("outside-in")
    held = hold_bars(read_bars("C | F | G | C"), pattern.meter, shelf.shapes())
    piece = _piece()
    assert tuple(p for bar in piece.bars for p in bar.plucks) == realise(pattern, held, loops=2)
    assert all(p.bar == bar.number for bar in piece.bars for p in bar.plucks)
    assert [bar.start for bar in piece.bars] == [4 * n for n in range(8)]
    assert piece.beats == 32


def test_the_picking_thins_under_words_and_opens_up_where_there_are_none() -> None:
    """Words in bars 3 and 4 of 8: the thumb alone there, and with `early` in the bar before too."""
    piece = _piece()
    bars = [replace(b, words=(Word(Fraction(0), "over"),)) if b.number in (2, 3) else b for b in piece.bars]
    assert singing_layers(bars, "thumb") == ("full", "full", "thumb", "thumb", "full", "full", "full", "full")
    assert singing_layers(bars, "thumb", early=True)[:4] == ("full", "thumb", "thumb", "thumb")
    sung = replace(piece, bars=tuple(bars)).sung("thumb")
    assert all(p.bass for p in sung.bars[2].sounding)
    assert sung.bars[4].sounding == sung.bars[4].plucks


def test_the_tempo_plan_turns_where_the_tempo_does() -> None:
    """Four bars of 4/4 at 90, then at 120: the ninth beat of the second half is where it should be."""
    piece = _piece()
    faster = replace(piece, bars=tuple(replace(b, bpm=Fraction(120)) if b.number >= 4 else b for b in piece.bars))
    plan = faster.plan()
    assert plan.exact_seconds(Fraction(16)) == Fraction(16 * 60, 90)
    assert plan.exact_seconds(Fraction(24)) == Fraction(16 * 60, 90) + Fraction(8 * 60, 120)
    assert faster.plan(Fraction(1, 2)).exact_seconds(Fraction(16)) == Fraction(16 * 60, 45)

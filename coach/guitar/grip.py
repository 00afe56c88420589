"""A grip: a left-hand shape with the fingers that hold it, what it sounds, what it costs; and the hand itself."""

from __future__ import annotations

from dataclasses import dataclass

from coach.guitar.bass import Bass
from coach.guitar.shape import Shape
from coach.music.chords import Chord


@dataclass(frozen=True)
class Hand:
    """A player's fretting hand and neck.

    span_mm    longest comfortable stretch between the outermost fingers down, in millimetres along the neck
    thumb      whether the thumb comes over the neck to string 6
    barres     `full` (up to six strings), `small` (up to three), `none`
    scale_mm   open string length of the guitar, in millimetres
    span_frets the same stretch counted in frets (4: the lowest and the highest are three apart), None for no such limit
    """

    span_mm: float = 95.0
    thumb: bool = False
    barres: str = "full"
    scale_mm: float = 648.0
    span_frets: int | None = None


@dataclass(frozen=True)
class Grip:
    """A playable shape of a chord.

    shape      frets and fingers (`1 2 3 4 T` or `.` for string 6 to string 1)
    barre      (fret, lowest string, highest string) of a finger laid flat over several strings, None without
    bass       which strings it gives the thumb for root, alternate and fifth
    missing    chord tones that do not sound, as their names in the chord: ("fifth",)
    span_mm    stretch between the outermost fingers down, in millimetres
    cost       how hard it is to hold and to pick over, 0 for the easiest; a sum of `parts`
    parts      the cost by its reasons, in plain words
    """

    chord: Chord
    shape: Shape
    barre: tuple[int, int, int] | None
    bass: Bass
    missing: tuple[str, ...]
    span_mm: float
    cost: float
    parts: tuple[tuple[str, float], ...] = ()

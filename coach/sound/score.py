"""What the engine is asked to play: one bar at a time, with the tempo it begins and ends with."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from coach.picking.plucks import Pluck

DOWN, BEAT = "down", "beat"


@dataclass(frozen=True)
class Stroke:
    """One click: `beat` from the bar line, `kind` is DOWN (the first of the bar) or BEAT."""

    beat: Fraction
    kind: str = BEAT


@dataclass(frozen=True)
class Tone:
    """One hummed note: from `beat` (from the bar line) for `length` beats, which may reach into later bars."""

    beat: Fraction
    length: Fraction
    midi: int


@dataclass(frozen=True)
class BarScore:
    """One bar to be sounded.

    number           counted from 0 since the run began, count-in included
    beats            length of the bar in beats
    bpm_from, bpm_to tempo at the bar line and at the bar's end (linear in beats between)
    strokes          clicks of this bar
    plucks           guide notes of this bar; only `sounds_at` (beats from the bar line), string, midi and stress count
    tune             hummed notes that begin in this bar
    """

    number: int
    beats: Fraction
    bpm_from: Fraction
    bpm_to: Fraction
    strokes: tuple[Stroke, ...] = ()
    plucks: tuple[Pluck, ...] = field(default=())
    tune: tuple[Tone, ...] = ()

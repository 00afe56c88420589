"""What was to be played: each pluck with its written place and the moment it was meant to sound."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from coach.music.meter import Meter
from coach.music.tempo import TempoPlan
from coach.picking.plucks import Pluck


@dataclass(frozen=True)
class Meant:
    """A pluck that was to be played.

    bar     counted from 0 through the whole take
    beat    its written place in the bar, in beats from the bar line (exact)
    string  6 (lowest) to 1
    fret    0 is the open string
    midi    sounding note number
    finger  p, i, m or a
    time_s  seconds from the first beat of the take, by its swung place and the tempo plan
    """

    bar: int
    beat: Fraction
    string: int
    fret: int
    midi: int
    finger: str
    time_s: float


def meant_of(plucks: Iterable[Pluck], plan: TempoPlan, meter: Meter) -> tuple[Meant, ...]:
    """The realised plucks of a pattern in `meter` as they fall by `plan`, in order of time, then string (lowest
    first): a pinch is two of them at one time."""
    found = [
        Meant(p.bar, p.beat, p.string, p.fret, p.midi, p.finger, plan.seconds(p.bar * meter.beats + p.sounds_at))
        for p in plucks
    ]
    return tuple(sorted(found, key=lambda m: (m.time_s, -m.string)))

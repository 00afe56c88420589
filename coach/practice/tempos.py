"""From which tempo to which a block goes, read from the ledger.

A block starts a few per cent below the last tempo held clean and aims a few per cent above it: about three steps, each
of a size that is just felt (3 to 5 %; Drake & Botte 1993, Percept. Psychophys. 54:277-286). It never aims past the
target by more than a margin, so that the target itself becomes comfortable.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from coach.music.tempo import SLOWEST_BPM
from coach.practice.drills import Drill
from coach.practice.evidence import held_tempo, standing
from coach.practice.takes import FULL, Take

FEW = 0.04        # start this share below and aim this share above what was held
BACK_OFF = 0.08   # ... and this far below it after a take that was not held, or on a thinner layer first sung
WARM = 0.20       # a warm-up starts this share below what was held and stays below it
MARGIN = 0.05     # how far past its target a drill is aimed


@dataclass(frozen=True)
class Span:
    """Whole bpm from and to; `why` in plain words."""

    low: int
    high: int
    why: str


def last_held(takes: Sequence[Take], layer: str = FULL) -> float | None:
    """The tempo in bpm that was held clean most lately on `layer`; takes in order; None when never."""
    return next((bpm for take in reversed(takes) if (bpm := held_tempo(take, layer)) is not None), None)


def span(drill: Drill, takes: Sequence[Take], layer: str = FULL, warm: bool = False) -> Span:
    """Where a block of `drill` starts and what it aims at, from its takes in order."""
    held = last_held(takes, layer)
    on_layer = [t for t in takes if t.layer == layer and standing((t,)) is not None]
    if held is None and layer != FULL and (full := last_held(takes)) is not None:
        low, high, why = full * (1 - BACK_OFF), full, f"the full layer was held at {full:.0f} bpm: start below it"
    elif held is None and on_layer:
        slowest = min([p.tempo for t in on_layer for p in t.passes] or [t.tempo for t in on_layer])
        low, high = slowest * (1 - BACK_OFF), slowest
        why = f"not held yet at {slowest:.0f} bpm, so slower"
    elif held is None:
        low, high, why = drill.start_bpm, drill.start_bpm * (1 + 2 * FEW), "a first tempo, to be found by playing"
    elif standing(on_layer[-1:]) in ("held", "flowing"):
        low, high, why = held * (1 - FEW), held * (1 + FEW), f"last held clean at {held:.0f} bpm"
    else:
        low, high, why = held * (1 - BACK_OFF), held, f"last held clean at {held:.0f} bpm, lost since: back up to it"
    if warm:
        base = held if held is not None else drill.start_bpm
        low, high, why = base * (1 - WARM), base * (1 - FEW), "slower than you can, to warm up"
    ceiling = drill.target_bpm * (1 + MARGIN)
    high = min(high, ceiling)
    low = min(low, high * (1 - FEW))
    return Span(max(math.floor(low), SLOWEST_BPM), max(math.floor(high + 1e-9), SLOWEST_BPM), why)

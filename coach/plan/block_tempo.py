"""From which tempo to which a block goes, read from the ledger.

Where the steady tempo is known a block starts at the slow end of its likely range and aims a few per cent above it.
Where it is not, it starts a few per cent below the tempo last held clean and aims as far above it: about three steps,
each of a size that is just felt (3 to 5 %; Drake & Botte 1993, Percept. Psychophys. 54:277-286). It never aims past
the target by more than a margin, so that the target itself becomes comfortable.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from coach.drills.pattern_drills import Drill
from coach.music.tempo import SLOWEST_BPM
from coach.picking.layers import FULL, THUMB
from coach.skill.evidence import HELD
from coach.skill.history import OnLayer, Past
from coach.skill.steady_tempo import SteadyTempo

FEW = 0.04        # start this share below and aim this share above what was held
BACK_OFF = 0.08   # ... and this far below it after a take that was not held, or on a thinner layer first sung
WARM = 0.20       # a warm-up starts this share below what was held and stays below it
MARGIN = 0.05     # how far past its target a drill is aimed


@dataclass(frozen=True)
class TempoSpan:
    """Whole bpm from and to; `why` in plain words."""

    low: int
    high: int
    why: str


def span(
    drill: Drill, past: Past | None, layer: str = FULL, warm: bool = False, known: SteadyTempo | None = None
) -> TempoSpan:
    """Where a block of `drill` starts and what it aims at: from its steady tempo on `layer` where that is `known`,
    else from its past. A layer between the thumb alone and the full one has no past of its own here."""
    on = _on(past, layer)
    low, high, why = _from_steady(known, on) if known else _from_past(drill, past, on, layer)
    if warm:
        held = known.bpm if known else on.bpm
        if layer != FULL and past is not None and past.full.bpm is not None:
            # The thumb alone, played as a warm-up day after day, would never get faster by itself.
            held = max(held or 0.0, past.full.bpm * (1 - BACK_OFF))
        base = held if held is not None else drill.start_bpm
        low, high, why = base * (1 - WARM), base * (1 - FEW), "slower than you can, to warm up"
    ceiling = drill.target_bpm * (1 + MARGIN)
    high = min(high, ceiling)
    low = min(low, high * (1 - FEW))
    return TempoSpan(max(math.floor(low), SLOWEST_BPM), max(math.floor(high + 1e-9), SLOWEST_BPM), why)


def _on(past: Past | None, layer: str) -> OnLayer:
    if past is None:
        return OnLayer()
    return past.full if layer == FULL else past.thumb if layer == THUMB else OnLayer()


def _held(on: OnLayer) -> bool:
    """True when the latest take was held; also when none said anything."""
    return on.standing is None or on.standing in HELD


def _from_steady(known: SteadyTempo, on: OnLayer) -> tuple[float, float, str]:
    """The start is the slow end of the likely range, but from 4 to 8 % below the figure; after a take that was not
    held it is as far back as that goes, and the aim no more than the tempo that tells most."""
    if not _held(on):
        return known.bpm * (1 - BACK_OFF), known.ask, f"{known.words}; the last take was not held: back up to it"
    low = min(max(known.low, known.bpm * (1 - BACK_OFF)), known.bpm * (1 - FEW))
    return low, max(known.bpm * (1 + FEW), known.ask), known.words


def _from_past(drill: Drill, past: Past | None, on: OnLayer, layer: str) -> tuple[float, float, str]:
    held, full = on.bpm, past.full.bpm if past is not None else None
    if held is None and layer != FULL and full is not None:
        return full * (1 - BACK_OFF), full, f"the full layer was held at {full:.0f} bpm: start below it"
    if held is None and (slowest := on.slowest or on.told) is not None:
        return slowest * (1 - BACK_OFF), slowest, f"not held yet at {slowest:.0f} bpm, so slower"
    if held is None:
        return drill.start_bpm, drill.start_bpm * (1 + 2 * FEW), "a first tempo, to be found by playing"
    if on.standing in HELD:
        return held * (1 - FEW), held * (1 + FEW), f"last held clean at {held:.0f} bpm"
    return held * (1 - BACK_OFF), held, f"last held clean at {held:.0f} bpm, lost since: back up to it"

"""From which tempo to which a block goes, read from the ledger.

Where the steady tempo is known a block starts at the slow end of its likely range and aims a few per cent above it.
Where it is not, it starts a few per cent below the tempo last held clean and aims as far above it: about three steps,
each of a size that is just felt (3 to 5 %; Drake & Botte 1993, Percept. Psychophys. 54:277-286). It never aims past
the target by more than a margin, so that the target itself becomes comfortable.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from coach.music.tempo import SLOWEST_BPM
from coach.practice.drills import Drill
from coach.practice.evidence import held_tempo, standing
from coach.practice.steady import Steady
from coach.practice.takes import FULL, Take

FEW = 0.04        # start this share below and aim this share above what was held
BACK_OFF = 0.08   # ... and this far below it after a take that was not held, or on a thinner layer first sung
WARM = 0.20       # a warm-up starts this share below what was held and stays below it
LATELY = timedelta(days=28)  # how long a held tempo is believed without being shown again (ours, no source)
MARGIN = 0.05     # how far past its target a drill is aimed


@dataclass(frozen=True)
class Span:
    """Whole bpm from and to; `why` in plain words."""

    low: int
    high: int
    why: str


def last_held(takes: Sequence[Take], layer: str = FULL) -> float | None:
    """The tempo in bpm held clean on `layer` lately and not lost since; takes in order; None when never held.

    The fastest of the last four weeks of playing it, not simply the latest: a warm-up is slow on purpose and must not
    pull the next block down, day after day. A later take that was not held takes back what was held at its tempo or
    faster. When nothing of the four weeks is left, the latest ever held stands.
    """
    latest = best = None
    lost = math.inf
    newest = takes[-1].at if takes else None
    for take in reversed(takes):
        bpm = held_tempo(take, layer)
        if bpm is None:
            lost = min(lost, _lost_tempo(take, layer))
            continue
        latest = bpm if latest is None else latest
        if newest is not None and newest - take.at > LATELY:
            break
        if bpm < lost:
            best = max(best or bpm, bpm)
    return best if best is not None else latest


def _lost_tempo(take: Take, layer: str) -> float:
    """The mean tempo of a take's stumbled passes; infinite when it says nothing of the layer."""
    stumbled = [p.tempo for p in take.passes if p.layer == layer and not p.clean]
    if stumbled:
        return math.fsum(stumbled) / len(stumbled)
    told = not take.passes and take.layer == layer and standing((take,)) is not None
    return take.tempo if told else math.inf


def span(
    drill: Drill, takes: Sequence[Take], layer: str = FULL, warm: bool = False, known: Steady | None = None
) -> Span:
    """Where a block of `drill` starts and what it aims at: from its steady tempo on `layer` where that is `known`,
    else from its takes in order."""
    on_layer = [t for t in takes if t.layer == layer and standing((t,)) is not None]
    low, high, why = _from_steady(known, on_layer) if known else _from_takes(drill, takes, on_layer, layer)
    if warm:
        held = known.bpm if known else last_held(takes, layer)
        base = held if held is not None else drill.start_bpm
        low, high, why = base * (1 - WARM), base * (1 - FEW), "slower than you can, to warm up"
    ceiling = drill.target_bpm * (1 + MARGIN)
    high = min(high, ceiling)
    low = min(low, high * (1 - FEW))
    return Span(max(math.floor(low), SLOWEST_BPM), max(math.floor(high + 1e-9), SLOWEST_BPM), why)


def _from_steady(known: Steady, on_layer: Sequence[Take]) -> tuple[float, float, str]:
    """The start is the slow end of the likely range, but from 4 to 8 % below the figure; after a take that was not
    held it is as far back as that goes, and the aim no more than the tempo that tells most."""
    if on_layer and standing(on_layer[-1:]) not in ("held", "flowing"):
        return known.bpm * (1 - BACK_OFF), known.ask, f"{known.words}; the last take was not held: back up to it"
    low = min(max(known.low, known.bpm * (1 - BACK_OFF)), known.bpm * (1 - FEW))
    return low, max(known.bpm * (1 + FEW), known.ask), known.words


def _from_takes(
    drill: Drill, takes: Sequence[Take], on_layer: Sequence[Take], layer: str
) -> tuple[float, float, str]:
    held = last_held(takes, layer)
    if held is None and layer != FULL and (full := last_held(takes)) is not None:
        return full * (1 - BACK_OFF), full, f"the full layer was held at {full:.0f} bpm: start below it"
    if held is None and on_layer:
        slowest = min([p.tempo for t in on_layer for p in t.passes] or [t.tempo for t in on_layer])
        return slowest * (1 - BACK_OFF), slowest, f"not held yet at {slowest:.0f} bpm, so slower"
    if held is None:
        return drill.start_bpm, drill.start_bpm * (1 + 2 * FEW), "a first tempo, to be found by playing"
    if standing(on_layer[-1:]) in ("held", "flowing"):
        return held * (1 - FEW), held * (1 + FEW), f"last held clean at {held:.0f} bpm"
    return held * (1 - BACK_OFF), held, f"last held clean at {held:.0f} bpm, lost since: back up to it"

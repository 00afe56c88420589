"""Counts of clean and stumbled passes by day, tempo and length of a pass: what the steady tempo is estimated from.

What counts towards a drill's steady tempo
- every pass of the layer asked about, clean or stumbled. Another layer is another thing: the thumb alone comes easier
  than the whole, and what stumbles under the voice may be the voice;
- for the full layer only what was played without singing: a second task costs regularity (Maes et al. 2015, Exp. Brain
  Res. 233:263-273), and experience hardly lessens that (Cocchini et al. 2017);
- a take logged by hand, where only sums are known: each of its bars for itself, as many stumbled as there were
  stumbles. A word alone, without bars, gives nothing to count.

A player changes over days, so what is older counts less, by days of practice and by days gone by: the power steady
model (Smith 1979, J. R. Stat. Soc. B 41:375-387; from memory). What an earlier day said is kept by a share at each
later one, and a drill's latest sixteen days, on whatever layer, are all that is looked at: of a day before them a
fiftieth or less would be left, had each of the sixteen been on the layer asked about.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import TypeVar

from coach.drills.sung_drills import find_counted_layer
from coach.log.takes import Mode, Take
from coach.picking.layers import FULL
from coach.skill.psychometric import Trials, fine_bin
from coach.skill.take_summary import TakeSummary, summarize

T = TypeVar("T")

KEEP = 0.75
"""The share of what earlier days said that is kept at the next day of practice (ours, no source)."""
HALF_LIFE_DAYS = 60
"""Idle days after which half of what is kept is lost besides (ours, no source)."""
MOST_DAYS = 16
BY_HAND = 0
"""Stands in the place of a pass's bars for the single bars of a take logged by hand."""
_USUAL_BARS = 4
_LEAST_LENGTH, _MOST_LENGTH = 1 / 16, 16.0

Counts = dict[tuple[int, int], tuple[int, int]]
"""(fine tempo bin, bars of a pass or BY_HAND) to (how many clean, how many stumbled)."""

Days = dict[date, Counts]
"""Days in order, each with what was counted of one layer."""

Window = dict[date, dict[str, Counts]]
"""A drill's latest days of practice, each with what was counted of every layer (nothing, when no pass was finished)."""


def counts_for(layer: str, mode: str) -> bool:
    """True when what was played in this mode says something of the layer's steady tempo."""
    return layer != FULL or mode == Mode.PLAY


def add(counts: Counts, bpm: float, bars: int, clean: int, stumbled: int) -> None:
    """Count passes of `bars` at one tempo in bpm; none when both counts are 0."""
    if clean or stumbled:
        key = (fine_bin(bpm), bars)
        before = counts.get(key, (0, 0))
        counts[key] = (before[0] + clean, before[1] + stumbled)


def add_pass(window: Window, day: date, mode: str, layer: str, bpm: float, bars: int, clean: int) -> None:
    """Count one pass into a window; a pass without bars is none."""
    layers = window.setdefault(day, {})
    if bars > 0 and counts_for(layer, mode):
        add(layers.setdefault(layer, {}), bpm, bars, clean, 1 - clean)


def add_whole(window: Window, day: date, mode: str, layer: str, bpm: float, bars: int, stumbles: int) -> None:
    """Count a take logged by hand into a window: its bars, of which as many stumbled as there were stumbles."""
    layers = window.setdefault(day, {})
    stumbled = min(stumbles, bars)
    if bars > 0 and counts_for(layer, mode):
        add(layers.setdefault(layer, {}), bpm, BY_HAND, bars - stumbled, stumbled)


def latest(window: Mapping[date, T]) -> dict[date, T]:
    """The latest MOST_DAYS days, in order."""
    return {day: window[day] for day in sorted(window)[-MOST_DAYS:]}


def days_in(window: Mapping[date, dict[str, Counts]], layer: str = FULL) -> Days:
    """The days of a window on which something was counted of a layer, in order."""
    return {day: window[day][layer] for day in sorted(window) if window[day].get(layer)}


def days_of(takes: Iterable[Take], layer: str = FULL) -> Days:
    """What counts of one drill's layer in its takes, in whatever order they come."""
    window: Window = {}
    for take in takes:
        add_take(window, take.local_day, take.drill, take.mode, summarize(take), [p.bars for p in take.passes])
    return days_in(latest(window), layer)


def add_take(window: Window, day: date, drill: str, mode: str, take: TakeSummary, bars: Sequence[int]) -> None:
    """Count a take of a drill, played in `mode`, into a window; `bars` of each of its passes."""
    window.setdefault(day, {})
    layers = take.layers or (take.layer,) * len(bars)
    for tempo, clean, layer, length in zip(take.tempos, take.cleans, layers, bars, strict=True):
        add_pass(window, day, *find_counted_layer(drill, mode, layer), tempo, length, clean)
    if not bars:
        add_whole(window, day, *find_counted_layer(drill, mode, take.layer), take.tempo, take.bars, take.stumbles)


def usual_bars(days: Mapping[date, Counts]) -> int:
    """How long a pass of the drill is: the commonest length in bars (the longer of two as common); 4 when not known."""
    found: dict[int, int] = defaultdict(int)
    for counts in days.values():
        for (_, bars), (clean, stumbled) in counts.items():
            if bars != BY_HAND:
                found[bars] += clean + stumbled
    return max(found, key=lambda bars: (found[bars], bars), default=_USUAL_BARS)


def length_of(bars: int, usual: int) -> float:
    """A pass's length in usual passes."""
    return min(max((bars or 1) / usual, _LEAST_LENGTH), _MOST_LENGTH)


def weights(days: Sequence[date]) -> list[float]:
    """How much each of the days, given in order, counts on the last of them."""
    found = [1.0] * len(days)
    for place in range(len(days) - 2, -1, -1):
        gap = (days[place + 1] - days[place]).days
        found[place] = found[place + 1] * KEEP * 0.5 ** ((gap - 1) / HALF_LIFE_DAYS)
    return found


def trials(days: Days) -> list[Trials]:
    """The counts of days in order as weighed trials for the fit."""
    usual = usual_bars(days)
    return [
        (fine, length_of(bars, usual), clean * weight, stumbled * weight)
        for weight, counts in zip(weights(list(days)), days.values(), strict=True)
        for (fine, bars), (clean, stumbled) in counts.items()
    ]

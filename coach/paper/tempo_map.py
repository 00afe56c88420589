"""MIDI tempo events from a tempo plan: microseconds of a quarter note, each holding until the next.

MIDI knows no ramps: a smooth one becomes steps of a beat or less. Each step is set so that it ends when the plan says,
counted from the beginning, so neither the steps nor the rounding to whole microseconds can add up to a drift.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from coach.music.tempo import TempoPlan
from coach.song.piece import PieceBar

_WITHIN_S = 0.0009  # how far a step of a ramp may stray from it; more steps make some players round more often
_FINEST = Fraction(1, 32)
_LONGEST = Fraction(64)  # beats one event may hold before the next puts its rounding right
_SLOWEST = 0xFFFFFF  # what the three bytes of a tempo event hold


def tempo_map(bars: Sequence[PieceBar], plan: TempoPlan, ticks: int) -> list[tuple[int, int]]:
    """(tick, microseconds of a quarter note) in order, the first at tick 0; `ticks` of a quarter note."""
    tick_of = _Ticks(bars, ticks)
    places = sorted({beat for beat in _event_places(bars, plan) if beat < tick_of.beats} | {tick_of.beats})
    events: list[tuple[int, int]] = []
    at_s = 0.0
    for beat, following in pairwise(places):
        tick, quarters = tick_of(beat), Fraction(tick_of(following) - tick_of(beat), ticks)
        if not quarters:
            continue
        tempo = min(max(round((plan.seconds(following) - at_s) * 1_000_000 / quarters), 1), _SLOWEST)
        at_s += float(tempo * quarters) / 1_000_000
        if not events or events[-1][1] != tempo:
            events.append((tick, tempo))
    return events


class _Ticks:
    """Felt beats from the piece's beginning to ticks, across changes of meter."""

    def __init__(self, bars: Sequence[PieceBar], ticks: int) -> None:
        self._ticks = ticks
        self._bars = bars
        self._starts = [bar.start for bar in bars]
        self._quarters = [Fraction(0)]
        for bar in bars:
            self._quarters.append(self._quarters[-1] + bar.beats * bar.meter.quarters_per_beat)
        self.beats = bars[-1].start + bars[-1].beats

    def __call__(self, beat: Fraction) -> int:
        k = max(bisect_right(self._starts, beat) - 1, 0)
        bar = self._bars[k]
        return round((self._quarters[k] + (beat - bar.start) * bar.meter.quarters_per_beat) * self._ticks)


def _event_places(bars: Sequence[PieceBar], plan: TempoPlan) -> list[Fraction]:
    """Beats at which a tempo event may be needed: where the plan turns, where the beat's note does, along ramps."""
    end = bars[-1].start + bars[-1].beats
    places = [Fraction(0)]
    places += [b.start for a, b in pairwise(bars) if a.meter != b.meter]
    for k, segment in enumerate(plan.segments):
        stop = min(plan.segments[k + 1].beat if k + 1 < len(plan.segments) else end, end)
        beat = segment.beat
        while beat < stop:
            places.append(beat)
            beat += _LONGEST if segment.slope == 0 else _longest_step(segment.slope, plan.bpm_at(beat))
    return places


def _longest_step(slope: Fraction, bpm: Fraction) -> Fraction:
    """The longest step, halved from a beat, whose chord strays less than a millisecond from the ramp.

    Over d beats a chord of t(x) strays at most d²/8 · |t''|, and t'' = -60 a / b² (from the closed form of tempo.py);
    at the slower end of the step, which a falling ramp reaches last.
    """
    step = Fraction(1)
    while step > _FINEST:
        slowest = float(min(bpm, bpm + slope * step))
        if slowest > 0 and float(step) ** 2 / 8 * 60 * abs(float(slope)) / slowest**2 < _WITHIN_S:
            break
        step /= 2
    return step

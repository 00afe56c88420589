"""Tempo plans: exact beats to seconds and back, for tempos that stand, step or rise smoothly.

A plan is a list of segments. In each the tempo is constant or linear in beats. For a tempo that
starts at b0 bpm and changes by a bpm per beat, beat x of the segment falls at

    t(x) = 60/a · ln(1 + a·x/b0)        seconds,     x(t) = b0/a · (e^(a·t/60) - 1)

(integrate dt = 60 dx / (b0 + a x)). While all segments so far are constant the sum is kept as an
exact fraction, so sample positions are exact however long the plan runs. Every position is
worked out from the plan's origin, never by adding to the last one: nothing can drift.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from coach.errors import BadMusic

SLOWEST_BPM, FASTEST_BPM = 20, 400

MOST_STEPS = 2000

Exact = Fraction | float

_TYPED_BPM = re.compile(r"\s*[+-]?[0-9]{1,9}(\.[0-9]{0,9}|/[0-9]{1,9})?\s*")


def bpm_value(value: float | int | str | Fraction, *, name: str = "tempo") -> Fraction:
    """A tempo in beats per minute as an exact fraction (93.5 becomes 187/2). Raises BadMusic outside 20..400."""
    try:
        # A typed power of ten could ask for more digits than memory holds.
        if isinstance(value, str) and not _TYPED_BPM.fullmatch(value):
            raise ValueError(value)
        bpm = Fraction(str(value))
    except (ValueError, ZeroDivisionError):
        raise BadMusic(f"{name} '{value}' is not a number", mend="give beats per minute, like 84") from None
    if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        raise BadMusic(f"{name} {value} is out of range", mend=f"use {SLOWEST_BPM} to {FASTEST_BPM} bpm")
    return bpm


@dataclass(frozen=True)
class Segment:
    """From `beat` on the tempo is `bpm + slope · (beats since then)`; `start_s` is when it begins."""

    beat: Fraction
    bpm: Fraction
    slope: Fraction = Fraction(0)
    start_s: Exact = Fraction(0)

    def seconds(self, beat: Fraction) -> Exact:
        """When `beat` (not before the segment) falls, in seconds from the plan's origin."""
        x = beat - self.beat
        if self.slope == 0:
            span: Exact = 60 * x / self.bpm
            return self.start_s + span if isinstance(self.start_s, Fraction) else self.start_s + float(span)
        a, b0 = float(self.slope), float(self.bpm)
        return float(self.start_s) + 60.0 / a * math.log1p(a * float(x) / b0)

    def beat_at(self, seconds: float) -> float:
        """Inverse of `seconds`."""
        t = seconds - float(self.start_s)
        if self.slope == 0:
            return float(self.beat) + t * float(self.bpm) / 60.0
        a, b0 = float(self.slope), float(self.bpm)
        return float(self.beat) + b0 / a * math.expm1(a * t / 60.0)


@dataclass(frozen=True)
class TempoPlan:
    """Segments in order of beat; the first starts at beat 0, the last goes on for ever."""

    segments: tuple[Segment, ...]
    _beats: tuple[Fraction, ...] = field(init=False, repr=False, compare=False)
    _starts: tuple[float, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_beats", tuple(s.beat for s in self.segments))
        object.__setattr__(self, "_starts", tuple(float(s.start_s) for s in self.segments))

    @classmethod
    def build(cls, parts: Iterable[tuple[Fraction, Fraction, Fraction]]) -> TempoPlan:
        """A plan from (beat, bpm, slope) triples in order; start times are worked out here."""
        segments: list[Segment] = []
        for beat, bpm, slope in parts:
            start = segments[-1].seconds(beat) if segments else Fraction(0)
            segments.append(Segment(beat, bpm, slope, start))
        return cls(tuple(segments))

    def _segment(self, beat: Fraction) -> Segment:
        return self.segments[max(bisect_right(self._beats, beat) - 1, 0)]

    def exact_seconds(self, beat: Fraction) -> Exact:
        """Seconds from the origin to `beat`; a Fraction while only constant tempos lie before it."""
        return self._segment(beat).seconds(beat)

    def seconds(self, beat: Fraction) -> float:
        """Seconds from the origin to `beat`."""
        return float(self.exact_seconds(beat))

    def frame(self, beat: Fraction, rate: int) -> int:
        """Sample index of `beat` at `rate` samples a second: round(t · rate)."""
        return round(self.exact_seconds(beat) * rate)

    def beat_at(self, seconds: float) -> float:
        """The beat that falls at `seconds`; inverse of `seconds` to floating-point accuracy."""
        return self.segments[max(bisect_right(self._starts, seconds) - 1, 0)].beat_at(seconds)

    def bpm_at(self, beat: Fraction) -> Fraction:
        """The tempo on `beat`."""
        segment = self._segment(beat)
        return segment.bpm + segment.slope * (beat - segment.beat)

    def turn(self, beat: Fraction, bpm: Fraction, slope: Fraction = Fraction(0)) -> TempoPlan:
        """The same plan up to `beat`, and from there on another tempo. What lies before is untouched."""
        kept = tuple(s for s in self.segments if s.beat < beat)
        if not kept:
            return TempoPlan((Segment(beat, bpm, slope),)) if beat == 0 else self
        last = kept[-1]
        if last.slope == slope == 0 and last.bpm == bpm:
            return TempoPlan(kept)
        return TempoPlan((*kept, Segment(beat, bpm, slope, last.seconds(beat))))


def constant_tempo(bpm: Fraction) -> TempoPlan:
    """One tempo throughout."""
    return TempoPlan((Segment(Fraction(0), bpm),))


def stepped_tempo(start: Fraction, end: Fraction, step: Fraction, every_beats: Fraction) -> TempoPlan:
    """From `start` to `end` bpm in steps of `step` (its size; the direction follows the ends), each `every_beats` long.

    The last step is cut short so that it lands on `end` exactly. Raises BadMusic on a step or length of nothing.
    """
    if step <= 0:
        raise BadMusic(f"a step of {step} bpm leads nowhere", mend="give a step above 0")
    if abs(end - start) > MOST_STEPS * step:
        raise BadMusic(f"a step of {float(step):g} bpm makes more than {MOST_STEPS} steps", mend="give a larger --step")
    if every_beats <= 0:
        raise BadMusic("a step must last at least one bar", mend="give --every 1 or more")
    parts, bpm, k = [], start, 0
    sign = 1 if end >= start else -1
    while True:
        parts.append((every_beats * k, bpm, Fraction(0)))
        if bpm == end:
            return TempoPlan.build(parts)
        k += 1
        bpm = min(start + k * step, end) if sign > 0 else max(start - k * step, end)


def smooth_tempo(start: Fraction, end: Fraction, over_beats: Fraction) -> TempoPlan:
    """From `start` to `end` bpm, rising linearly in beats over `over_beats`, then standing at `end`."""
    if over_beats <= 0:
        raise BadMusic("a smooth ramp must last at least one bar", mend="give --smooth 1 or more")
    slope = (end - start) / over_beats
    return TempoPlan.build([(Fraction(0), start, slope), (over_beats, end, Fraction(0))])

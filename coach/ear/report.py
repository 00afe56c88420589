"""What a heard take comes to: how even it was, where it stumbled, and a verdict.

Timing is told apart: bias (a steady earliness is no rushing), spread, and drift; and never finer than it was heard.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from coach.ear.heard import HIT, MISSED, WRONG, Heard, HeardPluck
from coach.ear.meant import Meant

LOST, SHAKY, HELD, FLOWING = "lost", "shaky", "held", "flowing"
HESITATION, EXTRA = "hesitation", "extra"

ORDINARY, UNSTEADY = 0.03, 0.10
"""Spread of an interval as a share of it: trained players 2 to 4 %, untrained about 4 to 8 % (Repp 2005, Psychon. Bull.
Rev. 12:969-992, numbers from memory); 10 % is unsteady by any measure."""

# What the verdicts ask for. Ours, no source; the reasons: with less than half of the plucks right there is no pattern
# to be heard; one pluck wrong in ten is about one a bar in eighths; what flows has hardly one in forty, never waits,
# and is nearer to ordinary than to unsteady (between 3 and 10 % lies 5.5 %, their geometric mean).
_LOST_SHARE, _HELD_SHARE, _FLOWING_SHARE = 0.5, 0.9, 0.975
_FLOWING_SPREAD = (ORDINARY * UNSTEADY) ** 0.5
_BARS_A_WAIT = 8  # a hesitation more often than once in so many bars is shaky

_WAIT_S, _WAIT_SHARE = 0.12, 0.4  # so much later than the one before: a hesitation (of the interval: ours, no source)
_FEWEST = 8  # with fewer plucks no drift is told: 0.3 % a beat is noticed over 8 beats (Dahl & Madison, RPPW10)


@dataclass(frozen=True)
class Evenness:
    """Of some plucks: mean lateness and its spread (standard deviation) in ms; None where too few were heard."""

    bias_ms: float | None
    spread_ms: float | None
    count: int = 0

    def as_json(self) -> dict[str, Any]:
        """As the contract has it."""
        return {"bias_ms": _round(self.bias_ms), "spread_ms": _round(self.spread_ms)}


@dataclass(frozen=True)
class Timing:
    """Evenness of all hits, by finger, and by written beat; the spread is about the line of the drift.

    drift_ms_per_min  how much later it gets in a minute, None for fewer than 8 plucks
    unsteady          spread of the intervals as a share of the middle interval, None where there are too few
    """

    whole: Evenness
    by_finger: dict[str, Evenness]
    by_beat: dict[str, Evenness]
    drift_ms_per_min: float | None
    unsteady: float | None


@dataclass(frozen=True)
class Slip:
    """A stumble that was heard: bar of the take from 0, written beat, what it was, and when in the recording."""

    bar: int
    beat: Fraction
    kind: str
    string: int | None
    time_s: float | None


@dataclass(frozen=True)
class Report:
    """All that is told of a take."""

    heard: Heard
    timing: Timing
    stumbles: tuple[Slip, ...]
    verdict: str

    def as_json(self) -> dict[str, Any]:
        """The document of `coach listen --json`."""
        timing = self.timing
        return {
            "latency_ms": _round(self.heard.latency_ms),
            "offset_s": _round(self.heard.offset_s, 4),
            "plucks": [_pluck_row(p) for p in self.heard.plucks],
            "extra": [{"time_s": _round(e.time_s, 4), "string": e.string} for e in self.heard.extra],
            "timing": {
                **timing.whole.as_json(),
                "by_finger": {finger: row.as_json() for finger, row in timing.by_finger.items()},
                "by_beat": {beat: row.as_json() for beat, row in timing.by_beat.items()},
                "drift_ms_per_min": _round(timing.drift_ms_per_min),
                "unsteady": _round(timing.unsteady, 4),
            },
            "stumbles": [
                {"bar": s.bar, "beat": str(s.beat), "kind": s.kind, "string": s.string, "time_s": _round(s.time_s, 4)}
                for s in self.stumbles
            ],
            "verdict": self.verdict,
        }


def _pluck_row(pluck: HeardPluck) -> dict[str, Any]:
    meant = pluck.meant
    return {
        "bar": meant.bar,
        "beat": str(meant.beat),
        "meant_string": meant.string,
        "string": pluck.string,
        "fret": meant.fret,
        "finger": meant.finger,
        "status": pluck.status,
        "time_s": _round(pluck.time_s, 4),
        "off_ms": _round(pluck.off_ms, 2),
    }


def _round(value: float | None, places: int = 2) -> float | None:
    return None if value is None else round(float(value), places)


def report(heard: Heard) -> Report:
    """The report on a take as it was heard."""
    waits = _hesitations(heard.plucks)
    timing = _timing(heard.plucks, {p.meant.time_s for p in waits})
    stumbles = tuple(_stumbles(heard, waits))
    return Report(heard, timing, stumbles, _verdict(heard.plucks, stumbles, timing))


def _hesitations(plucks: Sequence[HeardPluck]) -> list[HeardPluck]:
    """The plucks that were waited for: much later than the one before, against what was meant."""
    waits: list[HeardPluck] = []
    before: HeardPluck | None = None
    for pluck in plucks:
        if pluck.off_ms is None or pluck.time_s is None:
            continue
        if before is not None and before.off_ms is not None:
            gap = pluck.meant.time_s - before.meant.time_s
            bound = max(_WAIT_S, _WAIT_SHARE * gap) * 1000
            if gap > 0 and pluck.off_ms - before.off_ms > bound and pluck.off_ms > bound / 2:
                waits.append(pluck)
        before = pluck
    return waits


def _timing(plucks: Sequence[HeardPluck], waits: set[float]) -> Timing:
    hits = [p for p in plucks if p.status == HIT and p.off_ms is not None and p.meant.time_s not in waits]
    offs = np.array([p.off_ms for p in hits], dtype=float)
    at = np.array([p.meant.time_s for p in hits], dtype=float)
    drift = None
    even = offs
    if len(hits) >= _FEWEST and np.ptp(at) > 0:
        slope = float(np.polyfit(at - at.mean(), offs, 1)[0])
        drift = slope * 60
        even = offs - slope * (at - at.mean())
    return Timing(
        _evenness(even),
        {f: _evenness(v) for f, v in _sorted_by((p.meant.finger for p in hits), even, "pima")},
        {str(b): _evenness(v) for b, v in sorted(_grouped((p.meant.beat for p in hits), even).items())},
        drift,
        _unsteady(hits),
    )


def _grouped(keys: Iterable[Any], values: Iterable[float]) -> dict[Any, list[float]]:
    found: dict[Any, list[float]] = defaultdict(list)
    for key, value in zip(keys, values, strict=True):
        found[key].append(float(value))
    return found


def _sorted_by(keys: Iterable[str], values: Iterable[float], order: str) -> list[tuple[str, list[float]]]:
    return sorted(_grouped(keys, values).items(), key=lambda item: order.find(item[0]))


def _evenness(offs: Sequence[float] | np.ndarray[Any, Any]) -> Evenness:
    count = len(offs)
    return Evenness(float(np.mean(offs)) if count else None, float(np.std(offs, ddof=1)) if count > 1 else None, count)


def _unsteady(hits: Sequence[HeardPluck]) -> float | None:
    """Spread of the errors of neighbouring intervals, as that of one onset, as a share of the middle interval.

    From neighbour to neighbour, so that a tempo that wanders slowly does not count; the middle half is what counts,
    so that a few slips, which are told by themselves, do not.
    """
    instants: list[tuple[float, float]] = []
    for pluck in hits:
        if pluck.off_ms is not None and (not instants or pluck.meant.time_s > instants[-1][0]):
            instants.append((pluck.meant.time_s, pluck.off_ms / 1000))
    if len(instants) < _FEWEST:
        return None
    at, off = np.array(instants).T
    low, high = np.quantile(np.diff(off), [0.25, 0.75])
    # The middle half of a normal spread is 1.349 of them wide; an interval has the errors of two onsets in it.
    return float((high - low) / 1.349 / 2**0.5 / np.median(np.diff(at)))


def _stumbles(heard: Heard, waits: Sequence[HeardPluck]) -> list[Slip]:
    slips = [Slip(p.meant.bar, p.meant.beat, HESITATION, p.meant.string, p.time_s) for p in waits]
    for pluck in heard.plucks:
        if pluck.status in (MISSED, WRONG):
            string = pluck.meant.string if pluck.status == MISSED else pluck.string
            slips.append(Slip(pluck.meant.bar, pluck.meant.beat, pluck.status, string, pluck.time_s))
    timed = [(p.time_s, p.meant) for p in heard.plucks if p.time_s is not None]
    for extra in heard.extra:
        if extra.string is not None and timed:  # a knock or a word is no stumble
            place = _place(timed, extra.time_s)
            slips.append(Slip(place.bar, place.beat, EXTRA, extra.string, extra.time_s))
    order = (HESITATION, MISSED, WRONG, EXTRA)
    return sorted(slips, key=lambda s: (s.bar, s.beat, order.index(s.kind), -(s.string or 0)))


def _place(timed: Sequence[tuple[float, Meant]], time_s: float) -> Meant:
    """The meant pluck that was played last before a moment; the first where there is none."""
    before = [meant for time, meant in timed if time <= time_s]
    return before[-1] if before else timed[0][1]


def _verdict(plucks: Sequence[HeardPluck], stumbles: Sequence[Slip], timing: Timing) -> str:
    """One word for the take; what it asks for stands at the top. Unsure plucks count neither way."""
    told = [p for p in plucks if p.status in (HIT, MISSED, WRONG)]
    hits = sum(p.status == HIT for p in told)
    if not told or hits < _LOST_SHARE * len(told) or hits < len(plucks) / 3:
        return LOST
    extra = sum(s.kind == EXTRA for s in stumbles)
    share = hits / (len(told) + extra)
    waits = sum(s.kind == HESITATION for s in stumbles)
    bars = 1 + max(p.meant.bar for p in plucks)
    unsteady = timing.unsteady or 0.0
    if share < _HELD_SHARE or waits * _BARS_A_WAIT > max(bars, _BARS_A_WAIT) or unsteady > UNSTEADY:
        return SHAKY
    if share < _FLOWING_SHARE or waits or unsteady > _FLOWING_SPREAD:
        return HELD
    return FLOWING

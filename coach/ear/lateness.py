"""How late each pluck of a take was, the beat followed through pauses that the player did not make up for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coach.ear.heard import HeardPluck
from coach.ear.onsets import Floats

_AGAIN = 5  # so many plucks on both sides say whether a delay stayed
_LEAST_PAUSE_S, _PAUSE_SHARE = 0.12, 0.35


def timed(plucks: Sequence[HeardPluck], offset_s: float | None) -> tuple[float | None, float, list[float | None]]:
    """(where the first beat falls, latency in ms, off_ms of each pluck)."""
    heard = [(i, p.time_s - p.meant.time_s) for i, p in enumerate(plucks) if p.time_s is not None]
    offs: list[float | None] = [None] * len(plucks)
    if not heard:
        return None, 0.0, offs
    behind = np.array([late for _, late in heard])
    shifts, pauses = _pauses([plucks[i].meant.time_s for i, _ in heard], behind)
    level = behind - shifts
    base = float(np.median(level))
    for (i, _), late in zip(heard, level, strict=True):
        offs[i] = float(late - base) * 1000
    for k in [k for k, by in pauses if by > 0]:  # the pluck that was waited for is late by the pause itself
        i = heard[k][0]
        before = shifts[k - 1]
        for n in range(k, len(heard)):
            if plucks[heard[n][0]].meant.time_s != plucks[i].meant.time_s:
                break
            offs[heard[n][0]] = float(behind[n] - before - base) * 1000
    latency = 0.0 if offset_s is None else (base - offset_s) * 1000
    return base, latency, offs


def _pauses(meant_s: Sequence[float], behind: Floats) -> tuple[Floats, list[tuple[int, float]]]:
    """(by how much the beat was put off in all at each pluck, where and by how much it was put off for good)."""
    shifts = np.zeros(len(behind))
    pauses: list[tuple[int, float]] = []
    gaps = np.diff(np.unique(np.round(meant_s, 4)))
    usual = float(np.median(gaps)) if len(gaps) else 0.5
    bound = max(_LEAST_PAUSE_S, _PAUSE_SHARE * usual)
    for k in range(1, len(behind)):
        if abs(behind[k] - behind[k - 1]) <= bound:
            continue
        before, after = behind[max(k - _AGAIN, 0) : k], behind[k : k + _AGAIN]
        by = float(np.median(after) - np.median(before))
        if abs(by) > bound and abs(by) > 0.5 * abs(float(behind[k] - behind[k - 1])):
            shifts[k:] += by
            pauses.append((k, by))
    return shifts, pauses

"""Which onset is which meant instant: the cheapest way through both rows, by dynamic programming.

Local, so that a player may come in whenever he likes, drift, pause or leave things out: only the time from one found
instant to the next is compared with what was meant, never the time since the beginning. Costs are in nats or near it:
a deviation is Gaussian up to a bound, beyond which it is a hesitation or a hurry and costs no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.ear.onsets import Floats

# Spread of an interval: a part that is the same for all, and one that grows with it. Players spread 2 to 8 % of an
# interval (Repp 2005 and others, from memory) and are off tempo besides.
_SPREAD_S, _SPREAD_SHARE = 0.02, 0.07
_PAUSE, _HURRY = 3.0, 4.5  # the most that coming late or early can cost
_MISSED = 1.3  # an instant that nothing was found for
_LEAP = 5.0  # going on somewhere else altogether, besides what is missed by it
_FAR_MEANT, _FAR_FOUND = 5, 7  # how far back, in instants, a step may reach
_EARLIER = 0.002  # of two equal ways the one that begins sooner
_LATER = 0.02  # and, of equal times round, the first
_CUT, _CUT_S = 2.0, 0.3  # a first beat that lies before the recording begins
_START_S = 0.15  # how near to the place that was told the first is looked for

NONE = -1


@dataclass(frozen=True)
class Way:
    """`found[i]` is the onset of the i-th meant instant, NONE where there is none; `worth` the score of all of it."""

    found: NDArray[np.int64]
    worth: float


def align(
    meant_s: Sequence[float], found_s: Sequence[float], fits: Floats, cost: Floats, offset_s: float | None = None
) -> Way:
    """The best way through `meant_s` (instants from the first beat) and `found_s` (onsets of the recording).

    fits: (meant, found), what a pair is worth, below zero where it does not fit. cost: (found,), what it costs to
    leave an onset out between two others. offset_s: where the first beat is said to be.
    """
    meant, found = np.asarray(meant_s, dtype=float), np.asarray(found_s, dtype=float)
    rows, columns = len(meant), len(found)
    nothing = np.full(rows, NONE)
    if not rows or not columns:
        return Way(nothing, 0.0)
    spent = np.concatenate([[0.0], np.cumsum(cost)])  # cost of all onsets before one
    worth = np.full((rows, columns), -np.inf, dtype=np.float32)
    steps = np.zeros((rows, columns), dtype=np.int8)  # 0 begins here, -1 leaps, else far_meant * 8 + far_found
    leap = np.full(columns, -np.inf)  # best over all rows above: worth + spent behind it + missed so far
    for row in range(rows):
        begin = -(_MISSED + _LATER) * row - _EARLIER * np.arange(columns)
        if offset_s is None:
            begin = begin - _CUT * (found < meant[row] - _CUT_S)
        else:
            begin = begin - np.minimum(((found - offset_s - meant[row]) / _START_S) ** 2 / 2, 8.0)
        best, step = begin, np.zeros(columns, dtype=np.int8)
        for far in range(1, min(_FAR_MEANT, row) + 1):
            gap = meant[row] - meant[row - far]
            spread = _SPREAD_S + _SPREAD_SHARE * gap
            for back in range(1, min(_FAR_FOUND, columns - 1) + 1):
                late = (found[back:] - found[:-back] - gap) / spread
                late = np.minimum(late * late / 2, np.where(late > 0, _PAUSE, _HURRY))
                left_out = spent[back:-1] - spent[1 : columns - back + 1]
                way = worth[row - far, :-back] - late - left_out - _MISSED * (far - 1)
                better = way > best[back:]
                best[back:][better] = way[better]
                step[back:][better] = far * 8 + back
        if row:
            ahead = np.maximum.accumulate(leap)[:-1] - spent[1:-1] - _MISSED * (row - 1) - _LEAP
            better = ahead > best[1:]
            best[1:][better] = ahead[better]
            step[1:][better] = -1
        worth[row] = best + fits[row]
        steps[row] = step
        leap = np.maximum(leap, worth[row] + spent[1:] + _MISSED * row)
    ends = worth - _MISSED * (rows - 1 - np.arange(rows))[:, None]
    i, j = (int(k) for k in np.unravel_index(int(np.argmax(ends)), ends.shape))
    total = float(ends[i, j])
    if total < -_MISSED * rows:
        return Way(nothing, -_MISSED * rows)
    way_found = nothing.copy()
    while True:
        way_found[i] = j
        step_ = int(steps[i, j])
        if step_ == 0:
            return Way(way_found, total)
        if step_ > 0:
            i, j = i - step_ // 8, j - step_ % 8
        else:
            before = worth[:i, :j] + spent[1 : j + 1] + _MISSED * np.arange(i)[:, None]
            i, j = (int(k) for k in np.unravel_index(int(np.argmax(before)), before.shape))

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

_CELLS = 4_000_000  # of the table that are held at a time, at 5 bytes each
_KEPT = 2_000_000  # numbers of what steps cost that are kept for gaps that come again


@dataclass(frozen=True)
class Way:
    """`found[i]` is the onset of the i-th meant instant, NONE where there is none; `worth` the score of all of it."""

    found: NDArray[np.int64]
    worth: float


def align(
    meant_s: Sequence[float],
    found_s: Sequence[float],
    fits: Sequence[Floats] | Floats,
    cost: Floats,
    offset_s: float | None = None,
) -> Way:
    """The best way through `meant_s` (instants from the first beat) and `found_s` (onsets of the recording).

    fits: for each meant instant a row (found,), what a pair is worth, below zero where it does not fit. cost: (found,),
    what it costs to leave an onset out between two others. offset_s: where the first beat is said to be.
    """
    rows, columns = len(meant_s), len(found_s)
    nothing = np.full(rows, NONE)
    if not rows or not columns:
        return Way(nothing, 0.0)
    table = _Table(np.asarray(meant_s, dtype=float), np.asarray(found_s, dtype=float), fits, cost, offset_s)
    # Only a stretch of rows is held; the way back works out those before it anew, from the states they began with.
    size = max(_CELLS // columns, int((6 * rows) ** 0.5), 1)
    states = [_State((), np.full(columns, -np.inf), np.zeros(columns, dtype=np.int32))]
    total, i, j = -np.inf, 0, 0
    for first in range(0, rows, size):
        stretch = table.stretch(states[-1], first, min(first + size, rows))
        states.append(stretch.after)
        for row, worth in enumerate(stretch.worth, start=first):
            ends = worth - _MISSED * np.float64(rows - 1 - row)
            top = int(np.argmax(ends))
            if ends[top] > total:
                total, i, j = float(ends[top]), row, top
    if total < -_MISSED * rows:
        return Way(nothing, -_MISSED * rows)
    way_found = nothing.copy()
    while True:
        way_found[i] = j
        if not stretch.first <= i < stretch.first + len(stretch.worth):
            first = i // size * size
            stretch = table.stretch(states[i // size], first, i + 1)
        step = int(stretch.steps[i - stretch.first, j])
        if step == 0:
            return Way(way_found, total)
        if step > 0:
            i, j = i - step // 8, j - step % 8
        else:
            i, j = table.leapt_from(states[i // size], stretch, i, j)


@dataclass(frozen=True)
class _State:
    """What a row needs of those above it: the worth of the nearest ones, and for each onset the best place to leap from
    (worth + what is spent behind it + what is missed so far) with its row."""

    above: tuple[NDArray[np.float32], ...]
    leap: Floats
    leap_row: NDArray[np.int32]


@dataclass(frozen=True)
class _Stretch:
    """Rows of the table from `first` on; a step is 0 where a way begins, -1 for a leap, else far_meant * 8 + back."""

    first: int
    worth: NDArray[np.float32]
    steps: NDArray[np.int8]
    after: _State


class _Table:
    """The table of all ways, worked out a stretch of rows at a time."""

    def __init__(
        self, meant: Floats, found: Floats, fits: Sequence[Floats] | Floats, cost: Floats, offset_s: float | None
    ) -> None:
        self.meant, self.found, self.fits, self.offset_s = meant, found, fits, offset_s
        self.spent = np.concatenate([[0.0], np.cumsum(cost)])  # cost of all onsets before one
        self.first = _EARLIER * np.arange(len(found))
        self.costs: dict[tuple[float, int], list[Floats]] = {}

    def stretch(self, state: _State, first: int, last: int) -> _Stretch:
        """The rows from `first` to before `last`."""
        columns = len(self.found)
        worth = np.empty((last - first, columns), dtype=np.float32)
        steps = np.empty((last - first, columns), dtype=np.int8)
        above, leap, leap_row = list(state.above), state.leap.copy(), state.leap_row.copy()
        for row in range(first, last):
            worth[row - first], steps[row - first] = self._row(row, above, leap)
            self._leave(row, worth[row - first], leap, leap_row)
            above = [*above, worth[row - first]][-_FAR_MEANT:]
        return _Stretch(first, worth, steps, _State(tuple(a.copy() for a in above), leap, leap_row))

    def leapt_from(self, state: _State, stretch: _Stretch, row: int, column: int) -> tuple[int, int]:
        """(row, column) of the best place above and before this one; of equal ones the first."""
        leap, leap_row = state.leap.copy(), state.leap_row.copy()
        for above in range(stretch.first, row):
            self._leave(above, stretch.worth[above - stretch.first], leap, leap_row)
        best = np.flatnonzero(leap[:column] == leap[:column].max())
        k = int(best[np.argmin(leap_row[best])])
        return int(leap_row[k]), k

    def _leave(self, row: int, worth: NDArray[np.float32], leap: Floats, leap_row: NDArray[np.int32]) -> None:
        """Count a row among those that can be leapt from."""
        left = worth + self.spent[1:] + _MISSED * row
        better = left > leap
        np.copyto(leap, left, where=better)
        leap_row[better] = row

    def _row(self, row: int, above: Sequence[NDArray[np.float32]], leap: Floats) -> tuple[Floats, NDArray[np.int8]]:
        """(worth, steps) of a row."""
        meant, found, spent = self.meant, self.found, self.spent
        best = -(_MISSED + _LATER) * row - self.first
        if self.offset_s is None:
            best = best - _CUT * (found < meant[row] - _CUT_S)
        else:
            best = best - np.minimum(((found - self.offset_s - meant[row]) / _START_S) ** 2 / 2, 8.0)
        step = np.zeros(len(found), dtype=np.int8)
        for far in range(1, min(_FAR_MEANT, row) + 1):
            for back, costs in enumerate(self._costs(float(meant[row] - meant[row - far]), far), start=1):
                way = above[-far][:-back] - costs
                better = way > best[back:]
                np.copyto(best[back:], way, where=better)
                np.copyto(step[back:], np.int8(far * 8 + back), where=better)
        if row:
            ahead = np.maximum.accumulate(leap)[:-1] - spent[1:-1] - _MISSED * (row - 1) - _LEAP
            better = ahead > best[1:]
            np.copyto(best[1:], ahead, where=better)
            np.copyto(step[1:], np.int8(-1), where=better)
        return best + self.fits[row], step

    def _costs(self, gap: float, far: int) -> list[Floats]:
        """For each number of onsets to go back, what a step over `far` instants and `gap` seconds costs."""
        key = (round(gap, 9), far)
        if key not in self.costs:
            found, spent = self.found, self.spent
            spread = _SPREAD_S + _SPREAD_SHARE * gap
            made = []
            for back in range(1, min(_FAR_FOUND, len(found) - 1) + 1):
                late = (found[back:] - found[:-back] - gap) / spread
                late = np.minimum(late * late / 2, np.where(late > 0, _PAUSE, _HURRY))
                made.append(late + (spent[back:-1] - spent[1 : len(found) - back + 1]) + _MISSED * (far - 1))
            if len(self.costs) * _FAR_FOUND * len(found) > _KEPT:
                self.costs.clear()
            self.costs[key] = made
        return self.costs[key]

"""How the chance of a clean pass falls as the tempo rises, and what counted passes say of where it does.

The curve is the Weibull function of QUEST (Watson & Pelli 1983, Percept. Psychophys. 33:113-120) mirrored, since for a
player harder is faster. With x the natural logarithm of the tempo in bpm, threshold T, spread s, lapse rate d:

    chance(x) = guess + (1 - guess - d) · (1 - exp(-exp((T - x) / s)))

The grid runs over the steady tempo m, where the chance is 8 in 10, and the spread together, as Kontsevich & Tyler
(1999, Vision Res. 39:2729-2737) do for threshold and slope. Because a trial's likelihood depends on x - m alone, each
spread has one table of it and every tempo is a slice of that table.

Passes of another length than the usual weigh by their bars: a pass of w usual lengths is clean with chance(x)^w, as if
its parts went well or ill each by themselves.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from itertools import accumulate
from operator import add, mul

from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM

AIM = 0.8
LAPSE = 0.03
"""The share of passes that fail at any tempo: a slip, a knock at the door (QUEST's 0.01 to 0.02, and a little more)."""

FINE = 1 / 200
"""Width in ln tempo of the bins in which passes are counted, 0.5 %: below what is felt (Drake & Botte 1993)."""
_PER_CELL = 4
STEP = FINE * _PER_CELL
"""Width in ln tempo of a cell of the grid, 2 %."""

SPREADS = (0.03, 0.048, 0.076, 0.122, 0.2)
_SPREAD_CENTRE, _SPREAD_SD = 0.08, 0.5
# Centre and sd in ln of the spread before anything is known. Nothing is published on how steeply clean passes fall off
# with tempo; 8 % makes them fall from 8 to 5 in 10 over 7 % of tempo (ours, no source).

FIRST_CELL = math.floor(math.log(SLOWEST_BPM) / STEP) - 10
LAST_CELL = math.ceil(math.log(FASTEST_BPM) / STEP) + 10
CELLS = LAST_CELL - FIRST_CELL + 1
_NOTHING = -40.0  # what is so much less likely, in ln, is left out of sums
_REACH = 25  # cells, 0.5 in ln tempo: farther from every tempo tried the likelihood is taken as level

Trials = tuple[int, float, float, float]
"""Passes at one tempo: fine bin, length in usual passes, how many clean, how many stumbled (shares of one allowed)."""


def chance(x: float, threshold: float, spread: float, lapse: float = LAPSE, guess: float = 0.0) -> float:
    """The chance of a clean pass at ln tempo `x`; 0.632 of the way up at the threshold."""
    rise = math.exp(min((threshold - x) / spread, 700.0))
    return guess + (1 - guess - lapse) * -math.expm1(-rise)


def above_steady(spread: float, lapse: float = LAPSE, aim: float = AIM) -> float:
    """How far in ln tempo the curve's threshold lies above the tempo at which the chance is `aim`."""
    return spread * math.log(-math.log1p(-aim / (1 - lapse)))


def fine_bin(bpm: float) -> int:
    """The bin a tempo is counted in."""
    return round(math.log(bpm) / FINE)


def ln_tempo(cell: int) -> float:
    """The ln tempo at the middle of cell `cell` of the grid, counted from 0."""
    return (FIRST_CELL + cell) * STEP


@cache
def spread_prior() -> tuple[float, ...]:
    """How likely each of SPREADS is before anything was played; sums to 1."""
    raw = [math.exp(-0.5 * (math.log(s / _SPREAD_CENTRE) / _SPREAD_SD) ** 2) for s in SPREADS]
    return tuple(r / math.fsum(raw) for r in raw)


@cache
def _tables(length: float) -> tuple[list[float], ...]:
    """For each spread the log chances of a clean and a stumbled pass of `length` usual passes, by turns.

    The pair at 2·k belongs to a tempo played k - 2·CELLS cells above the steady tempo.
    """
    found = []
    for spread in SPREADS:
        row: list[float] = []
        for k in range(-2 * CELLS, 2 * CELLS + 1):
            # Far above the steady tempo the chance underflows; a floor keeps its logarithm finite.
            clean = length * math.log(max(chance(k * STEP, above_steady(spread), spread), 1e-12))
            row += (clean, math.log(-math.expm1(clean)))
        found.append(row)
    return tuple(found)


def log_likelihoods(trials: Iterable[Trials]) -> list[list[float]]:
    """For each of SPREADS the log-likelihood of all `trials` along the cells of the steady tempo.

    The trials' order plays no part: they are first summed up by tempo and length, in a fixed order.
    """
    by_length = _on_grid(trials)
    if not by_length:
        return [[0.0] * CELLS for _ in SPREADS]
    low = max(min(min(cells) for cells in by_length.values()) - _REACH, FIRST_CELL)
    high = min(max(max(cells) for cells in by_length.values()) + _REACH, LAST_CELL)
    rows = [[0.0] * (high - low + 1) for _ in SPREADS]
    for length, cells in by_length.items():
        first, last = min(cells), max(cells)
        counts = [n for cell in range(first, last + 1) for n in cells.get(cell, (0.0, 0.0))]
        starts = range(2 * (first - low + 2 * CELLS), 2 * (first - high + 2 * CELLS) - 1, -2)
        for place, table in enumerate(_tables(length)):
            # For each cell the counts times the slice of the table that they then lie on.
            told = [sum(map(mul, counts, table[start : start + len(counts)])) for start in starts]
            rows[place] = list(map(add, rows[place], told))
    return [[row[0]] * (low - FIRST_CELL) + row + [row[-1]] * (LAST_CELL - high) for row in rows]


def _on_grid(trials: Iterable[Trials]) -> dict[float, dict[int, list[float]]]:
    """Counts of clean and stumbled by length and cell: a fine bin between two cells goes to both by its nearness.

    That is the log-likelihood interpolated linearly between the cells.
    """
    found: dict[float, dict[int, list[float]]] = {}
    for fine, length, clean, stumbled in sorted(trials):
        cell, part = divmod(fine, _PER_CELL)
        for where, share in ((cell, 1 - part / _PER_CELL), (cell + 1, part / _PER_CELL)):
            if share:
                counts = found.setdefault(length, {}).setdefault(where, [0.0, 0.0])
                counts[0] += clean * share
                counts[1] += stumbled * share
    return found


@lru_cache(maxsize=2048)
def normal_prior(centre: float, sd: float) -> tuple[float, ...]:
    """A normal prior along the cells, around ln tempo `centre`; sums to 1."""
    raw = [math.exp(-0.5 * ((ln_tempo(i) - centre) / sd) ** 2) for i in range(CELLS)]
    total = math.fsum(raw)
    return tuple(r / total for r in raw)


def posterior(rows: Sequence[Sequence[float]], prior: Sequence[float]) -> list[list[float]]:
    """The grid of belief, spread by steady tempo, from log-likelihood `rows` and a prior along the cells; sums to 1."""
    top = max(map(max, rows))
    raw = [
        [weight * p * math.exp(value - top) for value, p in zip(row, prior, strict=True)]
        for weight, row in zip(spread_prior(), rows, strict=True)
    ]
    total = math.fsum(map(math.fsum, raw))
    return [[value / total for value in row] for row in raw]


def likelihood(rows: Sequence[Sequence[float]]) -> list[float]:
    """The likelihood along the cells, the spread summed out; scaled to 1 at its top."""
    top = max(map(max, rows))
    found = [0.0] * CELLS
    for weight, row in zip(spread_prior(), rows, strict=True):
        if max(row) < top + _NOTHING:
            continue
        found = [
            sofar if value < top + _NOTHING else sofar + weight * math.exp(value - top)
            for sofar, value in zip(found, row, strict=True)
        ]
    most = max(found)
    return [value / most for value in found]


def belief(along: Sequence[float], prior: Sequence[float]) -> list[float]:
    """The belief along the cells from a likelihood and a prior; sums to 1."""
    raw = list(map(mul, along, prior))
    total = math.fsum(raw)
    return [value / total for value in raw]


def moments(along: Sequence[float]) -> tuple[float, float]:
    """Mean ln tempo and variance of a belief."""
    cells = [cell for cell, share in enumerate(along) if share > 1e-9]
    first, some = cells[0], along[cells[0] : cells[-1] + 1]
    places = range(len(some))
    mean = sum(map(mul, some, places))
    square = sum(map(mul, some, (n * n for n in places)))
    return ln_tempo(first) + mean * STEP, (square - mean * mean) * STEP**2


def quantiles(along: Sequence[float], shares: Sequence[float]) -> list[float]:
    """The ln tempos below which `shares` (above 0 and below 1) of a belief lie.

    Within a cell the belief is taken as level, which widens it by a twelfth of a cell squared in variance; that is
    taken off again around the middle (Sheppard's correction for grouping).
    """
    sums = list(accumulate(along))
    variance = moments(along)[1]
    narrower = math.sqrt(variance / (variance + STEP**2 / 12))

    def where(share: float) -> float:
        aim = share * sums[-1]
        cell = bisect_left(sums, aim)
        return ln_tempo(cell) + (0.5 - (sums[cell] - aim) / along[cell]) * STEP

    middle = where(0.5)
    return [middle + (where(share) - middle) * narrower for share in shares]

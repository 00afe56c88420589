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
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from itertools import accumulate, repeat
from operator import add, mul

from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM

AIM = 0.8
LAPSE = 0.03
"""The share of passes that fail at any tempo: a slip, a knock at the door (QUEST's 0.01 to 0.02, and a little more)."""

FINE = 1 / 200
"""Width in ln tempo of the bins in which passes are counted, 0.5 %: below what is felt (Drake & Botte 1993)."""
_PER_CELL = 3
STEP = FINE * _PER_CELL
"""Width in ln tempo of a cell of the grid, 1.5 %."""

SPREADS = (0.03, 0.045, 0.065, 0.095, 0.14, 0.2)
_SPREAD_CENTRE, _SPREAD_SD = 0.08, 0.5
# Centre and sd in ln of the spread before anything is known. Nothing is published on how steeply clean passes fall off
# with tempo; 8 % makes them fall from 8 to 5 in 10 over 7 % of tempo (ours, no source).

FIRST_CELL = math.floor(math.log(SLOWEST_BPM) / STEP) - 10
LAST_CELL = math.ceil(math.log(FASTEST_BPM) / STEP) + 10
CELLS = LAST_CELL - FIRST_CELL + 1
_REACH = 34  # cells, about 0.5 in ln tempo: farther from every tempo tried the likelihood is taken as level

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
def _tables(length: float) -> tuple[tuple[list[float], list[float]], ...]:
    """For each spread the log chance of a clean and of a stumbled pass of `length` usual passes.

    Entry k belongs to a steady tempo k - 2·CELLS cells above the tempo played.
    """
    found = []
    for spread in SPREADS:
        # Far above the steady tempo the chance underflows; a floor keeps its logarithm finite.
        chances = (chance(-k * STEP, above_steady(spread), spread) for k in range(-2 * CELLS, 2 * CELLS + 1))
        clean = [length * math.log(max(p, 1e-12)) for p in chances]
        found.append((clean, [math.log(-math.expm1(value)) for value in clean]))
    return tuple(found)


def log_likelihoods(trials: Iterable[Trials]) -> list[list[float]]:
    """For each of SPREADS the log-likelihood of all `trials` along the cells of the steady tempo.

    The trials' order plays no part: they are first summed up by tempo and length, in a fixed order.
    """
    summed = _on_grid(trials)
    if not summed:
        return [[0.0] * CELLS for _ in SPREADS]
    played = [cell for _, cell in summed]
    low = max(min(played) - _REACH, FIRST_CELL)
    high = min(max(played) + _REACH, LAST_CELL)
    width = high - low + 1
    rows = []
    for place in range(len(SPREADS)):
        row = [0.0] * width
        for (length, cell), (clean, stumbled) in summed.items():
            tables = _tables(length)[place]
            start = low - cell + 2 * CELLS
            for n, table in ((clean, tables[0]), (stumbled, tables[1])):
                if n:
                    row = list(map(add, row, map(mul, repeat(n), table[start : start + width])))
        rows.append([row[0]] * (low - FIRST_CELL) + row + [row[-1]] * (LAST_CELL - high))
    return rows


def _on_grid(trials: Iterable[Trials]) -> dict[tuple[float, int], list[float]]:
    """Counts by length and cell: a fine bin between two cells goes to both by its nearness.

    That is the log-likelihood interpolated linearly between the cells.
    """
    summed: dict[tuple[float, int], list[float]] = {}
    for fine, length, clean, stumbled in sorted(trials):
        cell, part = divmod(fine, _PER_CELL)
        for where, share in ((cell, 1 - part / _PER_CELL), (cell + 1, part / _PER_CELL)):
            if share:
                counts = summed.setdefault((length, where), [0.0, 0.0])
                counts[0] += clean * share
                counts[1] += stumbled * share
    return summed


@lru_cache(maxsize=256)
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
        found = [sofar + weight * math.exp(value - top) for sofar, value in zip(found, row, strict=True)]
    most = max(found)
    return [value / most for value in found]


def belief(along: Sequence[float], prior: Sequence[float]) -> list[float]:
    """The belief along the cells from a likelihood and a prior; sums to 1."""
    raw = list(map(mul, along, prior))
    total = math.fsum(raw)
    return [value / total for value in raw]


def quantiles(along: Sequence[float], shares: Sequence[float]) -> list[float]:
    """The ln tempos below which `shares` (rising, above 0 and below 1) of a belief lie, level within each cell."""
    sums = list(accumulate(along))
    found, cell = [], 0
    for share in shares:
        aim = share * sums[-1]
        while sums[cell] < aim:
            cell += 1
        within = 1 - (sums[cell] - aim) / along[cell]
        found.append(ln_tempo(cell) + (within - 0.5) * STEP)
    return found

"""Steady tempo, the simple rule: the tempo at which about 8 in 10 passes were clean.

A seam: `steady` is all that others call, so a deeper estimate can take its place. Passes at the full layer are put in
order of tempo and made to fall (clean share cannot rise with tempo) by pooling neighbours that disagree, the
least-squares monotone fit (Ayer et al. 1955, Ann. Math. Stat. 26:641-647; from memory). Between the pooled groups the
share is read off in log tempo. Nothing is claimed before six passes with clean and stumbled ones among them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from coach.practice.drills import STEP_SHARE
from coach.practice.takes import FULL, Take

LEAST_PASSES = 6
RECENT_PASSES = 40
AIM = 0.8
_SURE, _DOUBTFUL = 0.9, 0.65


@dataclass(frozen=True)
class Steady:
    """An estimate in bpm from so many `passes`.

    `low` and `high` are where about 9 and 6.5 in 10 passes were clean, or the slowest and fastest tempo tried, and
    at least one step away: a rough band, not a confidence interval.
    """

    bpm: float
    low: float
    high: float
    passes: int


def steady(takes_of_drill: Sequence[Take]) -> Steady | None:
    """The steady tempo of one drill from its takes in order; None until it is known.

    The latest 40 full-layer passes count. None with fewer than six, with no stumbled or no clean one, or when
    even the slowest tempo tried was clean less often than 8 in 10. Never beyond the fastest tempo tried.
    """
    passes = [p for take in takes_of_drill for p in take.passes if p.layer == FULL][-RECENT_PASSES:]
    clean = sum(p.clean for p in passes)
    if len(passes) < LEAST_PASSES or clean in (0, len(passes)):
        return None
    groups = _falling(sorted((math.log(p.tempo), float(p.clean)) for p in passes))
    if groups[0][1] < AIM:
        return None
    bpm = math.exp(_where(groups, AIM))
    tried = [p.tempo for p in passes]
    low = math.exp(_where(groups, _SURE)) if groups[0][1] > _SURE else min(tried)
    high = math.exp(_where(groups, _DOUBTFUL)) if groups[-1][1] < _DOUBTFUL else max(tried)
    step = 1 + STEP_SHARE
    return Steady(bpm=bpm, low=min(low, bpm / step), high=max(high, bpm * step), passes=len(passes))


def _falling(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """(mean log tempo, clean share) of pooled groups, shares falling."""
    pooled: list[tuple[float, float, int]] = []  # sum of log tempo, sum clean, passes
    last = None
    for x, clean in points:
        if x == last:  # one tempo is one group from the start, in whatever order its passes came
            old = pooled.pop()
            pooled.append((old[0] + x, old[1] + clean, old[2] + 1))
        else:
            pooled.append((x, clean, 1))
        last = x
    stack: list[tuple[float, float, int]] = []
    for group in pooled:
        stack.append(group)
        while len(stack) > 1 and stack[-2][1] * stack[-1][2] <= stack[-1][1] * stack[-2][2]:
            b, a = stack.pop(), stack.pop()
            stack.append((a[0] + b[0], a[1] + b[1], a[2] + b[2]))
    return [(x / n, clean / n) for x, clean, n in stack]


def _where(groups: list[tuple[float, float]], share: float) -> float:
    """The log tempo at which the fit passes `share`; its slow or fast end where it never does."""
    if groups[0][1] <= share:
        return groups[0][0]
    for (x0, y0), (x1, y1) in pairwise(groups):
        if y1 <= share:
            return x0 + (x1 - x0) * (y0 - share) / (y0 - y1)
    return groups[-1][0]

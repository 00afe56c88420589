"""How long this player's hands keep a thing: read from what the first passes after days away were like.

Each return to a drill that was held before says something: how many of its first passes, at the tempo it was held at,
were clean after so many days. The law is the plainest one, chance = c·2^(-t/H): c the player's own share after no time
at all, H the days after which half of it is gone. Both are found together on a grid, c even, H around the 6.5 months
after which half of what was gained in accuracy is lost (Tatel & Ackerman, Psychol. Bull., doi 10.1037/bul0000481), wide
enough that a few dozen returns outweigh it.

It only ever shortens what the memory's own law (memory.py) would wait, and only where the data are clear. For a player
like those of the published curves three weeks are safe and nothing is changed; on made-up players (tests/bench) longer
waits than that cost targets, and twenty times as fast forgetting is told after some forty returns of a week or more.
What it wins is small: on such learners, over four months, one target more in ten learners.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from coach.picking.layers import FULL
from coach.skill.evidence import ENOUGH_PASSES
from coach.skill.memory import LONGEST_INTERVAL_DAYS
from coach.skill.take_summary import TakeSummary

PUBLISHED_HALF_DAYS = 195.0
LONGEST_GAP = 90
LEAST_WAIT = 3
SPENT = 0.1
"""A thing should come back before so much of the chance of a clean pass is gone: recall 9 in 10, as the memory aims."""
_PRIOR_SD = 1.2  # in ln: a player may well forget three times as fast as published, or as slowly (ours, no source)
_HALVES = tuple(7 * 2 ** (n / 3) for n in range(31))  # a week to twenty years, three to an octave
_SHARES = (*(0.4 + 0.03 * n for n in range(20)), 0.99)
_LIKE = (0.85, 1.02)
"""Passes so far below and above the tempo held before are counted: a warm-up is clean whatever was forgotten."""

Returns = Mapping[int, tuple[int, int]]
"""Days away, and (clean, all) of the first passes after them."""


@dataclass(frozen=True, slots=True)
class Keeping:
    """Days after which half of the chance of a clean pass is gone: likely range (9 in 10) and middle.

    `returns` passes it rests on that came after a week or longer.
    """

    low: float
    middle: float
    high: float
    returns: int

    @property
    def wait(self) -> int:
        """The longest in days that a drill should wait. Three weeks, but where even the slow end of the likely range
        has more than a tenth gone by then, as long as the middle allows, and three days at least."""
        tenth = -math.log2(1 - SPENT)
        if self.high * tenth >= LONGEST_INTERVAL_DAYS:
            return LONGEST_INTERVAL_DAYS
        return min(max(round(self.middle * tenth), LEAST_WAIT), LONGEST_INTERVAL_DAYS)

    @property
    def words(self) -> str | None:
        """What is said of it, None where nothing was changed."""
        if self.wait == LONGEST_INTERVAL_DAYS:
            return None
        return (
            f"Your own first passes after days away say that a tenth is gone after about {self.wait} days"
            f" ({self.returns} passes after a week or more): nothing waits longer than that."
        )


def returned(gap: int, held_bpm: float | None, takes: Sequence[TakeSummary]) -> tuple[int, int] | None:
    """(clean, all) of the first passes of a day's takes of one drill, `gap` days after the day before; None when they
    say nothing: never held before, the same day, a thinner layer, or another tempo than the one that was held.
    """
    first = takes[0]
    if held_bpm is None or gap < 1 or first.layer != FULL:
        return None
    slow, fast = _LIKE[0] * held_bpm, _LIKE[1] * held_bpm
    clean = passes = 0
    for n, (tempo, good) in enumerate(zip(first.tempos[:ENOUGH_PASSES], first.cleans, strict=False)):
        if slow <= tempo <= fast and (first.layers is None or first.layers[n] == FULL):
            clean, passes = clean + good, passes + 1
    return (clean, passes) if passes else None


def keeping(returns: Returns) -> Keeping:
    """What all returns of a player say together; with none, what is published."""
    return _keeping(tuple(sorted((gap, *counts) for gap, counts in returns.items())))


@lru_cache(maxsize=4)
def _keeping(returns: tuple[tuple[int, int, int], ...]) -> Keeping:
    logs = []
    for half in _HALVES:
        rows = [_likelihood(share, math.log(2) / half, returns) for share in _SHARES]
        top = max(rows)
        prior = -0.5 * (math.log(half / PUBLISHED_HALF_DAYS) / _PRIOR_SD) ** 2
        logs.append(prior + top + math.log(math.fsum(math.exp(row - top) for row in rows)))
    top = max(logs)
    weights = [math.exp(one - top) for one in logs]
    low, middle, high = (_at(weights, share) for share in (0.05, 0.5, 0.95))
    return Keeping(low, middle, high, sum(n for gap, _, n in returns if gap >= 7))


def _likelihood(share: float, a_day: float, returns: Sequence[tuple[int, int, int]]) -> float:
    """ln of the likelihood; `a_day` is the loss in ln a day."""
    found = 0.0
    for gap, clean, n in returns:
        chance = math.log(share) - a_day * min(gap, LONGEST_GAP)
        found += clean * chance + (n - clean) * math.log(-math.expm1(chance))
    return found


def _at(weights: Sequence[float], share: float) -> float:
    """The half-life below which `share` of the weight lies; each weight spread evenly over its third of an octave."""
    left = share * math.fsum(weights)
    for half, weight in zip(_HALVES, weights, strict=True):
        if left <= weight:
            return half * 2 ** ((left / weight - 0.5) / 3) if weight else half
        left -= weight
    return _HALVES[-1]

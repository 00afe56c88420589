"""Whether a drill still gets faster: the curve of its steady tempo over practice, told by evidence and not by eye.

Three curves of the shortest beat held, T in seconds, over N passes played: level (T = A), a line (T = A + B·N), and the
exponential that single learners follow (T = A + B·exp(-a·N); Heathcote, Brown & Mewhort 2000, Psychon. Bull. Rev.
7:185-207). Each is fitted by maximum likelihood straight to the passes, day by day, through the curve that gives the
chance of a clean pass (psychometric.py), so no figure is fitted to figures. They are told apart by the Bayesian
information criterion, BIC = k·ln n - 2·ln L with k values fitted and n passes; a difference of 2 is positive evidence
(Kass & Raftery 1995, J. Am. Stat. Assoc. 90:773-795; from memory).

Nothing is said while it cannot be: a level curve is only told when a gain of WORTH over all of it is excluded at the
5 % level, and a flattening one when what is left up to its limit would not be felt.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from coach.log.takes import Take
from coach.picking.layers import FULL
from coach.skill.pass_counts import Window, add_take, days_in, length_of, usual_bars
from coach.skill.psychometric import CELLS, STEP, likelihood, ln_tempo, log_likelihoods
from coach.skill.take_summary import summarize

LEAST_DAYS, LEAST_PASSES = 6, 40
POSITIVE = 2.0
FELT = 0.03
"""A gain in tempo, as a share, that is just felt (3 to 5 %; Drake & Botte 1993, Percept. Psychophys. 54:277-286)."""
WORTH = 0.05
"""The gain over all of its practice that must be excluded before a drill is called level."""
_EXCLUDED = 1.353  # half of 1.645 squared: a one-sided bound of 5 % on the log-likelihood
_BENDS = (1.0, 2.0, 3.5, 6.0, 11.0)  # a·N over all of practice; less than the first is as good as a line
_UNLIKELY = -40.0
_FIRST = ln_tempo(0)
_MOST_DAYS = 32

RISING, FLATTENING, LEVEL = "rising", "flattening", "level"


@dataclass(frozen=True)
class Day:
    """What one day's passes say alone: the log-likelihood `along` the steady tempo, `at` passes by its middle."""

    at: float
    along: tuple[float, ...]


@dataclass(frozen=True)
class Curve:
    """How the steady tempo has gone over `days` days and `passes` passes.

    kind     rising, flattening or level
    bpm      the steady tempo at the end of it
    gained   since its beginning, as a share
    left     still to come at the curve's limit, as a share; None where the curve has no limit
    evidence how far the BIC of a line lies from the better of the other two
    """

    kind: str
    bpm: float
    gained: float
    left: float | None
    evidence: float
    days: int
    passes: int

    @property
    def flat(self) -> bool:
        """True when no gain that could be felt is to be expected from going on like this."""
        return self.kind != RISING

    @property
    def words(self) -> str:
        """One clause for the player."""
        if self.kind == RISING:
            return f"still getting faster: {self.gained:.0%} in {self.days} days of practice"
        if self.kind == LEVEL:
            return f"level at about {self.bpm:.0f} bpm for {self.days} days of practice"
        return f"flattening out at about {self.bpm:.0f} bpm after {self.gained:.0%} gained"


def days_alone(takes: Iterable[Take], layer: str = FULL) -> tuple[list[Day], int]:
    """The latest days of a drill's takes, each by itself, and how many usual passes they hold."""
    window: Window = {}
    for take in takes:
        add_take(window, take.local_day, take.drill, take.mode, summarize(take), [p.bars for p in take.passes])
    latest = dict(list(days_in(window, layer).items())[-_MOST_DAYS:])
    usual = usual_bars(latest)
    found: list[Day] = []
    played = 0.0
    for counts in latest.values():
        trials = [(fine, length_of(bars, usual), good, bad) for (fine, bars), (good, bad) in counts.items()]
        passes = math.fsum((good + bad) * min(length, 1.0) for _, length, good, bad in trials)
        along = likelihood(log_likelihoods(trials))
        logs = tuple(max(math.log(value), _UNLIKELY) if value > 0 else _UNLIKELY for value in along)
        found.append(Day(played + passes / 2, logs))
        played += passes
    return found, math.floor(played + 1e-9)


def _at(along: Sequence[float], x: float) -> float:
    """The log-likelihood at ln tempo `x`, linear between cells."""
    place = (x - _FIRST) / STEP
    if not 0 <= place < CELLS - 1:
        place = min(max(place, 0.0), CELLS - 1.000001)
    cell = int(place)
    part = place - cell
    return along[cell] * (1 - part) + along[cell + 1] * part


def _bent(u: float, bend: float) -> float:
    """How much of the way from last to first is left at the share `u` of practice: 1 at 0, 0 at 1."""
    return 1 - u if bend == 0 else (math.exp(-bend * u) - math.exp(-bend)) / -math.expm1(-bend)


def _total(days: Sequence[Day], shares: Sequence[float], first: float, last: float) -> float:
    """The log-likelihood of a curve of beats that goes from ln tempo `first` to `last`."""
    slow, fast = math.exp(-first), math.exp(-last)
    return math.fsum(
        _at(day.along, -math.log(fast + (slow - fast) * left)) for day, left in zip(days, shares, strict=True)
    )


def _climb(
    score: Callable[[float, float], float], start: tuple[float, float], step: float = 0.16
) -> tuple[float, float, float]:
    """The best of two values near `start` by trying steps that get finer, the first `step` wide; and their score."""
    best, place = score(*start), start
    while step > 0.004:
        tried = [
            (score(place[0] + i * step, place[1] + j * step), (place[0] + i * step, place[1] + j * step))
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            if i or j
        ]
        top, where = max(tried)
        if top > best + 1e-9:
            best, place = top, where
        else:
            step /= 2
    return best, *place


def curve(takes: Iterable[Take], layer: str = FULL) -> Curve | None:
    """How the steady tempo of one drill's takes has gone; None while it cannot be told."""
    days, passes = days_alone(takes, layer)
    if len(days) < LEAST_DAYS or passes < LEAST_PASSES:
        return None
    begin, end = days[0].at, days[-1].at
    us = [(day.at - begin) / (end - begin) for day in days]
    sums = [math.fsum(column) for column in zip(*(day.along for day in days), strict=True)]
    middle = ln_tempo(max(range(CELLS), key=sums.__getitem__))
    flat, level, _ = _climb(lambda a, b: _total(days, [0.0] * len(days), b, b) - abs(a - b), (middle, middle))

    def fitted(
        bend: float, floor: float = -1.0, near: tuple[float, float] | None = None
    ) -> tuple[float, float, float]:
        shares = [_bent(u, bend) for u in us]

        def score(first: float, last: float) -> float:
            return _total(days, shares, first, last) - (0.0 if last - first >= floor else 1e3 * (floor + first - last))

        return _climb(score, near or (level - max(floor, 0.0), level), 0.04 if near else 0.16)

    line, line_first, line_last = fitted(0.0)
    bent, most, first, last = 0.0, -math.inf, min(line_first, line_last), line_last
    near = (first, last)
    for bend in _BENDS:
        # Each bend is a small step from the one before, so that is where its best is looked for.
        found, *near_ = fitted(bend, 0.0, near)
        near = (near_[0], near_[1])
        if found > most:
            bent, most, (first, last) = bend, found, near
    ln_n = math.log(passes)
    bics = {LEVEL: ln_n - 2 * flat, RISING: 2 * ln_n - 2 * line, FLATTENING: 3 * ln_n - 2 * most}
    told = (len(days), passes)
    evidence = abs(min(bics[LEVEL], bics[FLATTENING]) - bics[RISING])
    if bics[LEVEL] < min(bics[RISING] + POSITIVE, bics[FLATTENING]):
        if flat - max(fitted(bend, WORTH)[0] for bend in (0.0, _BENDS[-1])) >= _EXCLUDED:
            return Curve(LEVEL, math.exp(level), 0.0, None, evidence, *told)
        if bics[LEVEL] < bics[FLATTENING] - POSITIVE:
            return None
    if bics[FLATTENING] < bics[RISING] - POSITIVE:
        slow, fast = math.exp(-first), math.exp(-last)
        limit = fast - (slow - fast) * math.exp(-bent) / -math.expm1(-bent)
        left = fast / limit - 1 if limit > 0 else math.inf
        kind = FLATTENING if left < FELT else RISING
        return Curve(kind, math.exp(last), math.expm1(last - first), left, evidence, *told)
    gained = math.expm1(line_last - line_first)
    return Curve(RISING, math.exp(line_last), gained, None, evidence, *told) if gained > 0 else None

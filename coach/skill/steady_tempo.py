"""Steady tempo: how fast a drill can be played so that 8 passes in 10 are clean, and how sure that is.

From a drill's counted passes comes a likelihood along tempo (psychometric.py, pass_counts.py); with a prior it makes a
belief. The figure is the middle of that belief, its range the 80 % in the middle, wider for every day gone by since.

The prior is wide, unless drills near of kin are known already (kin.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from coach.drills.pattern_drills import Drill
from coach.log.takes import Take
from coach.picking.layers import FULL
from coach.skill.pass_counts import Days, days_of, length_of, trials, usual_bars
from coach.skill.psychometric import FINE, belief, likelihood, log_likelihoods, moments, normal_prior, quantiles

LEAST_PASSES = 6
WIDEST = 1.25
"""The most that the fast end of the likely range may lie above its slow end, as a ratio, for a figure to be shown."""
_WIDEST_LN = math.log(WIDEST)
BEYOND = 0.06
"""How far, as a share, the figure may lie outside the tempos tried: about two steps."""
DAILY = 0.005
"""Standard deviation in ln tempo that each idle day adds (ours): half a year makes 7 %. Speed fades slowly: half of
what was gained is lost after some 13 months (Tatel & Ackerman, Psychol. Bull., doi 10.1037/bul0000481)."""
ASKED = 0.65
"""The share of the belief below the tempo asked next. A little above the middle tells more than the middle, where
QUEST asks (King-Smith 1994): it also shows how steeply the chance falls (tests/bench/bench_steady.py)."""

_CENTRE, _WIDE = math.log(85), 0.4  # between 38 and 190 bpm lies 95 % of it
_TAIL = 1.2816  # standard deviations from the middle of a normal law to its tenths


@dataclass(frozen=True)
class SteadyTempo:
    """A steady tempo in bpm with the range in which it lies 8 times in 10, from so many `passes`.

    `ask` is the tempo in bpm at which one more pass would tell most.
    """

    bpm: float
    low: float
    high: float
    passes: int
    ask: float

    @property
    def words(self) -> str:
        """`held 8 times in 10 up to 84 bpm (80 to 88)`."""
        return f"held 8 times in 10 up to {self.bpm:.0f} bpm ({self.low:.0f} to {self.high:.0f})"


SteadyOf = Callable[[Drill, str], SteadyTempo | None]
"""The steady tempo of a drill on a layer, None until known."""


@dataclass(frozen=True)
class Tried:
    """The passes of one drill in short.

    passes         how many were counted, in passes of usual length
    both           True when there were clean and stumbled ones among them
    slow, fast     the ends of the tempos tried, ln
    last_day       the latest day counted
    """

    passes: int
    both: bool
    slow: float
    fast: float
    last_day: date

    @property
    def enough(self) -> bool:
        """True when a figure may come of them: six passes, clean and stumbled ones."""
        return self.passes >= LEAST_PASSES and self.both


@dataclass(frozen=True)
class Evidence(Tried):
    """What the passes of one drill alone say: `along`, the likelihood of the steady tempo along the grid, 1 at its top.
    """

    along: tuple[float, ...]


class Places(NamedTuple):
    """Of a belief along ln tempo: a tenth, the half, ASKED and nine tenths of it lie below them."""

    low: float
    middle: float
    ask: float
    high: float


@dataclass(frozen=True)
class Prior:
    """Where a steady tempo is thought to lie before a drill's own passes: ln tempo and its standard deviation."""

    centre: float = _CENTRE
    sd: float = _WIDE


def evidence_of(days: Days) -> Evidence | None:
    """What the counts of days (in order, as `trials.latest` gives them) say; None when nothing was counted."""
    if not days:
        return None
    usual = usual_bars(days)
    clean = stumbled = passes = 0.0
    bins = []
    for counts in days.values():
        for (fine, bars), (good, bad) in counts.items():
            clean, stumbled = clean + good, stumbled + bad
            passes += (good + bad) * min(length_of(bars, usual), 1.0)
            bins.append(fine)
    return Evidence(
        along=tuple(likelihood(log_likelihoods(trials(days)))),
        passes=math.floor(passes + 1e-9),
        both=bool(clean and stumbled),
        slow=min(bins) * FINE,
        fast=max(bins) * FINE,
        last_day=max(days),
    )


def known(evidence: Evidence | None, prior: Prior | None = None, today: date | None = None) -> SteadyTempo | None:
    """The steady tempo the evidence supports on local day `today` (the last one played, when None).

    None while it supports none: fewer than six passes, none clean or none stumbled (then the passes bound it on one
    side only, and the rest would be the prior's), a likely range of more than a quarter from end to end, or a figure
    more than 6 % beyond the tempos tried.
    """
    if evidence is None or not evidence.enough:
        return None
    return as_known(evidence, places(evidence, prior or Prior()), today)


def places(evidence: Evidence, prior: Prior) -> Places:
    """Where the belief of evidence and prior lies."""
    return Places(*quantiles(_belief(evidence, prior), (0.1, 0.5, ASKED, 0.9)))


def as_known(tried: Tried, found: Places, today: date | None = None) -> SteadyTempo | None:
    """What `known` gives, from the passes in short and where the belief lies."""
    idle = 0 if today is None else max((today - tried.last_day).days, 0)
    wider = _TAIL * DAILY * math.sqrt(idle)
    middle = found.middle
    low, high = middle - math.hypot(middle - found.low, wider), middle + math.hypot(found.high - middle, wider)
    if not tried.enough or not tried.slow - BEYOND <= middle <= tried.fast + BEYOND or high - low > _WIDEST_LN:
        return None
    return SteadyTempo(math.exp(middle), math.exp(low), math.exp(high), tried.passes, math.exp(found.ask))


def steady(
    takes_of_drill: Iterable[Take], layer: str = FULL, today: date | None = None, prior: Prior | None = None
) -> SteadyTempo | None:
    """The steady tempo of one drill's layer from its takes, in whatever order; None until it is known (see `known`)."""
    return known(evidence_of(days_of(takes_of_drill, layer)), prior, today)


def asked(evidence: Evidence | None, prior: Prior | None = None) -> float:
    """The tempo in bpm at which one more pass would tell most, whether the steady tempo is known yet or not."""
    return math.exp(quantiles(_belief(evidence, prior or Prior()), (ASKED,))[0])


def likely(evidence: Evidence | None, prior: Prior | None = None) -> tuple[float, float, float]:
    """The slow end, middle and fast end in bpm of the 80 % belief, whether it is fit to be shown or not."""
    low, middle, high = quantiles(_belief(evidence, prior or Prior()), (0.1, 0.5, 0.9))
    return math.exp(low), math.exp(middle), math.exp(high)


def _belief(evidence: Evidence | None, prior: Prior) -> Sequence[float]:
    before = normal_prior(prior.centre, prior.sd)
    return before if evidence is None else belief(evidence.along, before)


def own_prior(drill: Drill) -> Prior:
    """The wide prior of a drill: half-way between its first and its target tempo."""
    return _half_way(drill.start_bpm, drill.target_bpm)


@lru_cache(maxsize=1024)
def _half_way(start_bpm: float, target_bpm: float) -> Prior:
    return Prior((math.log(start_bpm) + math.log(target_bpm)) / 2)


def belief_moments(evidence: Evidence, prior: Prior) -> tuple[float, float]:
    """Mean ln tempo and variance of the belief."""
    return moments(_belief(evidence, prior))

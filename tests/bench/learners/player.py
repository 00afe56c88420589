"""A player of known steady tempo, by another law than the one the estimate assumes.

The estimate assumes a mirrored Weibull curve, a lapse rate of 3 % and the same tempo all day. These players' chance of
a clean pass falls logistically in log tempo (or by the normal law), each with a slope and a lapse rate of its own, and
some tire, warm up or improve. The steady tempo is where a player's own chance is 0.8, lapses included.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

SLOPE, SLOPE_SD = 0.04, 0.4
"""Median and ln sd of the logistic slope in ln tempo. At 8 in 10 the median player's curve is as steep as a Weibull of
spread 8 %, the spread of the worked figures in Watson & Pelli's law: 0.16/0.04 = 4.0 against 0.2·ln(5)/0.08 = 4.02."""
MOST_LAPSES = 0.04


@dataclass(frozen=True)
class Player:
    """steady_bpm  where 8 in 10 passes are clean; slope in ln tempo; lapses a share of all passes
    drift       change of ln tempo with each pass
    law         "logistic" or "normal"
    """

    steady_bpm: float
    slope: float
    lapses: float
    drift: float = 0.0
    law: str = "logistic"

    def chance(self, bpm: float, passes_before: int = 0) -> float:
        """The chance of a clean pass at a tempo in bpm after so many passes."""
        beyond = (math.log(bpm / self.steady_bpm) - self.drift * passes_before) / self.slope
        share = 0.8 / (1 - self.lapses)  # of the passes without a lapse, at the steady tempo
        if self.law == "normal":
            return (1 - self.lapses) * 0.5 * math.erfc((beyond / 1.7 - _normal_quantile(share)) / math.sqrt(2))
        return (1 - self.lapses) / (1 + math.exp(min(beyond - math.log(share / (1 - share)), 700.0)))

    def plays(self, bpm: float, chance: random.Random, passes_before: int = 0) -> bool:
        """One pass: clean or not."""
        return chance.random() < self.chance(bpm, passes_before)

    def steady_after(self, passes: int) -> float:
        """The steady tempo in bpm after so many passes."""
        return self.steady_bpm * math.exp(self.drift * passes)


def made(
    chance: random.Random,
    *,
    slope: float = SLOPE,
    slope_sd: float = SLOPE_SD,
    lapses: float = MOST_LAPSES,
    drift: float = 0.0,
    law: str = "logistic",
) -> Player:
    """A player drawn by chance: steady between 60 and 140 bpm, evenly in log tempo."""
    return Player(
        steady_bpm=math.exp(chance.uniform(math.log(60), math.log(140))),
        slope=slope * math.exp(chance.gauss(0, slope_sd)),
        lapses=chance.uniform(0, lapses),
        drift=drift,
        law=law,
    )


def _normal_quantile(share: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)

"""A made-up player at the coach's: passes at the tempos that are asked, and what is then believed of the player."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date

from coach.practice.steady import Prior, asked, evidence_of, known, likely
from coach.practice.trials import Days, add
from tests.bench.learners.player import Player

DAY = date(2026, 3, 10)
WIDE = Prior()


@dataclass(frozen=True)
class Found:
    """After so many passes: the likely range and the figure in bpm, the true one, and whether it would be shown."""

    passes: int
    low: float
    bpm: float
    high: float
    truth: float
    shown: bool

    @property
    def error(self) -> float:
        """How far off, as a share."""
        return abs(self.bpm / self.truth - 1)

    @property
    def covered(self) -> bool:
        """True when the likely range holds the true tempo."""
        return self.low <= self.truth <= self.high


def asked_session(
    player: Player, marks: tuple[int, ...], chance: random.Random, prior: Prior = WIDE
) -> dict[int, Found]:
    """Passes of four bars on one day, each at the tempo the coach would ask next; what is found after `marks`."""
    days: Days = {DAY: {}}
    evidence = None
    found = {}
    for n in range(1, max(marks) + 1):
        bpm = round(asked(evidence, prior), 1)
        clean = player.plays(bpm, chance, n - 1)
        add(days[DAY], bpm, 4, int(clean), int(not clean))
        evidence = evidence_of(days)
        if n in marks:
            found[n] = Found(n, *likely(evidence, prior), player.steady_after(n), known(evidence, prior) is not None)
    return found

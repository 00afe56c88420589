"""A made-up player at the coach's: passes at the tempos that are asked, and what is then believed of the player."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

from coach.drills.pattern_drills import Drill
from coach.log.takes import Pass, Take
from coach.music.ramps import Earned
from coach.plan.block_tempo import span
from coach.skill.history import past_of
from coach.skill.pass_counts import Days, add
from coach.skill.steady_tempo import Prior, SteadyTempo, asked, evidence_of, known, likely, own_prior, steady
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


def evenings(
    player: Callable[[int], Player], drill: Drill, days: int, takes: int, passes: int, chance: random.Random
) -> Iterator[tuple[Player, SteadyTempo | None, list[Take]]]:
    """Day by day as on the stage: takes on earned ramps that start where the coach's `span` says.

    `player(day)` is the player of that day; after each day its player, the steady tempo and all takes so far.
    """
    played: list[Take] = []
    known_now = morning = None
    for day in range(days):
        who, past = player(day), morning
        for _ in range(takes):
            at = datetime(2026, 1, 1, 18, tzinfo=UTC) + timedelta(days=day, minutes=5 * len(played))
            tempos = span(drill, past, known=known_now)
            ramp = Earned(Fraction(tempos.low), Fraction(max(tempos.high, drill.target_bpm)), drill.step_share)
            bpm, done = ramp.start, []
            for number in range(1, passes + 1):
                clean = who.plays(float(bpm), chance)
                done.append(Pass(number, float(bpm), 4, int(not clean), clean, "full"))
                bpm = ramp.after_pass(bpm, clean)
            share = sum(p.clean for p in done) / passes
            word = "flowing" if share >= 0.9 else "held" if share >= 0.7 else "shaky" if share >= 0.4 else "lost"
            top = max(p.tempo for p in done)
            stumbles = sum(p.stumbles for p in done)
            local = date(2026, 1, 1) + timedelta(days=day)
            id_ = f"{len(played):06}"
            played.append(Take(id_, at, local, drill.id, top, 4 * passes, stumbles, word, passes=tuple(done)))
            past = past_of(played[day * takes :], morning)
            known_now = steady(played[-60:], prior=own_prior(drill))
        morning = past
        yield who, known_now, played

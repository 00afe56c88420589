"""Invented evenings at the ferry landing, for pictures and tests of progress: made-up takes in a ledger."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta
from pathlib import Path

from coach.log.ledger import Ledger

# drill -> first and last beat held in seconds, how fast it is learned, how often it is played, where it breaks
EVENINGS = {
    "outside-in": (0.86, 0.64, 0.03, 2, (2, "1")),
    "roll-forward": (0.70, 0.70, 0.0, 3, None),
    "pinch-on-one": (0.75, 0.55, 0.02, 4, None),
    "waltz-arpeggio": (0.9, 0.7, 0.05, 9, None),
}


def practise(path: Path, now: datetime, days: int = 40, seed: int = 3) -> None:
    """Write `days` days of practice up to the evening before `now`."""
    chance = random.Random(seed)
    with Ledger(path) as ledger, ledger.transaction():
        pass
    with Ledger(path) as ledger:
        ledger._db.execute("PRAGMA synchronous = OFF")  # a made-up ledger need not survive a crash
        for drill, (first, last, rate, every, breaks) in EVENINGS.items():
            ask, played = math.log(60 / first), 0
            for day in range(0, days, every):
                at = now - timedelta(days - day)
                take = ledger.begin_take(drill, round(math.exp(ask), 1), at=at)
                clean_ones = 0
                for number in range(1, 11):
                    steady = math.log(60 / (last + (first - last) * math.exp(-rate * played)))
                    clean = chance.random() < 0.97 / (1 + math.exp((ask - steady) / 0.036 - 1.55))
                    bpm = round(math.exp(ask), 1)
                    when = at + timedelta(seconds=12 * number)
                    if not clean:
                        there = breaks is not None and chance.random() < 0.7
                        bar, beat = breaks if there and breaks else (chance.randrange(4), str(chance.randrange(3)))
                        ledger.add_stumble(take, bar, beat, bpm, number, at=when)
                    ledger.add_pass(take, number, bpm, 4, int(not clean), at=when)
                    clean_ones += clean
                    played += 1
                    ask += 0.01 if clean else -0.04
                word = "held" if clean_ones >= 7 else "shaky" if clean_ones >= 4 else "lost"
                ledger.give_verdict(take, word, at=at + timedelta(minutes=3))

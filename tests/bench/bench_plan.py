"""What the plan is worth on made-up learners: `python -m tests.bench.bench_plan [--learners 200] [--kinds 3] ...`.

For each kind of learner and each planner: target tempos held thirty days after sixty evenings of practice (mean), and
how many times the best of the four plain planners' the coach's is, with a 95 % interval by drawing learners anew
(percentile bootstrap, Efron 1979). The best is chosen in each drawing again. Asserts nothing.

On learners nobody tuned on (`--first 700 --learners 200`: 200 of the published kind, 40 of each other kind; 24 drills,
20 minutes a day), targets held by the coach / by the coach with its singing turns sung / by the best plain planner, and
the first as many times the last:

    as published                 12.6 / 11.8 / 9.0      1.40 (1.34 to 1.48); the aim was 1.25
    power law                     3.3 /  2.7 / 1.7      1.99 (1.53 to 3.00)
    no transfer                  10.4 / 10.0 / 6.2      1.66 (1.44 to 1.99)
    strong transfer              13.9 / 13.2 / 11.1     1.25 (1.18 to 1.35)
    forgets five times as fast    0.1 /  0.1 / 0.4      0.25 (0.00 to 0.50): a month away takes nearly all from everyone
    slow                          4.1 /  3.6 / 1.4      2.88 (2.05 to 4.64)
    quick                        20.0 / 19.8 / 18.8     1.07 (1.04 to 1.10): time enough for everything in any order
    word is noise                10.1 / 10.2 / 8.1      1.24 (1.13 to 1.40)
    no massing, no nights        16.8 / 16.5 / 14.1     1.19 (1.13 to 1.26)
    a third out of reach          9.2 /  8.8 / 6.4      1.43 (1.29 to 1.61)
    all kinds together           10.8 / 10.3 / 8.1      1.34 (1.30 to 1.38)

So a quarter more is reached where there is more to learn than the evenings can carry, also with the singing turns sung
(1.32 as published), and not for the quick, the forgetful, nor where massed and spread practice are worth the same. With
40 drills it is 12.4 / 11.9 / 4.2, 2.99 times (2.36 to 4.14), with 74 drills 12.7 / 11.9 / 0.7, 17 times (12 to 34), 40
learners each. The price: the mean share of the target is lower than under the plain planner that has most of it (91.3
against 93.4 %, with 74 drills 71 against 77 %), since what is not begun gets nothing.

What is in reach: a planner that knows each learner's rates and ends, and has no warm-ups, holds some 15 on the
published kind. Knowing what is out of reach is nearly all of that distance: order, and errors of half in the days to
go, cost next to nothing.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor

from tests.bench.learners.law import KINDS, Kind
from tests.bench.learners.months import BASELINES, COACH, FOR_COMPARISON, Left, Planner, months

PLANNERS: dict[str, Planner] = {**COACH, **BASELINES, **FOR_COMPARISON}
ALIKE = 200
"""Learners of the published kind when all kinds are asked for; the others have a fifth of that."""


def one(job: tuple[Kind, int, dict[str, int]]) -> dict[str, Left]:
    """One learner under every planner."""
    kind, seed, sizes = job
    return {name: months(kind, planner, seed, **sizes) for name, planner in PLANNERS.items()}


def ratio(found: Sequence[Mapping[str, Left]], coach: str = "the coach") -> float:
    """How many times the targets held by the best plain planner are those held by the coach."""
    best = max(sum(f[name].held for f in found) for name in BASELINES)
    return sum(f[coach].held for f in found) / best if best else float("inf")


def interval(found: Sequence[Mapping[str, Left]], draws: int = 1000, seed: int = 5) -> tuple[float, float]:
    """95 % interval of the ratio."""
    chance = random.Random(seed)
    drawn = sorted(ratio(chance.choices(found, k=len(found))) for _ in range(draws))
    return drawn[int(0.025 * draws)], drawn[int(0.975 * draws) - 1]


def report(title: str, found: Sequence[Mapping[str, Left]]) -> None:
    """A kind's table."""
    print(f"{title}: {len(found)} learners")
    for name in PLANNERS:
        held, before = (sum(getattr(f[name], what) for f in found) / len(found) for what in ("held", "before"))
        share = sum(f[name].share for f in found) / len(found)
        print(f"  {name:24} {held:5.2f} held after the silence, {before:5.2f} before; mean share {share:.1%}")
    low, high = interval(found)
    print(f"  the coach to the best plain one: {ratio(found):.2f} ({low:.2f} to {high:.2f})", flush=True)


def main() -> None:
    """Every kind in turn."""
    ask = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    ask.add_argument("--learners", type=int, default=ALIKE, help="of the first kind; each other kind has a fifth")
    ask.add_argument("--kinds", type=int, default=len(KINDS), help="how many kinds, the published one first")
    ask.add_argument("--first", type=int, default=0, help="seed of the first learner; kinds are 1000 seeds apart")
    ask.add_argument("--only", type=int, help="one kind alone, by its place from 0")
    ask.add_argument("--drills", type=int, default=24)
    ask.add_argument("--minutes", type=int, default=20)
    ask.add_argument("--days", type=int, default=60)
    ask.add_argument("--processes", type=int, default=1)
    told = ask.parse_args()
    sizes = {"drills": told.drills, "minutes": told.minutes, "days": told.days}
    print(f"{told.drills} drills, {told.minutes} minutes a day, {told.days} days, then 30 days of silence")
    begun = time.perf_counter()
    everyone: list[Mapping[str, Left]] = []
    for n, kind in enumerate(KINDS[: told.kinds]):
        if told.only not in (None, n):
            continue
        count = told.learners if n == 0 else max(told.learners // 5, 1)
        jobs = [(kind, 1000 * n + seed, sizes) for seed in range(told.first, told.first + count)]
        if told.processes > 1:
            with ProcessPoolExecutor(told.processes) as pool:
                found = list(pool.map(one, jobs, chunksize=4))
        else:
            found = [one(job) for job in jobs]
        report(kind.name, found)
        everyone += found
    if told.kinds > 1 and told.only is None:
        report("all kinds together", everyone)
    print(f"{time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()

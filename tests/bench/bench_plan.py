"""What the plan is worth on made-up learners: `python -m tests.bench.bench_plan [--learners 200] [--kinds 3] ...`.

For each kind of learner and each planner: target tempos held thirty days after sixty evenings of practice (mean), and
how many times the best of the four plain planners' the coach's is, with a 95 % interval by drawing learners anew
(percentile bootstrap, Efron 1979). The best is chosen in each drawing again. Asserts nothing.

On learners nobody tuned on (`--first 500 --learners 200`: 200 of the published kind, 40 of each other kind; 24 drills,
20 minutes a day), targets held by the coach / by the coach with its singing turns sung / by the best plain planner:

    as published                 12.0 / 10.9 / 9.7     1.23 (1.18 to 1.29); the aim was 1.25
    power law                     2.4 /  1.9 / 1.1     2.14 (1.56 to 2.72)
    no transfer                   9.7 /  8.5 / 6.7     1.45 (1.29 to 1.66)
    strong transfer              12.2 / 11.5 / 10.3    1.18 (1.12 to 1.27)
    forgets five times as fast    0.0 /  0.0 / 0.3     0.08 (0.00 to 0.29): a month away takes nearly all from everyone
    slow                          3.2 /  2.7 / 1.3     2.46 (1.78 to 4.50)
    quick                        19.7 / 19.4 / 19.0    1.04 (1.01 to 1.07): time enough for everything in any order
    word is noise                11.6 / 10.3 / 11.1    1.05 (0.98 to 1.13)
    no massing, no nights        14.6 / 13.6 / 12.6    1.16 (1.09 to 1.26)
    a third out of reach          8.9 /  8.1 / 7.6     1.17 (1.07 to 1.31)

So a quarter more is reached where there is more to learn than the evenings can carry, and not for the quick, the
forgetful, or a player whose word for a take means nothing. With 40 drills it is 11.7 / 11.0 / 5.2, 2.25 times (1.80 to
2.98), with 74 drills 11.8 / 10.8 / 1.6, 7.61 times (5.33 to 14.44), 40 learners each. The price: the mean share of
the target is lower than under the plain planner that has most of it (92.0 against 93.7 %, with 74 drills 71.5 against
78.3 %), since what is not begun gets nothing. Singing a turn an evening costs 2 to 12 % of the targets, a fifth of the
slow's and the power law's; with it the coach is 1.12 times the best plain one on learners as published.
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

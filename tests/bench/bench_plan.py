"""What the plan is worth on made-up learners: `python -m tests.bench.bench_plan [--learners 200] [--kinds 3] ...`.

For each kind of learner and each planner: target tempos held thirty days after sixty evenings of practice (mean), and
how many times the best of the four plain planners' the coach's is, with a 95 % interval by drawing learners anew
(percentile bootstrap, Efron 1979). The best is chosen in each drawing again. Asserts nothing.
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

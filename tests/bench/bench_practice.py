"""How long the practice room takes: `python -m tests.bench.bench_practice`. Prints milliseconds; asserts nothing.

74 drills and 5000 takes of eight passes each are several years of daily practice.
"""

import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.log.exchange import export_json, merge
from coach.log.ledger import Ledger
from coach.log.playing_time import read_playing
from coach.log.takes import VERDICTS
from coach.plan.planner import drill_rows, plan
from coach.skill.estimates import Estimates
from coach.skill.history import memories

NOW = datetime(2026, 3, 10, 19, 0, tzinfo=UTC)
DRILLS, TAKES, PASSES = 74, 5000, 8


def fill(ledger: Ledger) -> None:
    """Made-up years: one transaction, since the filling is not what is measured."""
    chance = random.Random(7)
    with ledger.transaction() as db:
        for n in range(TAKES):
            at = NOW - timedelta(days=chance.randint(0, 900), minutes=chance.randint(0, 300))
            text, tempo = at.strftime("%Y-%m-%dT%H:%M:%S.000000Z"), float(chance.randint(60, 130))
            id_ = f"{n:032x}"
            db.execute(
                "INSERT INTO takes VALUES (?, ?, ?, ?, ?, 'full', 'play')",
                (id_, text, at.date().isoformat(), f"drill-{chance.randrange(DRILLS)}", tempo),
            )
            stumbles = [int(chance.random() > 0.8) for _ in range(PASSES)]
            db.executemany(
                "INSERT INTO passes VALUES (?, ?, ?, ?, 4, ?, ?, 'full')",
                [(id_, k + 1, text, tempo, s, 1 - s) for k, s in enumerate(stumbles)],
            )
            db.execute("INSERT INTO verdicts VALUES (?, ?, ?, ?)", (f"v{n:031x}", id_, text, chance.choice(VERDICTS)))


def report(name: str, deed: Callable[[], object], times: int = 5) -> None:
    """Median and worst of several runs."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        deed()
        spent.append((time.perf_counter() - start) * 1000)
    print(f"{name:42} median {median(spent):9.2f} ms   worst {max(spent):9.2f} ms   ({times} runs)")


def kept_plan(ledger: Ledger, drills: tuple[Drill, ...]) -> None:
    """The plan from what is kept beside the ledger, the file opened anew as `coach today` does."""
    with Estimates(ledger) as estimates:
        kept = {"pasts": estimates.pasts(), "playing": read_playing(ledger, NOW, lambda _: None)}
        plan(drills, (), NOW, 20, steady_of=estimates.steady_of(drills, NOW.date()), **kept)


def main() -> None:
    """All figures, one a line."""
    drills = make_drills(
        Material(f"drill-{n}", f"Drill {n}", "4/4", 8, 4, f"drill-{n - 1}" if n % 5 else None, (), n)
        for n in range(DRILLS)
    )
    with tempfile.TemporaryDirectory() as home, Ledger(Path(home) / "a.db") as ledger:
        fill(ledger)
        takes = ledger.takes()
        print(f"{DRILLS} drills, {TAKES} takes, {TAKES * PASSES} passes")
        memories(takes[:1])  # loads the memory package, once
        report("read all takes", ledger.takes)
        report("rebuild all memories", lambda: memories(takes))
        report("plan 20 minutes, from all takes", lambda: plan(drills, takes, NOW, 20), 3)
        report("the same, made for the first time and kept", lambda: kept_plan(ledger, drills), 1)
        report("the same, from what is kept", lambda: kept_plan(ledger, drills), 20)
        ledger.add_pass(ledger.begin_take("drill-0", 80), 1, 80, 4)
        report("the same, after a new take", lambda: kept_plan(ledger, drills), 1)
        report("rows of all drills", lambda: drill_rows(drills, takes, NOW))
        report("open the ledger", lambda: Ledger(ledger.path).close(), 20)
        take = ledger.begin_take("drill-0", 80)
        numbers = iter(range(10_000))
        report("write a pass, durable", lambda: ledger.add_pass(take, next(numbers), 80, 4), 200)
        report("begin a take, durable", lambda: ledger.begin_take("drill-0", 80), 200)
        report("export JSON", lambda: export_json(ledger, Path(home) / "a.json", force=True), 3)
        with Ledger(Path(home) / "b.db") as other:
            report("merge into an empty ledger", lambda: merge(other, ledger.path), 1)
            report("merge again", lambda: merge(other, ledger.path), 3)


if __name__ == "__main__":
    main()

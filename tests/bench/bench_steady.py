"""How well and how fast the steady tempo is found.

`python -m tests.bench.bench_steady [players] [takes] [drills] [ledger]`

Prints shares and milliseconds; asserts nothing. With no numbers 200 players, and 30,000 takes of 500 drills: a long
playing life, for which the aims are stated (the day's plan under 0.1 s of processor time from what is kept, 3 s from
nothing). A ledger made before is copied instead of being filled anew.
"""

from __future__ import annotations

import math
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.log.ledger import Ledger
from coach.log.takes import VERDICTS
from coach.plan.block_tempo import span
from coach.plan.planner import plan
from coach.skill.estimates import Estimates
from coach.skill.steady_tempo import Prior, SteadyTempo
from tests.bench.bench_practice import kept_plan
from tests.bench.learners.player import Player, made
from tests.bench.learners.sessions import asked_session, evenings

NOW = datetime(2026, 3, 10, 19, 0, tzinfo=UTC)
PASSES = 4

LAWS: dict[str, dict[str, object]] = {
    "logistic, slope 4 % (the test's)": {},
    "normal law": {"law": "normal"},
    "steep: slope 2 %": {"slope": 0.02},
    "shallow: slope 6 %": {"slope": 0.06},
    "very shallow: slope 12 %": {"slope": 0.12},
    "all of one slope, 4 %": {"slope_sd": 0.0},
    "no lapses": {"lapses": 0.0},
    "lapses up to 10 %": {"lapses": 0.10},
    "tires: 0.2 % slower each pass": {"drift": -0.002},
    "warms up: 0.2 % faster each pass": {"drift": 0.002},
}


def recovery(players: int) -> None:
    """Median error, coverage of the 80 % range, share shown: after 10, 20 and 40 passes asked for, law by law."""
    print(f"{players} players a line, passes at the tempo asked next: median error, truth in the 80 % range, shown")
    for name, law in LAWS.items():
        sessions = []
        for seed in range(players):
            chance = random.Random(seed)
            sessions.append(asked_session(made(chance, **law), (10, 20, 40), chance))  # type: ignore[arg-type]
        cells = []
        for n in (10, 20, 40):
            found = [s[n] for s in sessions]
            covered, shown = (sum(x) / players for x in ([f.covered for f in found], [f.shown for f in found]))
            cells.append(f"{n}: {median(f.error for f in found):5.1%} {covered:4.0%} {shown:4.0%}")
        print(f"  {name:34} {'   '.join(cells)}")


def borrowing(players: int) -> None:
    """The same with a prior from kin: as far off as it says it may be, and three times as far."""
    for sd, off in ((0.12, 1.0), (0.12, 3.0)):
        sessions = []
        for seed in range(players):
            chance = random.Random(seed)
            player = made(chance)
            prior = Prior(math.log(player.steady_bpm) + off * chance.gauss(0, sd), sd)
            sessions.append(asked_session(player, (5, 10, 20), chance, prior))
        cells = []
        for n in (5, 10, 20):
            found = [s[n] for s in sessions]
            covered, shown = (sum(x) / players for x in ([f.covered for f in found], [f.shown for f in found]))
            cells.append(f"{n}: {median(f.error for f in found):5.1%} {covered:4.0%} {shown:4.0%}")
        print(f"  kin lend sd 12 %, {off:.0f} times as far off   {'   '.join(cells)}")


def on_the_stage(players: int) -> None:
    """Earned ramps from where the coach's own tempos start: error and shown after each day; players who improve too."""
    drill = make_drills([Material("two-lamps", "Two lamps", "4/4", 8, 4)])[0]
    for gain in (0.0, 0.005, 0.01, 0.02):
        errors: dict[int, list[float]] = {d: [] for d in (0, 1, 2, 6, 13)}
        covered: dict[int, list[bool]] = {d: [] for d in errors}
        clean = passes = 0
        for seed in range(players):
            chance = random.Random(seed)
            first = made(chance)

            def player(day: int, first: Player = first, gain: float = gain) -> Player:
                return Player(first.steady_bpm * 0.8 * math.exp(gain * day), first.slope, first.lapses)

            for day, (who, known, takes) in enumerate(evenings(player, drill, 14, 2, 10, chance)):
                if day >= 3:
                    clean += sum(p.clean for t in takes[-2:] for p in t.passes)
                    passes += 20
                if day in errors and known is not None:
                    errors[day].append(abs(known.bpm / who.steady_bpm - 1))
                    covered[day].append(known.low <= who.steady_bpm <= known.high)
        cells = [
            f"day {d + 1}: {median(e):5.1%} {sum(covered[d]) / len(e):4.0%} {len(e) / players:4.0%}"
            for d, e in errors.items()
            if e
        ]
        print(f"  gains {gain:.1%} a day   {'  '.join(cells)}   clean from day 4 on {clean / passes:.0%}")


def fill(ledger: Ledger, takes: int, drills: int) -> None:
    """Made-up years of four passes a take, in time order, each drill around a tempo of its own, a word on seven takes
    in ten; not measured."""
    chance = random.Random(7)
    own = [chance.uniform(65, 120) for _ in range(drills)]
    with ledger.transaction() as db:
        for n in range(takes):
            at = NOW - timedelta(days=900 * (1 - n / takes))
            drill = chance.randrange(drills)
            text, tempo = at.strftime("%Y-%m-%dT%H:%M:%S.%fZ"), own[drill] * chance.uniform(0.85, 1.05)
            id_ = f"{chance.getrandbits(128):032x}"
            layer = "thumb" if chance.random() < 0.2 else "full"
            db.execute(
                "INSERT INTO takes VALUES (?, ?, ?, ?, ?, ?, 'play')",
                (id_, text, text[:10], f"drill-{drill}", tempo, layer),
            )
            often = 1 / (1 + math.exp((own[drill] - tempo) / 4 + 1.4))
            stumbles = [int(chance.random() < often) for _ in range(PASSES)]
            db.executemany(
                "INSERT INTO passes VALUES (?, ?, ?, ?, 4, ?, ?, ?)",
                [(id_, k + 1, text, round(tempo + 2 * k, 1), s, 1 - s, layer) for k, s in enumerate(stumbles)],
            )
            if chance.random() < 0.7:
                word = VERDICTS[max(3 - sum(stumbles) - int(chance.random() < 0.3), 0)]
                row = (f"{chance.getrandbits(128):032x}", id_, text, word)
                db.execute("INSERT INTO verdicts VALUES (?, ?, ?, ?)", row)


def speed(takes: int, drills: int, made_before: Path | None = None) -> None:
    """Rebuilding, opening, one new take, every drill's figure, twelve blocks' tempos from what is kept."""
    ladder = make_drills(
        Material(f"drill-{n}", f"Drill {n}", "4/4", 8, 4, f"drill-{n - 1}" if n % 5 else None, (), n)
        for n in range(drills)
    )
    with tempfile.TemporaryDirectory() as home:
        if made_before is not None:
            shutil.copy(made_before, Path(home) / "a.db")
        with Ledger(Path(home) / "a.db") as ledger:
            if made_before is None:
                fill(ledger, takes, drills)
            print(f"{takes} takes of {PASSES} passes, {drills} drills")
            timed("the day's plan from nothing", lambda: kept_plan(ledger, ladder), 1)
            timed("the day's plan from what is kept, file opened anew", lambda: kept_plan(ledger, ladder), 7)
            with Estimates(ledger) as estimates:
                timed("nothing new", estimates.refresh, 100)
                _new_takes(ledger, estimates, ladder)
                timed("all figures again", lambda: estimates.steadies(ladder, NOW.date()), 3)
            with Estimates(ledger) as estimates:
                timed("twelve drills' tempos, from a file just opened", lambda: _twelve(estimates, ladder[:12]), 1)
            timed("what it takes without anything kept: all takes", ledger.takes, 3)
            takes_ = ledger.takes()
            timed("the same: the plan from them", lambda: plan(ladder, takes_, NOW, 20), 1)


def _new_takes(ledger: Ledger, estimates: Estimates, ladder: Sequence[Drill]) -> None:
    """Twenty new takes of ten passes, each looked at when it has ended: its past, then every drill's figure."""
    pasts, figures = [], []
    for n in range(20):
        take = ledger.begin_take(f"drill-{n}", 84)
        for k in range(10):
            ledger.add_pass(take, k + 1, 80 + k, 4, int(k > 7))
        pasts.append(_spent(estimates.refresh))
        figures.append(_spent(lambda: estimates.steadies(ladder, NOW.date())))
    _print("take in a new take of ten passes: its past", pasts)
    _print("the same: every drill's figure", figures)


def _twelve(estimates: Estimates, drills: tuple[Drill, ...]) -> None:
    for drill in drills:
        known: SteadyTempo | None = estimates.steady(drill, today=NOW.date())
        span(drill, None, known=known)


def timed(name: str, deed: Callable[[], object], times: int) -> None:
    """Several runs in milliseconds, by the clock and on the processor."""
    _print(name, [_spent(deed) for _ in range(times)])


def _spent(deed: Callable[[], object]) -> tuple[float, float]:
    start, cpu = time.perf_counter(), time.process_time()
    deed()
    return 1000 * (time.perf_counter() - start), 1000 * (time.process_time() - cpu)


def _print(name: str, spent: Sequence[tuple[float, float]]) -> None:
    clock, cpu = zip(*spent, strict=True)
    told = f"median {median(clock):8.2f} ms   worst {max(clock):8.2f} ms   on the processor {median(cpu):8.2f} ms"
    print(f"  {name:52} {told}   ({len(spent)})", flush=True)


def main() -> None:
    """All of it; the numbers of players, takes and drills may be given, 0 leaves a part out."""
    given = sys.argv[1:4]
    players, takes, drills = [*map(int, given), *(200, 30_000, 500)[len(given) :]]
    if players:
        recovery(players)
        borrowing(players)
        print("on the stage, two takes of ten passes a day: median error, truth in the range, shown")
        on_the_stage(max(players // 4, 1))
    if takes:
        speed(takes, drills, Path(sys.argv[4]) if len(sys.argv) > 4 else None)


if __name__ == "__main__":
    main()

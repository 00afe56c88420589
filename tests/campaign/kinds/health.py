"""Made-up weeks of practice against what README and the plan's own notes promise to hands.

The judge below is written from those words alone: "Rest your hands for five minutes in every half hour of playing",
"do not play through" pain, minutes as asked or fewer and then said, ten minutes more a day at the most (BAPAM, "Ten top
health tips for musicians"; the first half hour is always fine), after pain five, then ten minutes at a time with an
hour's rest (BAPAM, "Return to play"). What is played is known here to the second; the coach only knows its ledger.
"""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from tests.campaign import homes
from tests.campaign.kind import Kind

RUN, REST = timedelta(minutes=30), timedelta(minutes=5)
NEARLY = timedelta(minutes=1)  # the ledger's own moments are no finer than a pass
ZONES = ("Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC", "America/Santiago")


@dataclass
class Hands:
    """What the hands really did: stretches of playing in UTC, the player's day of each, and days on which it hurt."""

    played: list[tuple[datetime, datetime, date]] = field(default_factory=list)
    hurt: set[date] = field(default_factory=set)

    def run_until(self, now: datetime) -> tuple[timedelta, datetime]:
        """How long they have played without five minutes of rest up to `now`, and when they last stopped."""
        run, end = timedelta(), None
        for begin, stop, _ in self.played:
            run = (run if end is not None and begin - end < REST else timedelta()) + (stop - begin)
            end = stop
        if end is None or now - end >= REST:
            return timedelta(), end or now - timedelta(days=1)
        return run, end

    def minutes(self, day: date) -> float:
        """Minutes of practice on a day, short rests included as a plan's minutes include them."""
        found, end = timedelta(), None
        for begin, stop, on in self.played:
            if on == day:
                near = end is not None and begin - end <= timedelta(minutes=10)
                found += stop - (end if near and end is not None else begin)
                end = stop
        return found.total_seconds() / 60


def broken_rules(blocks: Sequence[dict[str, object]], minutes: int, notes: str, asked: int, now: datetime,
                 hands: Hands) -> list[str]:  # fmt: skip
    """Every rule that a plan (its rows, its minutes, its notes in one text) breaks for these hands at `now`."""
    today, found = now.date(), list[str]()
    playing = [b for b in blocks if b["kind"] in ("play", "warm-up")]
    if today in hands.hurt:
        return ["it has the hands play on a day on which it hurt"] if playing else []
    total = sum(int(str(b["minutes"])) for b in blocks)
    if total != minutes:
        found.append(f"its blocks last {total} minutes and it says {minutes}")
    if minutes > asked:
        found.append(f"{minutes} minutes where {asked} were asked for")
    if minutes < asked and str(minutes) not in notes and "minute" not in notes:
        found.append(f"{minutes} minutes instead of {asked}, and not a word why")
    run, at = hands.run_until(now)
    before, still = run, now - at if run else timedelta()
    for block in blocks:
        length = timedelta(minutes=int(str(block["minutes"])))
        if block["kind"] in ("play", "warm-up"):
            run, still = run + length, timedelta()
            if run > RUN + NEARLY:
                since = f", {before.total_seconds() / 60:.0f} of them just before" if before else ""
                found.append(f"{run.total_seconds() / 60:.0f} minutes of playing without five of rest{since}")
                break
        else:
            still += length
            if still >= REST:
                run = timedelta()
    found += _too_much_today(total if playing else 0, hands, today)
    return found + _too_much_after_pain(playing, hands, now)


def _too_much_today(will: int, hands: Hands, today: date) -> list[str]:
    days = {d for _, _, d in hands.played if 0 < (today - d).days <= 7}
    gaps = sorted({d for _, _, d in hands.played if d <= today} | {today})
    away = any((b - a).days >= 14 for a, b in pairwise(gaps))
    if len(days) < 3 or away or not will:  # too little is known, or the steps after a lay-off go before
        return []
    most = max(30.0, max(map(hands.minutes, days)) + 10)
    done = hands.minutes(today)
    # What the ledger does not tell of the last turn of a sitting is three minutes or so.
    over = done + will > most + 4
    return [f"{done:.0f} minutes played today and {will} more, where {most:.0f} are enough"] if over else []


def _too_much_after_pain(playing: Sequence[dict[str, object]], hands: Hands, now: datetime) -> list[str]:
    past = [(now.date() - d).days for d in hands.hurt if d < now.date()]
    if not past or min(past) > 6:
        return []
    most, rest = (5, 60) if min(past) <= 3 else (10, 50)
    lately = sum((b - a for a, b, _ in hands.played if now - b < timedelta(minutes=rest)), timedelta())
    will = sum(int(str(b["minutes"])) for b in playing)
    if will and lately + timedelta(minutes=will) > timedelta(minutes=most) + NEARLY:
        just = f" after {lately.total_seconds() / 60:.0f} just played" if lately else ""
        return [f"{will} minutes at a time{just}, {min(past)} days after pain, where {most} are promised"]
    return []


def history(rng: Random, folder: Path) -> str | None:
    """Some weeks of sittings by the plan and beside it; every plan is held against the rules."""
    home = homes.make_home(folder, takes=0)
    os.environ["COACH_HOME"], zone = str(home), rng.choice(ZONES)
    os.environ["TZ"] = zone
    time.tzset()
    from coach import shelf
    from coach.log.ledger import Ledger
    from coach.settings import Settings

    hands = Hands()
    # Around the days on which clocks change in one of the zones.
    now = datetime(2025, rng.choice((3, 4, 10, 11)), rng.randrange(1, 8), rng.randrange(7, 23), tzinfo=ZoneInfo(zone))
    settings = Settings(turn_minutes=rng.choice((1, 3, 3, 9, 15)), minutes=rng.choice((5, 20, 25, 45, 90)))
    for _ in range(rng.randrange(1, 12)):
        for _ in range(rng.choice((1, 1, 2, 3))):
            asked = rng.choice((settings.minutes, settings.minutes, 10, 30, 60, 120, rng.randrange(1, 241)))
            made = shelf.plan_today(settings, now, asked)
            rows = [b.as_row() for b in made.blocks]
            broken = broken_rules(rows, made.minutes, " ".join(made.notes), asked, now, hands)
            if broken:
                turns = f"turns of {settings.turn_minutes} minutes"
                return f"{broken[0]} ({turns}, asked for {asked}, {now:%Y-%m-%d %H:%M} {zone})"
            with Ledger(home / "ledger.sqlite3") as ledger:
                now = _sit(rng, ledger, rows, now, hands)
                if rng.random() < 0.04:
                    ledger.add_note("pain reported", "x", None, now)
                    hands.hurt.add(now.date())
            now = _later(now, rng.choice((0, 0, 1, 4, 6, 30, 70)))
        now = _later(now.replace(hour=rng.randrange(7, 22)), 24 * 60 * rng.choice((1, 1, 1, 1, 2, 3, 16)))
    return None


def _later(at: datetime, minutes: float) -> datetime:
    """So many true minutes later, on the same zone's clock."""
    zone = at.tzinfo
    return (at.astimezone(ZoneInfo("UTC")) + timedelta(minutes=minutes)).astimezone(zone)


def _sit(rng: Random, ledger: object, rows: Sequence[dict[str, object]], now: datetime, hands: Hands) -> datetime:
    """Play through a plan or some of it, as the stage writes it down; the moment at the end."""
    through = len(rows) if rng.random() < 0.7 else rng.randrange(len(rows) + 1)
    for row in rows[:through]:
        end = _later(now, int(str(row["minutes"])))
        if row["kind"] in ("play", "warm-up"):
            bpm = int(str(row["tempo_from"]))
            take = ledger.begin_take(row["drill"], bpm, at=now)  # type: ignore[attr-defined]
            bars, at, number = 8, now, 1
            while (after := _later(at, bars * _beats(str(row["drill"])) / bpm)) <= end:
                ledger.add_pass(take, number, bpm, bars, int(rng.random() < 0.2), at=after)  # type: ignore[attr-defined]
                at, number = after, number + 1
            hands.played.append((now, at, now.date()))
            ledger.give_verdict(take, rng.choice(("shaky", "held", "flowing")), at=at)  # type: ignore[attr-defined]
        now = end
    return now


def _beats(drill: str) -> int:
    """Beats in a bar of a shipped pattern."""
    from coach import shelf

    pattern = shelf.library().patterns.get(drill)
    return pattern.meter.beats if pattern else 4


KINDS = (Kind("health", history, seconds=120),)

"""Rests and the day's most hold for what was played and what is planned together, whatever came before.

The rules are those the README states under "Hands and ears", and are judged here by a reckoning of its own, on the
clock and in exact minutes: it knows the history that was made up, the plan as a script reads it, and nothing of how the
plan came about. Sources: BAPAM (British Association for Performing Arts Medicine), "Ten top health tips for musicians":
"5-minute break every half hour", at most ten minutes more a day, never play in pain; "Return to play": after a lay-off
or pain small levels, 5 minutes with an hour's rest, then 10 with 50 minutes' rest, three to seven days each.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import shelf
from coach.drills.repertoire import make_pattern_drills
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.picking.pattern_file import parse_pattern
from coach.picking.pattern_library import Library
from coach.plan.cautions import CAUTIONS
from coach.plan.planner import Plan
from coach.plan.wishes import MINUTES, wish_text
from coach.settings import Settings
from tests.effort import examples

FILE = """
title = "{title}"
about = "Made up."
meter = "{meter}"
slots = {slots}
tags = ["plain"]
{grows}
[[bars]]
p = "{thumb}"
"""
METERS = {"landing-walk": ("4/4", 4), "two-lamps": ("4/4", 4), "slow-tide": ("3/4", 3), "reed-bank": ("6/8", 2)}
"""Each made-up pattern's meter and its beats in a bar: in 6/8 two dotted quarters."""
SLOTS = {"4/4": 4, "3/4": 3, "6/8": 6}


def _pattern(name: str, grows_from: str = ""):
    meter = METERS[name][0]
    thumb = " ".join(["r", *["."] * (SLOTS[meter] - 1)])
    grows = f'grows_from = "{grows_from}"' if grows_from else ""
    title = name.replace("-", " ").capitalize()
    return parse_pattern(FILE.format(title=title, meter=meter, slots=SLOTS[meter], grows=grows, thumb=thumb), name)


LIBRARY = Library({name: _pattern(name, "landing-walk" if name == "two-lamps" else "") for name in METERS}, ())
DRILLS = make_pattern_drills(LIBRARY)

# Days with the change of clocks in spring and autumn in the zones below, and one without.
DAYS = (date(2026, 3, 29), date(2026, 10, 25), date(2026, 3, 8), date(2026, 11, 1), date(2026, 4, 5), date(2026, 6, 10))
ZONES = ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata", "Pacific/Kiritimati")
MINUTE = timedelta(minutes=1)
HALF_HOUR, REST, TINY = 30.0, 5 * MINUTE, 1e-6


# Histories -----------------------------------------------------------------------------------


@dataclass
class Took:
    """A take: where its playing lies on the clock, pass by pass, and how it is written down."""

    day: date
    begun: datetime
    drill: str
    bars: int
    bpm: int
    passes: list[tuple[datetime, datetime]]
    by_hand: bool = False
    beside: tuple[datetime, datetime] | None = None

    @property
    def stretches(self) -> list[tuple[datetime, datetime]]:
        """When the hands played."""
        return [*self.passes, *([self.beside] if self.beside else [])]


@dataclass
class History:
    """What happened up to the latest moment, and the file it is written into."""

    path: Path
    takes: list[Took] = field(default_factory=list)
    pains: list[tuple[datetime, date]] = field(default_factory=list)
    count: int = 0
    rows: list[tuple[str, tuple[object, ...]]] = field(default_factory=list)

    def id(self) -> str:
        """A new id."""
        self.count += 1
        return UUID(int=self.count).hex

    def write(self) -> None:
        """Put what is new into the ledger's tables."""
        db = sqlite3.connect(self.path, isolation_level=None)
        db.execute("PRAGMA synchronous = OFF")
        db.execute("BEGIN")
        for table, values in self.rows:
            db.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)
        db.execute("COMMIT")
        db.close()
        self.rows.clear()

    def add(self, took: Took) -> None:
        """One more take."""
        self.takes.append(took)
        id_ = self.id()
        rows, begun = self.rows, text(took.begun)
        rows.append(("takes", (id_, begun, took.day.isoformat(), took.drill, float(took.bpm), "full", "play")))
        if took.by_hand:
            rows.append(("wholes", (id_, took.bars, 0)))
            rows.append(("verdicts", (self.id(), id_, begun, "held")))
        else:
            rows += [
                ("passes", (id_, n + 1, text(end), float(took.bpm), took.bars, 0, 1, "full"))
                for n, (_, end) in enumerate(took.passes)
            ]
        if took.beside:
            since, ended = took.beside
            seconds = f"{(ended - since).total_seconds():.1f}"
            kind = "seconds beside whole passes"
            rows.append(("notes", (self.id(), text(ended), took.day.isoformat(), kind, seconds, id_)))

    def note(self, at: datetime, kind: str, words: str = "") -> None:
        """One more note, on the day of the clock it is given with."""
        self.rows.append(("notes", (self.id(), text(at), at.date().isoformat(), kind, words, None)))


def text(at: datetime) -> str:
    """A moment as the ledger has it."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def after(at: datetime, gone: timedelta) -> datetime:
    """A moment later by the clock of the world, read on the same zone's clock."""
    return (at.astimezone(UTC) + gone).astimezone(at.tzinfo)


def lasting(drill: str, bars: int, bpm: int) -> timedelta:
    """How long bars last: each has its meter's beats, each beat a minute divided by the tempo."""
    return timedelta(seconds=float(Fraction(60 * bars * METERS[drill][1], bpm)))


def made(at: datetime, drill: str, bars: int, bpm: int, count: int, way: str, pause: int = 0) -> Took:
    """A take begun at a moment: `count` passes one after the other, a pause of minutes after the first."""
    each, day = lasting(drill, bars, bpm), at.date()
    here = at.astimezone(UTC)  # two moments of one zone would be subtracted as if clocks never changed
    if way == "by hand":
        return Took(day, at, drill, bars * count, bpm, [(here, here + each * count)], by_hand=True)
    passes = []
    for n in range(count):
        passes.append((here, here + each))
        here = passes[-1][1] + (pause * MINUTE if n == 0 else timedelta(0))
    if way == "broken off":
        return Took(day, at, drill, bars, bpm, passes, beside=(here, here + timedelta(seconds=90)))
    return Took(day, at, drill, bars, bpm, passes)


drills = st.sampled_from(list(METERS))
ways = st.sampled_from(["played", "played", "by hand", "broken off"])
sizes = st.tuples(st.integers(1, 32), st.integers(40, 160), st.integers(1, 12))
askings = st.one_of(st.sampled_from([20, 45, 60]), st.integers(1, 240))
old_takes = st.tuples(st.one_of(st.integers(1, 9), st.integers(1, 60)), st.integers(0, 23 * 60), drills, sizes, ways)
whole_days = st.tuples(st.integers(1, 70), st.integers(3, 100))
"""(days ago, minutes): a day of takes of three minutes."""
events = st.one_of(
    st.tuples(st.just("take"), st.integers(0, 12), drills, sizes, ways, st.integers(0, 9)),
    st.tuples(st.just("sitting"), st.integers(0, 12), st.integers(1, 40)),
    st.tuples(st.just("plan"), st.integers(0, 12), askings, st.integers(1, 15), st.booleans()),
    st.tuples(st.just("plan"), st.integers(0, 12), askings, st.integers(1, 15), st.booleans()),
    st.tuples(st.just("pause"), st.integers(0, 300)),
)
pain_days = st.one_of(st.none(), st.none(), st.tuples(st.integers(0, 8), st.booleans()))
wishes = st.one_of(st.none(), st.none(), st.none(), askings)


# Judging -------------------------------------------------------------------------------------


def minutes_on(history: History, chosen) -> dict[date, float]:
    """Minutes played on each day that is chosen."""
    found: dict[date, float] = {}
    for took in history.takes:
        if chosen(took.day):
            long = sum((end - begun) / MINUTE for begun, end in took.stretches)
            found[took.day] = found.get(took.day, 0.0) + long
    return found


def run_before(history: History, now: datetime, rest: timedelta) -> float:
    """Minutes played up to now since the last pause of `rest`."""
    last, run = now.astimezone(UTC), 0.0
    stretches = sorted(
        ((end, begun) for took in history.takes for begun, end in took.stretches),
        reverse=True,
    )
    for end, begun in stretches:
        if last - end >= rest:
            return run
        run += (end - begun) / MINUTE
        last = min(last, begun)
    return run


def most_of(history: History, today: date) -> float | None:
    """The most minutes of playing today, as the README has it; None where nothing is known."""
    practised = sorted({took.day for took in history.takes if took.day < today})
    away = [n for n, day in enumerate([*practised, today]) if n and (day - [*practised, today][n - 1]).days >= 14]
    if away and len(practised) >= 3:
        since = len(practised) - away[-1]
        if since < 9:
            return 10.0 * (1 + since // 3)
    if away and away[-1] == len(practised):
        return None
    week = minutes_on(history, lambda day: today - timedelta(7) <= day < today)
    return max(30.0, max(week.values()) + 10) if len(week) >= 3 else None


REASONS = (
    "minutes instead of", "minutes played today", "minutes at a time", "days since the last take", "Back after",
    "just played", "Stopped for today",
)  # fmt: skip


def judge(history: History, now: datetime, asked: int, plan: Plan) -> None:
    """Hold a plan to the rules."""
    told = plan.as_json()
    blocks, today = told["blocks"], now.date()
    playing = sum(b["minutes"] for b in blocks if b["kind"] in ("play", "warm-up"))
    said = " ".join(note for note in told["notes"] if note not in CAUTIONS)

    # Minutes as asked: never more, fewer only with the reason said.
    assert sum(b["minutes"] for b in blocks) == told["minutes"] <= asked
    assert all(b["minutes"] >= 1 for b in blocks)
    if told["minutes"] < asked:
        assert any(reason in said for reason in REASONS), said

    # Nothing after pain that day; little in the days after, with long rests.
    pain = max((day for _, day in history.pains), default=None)
    since = (today - pain).days if pain is not None else None
    if since is not None and since <= 0:
        assert not blocks
        assert any(note.startswith("Stopped for today.") for note in told["notes"])
        return
    at_a_time = None
    if since is not None and since <= 6:
        at_a_time, between = (5, 60) if since <= 3 else (10, 50)
        assert not playing or run_before(history, now, between * MINUTE) + playing <= at_a_time + TINY

    # A rest of five minutes in each half hour of playing.
    before = run = run_before(history, now, REST)
    for block in blocks:
        if block["kind"] == "rest":
            assert block["minutes"] >= 5
            run = 0.0
        elif block["kind"] != "listen":
            run += block["minutes"]
            assert run <= HALF_HOUR + TINY

    # The most of the day holds for what was played and what is planned, and is announced.
    most, done = most_of(history, today), sum(minutes_on(history, lambda day: day >= today).values())
    if most is not None and playing:
        assert done + playing <= most + TINY
    if most is not None and told["minutes"] < asked and not before and at_a_time is None:
        assert re.search(r"\d+ minutes at most on a day of the last week|keep the first days short", said), said

    # And it is not short for nothing.
    most = None if most is None else int(most)  # told in whole minutes
    free = most is None or done + asked <= most
    if at_a_time is None and free and not before:
        assert told["minutes"] == asked
    if at_a_time is None and (most is None or most - done >= 1) and (not before or asked > 5):
        assert playing >= 1


def live(tmp: Path, empty: Path, start: tuple, past: tuple, pain: tuple | None, wished: int | None, day: list) -> int:
    """Live through a history and judge every plan that is asked for on its last day; how many there were."""
    today, zone, minute, other_zone = start
    here = ZoneInfo(zone)
    path = tmp / "ledger.sqlite3"
    for old in tmp.iterdir():
        old.unlink()
    shutil.copyfile(empty, path)
    history = History(path)
    olds, wholes = past
    for ago, at, drill, (bars, bpm, count), way in olds:
        clock = ZoneInfo(other_zone) if ago % 5 == 0 else here
        begun = datetime.combine(today - timedelta(ago), datetime.min.time(), clock) + at * MINUTE
        history.add(made(begun, drill, bars, bpm, count, way))
    for ago, long in wholes:
        begun = datetime.combine(today - timedelta(ago), datetime.min.time(), here) + timedelta(hours=9)
        for n in range(long // 3):  # sixty bars of four beats at 80 are three minutes
            history.add(made(after(begun, n * 4 * MINUTE), "two-lamps", 60, 80, 1, "played"))
    now = after(datetime.combine(today, datetime.min.time(), here), minute * MINUTE)
    if pain is not None:
        ago, slipped = pain
        at = after(now, -ago * timedelta(days=1))
        history.note(at, "pain reported", "Two lamps")
        if slipped:
            history.note(after(at, MINUTE), "pain key by mistake")
        else:
            history.pains.append((at, at.date()))
    if wished is not None:
        history.note(now, NoteKind.WISH, wish_text(MINUTES, wished))
    plans = 0
    for kind, *what in day:
        now = after(now, what[0] * MINUTE)
        if kind == "take":
            _, drill, (bars, bpm, count), way, pause = what
            took = made(now, drill, bars, bpm, count, way, pause)
            history.add(took)
            now = max(end for _, end in took.stretches).astimezone(here)
        elif kind == "sitting":
            took = made(now, "two-lamps", 20, 80, what[1], "played")  # passes of a minute
            history.add(took)
            now = took.passes[-1][1].astimezone(here)
        elif kind == "plan":
            _, asked, turn, played = what
            plans += 1
            history.write()
            if wished is not None and now.date() == today:
                asked = wished
            use = Settings(turn_minutes=turn)
            plan, _ = shelf.plan_here(DRILLS, LIBRARY, use, now, asked, path)
            judge(history, now, asked, plan)
            if played:
                now = follow(history, now, plan)
    return plans


def follow(history: History, now: datetime, plan: Plan) -> datetime:
    """Play a plan as it stands, rests and all; the moment of its end."""
    for block in plan.blocks:
        if block.played:
            drill = str(block.drill)
            bpm = 20 * METERS[drill][1]
            took = made(now, drill, 20, bpm, block.minutes, "played")  # passes of a minute
            history.add(took)
            now = took.passes[-1][1].astimezone(now.tzinfo)
        else:
            now = after(now, block.minutes * MINUTE)
    return now


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty ledger to begin each history with."""
    path = tmp_path_factory.mktemp("empty") / "ledger.sqlite3"
    Ledger(path).close()
    return path


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for one history after the other."""
    return tmp_path_factory.mktemp("room")


@examples(40)
@given(
    st.tuples(st.sampled_from(DAYS), st.sampled_from(ZONES), st.integers(0, 22 * 60), st.sampled_from(ZONES)),
    st.tuples(st.lists(old_takes, max_size=6), st.lists(whole_days, max_size=9)),
    pain_days,
    wishes,
    st.lists(events, min_size=1, max_size=8).filter(lambda day: any(kind == "plan" for kind, *_ in day)),
)
def test_no_history_breaks_the_rules_of_hands(room: Path, empty: Path, start, past, pain, wished, day) -> None:
    """Takes of all ages and zones, changed clocks, pain, wishes, and several plans a day, some played as they stand."""
    assert live(room, empty, start, past, pain, wished, day)

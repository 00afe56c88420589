"""Pasts kept at hand, beside the steady tempos and in the same file that may be thrown away (estimates.py).

A drill's row holds its past up to its latest day of practice, that day's takes by their ids, and what both come to.
New rows in the ledger mostly belong to takes of that day or a later one: then only those takes are read. Where they do
not (a log merged, a take written down afterwards), the drill is folded anew from all of its takes. Either way the
result is that of all takes at once. Minutes of practice are kept by day in the same way.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby

from coach.practice import tally
from coach.practice.days import from_utc_text, utc_text
from coach.practice.keeping import Keeping, keeping
from coach.practice.ledger import Ledger
from coach.practice.load import minutes_of
from coach.practice.past import Past, after_day, returns_of
from coach.practice.pastrows import past_in, row_of
from coach.practice.rebuild import Told
from coach.practice.takes import Take

TABLES = (
    "CREATE TABLE told (what TEXT PRIMARY KEY, row INTEGER NOT NULL, mark TEXT NOT NULL)",
    # before: the past up to the latest day; open: the ids of that day's takes; past: both together
    "CREATE TABLE pasts (drill TEXT PRIMARY KEY, before BLOB, open TEXT NOT NULL, past BLOB NOT NULL) WITHOUT ROWID",
    # returns: those of all pasts together
    "CREATE TABLE returns (gap INTEGER PRIMARY KEY, clean INTEGER NOT NULL, total INTEGER NOT NULL)",
    "CREATE TABLE minutes (day TEXT PRIMARY KEY, minutes REAL NOT NULL) WITHOUT ROWID",
)
_ADD = (
    "INSERT INTO returns VALUES (?, ?, ?)"
    " ON CONFLICT (gap) DO UPDATE SET clean = clean + excluded.clean, total = total + excluded.total"
)


def read_pasts(db: sqlite3.Connection, drills: Iterable[str] | None = None) -> dict[str, Past]:
    """Every drill's past, or those of some; due as soon as all returns together ask for."""
    query, chosen = "SELECT drill, past FROM pasts", tuple[str, ...]()
    if drills is not None:
        query, chosen = query + " WHERE drill IN (SELECT value FROM json_each(?))", (json.dumps(list(drills)),)
    wait = read_keeping(db).wait
    return {drill: past_in(drill, row, wait) for drill, row in db.execute(query, chosen).fetchall()}


def read_keeping(db: sqlite3.Connection) -> Keeping:
    """How long this player's hands keep a thing."""
    return keeping({gap: (clean, total) for gap, clean, total in db.execute("SELECT * FROM returns")})


def read_minutes(db: sqlite3.Connection) -> dict[date, float]:
    """Minutes of practice by local day."""
    return {date.fromisoformat(day): minutes for day, minutes in db.execute("SELECT day, minutes FROM minutes")}


def put(db: sqlite3.Connection, drills: Iterable[Told], minutes: Mapping[date, float]) -> None:
    """Put all that is told in the place of what is kept. Raises sqlite3.Error."""
    for table in ("pasts", "returns", "minutes"):
        db.execute(f"DELETE FROM {table}")
    told = list(drills)
    db.executemany("INSERT INTO pasts VALUES (?, ?, ?, ?)", [_row(t.drill, t.before, t.opened, t.past) for t in told])
    returns = returns_of(t.past for t in told)
    db.executemany("INSERT INTO returns VALUES (?, ?, ?)", [(gap, *counts) for gap, counts in returns.items()])
    _put_minutes(db, minutes)


def go_on(
    db: sqlite3.Connection, ledger: Ledger, seen: tally.Ends, ends: tally.Ends, most: int = 20
) -> int | None:
    """Take in the rows of the ledger between `seen` and `ends`; gives how many drills were folded.

    None, and nothing is written, where more than `most` drills would have to be folded from all of their takes: then
    reading the whole ledger once is sooner done. Raises sqlite3.Error, CoachError.
    """
    touched: dict[str, set[str]] = defaultdict(set)
    days: set[str] = set()
    for what, (upto, _) in ends.items():
        key = "id" if what == "takes" else "take"
        query = (
            f"SELECT DISTINCT t.drill, t.id, t.local_day FROM {what} x JOIN takes t ON t.id = x.{key}"
            " WHERE x.rowid > ? AND x.rowid <= ?"
        )
        for drill, id_, day in ledger.rows(query, seen[what][0], upto):
            touched[drill].add(id_)
            if what == "takes":
                days.add(day)
    if not _fold(db, ledger, touched, most):
        return None
    found = {}
    for text in days:
        # A local day lies within a day of the same date in UTC.
        noon = from_utc_text(f"{text}T12:00:00.000000Z")
        span = (utc_text(noon - timedelta(hours=36)), utc_text(noon + timedelta(hours=36)))
        moments = ledger.rows("SELECT at FROM takes WHERE at >= ? AND at < ? AND local_day = ?", *span, text)
        found[date.fromisoformat(text)] = minutes_of(from_utc_text(at) for (at,) in moments)
    _put_minutes(db, found)
    return len(touched)


def _fold(db: sqlite3.Connection, ledger: Ledger, touched: Mapping[str, set[str]], most: int) -> bool:
    known: dict[str, tuple[Past | None, Past | None]] = {}
    wanted = set[str]()
    for drill, ids in touched.items():
        row = db.execute("SELECT before, open, past FROM pasts WHERE drill = ?", (drill,)).fetchone()
        known[drill] = None, None
        wanted |= ids
        if row is not None:
            known[drill] = None if row[0] is None else past_in(drill, row[0]), past_in(drill, row[2])
            wanted.update(json.loads(row[1]))
    own: dict[str, list[Take]] = defaultdict(list)
    for take in ledger.takes(ids=wanted):
        own[take.drill].append(take)
    # Of these something of an earlier day is new.
    late = {drill for drill, takes in own.items() if (b := known[drill][0]) is not None and takes[0].at <= b.last_at}
    if len(late) > most:
        return False
    rows, change = [], dict[int, list[int]]()
    for drill, takes in own.items():
        before, gone = known[drill]
        if drill in late:
            before, takes = None, ledger.takes(drill)
        past, opened = before, list[Take]()
        for _, run in groupby(takes, key=lambda t: t.local_day):
            before, opened = past, list(run)
            past = after_day(before, opened)
        if past is None:
            continue
        rows.append(_row(drill, before, [t.id for t in opened], past))
        for sign, one in ((1, past), (-1, gone)):
            for gap, counts in returns_of([one] if one is not None else []).items():
                sums = change.setdefault(gap, [0, 0])
                sums[:] = [old + sign * new for old, new in zip(sums, counts, strict=True)]
    db.executemany("INSERT OR REPLACE INTO pasts VALUES (?, ?, ?, ?)", rows)
    db.executemany(_ADD, [(gap, *sums) for gap, sums in change.items() if any(sums)])
    db.execute("DELETE FROM returns WHERE total = 0")
    return True


def _row(drill: str, before: Past | None, opened: Sequence[str], past: Past) -> tuple[object, ...]:
    return drill, None if before is None else row_of(before), json.dumps(opened), row_of(past)


def _put_minutes(db: sqlite3.Connection, found: Mapping[date, float]) -> None:
    rows = [(day.isoformat(), minutes) for day, minutes in found.items()]
    db.executemany("INSERT OR REPLACE INTO minutes VALUES (?, ?)", rows)

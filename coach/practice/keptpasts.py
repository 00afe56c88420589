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
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import groupby

from coach.practice import tally
from coach.practice.days import from_utc_text, utc_text
from coach.practice.keeping import Keeping, keeping
from coach.practice.ledger import Ledger
from coach.practice.load import minutes_by_day
from coach.practice.past import Past, after_day, returns_of
from coach.practice.pastrows import past_in, row_of
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
_AT_A_TIME = 20_000  # takes held in memory while pasts are folded anew


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


def up_to_date(db: sqlite3.Connection, ledger: Ledger) -> int:
    """Take in what is new in the ledger; gives how many drills were folded. Raises sqlite3.Error, CoachError."""
    ends = tally.ends(ledger, tally.TOLD)
    if _seen(db) == ends:
        return 0
    db.execute("BEGIN IMMEDIATE")
    try:
        seen = _seen(db)
        if any(tally.mark(ledger, what, row) != mark for what, (row, mark) in seen.items()):
            for table in ("pasts", "returns", "minutes"):  # not the ledger that was seen
                db.execute(f"DELETE FROM {table}")
            seen = {}
        touched: dict[str, set[str]] = defaultdict(set)
        days: set[str] = set()
        for what, (upto, _) in ends.items():
            key = "id" if what == "takes" else "take"
            query = (
                f"SELECT DISTINCT t.drill, t.id, t.local_day FROM {what} x JOIN takes t ON t.id = x.{key}"
                " WHERE x.rowid > ? AND x.rowid <= ?"
            )
            if not seen and what != "takes":
                continue  # every take is new, and all that belongs to it is read with it
            for drill, id_, day in ledger.rows(query, seen.get(what, (0, ""))[0], upto):
                touched[drill].add(id_)
                if what == "takes":
                    days.add(day)
        _fold(db, ledger, touched)
        _count(db, ledger, days if seen else None)
        db.executemany("INSERT OR REPLACE INTO told VALUES (?, ?, ?)", [(what, *end) for what, end in ends.items()])
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
    return len(touched)


def _seen(db: sqlite3.Connection) -> dict[str, tuple[int, str]]:
    return {what: (row, mark) for what, row, mark in db.execute("SELECT what, row, mark FROM told")}


def _fold(db: sqlite3.Connection, ledger: Ledger, touched: dict[str, set[str]]) -> None:
    """Bring the touched drills up to date, so many at a time that their takes fit in memory."""
    chunk: list[str] = []
    size = 0
    for drill, ids in touched.items():
        chunk.append(drill)
        size += len(ids)
        if size >= _AT_A_TIME:
            _fold_some(db, ledger, chunk, touched)
            chunk, size = [], 0
    _fold_some(db, ledger, chunk, touched)


def _fold_some(db: sqlite3.Connection, ledger: Ledger, chunk: Sequence[str], touched: dict[str, set[str]]) -> None:
    known, wanted = {}, set[str]()
    gone, come = list[Past](), list[Past]()
    for drill in chunk:
        row = db.execute("SELECT before, open, past FROM pasts WHERE drill = ?", (drill,)).fetchone()
        before, opened = (None, []) if row is None else (row[0], json.loads(row[1]))
        known[drill] = None if before is None else past_in(drill, before)
        if row is not None:
            gone.append(past_in(drill, row[2]))
        wanted |= touched[drill] | set(opened)
    own: dict[str, list[Take]] = defaultdict(list)
    for take in ledger.takes(ids=wanted):
        own[take.drill].append(take)
    for drill in chunk:
        before, takes = known[drill], own[drill]
        if before is not None and takes[0].at <= before.last_at:
            before, takes = None, ledger.takes(drill)  # something of an earlier day is new
        past, opened = before, list[Take]()
        for _, run in groupby(takes, key=lambda t: t.local_day):
            before, opened = past, list(run)
            past = after_day(before, opened)
        if past is not None:
            so_far, ids = None if before is None else row_of(before), json.dumps([t.id for t in opened])
            db.execute("INSERT OR REPLACE INTO pasts VALUES (?, ?, ?, ?)", (drill, so_far, ids, row_of(past)))
            come.append(past)
    less = returns_of(gone)
    for gap, (clean, total) in returns_of(come).items():
        clean, total = clean - less.get(gap, (0, 0))[0], total - less.pop(gap, (0, 0))[1]
        db.execute(_ADD, (gap, clean, total))
    db.executemany(_ADD, [(gap, -clean, -total) for gap, (clean, total) in less.items()])
    db.execute("DELETE FROM returns WHERE total = 0")


def _count(db: sqlite3.Connection, ledger: Ledger, days: Iterable[str] | None) -> None:
    """Count the minutes of some local days anew, of all when None."""
    found: dict[date, float] = {}
    if days is None:
        rows = ledger.rows("SELECT local_day, at FROM takes")
        found = minutes_by_day((date.fromisoformat(day), from_utc_text(at)) for day, at in rows)
    else:
        query = "SELECT at FROM takes WHERE at >= ? AND at < ? AND local_day = ?"
        for text in days:
            day = date.fromisoformat(text)
            # A local day lies within a day of the same date in UTC.
            noon = from_utc_text(f"{text}T12:00:00.000000Z")
            span = (utc_text(noon - timedelta(hours=36)), utc_text(noon + timedelta(hours=36)))
            found |= minutes_by_day((day, from_utc_text(at)) for (at,) in ledger.rows(query, *span, text))
    rows_ = [(day.isoformat(), minutes) for day, minutes in found.items()]
    db.executemany("INSERT OR REPLACE INTO minutes VALUES (?, ?)", rows_)

"""What the ledger's rows say of steady tempo, counted without reading every take: for the estimates kept beside it.

Rows are only ever added, and each table numbers its own in the order they came, so "new since" is a row number.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

from coach.practice.ledger import Ledger
from coach.practice.trials import Window, add_pass, add_whole
from coach.practice.voices import counted_as

_MARKS = {
    "takes": "id",
    "passes": "take || ' ' || number || ' ' || at",
    "wholes": "take",
    "verdicts": "id",
    "stumbles": "id",
}
COUNTED = ("takes", "passes", "wholes")
"""The tables that say something of the steady tempo; the past of a drill needs the others as well."""
TOLD = tuple(_MARKS)
_MANY = 20_000  # new rows, and a tenth of those there were, from which on the whole ledger is read again
_PASS = "t.drill, t.local_day, t.mode, x.layer, x.tempo, x.bars, x.clean"
_WHOLE = "t.drill, t.local_day, t.mode, t.layer, t.tempo, x.bars, x.stumbles"


Rows = Callable[..., list[tuple[Any, ...]]]
Ends = Mapping[str, tuple[int, str]]
"""The number of each table's last row, and its mark."""


def ends(rows: Rows, tables: Iterable[str] = COUNTED) -> dict[str, tuple[int, str]]:
    """The number of each table's last row, and a mark by which to know it again; 0 for an empty one.

    `rows` gives the rows of a query, as Ledger.rows does.
    """
    return {what: _end(rows, what) for what in tables}


def _end(rows: Rows, what: str) -> tuple[int, str]:
    found = rows(f"SELECT rowid, {_MARKS[what]} FROM {what} ORDER BY rowid DESC LIMIT 1")
    return (int(found[0][0]), str(found[0][1])) if found else (0, "")


def mark(ledger: Ledger, what: str, row: int) -> str:
    """The mark of row number `row` of a table, "" when there is none."""
    rows = ledger.rows(f"SELECT {_MARKS[what]} FROM {what} WHERE rowid = ?", row)
    return str(rows[0][0]) if rows else ""


def known(db: sqlite3.Connection, table: str) -> Ends:
    """The ends that a table of estimates says were seen. Raises sqlite3.Error."""
    return {what: (row, mark) for what, row, mark in db.execute(f"SELECT what, row, mark FROM {table}")}


def write(db: sqlite3.Connection, table: str, ends: Ends) -> None:
    """Write down that so much was seen. Raises sqlite3.Error."""
    db.executemany(f"INSERT OR REPLACE INTO {table} VALUES (?, ?, ?)", [(what, *end) for what, end in ends.items()])


def far(ledger: Ledger, seen: Ends, ends: Ends) -> bool:
    """True where it is no use to go on from what was `seen`: nothing was, it was another ledger (a copy was put back,
    or another laid in its place), or so much is new that reading all of it at once is sooner done.
    """
    if not seen or any(mark(ledger, what, row) != told for what, (row, told) in seen.items()):
        return True
    new, whole = (sum(end[what][0] for what in seen) for end in (ends, seen))
    return new - whole > max(_MANY, whole // 10)


def counted(ledger: Ledger, seen: Ends, ends: Ends) -> dict[str, Window]:
    """The counts of each table's rows that came between, by drill.

    Another coach may write meanwhile: rows never change, and a take is there before its passes.
    """
    found: dict[str, Window] = defaultdict(dict)
    days = Days()
    query = "SELECT DISTINCT t.drill, t.local_day FROM takes t WHERE t.rowid > ? AND t.rowid <= ?"
    for drill, day in ledger.rows(query, seen["takes"][0], ends["takes"][0]):
        found[drill].setdefault(days[day], {})
    for what, columns, count in (("passes", _PASS, add_pass), ("wholes", _WHOLE, add_whole)):
        query = (
            f"SELECT {columns} FROM {what} x CROSS JOIN takes t ON t.id = x.take WHERE x.rowid > ? AND x.rowid <= ?"
        )
        for drill, day, mode, layer, bpm, bars, n in ledger.rows(query, seen[what][0], ends[what][0]):
            count(found[drill], days[day], *counted_as(drill, mode, layer), bpm, bars, n)
    return found


class Days(dict[str, date]):
    """Local days by their text, each read once."""

    def __missing__(self, text: str) -> date:
        day = self[text] = date.fromisoformat(text)
        return day

"""What the ledger's rows say of steady tempo, counted without reading every take: for the estimates kept beside it.

Rows are only ever added, and each table numbers its own in the order they came, so "new since" is a row number.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from coach.practice.ledger import Ledger
from coach.practice.trials import MOST_DAYS, Window, add_pass, add_whole
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
_MANY = 20_000  # new rows from which on those of days that would be dropped at once are not read

# Days before a drill's latest sixteen never count again, so a rebuild need not look at their passes.
_FIRST_DAYS = f"""
SELECT drill, min(local_day) FROM (
    SELECT drill, local_day, row_number() OVER (PARTITION BY drill ORDER BY local_day DESC) AS place
    FROM (SELECT DISTINCT drill, local_day FROM takes)
) WHERE place <= {MOST_DAYS} GROUP BY drill
"""
# SQLite keeps the order of a CROSS JOIN: over the takes, of which there are fewer than passes, and few of them recent.
_RECENT = "WITH first AS MATERIALIZED (SELECT key AS name, value AS day FROM json_each(?))"
_OF_THEM = " CROSS JOIN first ON first.name = t.drill AND t.local_day >= first.day"
_TAKES = "takes t" + _OF_THEM
_PASS = "t.drill, t.local_day, t.mode, x.layer, x.tempo, x.bars, x.clean"
_WHOLE = "t.drill, t.local_day, t.mode, t.layer, t.tempo, x.bars, x.stumbles"


def ends(ledger: Ledger, tables: Iterable[str] = COUNTED) -> dict[str, tuple[int, str]]:
    """The number of each table's last row, and a mark by which to know it again; 0 for an empty one."""
    return {what: _end(ledger, what) for what in tables}


def _end(ledger: Ledger, what: str) -> tuple[int, str]:
    rows = ledger.rows(f"SELECT rowid, {_MARKS[what]} FROM {what} ORDER BY rowid DESC LIMIT 1")
    return (int(rows[0][0]), str(rows[0][1])) if rows else (0, "")


def mark(ledger: Ledger, what: str, row: int) -> str:
    """The mark of row number `row` of a table, "" when there is none."""
    rows = ledger.rows(f"SELECT {_MARKS[what]} FROM {what} WHERE rowid = ?", row)
    return str(rows[0][0]) if rows else ""


def counted(ledger: Ledger, after: Mapping[str, int], upto: Mapping[str, int]) -> dict[str, Window]:
    """The counts of each table's rows above number `after` and up to `upto`, by drill.

    Another coach may write meanwhile: rows never change, and a take is there before its passes.
    """
    many = sum(upto[what] - after[what] for what in COUNTED) > _MANY
    head, takes, given = "", "takes t", []
    if many:
        head, takes, given = _RECENT, _TAKES, [json.dumps(dict(ledger.rows(_FIRST_DAYS)))]
    found: dict[str, Window] = defaultdict(dict)
    days = _Days()
    query = f"{head} SELECT DISTINCT t.drill, t.local_day FROM {takes} WHERE t.rowid > ? AND t.rowid <= ?"
    for drill, day in ledger.rows(query, *given, after["takes"], upto["takes"]):
        found[drill].setdefault(days[day], {})
    for what, columns in (("passes", _PASS), ("wholes", _WHOLE)):
        joined = f"{what} x CROSS JOIN takes t ON t.id = x.take"
        if many and what == "passes":
            joined = f"{_TAKES} CROSS JOIN passes x ON x.take = t.id"
        elif many:
            joined += _OF_THEM
        query = f"{head} SELECT {columns} FROM {joined} WHERE x.rowid > ? AND x.rowid <= ?"
        count = add_pass if what == "passes" else add_whole
        for drill, day, mode, layer, bpm, bars, n in ledger.rows(query, *given, after[what], upto[what]):
            count(found[drill], days[day], *counted_as(drill, mode, layer), bpm, bars, n)
    return found


class _Days(dict[str, date]):
    """Local days by their text, each read once."""

    def __missing__(self, text: str) -> date:
        day = self[text] = date.fromisoformat(text)
        return day

"""The ledger's tables, and the steps that bring an older file forward.

    takes ─┬─ passes     one row as each pass ends        notes   things worth remembering beside takes
           ├─ stumbles   one row as each happens
           ├─ wholes     sums of a take logged by hand
           └─ verdicts   the last word counts

Rows are only ever added: triggers refuse changes and deletions. Every row is named by a random 128-bit id (or by
its take's), so two machines' ledgers can be laid together. `PRAGMA user_version` holds how many steps were taken.
"""

from __future__ import annotations

import re
import sqlite3

from coach.errors import BadInput, CoachError

APPLICATION_ID = 0x53544C47  # "STLG" in the file's head: no other program's database is mistaken for ours

_MOMENT = "TEXT NOT NULL CHECK (at GLOB '????-??-??T??:??:??.??????Z')"
_DAY = "TEXT NOT NULL CHECK (local_day GLOB '????-??-??')"
_TEMPO = "REAL NOT NULL CHECK (typeof(tempo) = 'real' AND tempo > 0)"
_COUNT = "INTEGER NOT NULL CHECK (typeof({0}) = 'integer' AND {0} >= 0)"


def _only_grows(table: str) -> str:
    return "".join(
        f"CREATE TRIGGER {table}_no_{deed} BEFORE {deed.upper()} ON {table}"
        " BEGIN SELECT RAISE(ABORT, 'the ledger only grows'); END;"
        for deed in ("update", "delete")
    )


_FIRST = f"""
CREATE TABLE takes (
    id TEXT PRIMARY KEY NOT NULL, at {_MOMENT}, local_day {_DAY}, drill TEXT NOT NULL,
    tempo {_TEMPO}, layer TEXT NOT NULL
);
CREATE TABLE passes (
    take TEXT NOT NULL REFERENCES takes (id), number {_COUNT.format("number")}, at {_MOMENT}, tempo {_TEMPO},
    bars {_COUNT.format("bars")}, stumbles {_COUNT.format("stumbles")},
    clean INTEGER NOT NULL CHECK (clean IN (0, 1)), layer TEXT NOT NULL,
    PRIMARY KEY (take, number)
);
CREATE TABLE stumbles (
    id TEXT PRIMARY KEY NOT NULL, take TEXT NOT NULL REFERENCES takes (id), at {_MOMENT},
    bar {_COUNT.format("bar")}, beat TEXT NOT NULL, tempo {_TEMPO}, pass_no {_COUNT.format("pass_no")}
);
CREATE TABLE wholes (
    take TEXT PRIMARY KEY NOT NULL REFERENCES takes (id),
    bars {_COUNT.format("bars")}, stumbles {_COUNT.format("stumbles")}
);
CREATE TABLE verdicts (
    id TEXT PRIMARY KEY NOT NULL, take TEXT NOT NULL REFERENCES takes (id), at {_MOMENT},
    verdict TEXT NOT NULL CHECK (verdict IN ('lost', 'shaky', 'held', 'flowing'))
);
CREATE INDEX takes_by_time ON takes (at);
CREATE INDEX stumbles_by_take ON stumbles (take);
CREATE INDEX verdicts_by_take ON verdicts (take);
{"".join(_only_grows(t) for t in ("takes", "passes", "stumbles", "wholes", "verdicts"))}
"""

_SECOND = f"""
ALTER TABLE takes ADD COLUMN mode TEXT NOT NULL DEFAULT 'play';
CREATE TABLE notes (
    id TEXT PRIMARY KEY NOT NULL, at {_MOMENT}, local_day {_DAY}, kind TEXT NOT NULL, text TEXT NOT NULL,
    take TEXT REFERENCES takes (id)
);
{_only_grows("notes")}
"""

STEPS = (_FIRST, _SECOND)
"""Step n (from 0) takes a file from version n to n + 1; a new file takes them all. Never change one, add the next."""

VERSION = len(STEPS)

COLUMNS = {
    "takes": ("id", "at", "local_day", "drill", "tempo", "layer", "mode"),
    "passes": ("take", "number", "at", "tempo", "bars", "stumbles", "clean", "layer"),
    "stumbles": ("id", "take", "at", "bar", "beat", "tempo", "pass_no"),
    "wholes": ("take", "bars", "stumbles"),
    "verdicts": ("id", "take", "at", "verdict"),
    "notes": ("id", "at", "local_day", "kind", "text", "take"),
}
"""Tables of the present version with all their columns, each after the tables it points at."""

LATER_COLUMNS = {("takes", "mode"): "play"}
"""Columns the first version lacked, and what stands in them for rows from then."""


def _one(db: sqlite3.Connection, pragma: str) -> int:
    return int(db.execute(f"PRAGMA {pragma}").fetchone()[0])


def check_ours(db: sqlite3.Connection, where: str) -> int:
    """The version of the ledger behind `db`, 0 for an empty file; reads only.

    Raises BadInput for another program's database, CoachError for a version newer than this program knows.
    """
    version, application = _one(db, "user_version"), _one(db, "application_id")
    empty = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    if application != APPLICATION_ID and not (empty and application == 0 and version == 0):
        raise BadInput("this is a database, but not a practice ledger", where=where, mend="choose another file")
    if version > VERSION:
        raise CoachError(
            f"this ledger was written by a newer version (layout {version}, known here up to {VERSION})",
            where=where,
            mend="update the coach; the file was left as it is",
        )
    return version


def check_tables(db: sqlite3.Connection, where: str) -> None:
    """Raise CoachError where a name of ours is no plain table, or a table of ours has a trigger of someone else's:
    to read a view may have no end, and to write may do more than is asked."""
    names = ", ".join(f"'{name}'" for name in COLUMNS)
    ours = ", ".join(f"'{name}'" for name in re.findall(r"CREATE TRIGGER (\w+)", "".join(STEPS)))
    strange = db.execute(
        f"SELECT name FROM sqlite_master WHERE (lower(name) IN ({names}) AND (type <> 'table' OR rootpage = 0))"
        f" OR (type = 'trigger' AND lower(tbl_name) IN ({names}) AND name NOT IN ({ours}))"
    ).fetchone()
    if strange is not None:
        raise CoachError(
            f"this ledger holds a '{strange[0]:.40}' that the coach did not make, so it was left as it is",
            where=where,
            mend="put a copy of it back, or move it away",
        )


def bring_forward(db: sqlite3.Connection, where: str) -> None:
    """Take every step the file still lacks, all or none (one transaction). Raises as `check_ours` and sqlite3 do."""
    if check_ours(db, where) == VERSION:
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        # Asked again inside the lock: another coach may have done it while this one waited.
        for step in STEPS[check_ours(db, where) :]:
            for statement in _statements(step):
                db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {VERSION}")
        db.execute("COMMIT")
    except BaseException:
        db.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    """The script's statements one by one: sqlite3's executescript would commit the transaction first."""
    found, held = [], ""
    for piece in script.split(";"):
        held += piece + ";"
        if sqlite3.complete_statement(held):
            if held.strip(" \n;"):
                found.append(held)
            held = ""
    return found

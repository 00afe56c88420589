"""Reading a ledger file that came from somewhere else: whatever it holds, it is only read, and it comes to an end.

Only plain tables are read, row after row, never more of them than a file of its size can hold; a view, a virtual table
or a computed column is never asked (each could go on for ever), nothing is sorted, and whoever waits may stop it.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import chain
from pathlib import Path
from typing import Any

from coach.errors import BadInput, CoachError, reason
from coach.log.checks import explain
from coach.log.opening import waits_beside
from coach.log.schema import COLUMNS, LATER_COLUMNS, VERSION, check_ours

Rows = dict[str, list[tuple[Any, ...]]]

LONGEST_VALUE = 1 << 20  # bytes
LIMIT_S = 60.0
"""How long reading may take, and as many seconds more as the file has MiB; a hundred of them are read in a few."""
_STEPS = 20_000  # of the database's machine, about a millisecond, after which is looked whether to give up
_AT_ONCE = 1024
_LEAST_ROW = 16  # bytes a row takes besides its texts, with its entry in the index
_MEND = "name a coach's ledger file"


def read_foreign(path: Path) -> Rows:
    """Every row of each of our tables, in the order they were written; a table or column that an older version lacked
    is filled in. Raises BadInput or CoachError where the file is not such a ledger, is damaged or has no end.
    """
    where = str(path)
    try:
        size = path.stat().st_size
        with closing(_opened(path)) as db, _watched(db, LIMIT_S + (size >> 20), where):
            for pragma in ("trusted_schema = OFF", "query_only = ON", "cell_size_check = ON"):
                db.execute(f"PRAGMA {pragma}")
            if check_ours(db, where) == 0:
                raise BadInput("this file is empty", where=where, mend=_MEND)
            told = {table: _columns(db, table, where) for table in COLUMNS}
            return {table: _rows(db, table, *told[table], size, where) for table in COLUMNS}
    except OSError as error:
        raise BadInput(f"this file cannot be read ({reason(error)})", where=where, mend=_MEND) from None
    except sqlite3.OperationalError as error:
        raise explain(error, where) from None
    except sqlite3.DataError:
        raise _damaged(where) from None
    except sqlite3.DatabaseError:
        # Not a database at all: what was given is wrong, not the disk.
        raise BadInput("this is not a practice ledger", where=where, mend=_MEND) from None


def _opened(path: Path) -> sqlite3.Connection:
    # With no log lying beside it nobody has the file open and SQLite need not even make its side files, so a
    # stick that cannot be written serves as well. Otherwise the log is read along with it.
    way = "mode=ro" if waits_beside(path) else "mode=ro&immutable=1"
    db = sqlite3.connect(f"{path.absolute().as_uri()}?{way}", uri=True, isolation_level=None)
    db.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, LONGEST_VALUE)
    return db


def _damaged(where: str) -> CoachError:
    what = "this ledger is damaged or was made to mislead"
    return CoachError(what, where=where, mend="export it to JSON where it is")


@contextmanager
def _watched(db: sqlite3.Connection, limit_s: float, where: str) -> Iterator[None]:
    """What is asked of the file is given up after a while, or when the player stops it. Raises CoachError then."""
    end, up = time.monotonic() + limit_s, False

    def give_up() -> bool:
        nonlocal up
        up = time.monotonic() > end
        return up

    db.set_progress_handler(give_up, _STEPS)
    try:
        yield
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorcode", 0) != sqlite3.SQLITE_INTERRUPT:
            raise
        if not up:  # ctrl-c came while the database was at work: all it tells of it is that it was interrupted
            raise KeyboardInterrupt from None
        what = f"reading it took longer than {limit_s:.0f} seconds and was given up"
        raise CoachError(what, where=where, mend="export it to JSON where it is") from None
    finally:
        db.set_progress_handler(None, 0)


def _columns(db: sqlite3.Connection, table: str, where: str) -> tuple[list[str], bool]:
    """The columns of ours that the table has, and whether there is such a table. Raises CoachError for one that is no
    plain table, BadInput for one that lacks a column."""
    found = db.execute("SELECT type, rootpage FROM sqlite_master WHERE lower(name) = ?", (table,)).fetchall()
    if not found:
        return [], False
    if any(kind != "table" or not root for kind, root in found):  # a virtual table has no place in the file
        raise CoachError(f"'{table}' in it is no plain table, so it was not read", where=where, mend=_MEND)
    kinds = {name: hidden for _, name, _, _, _, _, hidden in db.execute(f"PRAGMA table_xinfo({table})")}
    if any(kinds.values()):
        raise CoachError(f"'{table}' in it has computed columns, so it was not read", where=where, mend=_MEND)
    lacking = [name for name in COLUMNS[table] if name not in kinds and (table, name) not in LATER_COLUMNS]
    if lacking:
        raise BadInput(f"'{table}' in it has no '{lacking[0]}'", where=where, mend=_MEND)
    return [name for name in COLUMNS[table] if name in kinds], True


def _rows(
    db: sqlite3.Connection, table: str, columns: list[str], there: bool, size: int, where: str
) -> list[tuple[Any, ...]]:
    if not there:
        if check_ours(db, where) == VERSION:
            raise _damaged(where)
        return []
    asked = ", ".join(name if name in columns else f"'{LATER_COLUMNS[table, name]}'" for name in COLUMNS[table])
    # Pages that point at one another would give the same rows over and over.
    left, found = size + LONGEST_VALUE, list[tuple[Any, ...]]()
    cursor = db.execute(f"SELECT {asked} FROM {table} NOT INDEXED")
    while rows := cursor.fetchmany(_AT_ONCE):
        left -= _LEAST_ROW * len(rows)
        left -= sum([len(value) for value in chain.from_iterable(rows) if isinstance(value, str | bytes)])
        if left < 0:
            raise _damaged(where)
        found += rows
    return found

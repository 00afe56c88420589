"""What can still be had of a ledger file with damaged pages: a copy in memory of every row that can be reached."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from coach.log.readable_rows import teach
from coach.log.schema import COLUMNS

_PAGES_ASIDE = 64


def is_damage(error: sqlite3.Error) -> bool:
    """True where SQLite says that the file itself is damaged (sqlite.org/rescode.html: SQLITE_CORRUPT, too big)."""
    return "malformed" in str(error) or "too big" in str(error)


def copy_readable_rows(db: sqlite3.Connection) -> tuple[sqlite3.Connection, dict[str, bool]]:
    """The rows that can be reached, in memory under the same numbers, and which tables lack some.

    A span of rows that cannot be read is halved until the ones that can be are had. Raises sqlite3.Error where nothing
    at all of the takes can be reached.
    """
    copy = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    lacks = {}
    try:
        teach(copy)
        copy.execute("BEGIN")
        for table, names in COLUMNS.items():
            columns = ", ".join(names)
            copy.execute(f"CREATE TABLE {table} (row INTEGER PRIMARY KEY, {columns})")
            copy.execute(f"CREATE INDEX {table}_first ON {table} ({names[0]})")
            spans = [(0, _last(db, table))]
            lacks[table] = False
            marks = ", ".join("?" * (len(names) + 1))
            for rows, whole in _reached(db, f"SELECT rowid, {columns} FROM {table} NOT INDEXED", spans):
                lacks[table] |= not whole
                copy.executemany(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", rows)
            if table == "takes" and lacks[table] and not copy.execute("SELECT 1 FROM takes LIMIT 1").fetchall():
                raise sqlite3.DatabaseError("database disk image is malformed")
        copy.execute("COMMIT")
    except BaseException:
        copy.close()
        raise
    return copy, lacks


def _reached(
    db: sqlite3.Connection, query: str, spans: list[tuple[int, int]]
) -> Iterator[tuple[list[tuple[object, ...]], bool]]:
    """The rows of each span (after one number, up to another), and whether all of it could be read."""
    while spans:
        low, high = spans.pop()
        if low >= high:
            continue
        try:
            yield db.execute(f"{query} WHERE rowid > ? AND rowid <= ?", (low, high)).fetchall(), True
        except sqlite3.Error as error:
            if not is_damage(error) and "decode" not in str(error):
                raise
            if high - low == 1:
                yield [], False
            else:
                middle = (low + high) // 2
                spans += [(low, middle), (middle, high)]


def _last(db: sqlite3.Connection, table: str) -> int:
    """The number of a table's last row, or one that is surely no smaller where its end cannot be reached."""
    try:
        return int(db.execute(f"SELECT max(rowid) FROM {table} NOT INDEXED").fetchone()[0] or 0)
    except sqlite3.Error:
        pages, size = (db.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "page_size"))
        return int(pages * size // _PAGES_ASIDE)

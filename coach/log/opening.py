"""Opening a ledger file: to write where that can be, else to read, so that a full disk hides nothing that was played.

To read a file with a write-ahead log SQLite wants to make files beside it. Where it cannot, the file is opened as one
that nobody changes (no log lies beside it), or its log is read without them, or both are copied elsewhere
(sqlite.org/wal.html#read_only_databases).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import suppress
from pathlib import Path

from coach.errors import CoachError, reason
from coach.log.checks import explain_write, is_disk_error, retry_while_locked
from coach.log.ledger_status import begun, may_be_written, not_allowed
from coach.log.schema import VERSION, bring_forward, check_ours, check_tables


def open_ledger(path: Path, wait_s: float) -> tuple[sqlite3.Connection, CoachError | None]:
    """The ledger at `path`, made where there is none; and why it can only be read, None where it can be written.

    Raises CoachError or BadInput where it can be neither.
    """
    there = begun(path)
    if there and not may_be_written(path):
        trouble = not_allowed(path)
    else:
        try:
            if not there:
                path.parent.mkdir(parents=True, exist_ok=True)
            return _to_write(path, wait_s), None
        except OSError as error:
            what = f"the ledger's folder cannot be made ({reason(error)})"
            raise CoachError(what, where=str(path), mend="choose another place") from None
        except sqlite3.Error as error:
            trouble = explain_write(error, path)
            if not there or not is_disk_error(error):
                raise trouble from None
    try:
        return open_to_read(path), trouble
    except (sqlite3.Error, OSError) as error:
        unreadable = isinstance(error, OSError) or not os.access(path, os.R_OK)
        raise (_unreadable(path) if unreadable else trouble) from None


def _unreadable(path: Path) -> CoachError:
    return CoachError("the ledger cannot be read", where=str(path), mend="see who may read it and its folder")


def _to_write(path: Path, wait_s: float) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=wait_s, isolation_level=None, check_same_thread=False)
    try:
        _distrust(db)
        check_ours(db, str(path))  # before anything is written: a foreign or newer file stays untouched
        check_tables(db, str(path))
        # Turning the write-ahead log on does not honour the busy timeout in every case, so it is asked again.
        retry_while_locked(lambda: db.execute("PRAGMA journal_mode = WAL").fetchone(), wait_s)
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        retry_while_locked(lambda: bring_forward(db, str(path)), wait_s)
    except BaseException:
        db.close()
        raise
    return db


def open_to_read(path: Path) -> sqlite3.Connection:
    """A connection that reads the ledger at `path` and asks nothing of the disk.

    Raises sqlite3.Error, OSError, CoachError.
    """
    where, db = str(path), _first_that_reads(path)
    try:
        if check_ours(db, where) < VERSION:  # an older layout, or an empty file: brought forward in memory
            copy = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
            db.backup(copy)
            db.close()
            db = copy
            bring_forward(db, where)
        check_tables(db, where)
        db.execute("PRAGMA query_only = ON")
    except BaseException:
        db.close()
        raise
    return db


def _first_that_reads(path: Path) -> sqlite3.Connection:
    ways = ["mode=ro", "mode=ro&readonly_shm=1"]
    if not waits_beside(path):  # nothing of it lies elsewhere
        ways.insert(0, "mode=ro&immutable=1")
    for way in ways:
        with suppress(sqlite3.OperationalError):
            return _reads(path, way)
    with tempfile.TemporaryDirectory() as folder:
        for side in ("", "-wal", "-journal"):
            with suppress(FileNotFoundError):
                shutil.copyfile(_side(path, side), Path(folder, path.name + side))
        held = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        copy = _reads(Path(folder, path.name), "mode=rw")
        copy.backup(held)
        copy.close()
    return held


def waits_beside(path: Path) -> bool:
    """True where something that was written lies in a log beside the file: an open or a killed coach's."""
    sides = (_side(path, side) for side in ("-wal", "-journal"))
    return any(side.exists() and side.stat().st_size for side in sides)


def _side(path: Path, side: str) -> Path:
    """A file of SQLite's beside the ledger: where `path` is a link, beside what it leads to."""
    return Path(os.path.realpath(path) + side)


def _reads(path: Path, way: str) -> sqlite3.Connection:
    uri = f"{path.absolute().as_uri()}?{way}"
    db = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
    try:
        _distrust(db)
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        db.close()
        raise
    return db


def _distrust(db: sqlite3.Connection) -> None:
    """What a file brings with it in views, triggers and defaults may call no function that does harm."""
    db.execute("PRAGMA trusted_schema = OFF")
    db.execute("PRAGMA cell_size_check = ON")

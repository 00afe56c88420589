"""What can go wrong with the ledger file or with what is to be written in it, said in one sentence each."""

from __future__ import annotations

import errno
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from coach.errors import BadInput, CoachError
from coach.files.writing import refusal
from coach.log.takes import MOST_COUNTED, Verdict

T = TypeVar("T")

_FULL = ("the disk is full, so nothing more can be written down", "free some space and go on")
_FAILS = ("the disk fails", "see that it is well, and copy what is on it to another one")
_TROUBLES = (
    # what SQLite says, what it means to the player, how to mend it
    ("not a database", "this file is not a practice ledger", "choose another file, or move this one away"),
    ("malformed", "this ledger is damaged and was left as it is", "put a copy of it back, or move it away"),
    ("too big", "this ledger is damaged and was left as it is", "put a copy of it back, or move it away"),
    ("full", *_FULL),
    ("disk I/O error", *_FAILS),
    ("readonly", "the ledger may not be written", "change its permissions, or choose another place"),
    ("read-only", "the ledger may not be written", "change its permissions, or choose another place"),
    ("locked", "another coach is writing the ledger and did not finish", "close the other one and try again"),
    ("unable to open", "the ledger cannot be opened", "check that the folder exists and may be written"),
)


def explain(error: sqlite3.Error, where: str) -> CoachError:
    """What SQLite reports, as one sentence for the player."""
    said = str(error)
    for sign, what, mend in _TROUBLES:
        if sign in said:
            return CoachError(what, where=where, mend=mend)
    return CoachError(f"the ledger could not be used ({said})", where=where, mend="try again or choose another file")


_DISK = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_CANTOPEN)


def is_disk_error(error: sqlite3.Error) -> bool:
    """True where the disk or its permissions are in the way, and not what stands in the file."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in _DISK


def explain_write(error: sqlite3.Error, path: Path) -> CoachError:
    """What SQLite reports of the player's own ledger, as `explain` says it. A full disk goes by many names there, so
    where the disk is in the way it is tried what it says by itself."""
    why = refusal(path) if is_disk_error(error) else None
    if why is None or why.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EIO):
        return explain(error, str(path))
    what, mend = _FAILS if why.errno == errno.EIO else _FULL
    return CoachError(what, where=str(path), mend=mend)


def retry_while_locked(deed: Callable[[], T], wait_s: float) -> T:
    """Do `deed`, again and again while another process holds the file, for at most `wait_s` seconds."""
    give_up = time.monotonic() + wait_s
    while True:
        try:
            return deed()
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() >= give_up:
                raise
            time.sleep(0.02)


def check_count(value: int, name: str, least: int = 0) -> int:
    """`value` if it is a whole number from `least` to MOST_COUNTED, else BadInput."""
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= MOST_COUNTED:
        what = f"{name} '{value!s:.40}' is not a whole number from {least} to {MOST_COUNTED}"
        raise BadInput(what, mend=f"give a number like {max(least, 4)}")
    return value


def check_word(value: str, name: str) -> str:
    """`value` if it is a plain name of up to 200 printable characters, else BadInput."""
    if not isinstance(value, str) or not value.strip() or len(value) > 200 or not value.isprintable():
        raise BadInput(f"the {name} {value!r:.60} is not a plain name", mend="give up to 200 printable characters")
    return value


def check_verdict(verdict: str) -> Verdict:
    """The verdict of this name, else BadInput."""
    try:
        return Verdict(verdict)
    except ValueError:
        raise BadInput(f"'{verdict}' is not a verdict", mend="use one of " + ", ".join(Verdict)) from None

"""Reading, changing and writing a file while no other program of ours does the same."""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from coach.errors import CoachError, reason

LONGEST_WAIT_S = 5.0
_TRY_AGAIN_S = 0.005
# A file system without locks, as some that are mounted over a network: better written unlocked than never.
_NO_LOCKS = {errno.ENOLCK, errno.ENOSYS, errno.EOPNOTSUPP, errno.ENOTSUP, errno.EINVAL}

if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

    def _is_current(handle: int, lock: Path) -> bool:
        return True  # an open file cannot be removed there
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _is_current(handle: int, lock: Path) -> bool:
        try:
            return os.path.samestat(os.fstat(handle), os.stat(lock))
        except FileNotFoundError:
            return False


@contextmanager
def hold_file(path: Path, what: str, *, longest_wait_s: float = LONGEST_WAIT_S) -> Iterator[None]:
    """Keep others who ask likewise, processes and threads, from writing `path` until the block ends.

    `path` is the file itself, not a link to it, and need not be there; its folder must be. `what` is said in the
    sentence on trouble. Beside it lies `.NAME.lock` meanwhile; one that a killed process left behind locks nothing.
    Raises CoachError when the folder cannot be written, or somebody else holds the file for `longest_wait_s` seconds.
    """
    lock = path.with_name(f".{path.name}.lock")
    ends = time.monotonic() + longest_wait_s
    try:
        handle = _take(lock, ends)
    except OSError as error:
        raise CoachError(
            f"{what} could not be written ({reason(error)})",
            where=str(path),
            mend="check that the folder can be written and has room",
        ) from None
    if handle is None:
        raise CoachError(
            f"another coach has been writing {what} for {longest_wait_s:g} seconds",
            where=str(path),
            mend="try again, or close the other one",
        )
    try:
        yield
    finally:
        _leave(handle, lock)


def _take(lock: Path, ends: float) -> int | None:
    """The open file that is locked, or None when time (of the monotonic clock) is over. Raises OSError."""
    while True:
        handle = _try(lock)
        if handle is not None:
            return handle
        if time.monotonic() >= ends:
            return None
        time.sleep(_TRY_AGAIN_S)


def _try(lock: Path) -> int | None:
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o644)
    except PermissionError:
        if sys.platform == "win32":  # it is just being removed
            return None
        if not lock.exists():
            raise
        handle = os.open(lock, os.O_RDONLY)  # another user's, as after a killed `sudo coach`
    try:
        _lock(handle)
    except OSError as error:
        if error.errno in _NO_LOCKS:
            return handle
        os.close(handle)
        if error.errno in (errno.EWOULDBLOCK, errno.EACCES, errno.EDEADLK):
            return None
        raise
    if _is_current(handle, lock):
        return handle
    os.close(handle)  # its last holder has removed it: others lock a newer one by now
    return None


def _leave(handle: int, lock: Path) -> None:
    """Remove the lock: while it is held, or where an open file cannot be removed, after that."""
    if sys.platform == "win32":
        os.close(handle)
    with suppress(OSError):
        lock.unlink()
    if sys.platform != "win32":
        os.close(handle)

"""Files are written beside their place and then moved there: a failure leaves the old one or none, never a half."""

from __future__ import annotations

import os
import re
import stat
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from coach.errors import BadInput, CoachError, reason

if sys.platform != "win32":
    import fcntl

_BESIDE = re.compile(r"\..+\.([0-9]{1,10})\.part", re.DOTALL)  # the name of a file being written, with its process
_NO_WRITING_TAKES_S = 24 * 3600
_ROOM = 1 << 16  # bytes


@contextmanager
def new_file(path: Path, what: str, *, force: bool = False) -> Iterator[BinaryIO]:
    """A file to write `what` (said in the sentence on trouble) to, which gets the name `path` when all went well.

    It is on the disk before it gets the name. Raises CoachError when there is a file of that name (without
    `force`), when the place cannot be written or the disk is full, BadInput when `path` is a folder, a device or a
    pipe; then nothing of it is left behind.
    """
    _check_place(path, force)
    beside = _beside(path)
    try:
        with open(beside, "xb") as raw:
            _hold(raw.fileno())
            yield raw
            raw.flush()
            os.fsync(raw.fileno())
        _move(beside, path, force)
    except OSError as error:
        raise CoachError(
            f"{what} could not be written ({reason(error)})",
            where=str(path),
            mend="choose a folder that exists, can be written and has room",
        ) from None
    finally:
        with suppress(OSError):
            beside.unlink()


def refusal(path: Path) -> OSError | None:
    """Why nothing can be written beside `path` now, found by trying; None where it can be."""
    beside = _beside(path)
    try:
        with open(beside, "xb") as raw:
            try:
                _hold(raw.fileno())
                raw.write(bytes(_ROOM))
                raw.flush()
                os.fsync(raw.fileno())
            finally:
                beside.unlink()
    except FileExistsError:  # another thread is trying
        return None
    except OSError as error:
        return error
    return None


def clear_away(*folders: Path) -> int:
    """Remove what killed coaches have left half-written in these folders; gives how many files.

    One that a living process may still be writing stays, in whatever container that runs: the file is locked meanwhile.
    """
    found = 0
    for folder in folders:
        with suppress(OSError), os.scandir(folder) as entries:
            for entry in entries:
                name = _BESIDE.fullmatch(entry.name)
                if name is not None and _is_left(entry, int(name[1])):
                    with suppress(OSError):
                        os.unlink(entry.path)
                        found += 1
    return found


def _beside(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.part")


def _hold(handle: int) -> None:
    """Lock a file being written for as long as it is open; where there are no locks its process alone tells."""
    if sys.platform != "win32":
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _is_left(entry: os.DirEntry[str], process: int) -> bool:
    """True for a file that nobody is writing."""
    try:
        told = entry.stat(follow_symlinks=False)
        if not stat.S_ISREG(told.st_mode):
            return False
        if _lives(process) and time.time() - told.st_mtime < _NO_WRITING_TAKES_S:
            return False
        if sys.platform != "win32":
            handle = os.open(entry.path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            finally:
                os.close(handle)
    except OSError:
        return False
    return True


def _lives(process: int) -> bool:
    if sys.platform == "win32":  # no way to ask that does no harm
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True
    return process > 0


def _check_place(path: Path, force: bool) -> None:
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):  # nothing there, or nothing that writing will not tell
        return
    if not stat.S_ISDIR(mode) and not stat.S_ISREG(mode):
        # To put a file in its place would take away a device of the machine or a pipe of someone's.
        raise BadInput("this is a pipe or a device, not a file", where=str(path), mend="name an ordinary file")
    if stat.S_ISDIR(mode) or not force:
        raise _exists(path)


def _exists(path: Path) -> CoachError:
    if path.is_dir():
        return BadInput("this is a folder", where=str(path), mend="name a file in it")
    return CoachError("this file exists already", where=str(path), mend="choose another name, or give --force")


def _move(beside: Path, path: Path, force: bool) -> None:
    if force:
        os.replace(beside, path)
        return
    try:
        os.link(beside, path)  # fails where a file has come to stand meanwhile; a rename would not
    except FileExistsError:
        raise _exists(path) from None
    except OSError:  # a file system without hard links
        if path.exists():
            raise _exists(path) from None
        os.replace(beside, path)

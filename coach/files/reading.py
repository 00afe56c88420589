"""Files are looked at before they are opened: a pipe or a device may have no end, and a link may lead to itself."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from coach.errors import BadInput, CoachError, reason


def is_there(path: Path, what: str) -> bool:
    """True where `path` is an ordinary file, False where nothing is.

    Raises CoachError, about `what` (such as "a ledger file"), where that cannot be told, BadInput where something else
    lies there.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return False
    except (OSError, ValueError) as error:
        why = reason(error) if isinstance(error, OSError) else str(error)
        told = f"this cannot be looked at ({why})"
        raise CoachError(told, where=str(path), mend="see where it lies and who may read it") from None
    if stat.S_ISREG(mode):
        return True
    kind = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
    told = f"this is {kind}, not {what}"
    raise BadInput(told, where=str(path), mend="move it away, or name an ordinary file")


@contextmanager
def ordinary(path: Path) -> Iterator[BinaryIO]:
    """An ordinary file to read. Raises OSError: also for a pipe, a device or a socket, whose opening may never end."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with open(handle, "rb") as file:
        _check_ordinary(handle, path)
        yield file


def read_ordinary(path: Path) -> bytes:
    """All of an ordinary file. Raises OSError as `ordinary` does."""
    with ordinary(path) as file:
        return file.read()


def open_to_add(path: Path) -> BinaryIO:
    """An ordinary file to add to at its end, made with its folder where there is none. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    file = open(os.open(path, flags, 0o666), "ab")  # noqa: SIM115 - whoever asked closes it
    try:
        _check_ordinary(file.fileno(), path)
    except BaseException:
        file.close()
        raise
    return file


def _check_ordinary(handle: int, path: Path) -> None:
    mode = os.fstat(handle).st_mode
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "not an ordinary file", str(path))


def files_in(folder: Path, ending: str) -> tuple[list[Path], str]:
    """The files of a folder whose names end so, in order of names, and "" or the sentence that says why the folder
    cannot be looked into. One that is not there is empty."""
    try:
        names = os.listdir(folder)
    except FileNotFoundError:
        return [], ""
    except OSError as error:
        what = f"this folder cannot be looked into ({reason(error)})"
        return [], str(CoachError(what, where=str(folder), mend="see where it lies and who may read it"))
    return [folder / name for name in sorted(names) if name.endswith(ending)], ""

"""Files are written beside their place and then moved there: a failure leaves the old one or none, never a half."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from coach.errors import BadInput, CoachError


@contextmanager
def new_file(path: Path, what: str, *, force: bool = False) -> Iterator[BinaryIO]:
    """A file to write `what` (said in the sentence on trouble) to, which gets the name `path` when all went well.

    It is on the disk before it gets the name. Raises CoachError when there is a file of that name (without
    `force`), when the place cannot be written or the disk is full, BadInput when `path` is a folder; then nothing of
    it is left behind.
    """
    if path.is_dir() or (path.exists() and not force):
        raise _exists(path)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with open(beside, "xb") as raw:
            yield raw
            raw.flush()
            os.fsync(raw.fileno())
        _move(beside, path, force)
    except OSError as error:
        raise CoachError(
            f"{what} could not be written ({error.strerror or error})",
            where=str(path),
            mend="choose a folder that exists, can be written and has room",
        ) from None
    finally:
        with suppress(OSError):
            beside.unlink()


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

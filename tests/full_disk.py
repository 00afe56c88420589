"""A disk that is full, or fails, for one program of ours: a small library loaded before all others (full_disk.c).

    env = full_disk(home, tmp_path)                       # as long as the program runs
    env = full_disk(home, tmp_path, when=tmp_path / "on") # while that file exists
    subprocess.run([...], env=env)
"""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

SOURCE = Path(__file__).with_name("full_disk.c")


def can_be_made() -> bool:
    """True where such a disk can be had: on Linux, with a compiler."""
    return sys.platform == "linux" and shutil.which("gcc") is not None


def full_disk(under: Path, build: Path, *, error: int = errno.ENOSPC, when: Path | None = None) -> dict[str, str]:
    """The environment of a program for which nothing can be written in the folder `under`; it can be read.

    build  a folder for the library, which is compiled into it once
    error  what the system says: errno.ENOSPC, errno.EIO, errno.EDQUOT
    when   only while a file of this name exists

    Skips the test where there is no compiler.
    """
    if not can_be_made():
        pytest.skip("missing tool: gcc" if sys.platform == "linux" else "needs Linux")
    library = build / "full_disk.so"
    if not library.exists():
        words = ["gcc", "-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o", str(library), str(SOURCE), "-ldl"]
        subprocess.run(words, check=True, capture_output=True, timeout=120)
    return {
        **os.environ,
        "COACH_HOME": str(under),
        "LD_PRELOAD": str(library),
        "COACH_DISK_UNDER": os.path.realpath(under),
        "COACH_DISK_ERROR": str(error),
        "COACH_DISK_WHEN": str(when or ""),
    }

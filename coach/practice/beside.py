"""A second process at work beside this one, and what the two hand each other.

It is begun anew and is no copy of this one, in which a screen and a sound engine may be at work; and it is a plain
program on two pipes, since Python's own pool of processes wants a standard error that an app on the screen has not got.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from threading import Thread
from typing import IO, Any

_AT_WORK: set[subprocess.Popen[bytes]] = set()


@contextmanager
def beside(call: str, *words: str) -> Iterator[Beside]:
    """A process that calls `call`, a function by its module and name, with `words`; ended with the block."""
    module, name = call.split(":")
    code = f"import sys; from {module} import {name}; {name}(*sys.argv[1:])"
    where = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    pipe, none = subprocess.PIPE, subprocess.DEVNULL
    try:
        words = (sys.executable, "-P", "-c", code, *words)
        process = subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=none, env=where)
    except (OSError, ValueError):  # no such program; a word that cannot be handed over
        yield Beside(None)
        return
    _AT_WORK.add(process)
    try:
        yield Beside(process)
    finally:
        _AT_WORK.discard(process)
        process.kill()
        with suppress(OSError):
            process.communicate()


def stop_all() -> None:
    """End every process beside this one: whoever waits for one of them waits no more."""
    for process in tuple(_AT_WORK):
        process.kill()


class Beside:
    """The other process, seen from this one; None for one that could not be started."""

    def __init__(self, process: subprocess.Popen[bytes] | None) -> None:
        self._process = process

    def swap(self, mine: object) -> Any:
        """What the other one has to give, for what is given here; None where something befell it."""
        if self._process is None or self._process.stdin is None or self._process.stdout is None:
            return None
        return swapped(mine, self._process.stdin, self._process.stdout)

    def get(self) -> Any:
        """The next that the other one has to give; None where something befell it."""
        return _got(self._process.stdout) if self._process is not None and self._process.stdout is not None else None


def swapped(mine: object, to: IO[bytes], back: IO[bytes]) -> Any:
    """Hand something over one pipe and take something from another, at once: both sides do, and neither may wait."""
    sender = Thread(target=give, args=(mine, to), daemon=True)
    sender.start()
    got = _got(back)
    sender.join()
    return got


def give(one: object, to: IO[bytes]) -> None:
    """Hand something over a pipe; nothing happens where nobody takes it."""
    with suppress(OSError, ValueError):
        pickle.dump(one, to, pickle.HIGHEST_PROTOCOL)
        to.flush()


def _got(back: IO[bytes]) -> Any:
    """What comes over a pipe; None where it ends before."""
    with suppress(EOFError, OSError, ValueError, pickle.UnpicklingError):
        return pickle.load(back)
    return None

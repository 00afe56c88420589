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
from io import FileIO
from threading import Thread
from typing import IO, Any

_LENGTH = 8  # bytes of what says how many bytes come
_AT_ONCE = 1 << 20
_Pipe = IO[bytes] | FileIO
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
        process = subprocess.Popen(words, bufsize=0, stdin=pipe, stdout=pipe, stderr=none, env=where)
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
        return _swapped(mine, self._process.stdin, self._process.stdout)

    def get(self) -> Any:
        """The next that the other one has to give; None where something befell it."""
        return _got(self._process.stdout) if self._process is not None and self._process.stdout is not None else None


class FirstOne:
    """The first process, seen from the second one, which has it at its standard input and output."""

    def __init__(self) -> None:
        # Without buffers, whatever the environment says of them; who writes sees to it that all is written.
        self._to = FileIO(sys.stdout.fileno(), "w", closefd=False)
        self._back = FileIO(sys.stdin.fileno(), "r", closefd=False)

    def swap(self, mine: object) -> Any:
        """What the first one has to give, for what is given here; None where something befell it."""
        return _swapped(mine, self._to, self._back)

    def give(self, one: object) -> None:
        """Hand something to the first one."""
        _give(one, self._to)


def _swapped(mine: object, to: _Pipe, back: _Pipe) -> Any:
    """Hand something over one pipe and take something from another, at once: both sides do, and neither may wait."""
    sender = Thread(target=_give, args=(mine, to), daemon=True)
    sender.start()
    got = _got(back)
    sender.join()
    return got


def _give(one: object, to: _Pipe) -> None:
    """Hand something over a pipe, its length first; nothing happens where nobody takes it."""
    told = pickle.dumps(one, pickle.HIGHEST_PROTOCOL)
    with suppress(OSError, ValueError):
        for part in (len(told).to_bytes(_LENGTH, "big"), told):
            left = memoryview(part)
            while left:  # less than all is written where the process was stopped for a while (ctrl-z)
                left = left[to.write(left) :]


def _got(back: _Pipe) -> Any:
    """What comes over a pipe; None where it ends before."""
    with suppress(OSError, ValueError):
        told = _bytes(back, int.from_bytes(_bytes(back, _LENGTH), "big"))
        return pickle.loads(told) if told else None
    return None


def _bytes(back: _Pipe, count: int) -> bytes:
    """So many bytes; none where there are fewer."""
    found = bytearray()
    while len(found) < count and (part := back.read(min(count - len(found), _AT_ONCE))):
        found += part
    return bytes(found) if len(found) == count else b""

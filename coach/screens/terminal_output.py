"""The way out to the terminal. Whoever writes here never waits: a thread of its own carries it to the terminal.

The screen library writes on a thread too, but behind a short queue: a terminal that does not read fills it, and one
that has gone kills that thread; either way the next frame would wait for ever, and with it all keys and signals. Here
what is written is kept in memory instead. `full` says that the terminal lags behind: then no more frames should be
drawn until it has caught up (what is drawn after that is up to date). `gone` says that it is not there any more.
"""

from __future__ import annotations

import contextlib
import io
import os
import select
import sys
from collections import deque
from collections.abc import Callable, Iterator
from threading import Condition, Thread
from time import monotonic

from coach.plain_letters import PLAIN

FULL_BYTES = 8192  # about a frame of the whole screen: a terminal that keeps up has taken it within milliseconds
STEP_BYTES = 4096  # a stuck write is let go when the terminal's own buffer is thrown away: it must fit in there
FINISH_S = 0.5

# What puts a terminal right whatever of ours was on, in the order in which a screen library takes it back: a frame
# begun, pasting, wrapping, sizes in band, mouse, keyboard, focus, the other screen, cursor. (xterm's control sequences;
# 2026, 2048 and <u are later conventions that other terminals leave unheard.)
RESTORE = (
    "\x1b[?2026l\x1b[?2004l\x1b[?7h\x1b[?2048l\x1b[?1000l\x1b[?1003l\x1b[?1015l\x1b[?1006l\x1b[?1016l\x1b[<u"
    "\x1b[?1004l\x1b[?1049l\x1b[?25h"
)


class Outlet(io.TextIOBase):
    """Stands in the place of the terminal's text file. `fd` stays the caller's; `told` is called on any thread each
    time when `full` or `gone` has changed."""

    def __init__(self, fd: int, encoding: str = "utf-8", told: Callable[[], None] | None = None) -> None:
        self._fd = fd
        self._encoding = encoding
        self.told = told
        self.full = False
        self.gone = False
        self.moved = 0  # grows with every piece that the terminal has taken
        self._pieces: deque[bytes] = deque()
        self._left = 0
        self._cut = False
        self._changed = Condition()
        self._thread = Thread(target=self._carry, name="coach-terminal", daemon=True)
        self._thread.start()

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """What text becomes bytes by; letters it does not have get plain stand-ins."""
        return self._encoding

    @property
    def waiting(self) -> bool:
        """True while the terminal has not taken all."""
        return self._left > 0

    def writable(self) -> bool:
        """Always."""
        return True

    def isatty(self) -> bool:
        """Whether a terminal is behind it."""
        return os.isatty(self._fd)

    def fileno(self) -> int:
        """The terminal's descriptor."""
        return self._fd

    def write(self, text: str) -> int:
        """Take `text`; returns at once. What is written to a terminal that has gone is forgotten."""
        data = text.encode(self._encoding, PLAIN)
        with self._changed:
            if self.gone or not data:
                return len(text)
            self._pieces.append(data)
            self._left += len(data)
            fills = not self.full and self._left > FULL_BYTES
            self.full = self.full or fills
            self._changed.notify_all()
        if fills:
            self._tell()
        return len(text)

    def flush(self) -> None:
        """Nothing to do: all is on its way."""

    def drop(self) -> None:
        """Throw away what the terminal has not taken, with what lies in the system's buffer if it lags behind.

        A frame that is cut off in the middle does no harm: what comes next begins with an escape of its own.
        """
        with self._changed:
            lags, self._cut = self.full, self._left > 0
            self._left -= sum(map(len, self._pieces))
            self._pieces.clear()
            self._changed.notify_all()
        if lags:
            _throw_away(self._fd)

    def finish(self, limit_s: float = FINISH_S) -> bool:
        """Wait until the terminal has taken all, or has gone, at most `limit_s` seconds; whether it has."""
        end = monotonic() + limit_s
        with self._changed:
            while self._left and not self.gone:
                left = end - monotonic()
                if left <= 0:
                    return False
                self._changed.wait(left)
        return not self.gone

    def _carry(self) -> None:
        while True:
            with self._changed:
                while not self._pieces:
                    self._changed.wait()
                data, self._cut = self._pieces.popleft(), False
            at = 0
            while at < len(data) and not self._cut and not self.gone:
                at += self._put(data[at : at + STEP_BYTES])
            with self._changed:
                self._left -= len(data)
                if self.gone:
                    self._pieces.clear()
                    self._left = 0
                eased = self.full and not self._left
                self.full = self.full and not eased
                self._changed.notify_all()
            if eased or self.gone:
                self._tell()

    def _put(self, data: bytes) -> int:
        """Write to the terminal, which may take its time; how much of it was taken."""
        try:
            taken = os.write(self._fd, data)
        except BlockingIOError:  # another program has made the terminal one that does not wait
            select.select([], [self._fd], [], 1.0)
            return 0
        except (OSError, ValueError):
            self.gone = True
            return 0
        self.moved += 1
        return taken

    def _tell(self) -> None:
        if self.told is not None:
            self.told()


def _throw_away(fd: int) -> None:
    """Forget what lies in the system's buffer on the way to the terminal; that frees a write stuck behind it."""
    if sys.platform == "win32":
        return
    import termios

    with contextlib.suppress(termios.error, OSError, ValueError), undisturbed():
        termios.tcflush(fd, termios.TCOFLUSH)


@contextlib.contextmanager
def undisturbed() -> Iterator[None]:
    """This thread may set up the terminal also while the shell has it, without being stopped for that."""
    import signal

    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTTOU})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)

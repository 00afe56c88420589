"""A program on a terminal of its own: a pseudo terminal whose other end the test reads and types on."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
import warnings
from threading import Event, Thread


class Terminal:
    """`python WORDS` on a terminal of `size` (lines, columns); `read` or `drain` what it writes, `type` keys."""

    def __init__(
        self, *words: str, home: str, size: tuple[int, int] = (45, 160), env: dict[str, str] | None = None
    ) -> None:
        self.started = time.perf_counter()
        with warnings.catch_warnings():
            # Python 3.12 and later warn of a fork with threads about; the child becomes another program at once.
            warnings.simplefilter("ignore", DeprecationWarning)
            self.pid, self.fd = pty.fork()
        if self.pid == 0:
            # The child: becomes the program. Nothing may go wrong silently between fork and exec.
            try:
                own = {"TERM": "xterm-256color", "COLORTERM": "truecolor", "COACH_HOME": home}
                os.environ |= (env or {}) | own
                fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", *size, 0, 0))
                os.execv(sys.executable, [sys.executable, *words])
            finally:
                os._exit(127)
        self.bytes = 0
        self._stop = Event()
        self._drain: Thread | None = None

    def read(self, seconds: float, until: bytes = b"") -> bytes:
        """What it writes within `seconds`, or until it has written `until`."""
        end, got = time.perf_counter() + seconds, b""
        while (left := end - time.perf_counter()) > 0:
            if select.select([self.fd], [], [], min(left, 0.2))[0]:
                try:
                    piece = os.read(self.fd, 1 << 16)
                except OSError:  # the program has gone
                    break
                got += piece
                self.bytes += len(piece)
                if until and until in got:
                    break
        return got

    def drain(self) -> None:
        """Read and forget all that comes, on a thread, until `close`."""
        self._drain = Thread(target=self._forget, daemon=True)
        self._drain.start()

    def _forget(self) -> None:
        while not self._stop.is_set():
            self.read(0.2)

    def resize(self, lines: int, columns: int) -> None:
        """Another window size; the program is told by the system."""
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))

    def type(self, text: str) -> None:
        """Press keys."""
        os.write(self.fd, text.encode())

    def kill(self, signum: int = signal.SIGTERM) -> None:
        """Send a signal."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signum)

    def close(self, limit_s: float = 5.0) -> int:
        """End it and give its exit code (negative: the signal that ended it)."""
        self.kill()
        self._stop.set()
        if self._drain:
            self._drain.join(1)
        end = time.monotonic() + limit_s
        while time.monotonic() < end:
            self.read(0.05)
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                os.close(self.fd)
                return os.waitstatus_to_exitcode(status)
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)
        raise AssertionError(f"the program did not end within {limit_s} s")

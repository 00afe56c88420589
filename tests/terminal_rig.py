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

KEPT = 1 << 16


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
        os.set_inheritable(self.fd, False)  # else a second program would keep the first one's window open
        self.code: int | None = None  # once it has ended
        self.bytes = 0
        self.pace: int | None = None  # bytes a second that `drain` reads; None: all that comes, 0: nothing
        self.last = b""  # the last that `drain` read
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
        """Read and forget all that comes, on a thread, until `close`, as fast as `pace` says."""
        self._drain = Thread(target=self._forget, daemon=True)
        self._drain.start()

    def _forget(self) -> None:
        while not self._stop.is_set():
            if self.pace is None:
                self.last = (self.last + self.read(0.02))[-KEPT:]
                continue
            time.sleep(0.05)
            if self.pace and select.select([self.fd], [], [], 0)[0]:
                with contextlib.suppress(OSError):
                    piece = os.read(self.fd, max(self.pace // 20, 1))
                    self.bytes += len(piece)
                    self.last = (self.last + piece)[-KEPT:]

    def end_drain(self) -> None:
        """Nobody reads any more."""
        self._stop.set()
        if self._drain:
            self._drain.join(5)
            self._drain = None

    def hold(self) -> None:
        """Hold the terminal's output, as a key for it would (ctrl-s on many)."""
        self._flow(termios.TCOOFF)

    def let_go(self) -> None:
        """Let it go on."""
        self._flow(termios.TCOON)

    def _flow(self, what: int) -> None:
        other_end = os.open(os.readlink(f"/proc/{self.pid}/fd/0"), os.O_RDWR | os.O_NOCTTY)
        try:
            termios.tcflow(other_end, what)
        finally:
            os.close(other_end)

    def hang_up(self) -> None:
        """The window is closed."""
        self.end_drain()
        if self.fd >= 0:
            os.close(self.fd)
            self.fd = -1

    def wait(self, limit_s: float) -> int | None:
        """Its exit code once it has ended (negative: by a signal); None when it has not within `limit_s`."""
        end = time.perf_counter() + limit_s
        while self.code is None and time.perf_counter() < end:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.code = os.waitstatus_to_exitcode(status)
            else:
                time.sleep(0.005)
        return self.code

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

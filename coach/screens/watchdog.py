"""The watch beside the app: ends the sound, and then the process, where the app itself may not be able to.

It lives on a thread of its own and hears of signals through a pipe that the system's own handler writes to
(`signal.set_wakeup_fd`), so it needs neither the app's event loop nor the main thread. What brings the end:

- SIGTERM, SIGHUP or SIGINT;
- a terminal that has gone: it hangs up, or takes what is written with an error;
- a parent that has gone while the terminal belongs to another program: no key would ever come any more.

At the end, in this order: the sound fades out at once and is cut off where it does not; the app is asked to leave in
the ordinary way; where it has not left the process within `TAKE_OVER_S`, the last things are done from here (`Last`:
the ledger and the settings are written), the terminal is put right where it takes that, and the process ends. However
those steps go, after `LIMIT_S` it ends.

What does not bring the end, for the player may come back to it:

- A terminal that takes nothing, or little: nobody waits for it (`outlet`). The sound plays on for `UNSEEN_S`, as it
  should over a short hitch of the line, and is then stopped as by a key.
- An app that does not answer for `SILENT_S`: no key can stop the sound now, so it stops. What the player was writing on
  a page is still there when the app answers again; should it never, closing the window ends it as above.
- A process that was stopped or a machine that slept: time is counted in looks of this thread, which rests with them.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from time import perf_counter
from types import FrameType
from typing import TYPE_CHECKING

from coach.screens.terminal_output import RESTORE, Outlet, undisturbed
from coach.sound import silence

if TYPE_CHECKING:
    from asyncio import AbstractEventLoop

LOOK_S = 0.25
SILENT_S = 2.0
UNSEEN_S = 10.0
CUT_S = 0.2
TAKE_OVER_S = 1.2
WRITTEN_S = 2.2
LIMIT_S = 2.6
_CLOSE_LOOK_S = 0.05
ENDS = ("SIGINT", "SIGTERM", "SIGHUP")


class Last:
    """What is done last, once only, whoever comes first; the other waits for it. `deed` gives the sentences about what
    could not be written."""

    def __init__(self, deed: Callable[[float], tuple[str, ...]]) -> None:
        self._deed = deed
        self._lock = threading.Lock()
        self._done: tuple[str, ...] | None = None

    def do(self, limit_s: float = 5.0) -> tuple[str, ...]:
        """Do it, at most `limit_s` seconds long."""
        with self._lock:
            if self._done is None:
                self._done = self._deed(limit_s)
            return self._done


class Watch:
    """Begun before the app; `follow` once its event loop runs.

    leave    asks the app to leave; called on its loop
    stopped  tells the app that the sound had to stop, in one sentence; called on its loop
    """

    def __init__(
        self, outlet: Outlet, last: Last, leave: Callable[[], object], stopped: Callable[[str], object]
    ) -> None:
        self.outlet = outlet
        self._last, self._leave, self._stopped = last, leave, stopped
        self.ending = False
        self.at_rest = False  # true once the app has put the terminal right itself
        self._loop: AbstractEventLoop | None = None
        self._parent = os.getppid()
        self._begun = 0.0
        self._cut = False
        self._writing: threading.Thread | None = None
        self._problems: tuple[str, ...] = ()
        self._asked = self._answered = 0
        self._silent = self._unseen = 0
        self._moved = 0
        self._hushed = False
        self._looked = perf_counter()
        self._modes: list[object] | None = None

    def follow(self, loop: AbstractEventLoop) -> None:
        """The app's loop runs now."""
        self._loop = loop
        if self.ending:
            self._ask(self._leave)

    def unfollow(self) -> None:
        """The app has left its loop and the terminal."""
        self._loop = None
        self.at_rest = True

    def end(self) -> None:
        """Begin the end; on the watch's own thread."""
        if self.ending:
            return
        self._begun = perf_counter()
        self.ending = True
        silence.hush()
        self._ask(self._leave)

    # ── the thread ─────────────────────────────────────────────────────────────────────────────────

    def run(self, signals: int, terminals: tuple[int, ...]) -> None:
        """Watch the pipe `signals` and the descriptors of the terminal until the process ends."""
        poll = select.poll()
        poll.register(signals, select.POLLIN)
        for terminal in terminals:
            poll.register(terminal, 0)
        while True:
            for fd, what in poll.poll(1000 * (_CLOSE_LOOK_S if self.ending else LOOK_S)):
                if fd == signals:
                    if any(number in _numbers() for number in os.read(signals, 64)):
                        self.end()
                else:
                    poll.unregister(fd)
                    if what & (select.POLLHUP | select.POLLERR):  # else the system cannot tell of a terminal
                        self.end()
            if self.outlet.gone:
                self.end()
            if self.ending:
                self._pursue(perf_counter() - self._begun)
            elif perf_counter() - self._looked >= LOOK_S:
                self._looked = perf_counter()
                self._look()

    def _look(self) -> None:
        """Four times a second, as far as this thread is let."""
        if self._left_behind():
            self.end()
            return
        self._hear()
        stuck = self.outlet.waiting and self.outlet.moved == self._moved
        self._moved = self.outlet.moved
        self._unseen = self._unseen + 1 if stuck and silence.sounds() else 0
        if self._unseen * LOOK_S >= UNSEEN_S:
            self._unseen = 0
            silence.hush()
            self._tell(f"the terminal showed nothing for {UNSEEN_S:.0f} seconds, so the sound was stopped")

    def _left_behind(self) -> bool:
        if os.getppid() == self._parent:
            return False
        try:
            return os.tcgetpgrp(self.outlet.fileno()) != os.getpgrp()
        except OSError:  # not this process's own terminal: it hangs up when it goes
            return False

    def _hear(self) -> None:
        """Ask the loop for a sign of life, and note for how long there was none."""
        if self._loop is None:
            return
        if self._asked == self._answered:
            if self._hushed:
                self._hushed = False
                self._tell("the screen was stuck for a while, so the sound was stopped")
            self._silent = 0
            self._asked += 1
            self._ask(self._answer)
            return
        self._silent += 1
        if self._silent * LOOK_S >= SILENT_S and not self._hushed and silence.sounds():
            self._hushed = True
            silence.hush()
            _log("the app does not answer; the sound was stopped")

    def _answer(self) -> None:
        self._answered = self._asked

    def _tell(self, sentence: str) -> None:
        self._ask(lambda: self._stopped(sentence))

    def _ask(self, deed: Callable[[], object]) -> None:
        """Have `deed` done on the app's loop."""
        loop = self._loop
        if loop is not None:
            with contextlib.suppress(RuntimeError):  # it has just been closed
                loop.call_soon_threadsafe(deed)

    def _pursue(self, since: float) -> None:
        """The end has begun `since` seconds ago."""
        if since >= CUT_S and not self._cut:
            self._cut = True
            silence.cut()
        if since >= TAKE_OVER_S and self._writing is None:
            _log("the app has not left; the watch ends it")
            self._writing = threading.Thread(target=self._write, args=(WRITTEN_S - since,), daemon=True)
            self._writing.start()
        if self._writing is not None and (since >= WRITTEN_S or not self._writing.is_alive()):
            written = not self._writing.is_alive() and not any(self._problems)
            if not self.at_rest:
                self._restore(max(LIMIT_S - (perf_counter() - self._begun), 0.1))
            os._exit(0 if written else 1)

    def _write(self, limit_s: float) -> None:
        self._problems = self._last.do(limit_s)

    def _restore(self, limit_s: float) -> None:
        """Put the terminal right as well as that goes from here."""
        self.outlet.drop()
        self.outlet.write(RESTORE)
        if self._modes is not None and sys.platform != "win32":
            import termios

            with contextlib.suppress(termios.error, OSError, ValueError), undisturbed():
                termios.tcsetattr(0, termios.TCSANOW, self._modes)  # type: ignore[arg-type]
        self.outlet.finish(limit_s)

    def begin(self) -> None:
        """Take the signals, remember the terminal's modes, and watch from now on; on the main thread."""
        if sys.platform == "win32":
            return
        import termios

        with contextlib.suppress(termios.error, OSError, ValueError):
            self._modes = termios.tcgetattr(0)
        signals, told = os.pipe()
        os.set_blocking(told, False)
        os.set_blocking(signals, False)
        signal.set_wakeup_fd(told, warn_on_full_buffer=False)
        for number in _numbers():
            signal.signal(number, self._signalled)
        words = (signals, (0, self.outlet.fileno()))
        threading.Thread(target=self.run, args=words, name="coach-watch", daemon=True).start()

    def _signalled(self, _: int, __: FrameType | None) -> None:
        """On the main thread, when it comes to it: being gone on with after a stop must not bring the screen back now,
        for which a coach in the background would be stopped again at once."""
        if sys.platform != "win32":
            signal.signal(signal.SIGCONT, lambda *_: None)
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTTOU})


def _log(sentence: str) -> None:
    """Into the log that descriptor 2 leads to; the app has a use of its own for `sys.stderr`."""
    with contextlib.suppress(OSError):
        os.write(2, f"{sentence}\n".encode())


def _numbers() -> tuple[int, ...]:
    return tuple(int(getattr(signal, name)) for name in ENDS if hasattr(signal, name))


@contextlib.contextmanager
def watching(watch: Watch) -> Iterator[Watch]:
    """Watched over; the watch goes on after that, until the process has ended."""
    watch.begin()
    try:
        yield watch
    finally:
        watch.unfollow()

"""The real coach on a terminal of its own, and a sound server on whose wire one listens."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from threading import Thread

import numpy as np

from tests.campaign.call import ROOT
from tests.campaign.kind import slack
from tests.terminal_rig import Terminal

DRAWN_S = 30.0
LOUD = 1e-3  # -60 dB below full scale
_CODES = re.compile(r"\x1b(?:\[[0-9;?<>=]*[ -/]*[@-~]|[()][A-B0]|[=>78M]|\][^\x07\x1b]*(?:\x07|\x1b\\))")


class Coach:
    """`coach WORDS` on a terminal. `seen` is all it wrote, without what only steers the terminal."""

    def __init__(self, folder: Path, *words: str, env: dict[str, str] | None = None) -> None:
        self.home = folder / "home"
        own = {"PYTHONPATH": str(ROOT), "HOME": str(folder), **(env or {})}
        self.terminal = Terminal("-m", "coach", *words, home=str(self.home), size=(30, 110), env=own)
        self.pid = self.terminal.pid
        self.code: int | None = None
        self.raw = b""
        self.open = True
        self._text, self._at = "", 0

    @property
    def seen(self) -> str:
        """All text so far."""
        piece = self.raw[self._at :]
        cut = piece.rfind(b"\x1b", len(piece) - 40) if piece else -1  # what steers may not have come whole yet
        piece = piece[:cut] if cut > 0 else piece
        self._text += _CODES.sub("", piece.decode("utf-8", "replace"))
        self._at += len(piece)
        return self._text

    def watch(self, seconds: float, until: Callable[[], bool] = lambda: False) -> bool:
        """Read what it writes, as a terminal does, until something is so (True), it has ended or the time is over."""
        end = time.monotonic() + seconds
        while not until():
            if time.monotonic() > end:
                return False
            if not self.open:
                time.sleep(0.01)
            else:
                self.raw += self.terminal.read(0.02)
            if self.ended():
                self.raw += self.terminal.read(0.05) if self.open else b""
                return until()
        return True

    def sees(self, text: str, seconds: float = DRAWN_S) -> bool:
        """Wait until it has written this."""
        return self.watch(seconds * slack(), lambda: text in self.seen)

    def press(self, keys: str) -> None:
        """Type, unless it has gone."""
        with contextlib.suppress(OSError):
            self.terminal.type(keys)

    def ended(self) -> bool:
        """True once the process has ended; its exit code is `code` then."""
        if self.code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self.code = os.waitstatus_to_exitcode(status) if pid else None
        return self.code is not None

    def kill(self, signum: int = signal.SIGKILL) -> None:
        """Send a signal, unless it has ended."""
        if not self.ended():
            os.kill(self.pid, signum)

    def hang_up(self) -> None:
        """Close the terminal's window."""
        if self.open:
            os.close(self.terminal.fd)
            self.open = False

    def passes_told(self) -> int:
        """How many passes the screen has told of as ended: while pass n is played, n - 1."""
        return max(map(int, re.findall(r"pass (\d+) ·", self.seen[-100_000:])), default=1) - 1


@contextmanager
def coach(folder: Path, *words: str, env: dict[str, str] | None = None) -> Iterator[Coach]:
    """The coach on a terminal; killed at the end where it still runs."""
    app = Coach(folder, *words, env=env)
    try:
        yield app
    finally:
        if not app.ended():
            os.kill(app.pid, signal.SIGKILL)
            app.code = os.waitstatus_to_exitcode(os.waitpid(app.pid, 0)[1])
        app.hang_up()


def passes_written(home: Path) -> dict[str, list[int]]:
    """The passes in the ledger by take, of the takes that began after those of `homes.ledger_bytes`."""
    with closing(sqlite3.connect(home / "ledger.sqlite3")) as db:
        rows = db.execute(
            "SELECT take, number FROM passes WHERE take NOT GLOB '0000*' ORDER BY take, number"
        ).fetchall()
    found: dict[str, list[int]] = {}
    for take, number in rows:
        found.setdefault(take, []).append(number)
    return found


class Wire:
    """What goes over the wire of a sound server: (moment, peak) of each piece, as it comes."""

    def __init__(self, env: dict[str, str]) -> None:
        self.env = env
        self.pieces: list[tuple[float, float]] = []

    def listen(self, source: subprocess.Popen[bytes]) -> None:
        """Take in samples until the source ends."""
        assert source.stdout is not None
        while raw := os.read(source.stdout.fileno(), 4096):
            samples = np.frombuffer(raw[: len(raw) // 2 * 2], "<i2")
            self.pieces.append((time.monotonic(), float(np.abs(samples.astype(int)).max(initial=0)) / 32768))

    def last_sound(self) -> float:
        """The moment of the last sound so far; 0 where there was none."""
        return max((at for at, peak in self.pieces if peak > LOUD), default=0.0)


@contextmanager
def sound_server(folder: Path) -> Iterator[Wire]:
    """PulseAudio with one sink that leads nowhere, for programs with `wire.env`; ended afterwards."""
    place = folder / "sound"
    place.mkdir()
    socket = place / "socket"
    env = {
        "PULSE_SERVER": f"unix:{socket}",
        "PULSE_RUNTIME_PATH": str(place),
        "XDG_RUNTIME_DIR": str(place),
        "HOME": str(folder),
    }
    quiet = {"stdin": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": {**os.environ, **env}}
    wire = Wire(env)
    server = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes",
         f"--load=module-native-protocol-unix auth-anonymous=1 socket={socket}",
         "--load=module-null-sink sink_name=wire"],
        stdout=subprocess.DEVNULL, **quiet,  # type: ignore[call-overload]
    )  # fmt: skip
    source = None
    try:
        end = time.monotonic() + 10 * slack()
        while not socket.exists() and time.monotonic() < end:
            time.sleep(0.02)
        source = subprocess.Popen(
            ["parec", "--latency-msec=20", "--format=s16le", "--rate=8000", "--channels=1", "-d", "wire.monitor"],
            stdout=subprocess.PIPE, **quiet,  # type: ignore[call-overload]
        )  # fmt: skip
        Thread(target=wire.listen, args=(source,), daemon=True).start()
        yield wire
    finally:
        for program in filter(None, (source, server)):
            program.kill()
            program.wait()

"""A real sound server for tests: JACK on its dummy driver, with a recorder on its wires.

Debian: jackd2 jack-tools jack-capture. The server has a name of its own, so several tests and another server on
the machine do not meet. The server's under-runs (XRun in its log) are nobody's fault here: run again then.

    with jack_server() as server, server.recording("coach:playback0", 60) as take:
        program = server.run(["-m", "tests.play_click", "61"])
        samples = take()
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir

import numpy as np
import pytest

RATE = 48000
PERIOD = 2048  # shorter ones under-run on a busy two-core machine
REGISTRY = Path("/dev/shm/jack-shm-registry")
NEEDED = ("jackd", "jack_capture", "jack_lsp", "jack_wait")


class XRun(Exception):
    """The server fell behind while recording: neither pass nor failure."""


def require_jack() -> None:
    """Skip, with the reason, where there is no JACK (on a build machine such a skip is a failure)."""
    missing = [tool for tool in NEEDED if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"missing tool: {', '.join(missing)} (Debian: jackd2 jack-tools jack-capture)")


@dataclass
class JackServer:
    """A running server: `env` for programs that shall find it, `place` for files, `process` the server itself."""

    env: dict[str, str]
    place: Path
    period: int
    process: subprocess.Popen[bytes] | None = None
    programs: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def run(self, arguments: Sequence[str]) -> subprocess.Popen[bytes]:
        """Start a Python program of ours on this server; ended with the server at the latest."""
        program = subprocess.Popen(
            [sys.executable, *arguments], env=self.env, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        goes_first(program.pid)
        self.programs.append(program)
        return program

    def ports(self) -> list[str]:
        """The names of all ports."""
        listed = subprocess.run(["jack_lsp"], env=self.env, capture_output=True, text=True, timeout=10, check=False)
        return listed.stdout.split("\n")

    def wait_port(self, name: str, limit_s: float = 15.0) -> None:
        """Wait until a port is there."""
        end = time.monotonic() + limit_s
        while name not in self.ports():
            assert time.monotonic() < end, f"no port {name} within {limit_s} s"
            time.sleep(0.05)

    @contextmanager
    def recording(self, source: str, seconds: float) -> Iterator[Callable[[], np.ndarray]]:
        """Record `seconds` of the port `source` (which may appear later); call what is given to wait for the samples.

        Returns (frames,) float32; raises XRun when the server fell behind meanwhile.
        """
        path = self.place / f"take{time.monotonic_ns()}.wav"
        before = self.xruns()
        recorder = subprocess.Popen(
            ["jack_capture", "-c", "1", "-p", source, "-d", str(seconds), "-ns", "-dc", "-f", "wav", str(path)],
            env=self.env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        goes_first(recorder.pid)

        def samples() -> np.ndarray:
            limit = time.monotonic() + seconds + 20
            while recorder.poll() is None:
                assert time.monotonic() < limit, "the recorder does not end"
                if self.xruns() > before:
                    raise XRun
                time.sleep(0.2)
            if self.xruns() > before:
                raise XRun
            return read_wav(path)

        try:
            self.wait_port("jack_capture:input1")
            yield samples
        finally:
            end(recorder)

    def xruns(self) -> int:
        """How often the server has fallen behind so far."""
        return (self.place / "jackd.log").read_text(errors="replace").count("XRun")

    def kill(self) -> None:
        """The server dies without a word to anyone."""
        assert self.process is not None
        self.process.kill()
        self.process.wait(10)

    def begin(self, *, again: bool = False) -> None:
        """Start the server (again, after `kill`, under the same name) and wait until it answers."""
        name = self.env["JACK_DEFAULT_SERVER"]
        with open(self.place / "jackd.log", "ab") as log:
            self.process = subprocess.Popen(
                ["jackd", "-n", name, "-r", "-d", "dummy", "-r", str(RATE), "-p", str(self.period)],
                env=self.env, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
            )  # fmt: skip
        goes_first(self.process.pid)
        wait = ["jack_wait", "-w", "-t", "10"]
        if subprocess.run(wait, env=self.env, capture_output=True, timeout=20, check=False).returncode == 0:
            return
        end(self.process)
        said = (self.place / "jackd.log").read_text(errors="replace")
        if "Too many servers" in said and not again and not running_servers():
            # All places are held by servers that were killed long ago; nobody uses the list.
            REGISTRY.unlink(missing_ok=True)
            self.begin(again=True)
            return
        pytest.fail(f"the sound server did not start: {said[:300]}")


def running_servers() -> bool:
    """True while any JACK server runs on this machine."""
    return subprocess.run(["pgrep", "-x", "jackd"], capture_output=True, check=False).returncode == 0


@contextmanager
def own_name() -> Iterator[str]:
    """A server name that no other test has now, out of a few.

    JACK knows eight servers at most and keeps the place of one that was killed until another of its name comes.
    New names each time would fill all places for good.
    """
    for number in range(4):
        lock = open(Path(gettempdir()) / f"coach-jack-{number}.lock", "w")  # noqa: SIM115 - held while the name is
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            lock.close()
            continue
        with lock:
            yield f"coachtest{number}"
        return
    pytest.skip("four other tests with a sound server are running")


@contextmanager
def jack_server(period: int = PERIOD) -> Iterator[JackServer]:
    """A server on the dummy driver at 48 kHz, ended with all that was started on it."""
    require_jack()
    with own_name() as name, TemporaryDirectory(prefix="coach-jack-") as folder:
        env = {**os.environ, "JACK_DEFAULT_SERVER": name, "JACK_NO_START_SERVER": "1"}
        place = Path(folder)
        server = JackServer(env, place, period)
        try:
            server.begin()
            yield server
        finally:
            for program in server.programs:
                end(program)
            if server.process is not None:
                end(server.process)


def goes_first(pid: int) -> None:
    """Where the system lets us, a program just started goes before what else the machine does, as sound does at home.

    It is of the other tests' making that the server falls behind, not of the coach's.
    """
    with contextlib.suppress(OSError):
        os.setpriority(os.PRIO_PROCESS, pid, -15)


def end(process: subprocess.Popen[bytes]) -> None:
    """Ask a process of ours to end, and insist after a while."""
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(5)
    for pipe in (process.stdout, process.stderr):
        if pipe is not None:
            pipe.close()


def read_wav(path: Path) -> np.ndarray:
    """A mono recording as (frames,) float32, whatever sample format the recorder chose (16, 24, 32 bit or float)."""
    raw = path.read_bytes()
    at, layout, data = 12, (1, 16), b""
    while at + 8 <= len(raw):
        chunk, size = raw[at : at + 4], int.from_bytes(raw[at + 4 : at + 8], "little")
        body = raw[at + 8 : at + 8 + size]
        if chunk == b"fmt ":
            layout = (int.from_bytes(body[:2], "little"), int.from_bytes(body[14:16], "little"))
            if layout[0] == 0xFFFE:  # the extended form names the real one later on
                layout = (int.from_bytes(body[24:26], "little"), layout[1])
        elif chunk == b"data":
            data = body
        at += 8 + size + size % 2
    if layout == (3, 32):
        return np.frombuffer(data, dtype="<f4").astype(np.float32)
    if layout == (1, 24):
        triples = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3).astype(np.int32)
        value = triples[:, 0] | triples[:, 1] << 8 | triples[:, 2] << 16
        return (np.where(value & 0x800000, value - 0x1000000, value) / 2**23).astype(np.float32)
    return (np.frombuffer(data, dtype=f"<i{layout[1] // 8}") / 2 ** (layout[1] - 1)).astype(np.float32)


def tries(what: Callable[[JackServer], None], times: int = 3) -> None:
    """Do `what` on a fresh server; again when the server fell behind, and skip when it always does."""
    for _ in range(times):
        try:
            with jack_server() as server:
                what(server)
            return
        except XRun:
            continue
    pytest.skip(f"the server under-ran {times} times: this machine is too busy to tell")

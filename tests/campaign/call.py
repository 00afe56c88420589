"""The command called in a process of its own that is forked, not started anew: with limits, and all it said kept."""

from __future__ import annotations

import ctypes
import os
import re
import resource
import signal
import subprocess
import sys
import time
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.campaign.kind import slack

LONGEST_SENTENCE = 300
ROOT = Path(__file__).resolve().parents[2]
_STEERS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_MB = 1 << 20


@dataclass(frozen=True)
class Said:
    """How a command ended: exit code (negative: the signal), what it wrote, memory, the tail of its crash log."""

    words: tuple[str, ...]
    code: int
    out: str
    err: str
    peak_mb: float
    trail: str = ""


def call(
    words: Sequence[str],
    folder: Path,
    *,
    env: Mapping[str, str] | None = None,
    cpu_s: int = 20,
    memory_mb: int = 400,
    ordinary: bool = False,
) -> Said:
    """Run `coach WORDS` in `folder`, whose `home` is the player's. It is stopped after `cpu_s` seconds of processor and
    where it wants far more memory than `memory_mb` above what it began with. `ordinary`: rights of files count, also
    for root.
    """
    out, err = folder / ".out", folder / ".err"
    base = _own_mb()
    sys.stdout.flush()
    pid = os.fork()
    if pid == 0:
        try:
            _become(folder, out, err, env or {}, cpu_s, memory_mb)
            if ordinary:
                _drop_rights()
            from coach.cli import main

            code = main(list(words))
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        except BaseException:
            traceback.print_exc()
            sys.stderr.flush()
            os._exit(99)
    ended = time.monotonic() + 2 * cpu_s * slack()
    while True:
        got, status, used = os.wait4(pid, os.WNOHANG)
        if got:
            break
        if time.monotonic() > ended:
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.003)
    code = os.waitstatus_to_exitcode(status)
    told = [path.read_text("utf-8", "backslashreplace") for path in (out, err)]
    return Said(tuple(words), code, *told, used.ru_maxrss / 1024 - base, _trail(folder))


def _trail(folder: Path) -> str:
    crash = folder / "home" / "coach.log"
    return crash.read_text("utf-8", "replace")[-600:] if crash.is_file() else ""


def _own_mb() -> float:
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / _MB


def _become(folder: Path, out: Path, err: Path, env: Mapping[str, str], cpu_s: int, memory_mb: int) -> None:
    os.chdir(folder)
    os.environ.update({"COACH_HOME": str(folder / "home"), "HOME": str(folder), **env})
    for fd, path in ((1, out), (2, err)):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), fd)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
    sys.stderr = os.fdopen(2, "w", encoding="utf-8", errors="backslashreplace", closefd=False)
    room = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize() + 3 * memory_mb * _MB
    resource.setrlimit(resource.RLIMIT_AS, (room, room))
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s + 2))
    resource.setrlimit(resource.RLIMIT_FSIZE, (2048 * _MB, 2048 * _MB))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _drop_rights() -> None:
    """Without the capabilities that let root read and write what its owner may not (capset(2), version 3)."""
    libc = ctypes.CDLL(None, use_errno=True)
    head, none = (ctypes.c_uint32 * 2)(0x20080522, 0), (ctypes.c_uint32 * 6)()
    if os.geteuid() == 0 and libc.capset(head, none):
        raise OSError(ctypes.get_errno(), "capset")


def start(words: Sequence[str], folder: Path, *, env: Mapping[str, str] | None = None, **more: object) -> Said:
    """The same as a real process started anew: for what depends on how Python itself begins."""
    limit = 60 * slack()
    own = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "COACH_HOME": str(folder / "home"),
        "HOME": str(folder),
        **(env or {}),
    }
    given = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "cwd": folder, **more}
    program = subprocess.Popen([sys.executable, "-m", "coach", *words], env=own, **given)  # type: ignore[call-overload]
    try:
        out, err = program.communicate(timeout=limit)
    except subprocess.TimeoutExpired:
        program.kill()
        out, err = program.communicate()
    told = [(piece or b"").decode("utf-8", "backslashreplace") for piece in (out, err)]
    return Said(tuple(words), program.returncode, *told, 0.0, _trail(folder))


def fault(said: Said, *, codes: Sequence[int] = (0, 1, 2), alone: bool = False, memory_mb: int = 400) -> str | None:
    """What is wrong with how a command ended and with what it said, None where all is well.

    `alone`: nothing but the one sentence may stand on stderr where it failed (else notes may stand before it).
    """
    found = _fault(said, codes, alone, memory_mb)
    return found and f"coach {' '.join(map(_short, said.words))}: {found}"


def _fault(said: Said, codes: Sequence[int], alone: bool, memory_mb: int) -> str | None:
    lines = said.err.removesuffix("\n").split("\n") if said.err else []
    last = lines[-1] if lines else ""
    if "Traceback (most recent" in said.err or "did not foresee" in said.err:
        return f"unforeseen: {(said.trail or said.err).strip().splitlines()[-1][:200]}"
    if said.code in (-signal.SIGXCPU, -signal.SIGKILL):
        return "a hang: stopped after its time"
    if said.peak_mb > memory_mb:
        return f"took {said.peak_mb:.0f} MB more than at its start"
    if said.code not in codes:
        return f"exit code {said.code}, wanted one of {tuple(codes)}: {_short(last)}"
    if said.code in (1, 2) and not (said.words[:2] == ("song", "check") and said.out):  # it lists what is wrong
        if not last.strip():
            return f"exit code {said.code} without a sentence"
        if not last.endswith((".", "?")):
            return f"the last line is no whole sentence: {_short(last)!r}"
        if alone and len(lines) > 1:
            return f"{len(lines)} lines for one mistake: {_short(lines[0])!r}"
    for line in lines:
        if len(line) > LONGEST_SENTENCE:
            return f"a sentence of {len(line)} letters: {line[:80]!r}"
        if _STEERS.search(line):
            return f"signs that steer a terminal in a sentence: {line[:80]!r}"
        if not line.startswith("note: ") and not line.endswith((".", "?")):
            return f"a line on stderr that is no sentence: {line[:120]!r}"
    if steers := _STEERS.search(said.out):
        return f"{steers[0]!r}, which steers a terminal, on stdout: {said.out[max(steers.start() - 20, 0) :][:60]!r}"
    return None


def _short(word: str) -> str:
    return repr(word[:60] + ("…" if len(word) > 60 else "")) if not word.isprintable() or " " in word else word[:60]

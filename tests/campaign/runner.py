"""Runs cases side by side, each in a process of its own, until the time is over; then tells how they went."""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import signal
import tempfile
import time
import traceback
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules, walk_packages
from random import Random

from tests.campaign import homes
from tests.campaign.kind import Kind, slack


@dataclass
class Tally:
    """How the cases of one kind went: `failures` by seed; `used_s` is the time they took, `missing` what they lack."""

    kind: Kind
    tried: int = 0
    used_s: float = 0.0
    failures: dict[int, str] = field(default_factory=dict)
    missing: str = ""


@dataclass(frozen=True)
class _Running:
    tally: Tally
    seed: int
    pid: int
    pipe: int
    folder: Path
    begun: float
    until: float


def all_kinds() -> list[Kind]:
    """Every kind there is: those that the modules of `kinds/` list as KINDS."""
    import tests.campaign.kinds as folder

    modules = [import_module(f"{folder.__name__}.{found.name}") for found in iter_modules(folder.__path__)]
    return [kind for module in modules for kind in module.KINDS]


def warm() -> None:
    """Bring in once what commands need, so that a forked case need not."""
    import coach

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for found in walk_packages(coach.__path__, "coach."):
        if not found.name.startswith(("coach.__main__", "coach.screens")):
            import_module(found.name)
    for name in ("soundfile", "miniaudio", "music21", "reportlab.pdfgen.canvas", "sqlite3", "tomli_w"):
        with contextlib.suppress(ImportError):
            import_module(name)
    homes.ledger_bytes(12)


def run_case(kind: Kind, seed: int) -> str | None:
    """One case in this process, in a folder that is thrown away afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="coach-campaign-"))
    try:
        return kind.case(Random(f"{kind.name} {seed}"), folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def run(kinds: Sequence[Kind], seconds: float, seed: int, *, jobs: int = 2, count: int = 0) -> list[Tally]:
    """Cases of these kinds for so many seconds, the time shared among them, or `count` of each; each has one at least.

    The cases of a kind have the seeds `seed`, `seed` + 1 and so on.
    """
    tallies = [Tally(k, missing=", ".join(n for n in k.needs if shutil.which(n) is None)) for k in kinds]
    ready = [t for t in tallies if not t.missing]
    started = {t.kind.name: 0 for t in ready}
    running: list[_Running] = []
    end = time.monotonic() + seconds
    with _all_ended(running):
        while True:
            over = time.monotonic() > end
            left = [
                t for t in ready if (started[t.kind.name] < count if count else not over or not started[t.kind.name])
            ]
            if not left and not running:
                return tallies
            following = min(left, key=lambda t: _spent(t, running) / t.kind.share, default=None)
            crowded = len(running) >= jobs or any(r.tally.kind.alone for r in running)
            if following is not None and not crowded and not (following.kind.alone and running):
                running.append(_begin(following, seed + started[following.kind.name]))
                started[following.kind.name] += 1
                continue
            readable = select.select([r.pipe for r in running], [], [], 0.25)[0]
            for one in [r for r in running if r.pipe in readable or time.monotonic() > r.until]:
                running.remove(one)
                _finish(one)


def _spent(tally: Tally, running: Sequence[_Running]) -> float:
    now = time.monotonic()
    return tally.used_s + sum(max(now - r.begun, 0.1) for r in running if r.tally is tally)


def _begin(tally: Tally, seed: int) -> _Running:
    folder = Path(tempfile.mkdtemp(prefix="coach-campaign-"))
    ours, theirs = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            os.close(ours)
            try:
                found = tally.kind.case(Random(f"{tally.kind.name} {seed}"), folder) or ""
            except Exception:
                found = f"the campaign itself: {traceback.format_exc(limit=-3)}"
            os.write(theirs, b"told " + found.encode("utf-8", "backslashreplace")[:3900])
        finally:
            os._exit(0)
    os.close(theirs)
    now = time.monotonic()
    return _Running(tally, seed, pid, ours, folder, now, now + tally.kind.seconds * slack())


def _finish(one: _Running) -> None:
    if time.monotonic() > one.until:
        os.kill(one.pid, signal.SIGKILL)
        found = f"a hang: not done after {one.until - one.begun:.0f} s"
    else:
        told = b"".join(iter(lambda: os.read(one.pipe, 4096), b"")).decode()
        found = told.removeprefix("told ") if told else "the campaign itself: the case's process was ended"
    os.close(one.pipe)
    os.waitpid(one.pid, 0)
    if one.tally.kind.real and (left := end_all(one.folder)):
        found = found or f"processes are left over: {left}"
    shutil.rmtree(one.folder, ignore_errors=True)
    one.tally.tried += 1
    one.tally.used_s += time.monotonic() - one.begun
    if found:
        one.tally.failures[one.seed] = found


def end_all(folder: Path, patience_s: float = 1.5) -> str:
    """End what a case started and left, known by the folder in its environment; what that was, "" for nothing."""
    until = time.monotonic() + patience_s * slack()
    while (left := processes_of(folder)) and time.monotonic() < until:
        time.sleep(0.05)
    for pid, _ in left:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    return ", ".join(f"{pid} {name}" for pid, name in left)


def processes_of(folder: Path) -> list[tuple[int, str]]:
    """The processes that were started with `folder` in their environment, as (id, command)."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit() and int(entry.name) != os.getpid():
            with contextlib.suppress(OSError):
                if str(folder).encode() in (entry / "environ").read_bytes():
                    words = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode("utf-8", "replace")
                    found.append((int(entry.name), words[-60:].strip()))
    return found


@contextlib.contextmanager
def _all_ended(running: list[_Running]) -> Iterator[None]:
    """Whatever ends the run: no case of it goes on, and nothing that a case started."""
    try:
        yield
    finally:
        for one in running:
            with contextlib.suppress(ProcessLookupError):
                os.kill(one.pid, signal.SIGKILL)
            os.waitpid(one.pid, 0)
            end_all(one.folder, 0)
            shutil.rmtree(one.folder, ignore_errors=True)


def table(tallies: Sequence[Tally]) -> Iterator[str]:
    """The end's table: kind, tried, failed, and of each failure the command that shows it again."""
    wide = max(len(t.kind.name) for t in tallies)
    yield f"{'kind'.ljust(wide)}  tried  failed  seconds each"
    for t in tallies:
        note = f"  left out, missing tool: {t.missing}" if t.missing else ""
        yield f"{t.kind.name.ljust(wide)}  {t.tried:5}  {len(t.failures):6}  {t.used_s / max(t.tried, 1):12.2f}{note}"
    yield f"{'all'.ljust(wide)}  {sum(t.tried for t in tallies):5}  {sum(len(t.failures) for t in tallies):6}"
    for t in tallies:
        for seed, found in sorted(t.failures.items()):
            yield ""
            yield f"python -m tests.campaign --only {t.kind.name} --seed {seed} --count 1"
            yield f"    {found}"

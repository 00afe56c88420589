"""Closings: the coach plays, its terminal is in some state, and then the window is closed or a signal comes.

    python -m tests.campaign_closings 50            each kind so often, with and without a sound server
    python -m tests.campaign_closings 3 hung        those whose name has the word in it
    python -m tests.campaign_closings 200 verdict   a verdict told, and a kill at once
    python -m tests.campaign_closings 20 midi       a MIDI port that vanishes and returns

Each closing must be silent and ended in time, leave no process behind, and have everything written: the passes that
were known, and a setting that was changed on the stage. It prints a table and exits with 1 where one did not hold.
Silence is heard outside, on the wires of a JACK server on its dummy driver (one buffer is 43 ms).
"""

from __future__ import annotations

import contextlib
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, Queue, SimpleQueue
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from coach.log.ledger import Ledger
from tests.terminal_rig import Terminal

if TYPE_CHECKING:
    from tests.jack_rig import JackServer

DRILL = "two-four-answer"
SILENT_S, ENDED_S = 0.5, 3.0
PATIENCE_S = 60.0
SLOW = 2500  # bytes a second
LEAVES = b"\x1b[?1049l"  # back from the other screen


@dataclass(frozen=True)
class Kind:
    """A state of the terminal, for how long before the end, and what brings the end; `restored`: the terminal still
    reads, so it must be put right; `words`: what is run instead of the coach as it is."""

    name: str
    state: Callable[[Terminal], object]
    seconds: float
    deed: Callable[[Terminal], object]
    restored: bool = False
    words: tuple[str, ...] = ("-m", "coach")


# A coach whose event loop hangs for ever, in a lock and not in a sleep, once the key r is pressed on the stage.
HANGS = (
    "import threading\n"
    "from coach.screens.stage.stage_page import Stage\n"
    "Stage.action_repeat = lambda self: threading.Lock().acquire() and threading.Event().wait()\n"
    "from coach.cli import main\n"
    "raise SystemExit(main())\n"
)


def _read(_: Terminal) -> None:
    """All that comes is read."""


def _slow(terminal: Terminal) -> None:
    terminal.pace = SLOW


def _hung(terminal: Terminal) -> None:
    terminal.pace = 0


def _held(terminal: Terminal) -> None:
    terminal.hold()


def _sends(signum: int) -> Callable[[Terminal], object]:
    return lambda terminal: terminal.kill(signum)


def _stopped(terminal: Terminal) -> None:
    """The process itself is stopped, and gone on with after the signal, as a shell does for `kill %1`."""
    terminal.kill(signal.SIGSTOP)
    time.sleep(0.3)
    terminal.kill(signal.SIGTERM)
    terminal.kill(signal.SIGCONT)


def _hangs(terminal: Terminal) -> None:
    terminal.type("r")


KINDS = (
    Kind("read, closed", _read, 0.5, Terminal.hang_up),
    Kind("unread 0.2 s, closed", _hung, 0.2, Terminal.hang_up),
    Kind("unread 3 s, closed", _hung, 3.0, Terminal.hang_up),
    Kind("2.5 kB/s, closed", _slow, 3.0, Terminal.hang_up),
    Kind("held, closed", _held, 1.0, Terminal.hang_up),
    Kind("read, SIGTERM", _read, 0.5, _sends(signal.SIGTERM), restored=True),
    Kind("read, SIGHUP", _read, 0.5, _sends(signal.SIGHUP), restored=True),
    Kind("2.5 kB/s, SIGTERM", _slow, 3.0, _sends(signal.SIGTERM)),
    Kind("hung 4 s, SIGTERM", _hung, 4.0, _sends(signal.SIGTERM)),
    Kind("hung 4 s, SIGHUP", _hung, 4.0, _sends(signal.SIGHUP)),
    Kind("held, SIGTERM", _held, 1.0, _sends(signal.SIGTERM)),
    Kind("stopped and gone on with, SIGTERM", _read, 0.5, _stopped, restored=True),
    Kind("the app hangs, SIGTERM", _hangs, 0.5, _sends(signal.SIGTERM), restored=True, words=("-c", HANGS)),
    Kind("the app hangs, closed", _hangs, 0.5, Terminal.hang_up, words=("-c", HANGS)),
)


@dataclass(frozen=True)
class Outcome:
    """What one closing came to; `wrong` is what did not hold. Times in seconds from the deed on."""

    ended_s: float
    silent_s: float | None
    wrong: tuple[str, ...]


@contextlib.contextmanager
def playing(home: Path, env: dict[str, str], words: tuple[str, ...] = ("-m", "coach")) -> Iterator[Terminal]:
    """The stage at 400 beats a minute (a pass each 1.2 s) with a pass written and the guide a little softer."""
    with Ledger(home / "ledger.sqlite3") as ledger:
        ledger.add_whole_take(DRILL, 84, "held", 8)
    terminal = Terminal(*words, "drill", DRILL, "--tempo", "400", home=str(home), size=(24, 80), env=env)
    try:
        terminal.drain()
        end = time.monotonic() + PATIENCE_S
        while passes(home) < 1:
            assert time.monotonic() < end, "no pass was written"
            time.sleep(0.05)
        terminal.type("9")
        time.sleep(0.2)
        yield terminal
    finally:
        terminal.end_drain()
        if terminal.code is None:
            terminal.kill(signal.SIGKILL)
            terminal.wait(5)
        terminal.hang_up()


def passes(home: Path) -> int:
    """Passes played in the ledger now, read with nothing of the coach's."""
    db = sqlite3.connect(f"file:{home / 'ledger.sqlite3'}?mode=ro", uri=True)
    try:
        return int(db.execute("SELECT count(*) FROM passes").fetchone()[0])
    finally:
        db.close()


def left_over(home: Path) -> list[str]:
    """Processes that still have this home, but those that have ended and were not asked for."""
    mark, found = f"COACH_HOME={home}".encode(), []
    for place in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if mark in (place / "environ").read_bytes().split(b"\0"):
                found.append(place.name)
    return found


def check(home: Path, known: int) -> list[str]:
    """What is not written that should be."""
    wrong = []
    db = sqlite3.connect(home / "ledger.sqlite3")
    try:
        if db.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            wrong.append("the ledger is damaged")
        count = int(db.execute("SELECT count(*) FROM passes").fetchone()[0])
        if count < known:
            wrong.append(f"{known - count} passes lost")
    finally:
        db.close()
    settings = home / "settings.toml"
    if not settings.exists() or tomllib.loads(settings.read_text()).get("guide_volume") != 0.5:
        wrong.append("the settings are not saved")
    return wrong


def close_once(
    kind: Kind,
    home: Path,
    env: dict[str, str],
    record: Recorder | None = None,
    *,
    silent_s: float = SILENT_S,
    ended_s: float = ENDED_S,
) -> Outcome:
    """One closing of a kind."""
    with playing(home, env, kind.words) as terminal, record() if record else contextlib.nullcontext() as take:
        kind.state(terminal)
        time.sleep(kind.seconds)
        known = passes(home)
        begun, wall = time.perf_counter(), time.time()
        kind.deed(terminal)
        code = terminal.wait(10 * ended_s)
        ended = time.perf_counter() - begun
        silent = take(wall) if take else None
        wrong = [] if code == 0 else ["it lives" if code is None else f"exit code {code}"]
        if kind.restored:
            time.sleep(0.1)
            if LEAVES not in terminal.last:
                wrong.append("the terminal is not restored")
        left = [pid for pid in left_over(home) if pid != str(terminal.pid) or code is not None]
        wrong += [f"left over: {pid}" for pid in left]
        wrong += check(home, known)
    if ended > ended_s:
        wrong.append(f"ended after {ended:.2f} s")
    if silent is not None and silent > silent_s:
        wrong.append(f"silent after {silent:.2f} s")
    return Outcome(ended, silent, tuple(wrong))


VERDICTS = {"l": "lost", "s": "shaky", "h": "held", "f": "flowing"}
ASKING = b"goes on by itself"


def verdict_once(home: Path, env: dict[str, str], signum: int, key: str) -> tuple[str, ...]:
    """A verdict is told and the coach is killed: by a signal it hears of at once, or outright (SIGKILL) as
    soon as the page that asks has gone; what was wrong."""
    with playing(home, env) as terminal:
        terminal.end_drain()
        terminal.type("e")
        if ASKING not in terminal.read(PATIENCE_S, ASKING):
            return ("it did not ask",)
        terminal.read(0.2)
        terminal.type(key)
        if signum == signal.SIGKILL:
            end = time.monotonic() + PATIENCE_S
            while not (got := terminal.read(1.0, b"\x1b")) or ASKING in got + terminal.read(0.02):
                if time.monotonic() > end:
                    return ("the page did not go",)
        terminal.kill(signum)
        while terminal.wait(0.01) is None:
            terminal.read(0.01)
    with Ledger(home / "ledger.sqlite3") as ledger:
        verdict = ledger.takes(DRILL)[-1].verdict
    return () if verdict == VERDICTS[key] else (f"told {VERDICTS[key]}, kept {verdict}",)


def verdicts(count: int, at_once: int = 3) -> int:
    """`count` verdicts before each way to be killed; 1 where one was lost."""
    ways = (signal.SIGTERM, signal.SIGKILL)

    def one(n: int) -> tuple[str, ...]:
        with TemporaryDirectory(prefix="coach-verdict-") as home:
            return verdict_once(Path(home), no_server(), ways[n % len(ways)], "lshf"[n % 4])

    with ThreadPoolExecutor(at_once) as pool:
        answers = list(pool.map(one, range(count * len(ways))))
    for n, way in enumerate(ways):
        mine = answers[n :: len(ways)]
        print(f"verdict, then {way.name}: {sum(not a for a in mine)} of {len(mine)} kept")
    for what, times in Counter(w for a in answers for w in a).most_common():
        print(f"{times:4} × {what}")
    return 1 if any(answers) else 0


def instruments(count: int) -> int:
    """An instrument of a JACK server's vanishes in the middle of a run and returns, `count` times; 1 where the player
    did not take it back."""
    returns: list[float] = []
    with contextlib.ExitStack() as stack:
        server = _begin(stack)
        ear = _lines(server, ["ear"])
        assert ear.find("ready", PATIENCE_S) is not None
        name = next(n for n in server.ports() if "instrument" in n)
        player = _lines(server, ["play", name])
        for n in range(count):
            if ear.find("note", PATIENCE_S) is None:
                print(f"no note before the instrument vanished for time {n + 1}; it said {player.seen}")
                return 1
            ear.program.kill()
            ear.program.wait(10)
            if player.find("has gone", PATIENCE_S) is None:
                print(f"nothing was said when the instrument vanished for time {n + 1}: {player.seen}")
                return 1
            ear = _lines(server, ["ear"])
            assert ear.find("ready", PATIENCE_S) is not None
            back = time.perf_counter()
            if ear.find("note", PATIENCE_S) is None or player.find("is back", PATIENCE_S) is None:
                print(f"it was not taken back at time {n + 1}; it said {player.seen}")
                return 1
            returns.append(time.perf_counter() - back)
    print(f"a MIDI port vanished and returned {count} times: taken back each time, at most {max(returns):.2f} s later")
    return 0


class _Lines:
    """A program on a server, and the lines it has printed."""

    def __init__(self, program: subprocess.Popen[bytes]) -> None:
        self.program = program
        self.seen: list[str] = []
        self._new: Queue[str] = Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.program.stdout is not None
        with contextlib.suppress(ValueError):  # closed meanwhile
            for line in self.program.stdout:
                self._new.put(line.decode())

    def find(self, word: str, limit_s: float) -> str | None:
        """The next line with `word` in it."""
        end = time.monotonic() + limit_s
        while (left := end - time.monotonic()) > 0:
            with contextlib.suppress(Empty):
                self.seen.append(self._new.get(timeout=left))
                if word in self.seen[-1]:
                    return self.seen[-1]
        return None


def _lines(server: JackServer, words: list[str]) -> _Lines:
    return _Lines(server.run(["-m", "tests.play_midi_long", *words]))


Recorder = Callable[[], contextlib.AbstractContextManager[Callable[[float], float]]]


@contextlib.contextmanager
def recorder(env: dict[str, str], place: Path) -> Iterator[Callable[[float], float]]:
    """Records what the coach plays; the function given stops that, and tells for how many seconds after a moment it
    could still be heard (negative: it was silent before)."""
    import numpy as np

    from tests.jack_rig import RATE, end, goes_first, read_wav

    path = place / f"take{time.monotonic_ns()}.wav"
    words = ["jack_capture", "-c", "1", "-p", "coach:playback0", "-ns", "-dc", "-f", "wav", str(path)]
    nothing = subprocess.DEVNULL
    program = subprocess.Popen(words, env=env, stdin=nothing, stdout=nothing, stderr=nothing)
    goes_first(program.pid)

    def silent(moment: float) -> float:
        time.sleep(0.7)  # what is still heard now lies after the moment
        stopped = time.time()
        program.send_signal(signal.SIGINT)
        program.wait(20)
        samples = read_wav(path)
        loud = np.flatnonzero(np.abs(samples) > 1e-3)
        assert len(loud), "nothing was heard at all"
        return float(stopped - (len(samples) - loud[-1]) / RATE - moment)

    try:
        limit = time.monotonic() + PATIENCE_S
        while not path.exists() or path.stat().st_size < 20000:
            assert time.monotonic() < limit, "the recorder does not begin"
            time.sleep(0.05)
        yield silent
    finally:
        end(program)
        path.unlink(missing_ok=True)


def no_server() -> dict[str, str]:
    """The environment of a machine on which nothing can be heard."""
    return {"JACK_NO_START_SERVER": "1", "JACK_DEFAULT_SERVER": "nobody", "PULSE_SERVER": "unix:/nowhere"}


_STARTS = threading.Lock()


def _begin(stack: contextlib.ExitStack) -> JackServer:
    """A sound server of one's own; two that start in the same moment stand in each other's way."""
    from _pytest.outcomes import Failed

    from tests.jack_rig import jack_server

    with _STARTS:
        for again in range(4):
            try:
                return stack.enter_context(jack_server())
            except Failed:
                time.sleep(1 + again)
        return stack.enter_context(jack_server())


Rows = dict[tuple[str, bool], list[Outcome]]


def _line(kinds: list[Kind], count: int, heard: bool, rows: Rows, at_once: int) -> None:
    """`count` closings of each kind, `at_once` side by side (each with a sound server has that to itself)."""
    todo: SimpleQueue[Kind] = SimpleQueue()
    for _ in range(count):
        for kind in kinds:
            todo.put(kind)

    def work() -> None:
        with contextlib.ExitStack() as stack:
            env = no_server()
            server = _begin(stack) if heard else None
            if server is not None:
                env = {**{k: v for k, v in server.env.items() if k.startswith("JACK")}, "PULSE_SERVER": "unix:/nowhere"}
            while not todo.empty():
                with contextlib.suppress(Exception):
                    kind = todo.get_nowait()
                    with TemporaryDirectory(prefix="coach-closing-") as home:
                        listen = (lambda: recorder(server.env, server.place)) if server is not None else None
                        try:
                            outcome = close_once(kind, Path(home), env, listen)
                        except Exception as error:
                            outcome = Outcome(0.0, None, (f"could not be tried: {error!r}",))
                    rows.setdefault((kind.name, heard), []).append(outcome)

    with ThreadPoolExecutor(at_once) as pool:
        for done in [pool.submit(work) for _ in range(at_once)]:
            done.result()


def main(count: int, word: str = "", at_once: int = 2) -> int:
    """The table of `count` closings of each kind; 1 where one did not hold."""
    rows: Rows = {}
    kinds = [kind for kind in KINDS if word in kind.name]
    for heard in (False, True):
        _line(kinds, count, heard, rows, at_once)
    return report(rows)


def report(rows: Rows) -> int:
    """The table; 1 where something did not hold."""
    print(f"{'kind':36} {'server':7} {'tried':>5} {'failed':>6} {'silent, longest':>16} {'ended, longest':>15}")
    wrong: Counter[str] = Counter()
    for (name, heard), outcomes in sorted(rows.items()):
        failed = [o for o in outcomes if o.wrong]
        silent = max((o.silent_s for o in outcomes if o.silent_s is not None), default=None)
        said = "-" if silent is None else f"{silent:.2f} s"
        ended = f"{max(o.ended_s for o in outcomes):.2f} s"
        print(f"{name:36} {'yes' if heard else 'no':7} {len(outcomes):5} {len(failed):6} {said:>16} {ended:>15}")
        wrong.update(f"{name}, server {'yes' if heard else 'no'}: {what}" for o in failed for what in o.wrong)
    for what, times in wrong.most_common():
        print(f"{times:4} × {what}")
    return 1 if wrong else 0


if __name__ == "__main__":
    number, asked = int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else ""
    others = {"verdict": verdicts, "midi": instruments}
    sys.exit(others[asked](number) if asked in others else main(number, asked))

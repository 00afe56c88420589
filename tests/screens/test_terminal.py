"""On a real terminal: however the coach is ended, the terminal is left as it was and every finished pass is kept."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from coach.log.ledger import Ledger

if sys.platform == "win32":
    pytest.skip("needs a pseudo terminal", allow_module_level=True)

from tests.campaign_closings import KINDS, close_once, no_server, recorder, verdict_once
from tests.jack_rig import JackServer, tries
from tests.terminal_rig import Terminal

DRILL = "two-four-answer"
PATIENCE_S = 20.0
# Half a second is the aim; a machine with much else to do gets more.
LIMIT_S = 3.0


# A coach that must leave by itself: the watch beside it, which would end it after a while, takes its time.
ALONE = (
    "from coach.screens import watchdog\n"
    "watchdog.TAKE_OVER_S = watchdog.WRITTEN_S = watchdog.LIMIT_S = 1000.0\n"
    "from coach.cli import main\n"
    "raise SystemExit(main())\n"
)


def passes(home: Path) -> int:
    """Passes in the ledger now, while the coach has it open."""
    path = home / "ledger.sqlite3"
    with Ledger(path) as ledger:
        return int(ledger.rows("SELECT count(*) FROM passes")[0][0])


def wait_for(fact: Callable[[], bool], what: str) -> None:
    """Wait for another process."""
    end = time.monotonic() + PATIENCE_S
    while not fact():
        assert time.monotonic() < end, f"waited in vain for {what}"
        time.sleep(0.02)


@pytest.fixture
def heard(tmp_path: Path) -> Path:
    """A home in which the drill was played today, so that it need not be listened to first."""
    home = tmp_path / "played"
    home.mkdir()
    with Ledger(home / "ledger.sqlite3") as ledger:
        ledger.add_whole_take(DRILL, 84, "held", 8)
    return home


@pytest.fixture
def playing(heard: Path) -> Iterator[tuple[Terminal, Path]]:
    """The stage of a terminal, 2/4 at 400 bpm, with at least one pass in the ledger: a pass every 1.2 seconds."""
    terminal = Terminal("-c", ALONE, "drill", DRILL, "--tempo", "400", home=str(heard), size=(24, 80))
    try:
        assert b"\x1b[?1049h" in terminal.read(PATIENCE_S, b"\x1b[?1049h"), "the coach never drew"
        end = time.monotonic() + PATIENCE_S
        while passes(heard) < 1:
            terminal.read(0.05)
            assert time.monotonic() < end, "no pass was written"
        yield terminal, heard
    finally:
        terminal.kill(signal.SIGKILL)
        os.close(terminal.fd)


def ended(terminal: Terminal, begun: float) -> tuple[int, float, bytes]:
    """Exit code, seconds since `begun`, and all that was still written; reads on meanwhile, as a terminal does."""
    got = b""
    while time.perf_counter() - begun < PATIENCE_S:
        got += terminal.read(0.02)
        pid, status = os.waitpid(terminal.pid, os.WNOHANG)
        if pid:
            seconds = time.perf_counter() - begun
            got += terminal.read(0.2)
            return os.waitstatus_to_exitcode(status), seconds, got
    raise AssertionError("the coach did not end")


def check_sane(got: bytes) -> None:
    """The last word on each mode of the terminal is the one it had before."""
    for mode, last in ((1049, b"l"), (1000, b"l"), (1003, b"l"), (1006, b"l"), (2004, b"l"), (25, b"h")):
        said = re.findall(rb"\x1b\[\?%d([hl])" % mode, got)
        assert said, f"mode {mode} was not restored"
        assert said[-1] == last, f"mode {mode} was left {said[-1]!r}"
    # The alternate screen is left at the end: nothing is drawn after it but a line the shell may keep.
    rest = got[got.rindex(b"\x1b[?1049l") :]
    assert b"\x1b[?1049h" not in rest
    assert "Traceback" not in got.decode("utf-8", "replace")


WAYS: dict[str, Callable[[Terminal], None]] = {
    "SIGTERM": lambda terminal: terminal.kill(signal.SIGTERM),
    "ctrl-c": lambda terminal: terminal.type("\x03"),
    "ctrl-q": lambda terminal: terminal.type("\x11"),
}


@pytest.mark.parametrize("way", WAYS)
def test_ended_while_it_plays(way: str, playing: tuple[Terminal, Path]) -> None:
    """In the middle of a pass: gone within seconds, exit code 0, a sane terminal, and the passes in the ledger."""
    terminal, home = playing
    known = passes(home)
    begun = time.perf_counter()
    WAYS[way](terminal)
    code, seconds, got = ended(terminal, begun)
    print(f"{way}: ended in {seconds:.2f} s")
    assert code == 0
    assert seconds < LIMIT_S
    check_sane(got)
    after = termios.tcgetattr(terminal.fd)
    assert after[3] & (termios.ICANON | termios.ECHO | termios.ISIG) == termios.ICANON | termios.ECHO | termios.ISIG
    with Ledger(home / "ledger.sqlite3") as ledger:
        assert ledger.rows("PRAGMA integrity_check") == [("ok",)]
        take = ledger.takes(DRILL)[-1]
    assert len(take.passes) >= known >= 1
    assert [p.number for p in take.passes] == list(range(1, len(take.passes) + 1))


def test_killed_outright_it_loses_no_finished_pass(playing: tuple[Terminal, Path]) -> None:
    """SIGKILL: the terminal cannot be tidied, and yet every pass that was in the ledger is there."""
    terminal, home = playing
    known = passes(home)
    begun = time.perf_counter()
    terminal.kill(signal.SIGKILL)
    code, _, got = ended(terminal, begun)
    assert code == -signal.SIGKILL
    assert passes(home) >= known >= 1
    with pytest.raises(AssertionError, match="was not restored"):
        check_sane(got)


# A real ending takes a quarter of a second, and is held to three where nothing else runs
# (`python -m tests.campaign_closings 50`).
ENDED_S, SILENT_S = 12.0, 3.0
OFTEN_COME_BY = ("read, SIGTERM", "read, SIGHUP", "unread 0.2 s, closed", "hung 4 s, SIGHUP", "2.5 kB/s, closed")


def test_whatever_the_terminal_does_the_coach_ends(tmp_path: Path) -> None:
    """Closed, slow, held, not reading, or an app that hangs: the process ends, all is written, nothing is left over."""
    kinds = [kind for kind in KINDS if kind.name not in OFTEN_COME_BY]

    def wrong(n: int) -> list[str]:
        home = tmp_path / str(n)
        home.mkdir()
        return [f"{kinds[n].name}: {what}" for what in close_once(kinds[n], home, no_server(), ended_s=ENDED_S).wrong]

    with ThreadPoolExecutor(len(kinds)) as pool:
        assert [what for found in pool.map(wrong, range(len(kinds))) for what in found] == []


@pytest.mark.jack
def test_a_window_that_closes_ends_the_sound(tmp_path: Path) -> None:
    """On the wires of a sound server: silence after the window was closed on a terminal that had not read, and after
    SIGTERM to an app that hangs."""
    homes = iter(range(100))

    def closes(server: JackServer) -> None:
        env = {name: value for name, value in server.env.items() if name.startswith("JACK")}
        for name in ("unread 3 s, closed", "the app hangs, SIGTERM"):
            home = tmp_path / str(next(homes))
            home.mkdir()
            kind = next(kind for kind in KINDS if kind.name == name)
            record = lambda: recorder(server.env, server.place)  # noqa: E731
            outcome = close_once(kind, home, {**no_server(), **env}, record, silent_s=SILENT_S, ended_s=ENDED_S)
            print(f"{name}: silent after {outcome.silent_s:.2f} s, ended after {outcome.ended_s:.2f} s")
            assert outcome.wrong == ()

    tries(closes)


def test_a_verdict_told_is_kept(tmp_path: Path) -> None:
    """Told and killed at once, by a signal that is heard or outright once the page has gone: it is in the ledger."""

    def wrong(signum: int) -> tuple[str, ...]:
        home = tmp_path / str(signum)
        home.mkdir()
        return verdict_once(home, no_server(), signum, "f")

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(wrong, (signal.SIGTERM, signal.SIGKILL))) == [(), ()]


# To the shell and back ------------------------------------------------------------------------


@pytest.fixture
def tmux(heard: Path) -> Iterator[Callable[..., str]]:
    """A shell in a terminal multiplexer of its own, 100 by 30."""
    if shutil.which("tmux") is None:
        pytest.skip("missing tool: tmux")
    socket = str(heard / "mux")

    def run(*words: str) -> str:
        env = {**os.environ, "COACH_HOME": str(heard), "PS1": "shore> ", "TERM": "xterm-256color"}
        env.pop("TMUX", None)
        done = subprocess.run(["tmux", "-S", socket, *words], env=env, capture_output=True, text=True, timeout=10)
        return done.stdout

    run("-f", os.devnull, "new-session", "-d", "-x", "100", "-y", "30", "bash --norc --noprofile")
    try:
        yield run
    finally:
        run("kill-server")


def test_to_the_shell_and_back(tmux: Callable[..., str], heard: Path) -> None:
    """Ctrl-z while it plays: the shell has its screen again; fg brings the stage back, stopped; enter goes on."""

    def screen() -> str:
        return tmux("capture-pane", "-p")

    python = f"{sys.executable} -m coach drill {DRILL} --tempo 200"
    tmux("send-keys", python, "Enter")
    wait_for(lambda: "pass 1" in screen(), "the first pass")
    begun = time.perf_counter()
    tmux("send-keys", "C-z")
    wait_for(lambda: "Stopped" in screen() and "beats a minute" not in screen(), "the shell")
    print(f"to the shell in {time.perf_counter() - begun:.2f} s")
    assert tmux("display-message", "-p", "#{alternate_on} #{mouse_any_flag} #{cursor_flag}").split() == ["0", "0", "1"]
    tmux("send-keys", "echo ferry $((6*7))", "Enter")
    wait_for(lambda: "ferry 42" in screen(), "the shell's answer")
    tmux("send-keys", "fg", "Enter")
    wait_for(lambda: "beats a minute" in screen() and "stopped" in screen(), "the stage, stopped")
    assert tmux("display-message", "-p", "#{alternate_on}").strip() == "1"
    tmux("send-keys", "Enter")
    wait_for(lambda: "pass 2" in screen(), "going on")
    tmux("send-keys", "C-c")
    wait_for(lambda: "ferry 42" in screen() and "beats a minute" not in screen(), "the shell again")
    # Really the shell's again, and not a process that lingers after its screen has gone.
    tmux("send-keys", "echo landing $((5*5))", "Enter")
    wait_for(lambda: "landing 25" in screen(), "the shell's second answer")
    assert passes(heard) >= 1


def _state(pid: str) -> str:
    """The letter the system gives a process (T: stopped, Z: ended and not yet asked for), nothing once it has gone."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0]
    except (FileNotFoundError, ProcessLookupError):
        return ""


@pytest.mark.parametrize("back", [True, False], ids=["back again", "still stopped"])
def test_a_window_closed_after_a_visit_to_the_shell(tmux: Callable[..., str], heard: Path, back: bool) -> None:
    """Stopped and, or not, gone on with; then the terminal goes: no process is left behind."""

    def screen() -> str:
        return tmux("capture-pane", "-p")

    tmux("send-keys", f"{sys.executable} -m coach drill {DRILL} --tempo 200", "Enter")
    wait_for(lambda: "pass 1" in screen(), "the first pass")
    shell = tmux("display-message", "-p", "#{pane_pid}").strip()
    coach = Path(f"/proc/{shell}/task/{shell}/children").read_text().strip()
    os.kill(int(coach), signal.SIGTSTP)
    wait_for(lambda: "Stopped" in screen() and "beats a minute" not in screen(), "the shell")
    assert _state(coach) == "T"
    if back:
        tmux("send-keys", "fg", "Enter")
        wait_for(lambda: "beats a minute" in screen(), "the stage")
        assert _state(coach) != "T"
    tmux("kill-server")
    wait_for(lambda: _state(coach) in ("", "Z"), "the end of the process")


def test_ended_by_the_shell_while_it_is_stopped(tmux: Callable[..., str], heard: Path) -> None:
    """Ctrl-z, then `kill %1`, for which a shell sends SIGTERM and SIGCONT: it ends there, in the background."""

    def screen() -> str:
        return tmux("capture-pane", "-p")

    tmux("send-keys", f"{sys.executable} -m coach drill {DRILL} --tempo 200", "Enter")
    wait_for(lambda: "pass 1" in screen(), "the first pass")
    tmux("send-keys", "C-z")
    wait_for(lambda: "Stopped" in screen() and "beats a minute" not in screen(), "the shell")
    shell = tmux("display-message", "-p", "#{pane_pid}").strip()
    coach = Path(f"/proc/{shell}/task/{shell}/children").read_text().strip()
    tmux("send-keys", "kill %1", "Enter")
    wait_for(lambda: _state(coach) in ("", "Z"), "the end of the process")
    tmux("send-keys", "echo landing $((5*5))", "Enter")
    wait_for(lambda: "landing 25" in screen(), "the shell's answer")


def test_a_thread_that_never_ends_does_not_keep_the_process() -> None:
    """Whatever still reads keys when all is written, the process ends, with the code it should have."""
    program = (
        "import threading, time\n"
        "threading.Thread(target=time.sleep, args=(60,)).start()\n"
        "from coach.screens.app import _end_if_held_up\n"
        "_end_if_held_up(7)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], timeout=30, check=False)
    assert done.returncode == 7

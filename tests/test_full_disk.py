"""A disk that is full or fails: what was played can be read, what cannot be written is told, and nothing is lost."""

from __future__ import annotations

import errno
import json
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from tests.calls import shell
from tests.full_disk import full_disk

if sys.platform == "win32":
    pytest.skip("needs a pseudo terminal", allow_module_level=True)

from tests.terminal_rig import Terminal

ERRORS = {errno.ENOSPC: "the disk is full", errno.EDQUOT: "the disk is full", errno.EIO: "the disk fails"}
DRILL = "two-four-answer"
PATIENCE_S = 60.0


@pytest.fixture
def home(coach_home: Path) -> Path:
    """A home with one take, played today."""
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        ledger.add_whole_take(DRILL, 84, "held", 8)
    return coach_home


def everything(home: Path) -> dict[str, bytes]:
    """All files, with what is in them, but for SQLite's own beside the ledger, which may be made and left empty."""
    return {p.name: p.read_bytes() for p in home.iterdir() if not p.name.endswith(("-wal", "-shm"))}


@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize("command", ["log", "today", "drills"])
def test_what_only_reads_answers_and_says_why_nothing_can_be_written(
    home: Path, tmp_path: Path, error: int, command: str
) -> None:
    """Exit code 0, the same answer as on a sound disk, and one note about the disk."""
    assert shell(command).returncode == 0  # what is kept at hand is there
    before = everything(home)
    said = shell(command, "--json", env=full_disk(home, tmp_path, error=error))
    assert everything(home) == before
    assert (said.returncode, said.stderr.count("\n")) == (0, 1)
    assert ERRORS[error] in said.stderr
    sound = shell(command, "--json", env=dict(os.environ))
    assert json.loads(said.stdout) == json.loads(sound.stdout)
    assert sound.stderr == ""


@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize(
    "line",
    [
        f"log add --drill {DRILL} --tempo 80 --verdict held",
        "log export {home}/log.json",
        "click --tempo 80 --bars 2 -o {home}/click.wav",
        "song new {home}/songs/new.song.toml",
    ],
)
def test_what_writes_says_so_and_leaves_everything_as_it_was(
    home: Path, tmp_path: Path, error: int, line: str
) -> None:
    """Exit code 1, the sentence names the disk, and not a byte of what was there has changed."""
    before = everything(home)
    said = shell(*line.format(home=home).split(), env=full_disk(home, tmp_path, error=error))
    assert (said.returncode, said.stdout) == (1, "")
    assert ERRORS[error] in said.stderr.splitlines()[-1]
    assert everything(home) == before


def test_on_a_full_disk_without_a_ledger_there_is_a_plan(coach_home: Path, tmp_path: Path) -> None:
    """Nothing was begun, and nothing can be: today's practice is proposed all the same, after a failed entry too."""
    coach_home.mkdir()
    env = full_disk(coach_home, tmp_path)
    assert shell("today", env=env).returncode == 0
    assert shell("log", "add", "--drill", DRILL, "--tempo", "80", "--verdict", "held", env=env).returncode == 1
    said = shell("today", env=env)
    assert (said.returncode, said.stdout[:6]) == (0, "Today:")


KILLED = """
import os, sys
from coach.log.ledger import Ledger
ledger = Ledger(sys.argv[1])
ledger.add_whole_take("lantern-walk", 84, "held", 8)
os._exit(9)
"""


@pytest.mark.parametrize("sides", ["as it was left", "without the index of the log"])
def test_what_a_killed_coach_left_in_the_log_beside_the_ledger_is_read_too(
    home: Path, tmp_path: Path, sides: str
) -> None:
    """The take is in the write-ahead log alone; on the full disk it cannot be moved, and is in the answer."""
    subprocess.run([sys.executable, "-c", KILLED, str(home / "ledger.sqlite3")], check=False)
    assert (home / "ledger.sqlite3-wal").stat().st_size > 0
    if sides == "without the index of the log":
        (home / "ledger.sqlite3-shm").unlink()
    said = shell("log", "--json", env=full_disk(home, tmp_path))
    assert said.returncode == 0, said.stderr
    assert [row["drill"] for row in json.loads(said.stdout)] == [DRILL, "lantern-walk"]


def passes(home: Path) -> int:
    """Passes in the ledger, read without a byte written."""
    with closing(sqlite3.connect(f"{(home / 'ledger.sqlite3').as_uri()}?mode=ro", uri=True)) as db:
        return int(db.execute("SELECT count(*) FROM passes").fetchone()[0])


@pytest.fixture
def playing(home: Path, tmp_path: Path) -> Iterator[tuple[Terminal, Path]]:
    """The stage at 400 bpm, a pass every 1.2 seconds; and the name of the file that fills its disk."""
    full = tmp_path / "full"
    env = full_disk(home, tmp_path, when=full)
    terminal = Terminal("-m", "coach", "drill", DRILL, "--tempo", "400", home=str(home), size=(24, 80), env=env)
    try:
        assert b"\x1b[?1049h" in terminal.read(PATIENCE_S, b"\x1b[?1049h"), "the coach never drew"
        wait_for(terminal, lambda: passes(home) >= 1)
        yield terminal, full
    finally:
        terminal.kill(9)
        os.close(terminal.fd)


def wait_for(terminal: Terminal, fact) -> bytes:
    """Read on until it is so; what was read."""
    end, got = time.monotonic() + PATIENCE_S, b""
    while not fact():
        got += terminal.read(0.1)
        assert time.monotonic() < end, got[-2000:]
    return got


def left(terminal: Terminal) -> tuple[int, str]:
    """Leave with ctrl-q: the exit code, and what was still written."""
    terminal.type("\x11")
    end, got = time.monotonic() + PATIENCE_S, b""
    while time.monotonic() < end:
        got += terminal.read(0.1)
        pid, status = os.waitpid(terminal.pid, os.WNOHANG)
        if pid:
            return os.waitstatus_to_exitcode(status), (got + terminal.read(0.2)).decode("utf-8", "replace")
    raise AssertionError("it does not end")


def test_leaving_the_app_with_entries_unwritten_is_exit_code_1(home: Path, playing: tuple[Terminal, Path]) -> None:
    """The disk fills up while one plays: the stage goes on and says so, and on leaving it is told how many entries
    could not be written."""
    terminal, full = playing
    full.touch()
    before, got = passes(home), b""
    end = time.monotonic() + PATIENCE_S
    while b"disk is full" not in got and time.monotonic() < end:
        got += terminal.read(0.2)
    assert b"disk is full" in got
    code, said = left(terminal)
    assert code == 1
    assert "could not be written to" in said
    assert passes(home) == before


def test_what_was_played_meanwhile_is_written_once_there_is_room(home: Path, playing: tuple[Terminal, Path]) -> None:
    """Full for some passes, then not: none of them is missing, and leaving is exit code 0."""
    terminal, full = playing
    full.touch()
    got = b""
    end = time.monotonic() + PATIENCE_S
    while b"disk is full" not in got and time.monotonic() < end:
        got += terminal.read(0.2)
    before = passes(home)
    terminal.read(2.5)
    assert passes(home) == before
    full.unlink()
    wait_for(terminal, lambda: passes(home) > before + 1)
    code, said = left(terminal)
    assert (code, "could not" in said) == (0, False)
    with closing(sqlite3.connect(home / "ledger.sqlite3")) as db:
        numbers = [n for (n,) in db.execute("SELECT number FROM passes ORDER BY number")]
    assert numbers == list(range(numbers[0], numbers[0] + len(numbers)))

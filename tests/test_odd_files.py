"""What is no ordinary file where one is looked for, and streams that are closed: a sentence each, and nothing waits."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from tests.calls import Run, shell

if sys.platform == "win32":
    pytest.skip("needs links, pipes and sockets in folders", allow_module_level=True)

ADD = "log add --drill outside-in --tempo 80 --verdict held"
LIMIT_S = 60  # an opened pipe would wait for ever


def _socket(path: Path) -> None:
    here = Path.cwd()
    os.chdir(path.parent)  # the address of a socket is short
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
    finally:
        os.chdir(here)


ODD: dict[str, Callable[[Path], None]] = {
    "a link in a circle": lambda path: path.symlink_to(path),
    "a pipe": lambda path: os.mkfifo(path),
    "a socket": _socket,
    "a device": lambda path: path.symlink_to("/dev/zero"),
    "a folder": lambda path: path.mkdir(),
}


@pytest.mark.parametrize("odd", ODD)
def test_in_the_place_of_the_ledger(coach_home: Path, odd: str) -> None:
    """Nothing is read and nothing logged: one sentence for each, and what lies there stays. The patterns are there."""
    coach_home.mkdir()
    ODD[odd](coach_home / "ledger.sqlite3")
    before = (coach_home / "ledger.sqlite3").lstat().st_mode
    for line in ("log", "today", "drills", ADD, "log export {home}/l.csv", "song due last-boat rest"):
        said = shell(*line.format(home=coach_home).split(), timeout=LIMIT_S)
        assert said.returncode == (1 if odd == "a link in a circle" else 2), (line, said.stderr)
        assert (said.stdout, said.stderr.count("\n")) == ("", 1), line
        assert str(coach_home / "ledger.sqlite3") in said.stderr
    assert shell("patterns", timeout=LIMIT_S).returncode == 0
    assert (coach_home / "ledger.sqlite3").lstat().st_mode == before


@pytest.mark.parametrize("odd", ODD)
def test_in_the_place_of_the_settings(coach_home: Path, odd: str) -> None:
    """The usual settings serve, and it is told; today's practice is there."""
    coach_home.mkdir()
    ODD[odd](coach_home / "settings.toml")
    said = shell("today", timeout=LIMIT_S)
    assert (said.returncode, said.stdout[:6], said.stderr.count("\n")) == (0, "Today:", 1)
    assert "so the usual settings serve" in said.stderr


@pytest.mark.parametrize("odd", [odd for odd in ODD if odd != "a folder"])
@pytest.mark.parametrize(("name", "command"), [("songs", "song"), ("patterns", "patterns")])
def test_in_the_place_of_a_folder_of_the_players(coach_home: Path, odd: str, name: str, command: str) -> None:
    """What is shipped is listed, and why nothing of the player's own is."""
    coach_home.mkdir()
    ODD[odd](coach_home / name)
    said = shell(command, timeout=LIMIT_S)
    assert (said.returncode, said.stderr.count("\n")) == (0, 1)
    assert f"{coach_home / name}: this folder cannot be looked into" in said.stderr
    assert len(said.stdout.splitlines()) > 3
    assert shell("today", timeout=LIMIT_S).returncode == 0


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("name", ["ledger.estimates.sqlite3", "ledger.songdrills.json", "coach.log"])
def test_in_the_place_of_what_is_only_kept_at_hand(coach_home: Path, odd: str, name: str) -> None:
    """It is done without: the answer is there, and no word is lost on it."""
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        ledger.add_whole_take("last-boat/plain", 84, "held", 8)
    ODD[odd](coach_home / name)
    said = shell("today", timeout=LIMIT_S)
    assert (said.returncode, said.stderr) == (0, "")


@pytest.mark.parametrize("odd", ODD)
def test_in_the_place_of_the_home(tmp_path: Path, odd: str) -> None:
    """Nothing is kept there, and it is told; what is shipped is there."""
    home = tmp_path / "odd"
    ODD[odd](home)
    if odd == "a folder":
        return
    env = {**os.environ, "COACH_HOME": str(home)}
    said = shell(*ADD.split(), env=env, timeout=LIMIT_S)
    assert (said.returncode, said.stdout, said.stderr.count("\n")) == (1, "", 1)
    assert shell("patterns", env=env, timeout=LIMIT_S).returncode == 0
    assert shell("show", "outside-in", env=env, timeout=LIMIT_S).returncode == 0


@pytest.mark.parametrize("odd", ODD)
def test_in_the_place_of_what_is_to_be_read(tmp_path: Path, run: Run, odd: str) -> None:
    """A log, a pattern, a song, a sheet, a recording or a pack that is no file: exit code 2 and a sentence."""
    path = tmp_path / "odd"
    ODD[odd](path)
    for line in (
        "log merge {0}", "show {0}", "song show {0}", "song check {0}", "song import {0}", "unpack {0}",
        "listen {0} --pattern outside-in --tempo 80",
    ):  # fmt: skip
        code, out, err = run(*line.format(path).split())
        assert (code, out, err.count("\n")) == (2, "", 1), (line, err)


def test_an_empty_ledger_is_told_once_and_begun_anew(run: Run, coach_home: Path) -> None:
    """0 bytes are what a copy that went wrong leaves: whoever looks is told before entries are added to nothing."""
    coach_home.mkdir()
    (coach_home / "ledger.sqlite3").touch()
    code, out, err = run("log")
    assert (code, err.count("\n")) == (0, 1)
    assert "empty (0 bytes)" in err
    assert out == "Nothing was logged yet.\n"
    (coach_home / "ledger.sqlite3").write_bytes(b"")
    code, _, err = run(*ADD.split())
    assert (code, err.count("\n")) == (0, 1)
    assert "empty (0 bytes)" in err
    assert run("log", "--json")[2] == ""


@pytest.mark.parametrize("closed", [">&-", ">&- 2>&-", "<&- >&-", "<&- >&- 2>&-"])
@pytest.mark.parametrize("line", ["", "log", ADD, "--version", "no-such-command"])
def test_closed_standard_output_is_told_and_nothing_is_done(coach_home: Path, line: str, closed: str) -> None:
    """There is nowhere to answer: exit code 1, a sentence where it can be said, and the ledger is not begun."""
    words = f'"{sys.executable}" -m coach {line} {closed}'
    said = subprocess.run(["bash", "-c", words], capture_output=True, text=True, check=False, timeout=LIMIT_S)
    assert (said.returncode, said.stdout) == (1, "")
    assert said.stderr.count("\n") == (0 if "2>&-" in closed else 1)
    assert not (coach_home / "ledger.sqlite3").exists()


@pytest.mark.parametrize("closed", ["2>&-", "<&-", "<&- 2>&-"])
def test_closed_standard_input_or_error_takes_nothing_from_the_answer(coach_home: Path, closed: str) -> None:
    """The answer is whole, what would be an error's sentence does not come among it, and no file comes in between."""
    words = f'"{sys.executable}" -m coach {{}} {closed}'
    for line, code in ((ADD, 0), ("log --json", 0), ("show none", 2), ("", 0)):
        said = subprocess.run(
            ["bash", "-c", words.format(line)], capture_output=True, text=True, check=False, timeout=LIMIT_S
        )
        assert said.returncode == code, line
        if line == "log --json":
            assert [row["drill"] for row in json.loads(said.stdout)] == ["outside-in"]
        assert (said.stdout == "") == (code == 2)

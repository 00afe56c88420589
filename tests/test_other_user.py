"""As a user who may not read or write everything: what can be read works, what cannot is told, and the app opens.

Root may do everything, so as root these tests run the coach as another user.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from tests.log.test_ledger import first_version

if sys.platform == "win32":
    pytest.skip("needs users and permissions as POSIX has them", allow_module_level=True)

from tests.terminal_rig import Terminal

NOBODY = 65534
PATIENCE_S = 60.0
ROOT = os.geteuid() == 0
MAIN = "import sys; from coach.cli import main; sys.exit(main(sys.argv[1:]))"
# Two ways not to be root: to be another user, who must be able to read this checkout and its Python; else to be a root
# that has given up its right to pass over permissions (capabilities(7): CHOWN, DAC_OVERRIDE, DAC_READ_SEARCH, FOWNER).
OTHER = f"import os; os.setgroups([]); os.setgid({NOBODY}); os.setuid({NOBODY})\n"
STRIPPED = """
import ctypes, os, sys
for capability in range(4):
    assert ctypes.CDLL(None).prctl(24, capability, 0, 0, 0) == 0
os.execv(sys.executable, [sys.executable, "-c", {0!r}, *sys.argv[1:]])
"""


def way() -> tuple[str, int]:
    """The program that runs the coach as someone without rights over all files, and that user's number; "" for none."""
    if not ROOT:
        return MAIN, os.geteuid()
    locked = Path(tempfile.mkdtemp(prefix="coach-locked-"))
    try:
        locked.chmod(0)
        test = f"import os, coach, textual, tests; assert not os.access({str(locked)!r}, os.R_OK)"
        for program, user in ((OTHER + test, NOBODY), (STRIPPED.format(test), 0)):
            if subprocess.run([sys.executable, "-c", program], capture_output=True, check=False).returncode == 0:
                return program.replace(test, MAIN), user
    finally:
        locked.rmdir()
    return "", 0


COACH, USER = way()
SOMEONE_ELSE = NOBODY if USER == 0 else 0

pytestmark = pytest.mark.skipif(not COACH, reason="nobody here but root, who may do everything")


@pytest.fixture
def home() -> Iterator[Path]:
    """A home of the other user's in a folder that everyone may enter: a ledger with one take, settings, a song and a
    pattern of their own."""
    folder = Path(tempfile.mkdtemp(prefix="coach-other-"))
    folder.chmod(0o755)
    home = folder / "home"
    (home / "songs").mkdir(parents=True)
    (home / "patterns").mkdir()
    with Ledger(home / "ledger.sqlite3") as ledger:
        ledger.add_whole_take("outside-in", 84, "held", 8)
    (home / "settings.toml").write_text("minutes = 25\n", "utf-8")
    shared = Path(__file__).parents[1]
    shutil.copy(shared / "shared" / "songs" / "last-boat.song.toml", home / "songs" / "mine.song.toml")
    shutil.copy(shared / "patterns" / "outside-in.toml", home / "patterns" / "mine.toml")
    belongs(home)
    yield home
    for path in (home, *home.iterdir()) if ROOT else ():
        path.chmod(0o700)
    subprocess.run(["chmod", "-R", "u+rwX", str(folder)], check=False)
    shutil.rmtree(folder)


def belongs(home: Path) -> None:
    """All of it is the other user's."""
    if ROOT:
        for path in (home, *home.rglob("*")):
            os.chown(path, USER, USER)


def coach(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The command as the other user."""
    return subprocess.run(
        [sys.executable, "-c", COACH, *words],
        env={**os.environ, "COACH_HOME": str(home)}, stdin=subprocess.DEVNULL, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip


def read_only(home: Path) -> None:
    """Nothing in the home can be written."""
    subprocess.run(["chmod", "-R", "a-w", str(home)], check=True)


def closed(name: str) -> Callable[[Path], None]:
    """Something in the home, or all of it, has permissions 000."""
    return lambda home: (home / name).chmod(0)


def of_someone_else(home: Path) -> None:
    """The settings belong to another user, who lets nobody read them."""
    (home / "settings.toml").chmod(0o600)
    if ROOT:
        os.chown(home / "settings.toml", SOMEONE_ELSE, SOMEONE_ELSE)
    else:
        (home / "settings.toml").chmod(0)


# what was done to the home -> for each command its exit code and what is told on stderr
CASES: dict[str, tuple[Callable[[Path], None], dict[str, tuple[int, str]]]] = {
    "a read-only home": (
        read_only,
        {
            "log": (0, "may not be written"),
            "today": (0, "may not be written"),
            "drills": (0, "may not be written"),
            "patterns": (0, ""),
            "song": (0, ""),
            "log add --drill outside-in --tempo 80 --verdict held": (1, "may not be written"),
            "song due last-boat rest": (1, "may not be written"),
        },
    ),
    "a home with permissions 000": (
        closed("."),
        {
            "log": (1, "ermission denied"),
            "today": (1, "ermission denied"),
            "patterns": (0, "ermission denied"),
            "song": (0, "ermission denied"),
            "show outside-in": (0, ""),
            "log add --drill outside-in --tempo 80 --verdict held": (1, "ermission denied"),
        },
    ),
    "a ledger with permissions 000": (
        closed("ledger.sqlite3"),
        {
            "log": (1, "cannot be read"),
            "today": (1, "cannot be read"),
            "patterns": (0, ""),
            "log add --drill outside-in --tempo 80 --verdict held": (1, "may not be written|cannot be read"),
        },
    ),
    "settings with permissions 000": (
        closed("settings.toml"),
        {"log": (0, ""), "today": (0, "settings.toml: cannot be read"), "patterns": (0, "")},
    ),
    "settings of someone else": (of_someone_else, {"today": (0, "settings.toml: cannot be read"), "log": (0, "")}),
    "songs with permissions 000": (
        closed("songs"),
        {"song": (0, "songs: this folder cannot be looked into"), "today": (0, ""), "log": (0, "")},
    ),
    "patterns with permissions 000": (
        closed("patterns"),
        {"patterns": (0, "patterns: this folder cannot be looked into"), "today": (0, ""), "log": (0, "")},
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_every_command_answers_or_says_in_a_sentence_what_is_in_the_way(home: Path, case: str) -> None:
    """The right exit code, the sentence where one is due and none where all is well, and never a traceback."""
    change, expected = CASES[case]
    change(home)
    for line, (code, told) in expected.items():
        said = coach(home, *line.split())
        assert said.returncode == code, (line, said.stderr)
        assert (said.stdout != "") == (code == 0), line
        assert "foresee" not in said.stderr
        if told:
            lines = said.stderr.splitlines()
            assert any(part in lines[-1] for part in told.split("|")), (line, said.stderr)
            # Before it, one on the settings where they cannot be read either.
            assert [one.endswith("so the usual settings serve.") for one in lines[:-1]] in ([], [True]), lines
        else:
            assert said.stderr == "", line


def test_a_read_only_home_tells_all_that_was_played(home: Path) -> None:
    """The take is in the answer."""
    read_only(home)
    assert [row["drill"] for row in json.loads(coach(home, "log", "--json").stdout)] == ["outside-in"]


def test_an_older_ledger_in_a_read_only_home_is_read_too(home: Path) -> None:
    """It cannot be brought forward there, and tells its take and today's plan all the same."""
    (home / "ledger.sqlite3").unlink()
    first_version(home / "ledger.sqlite3")
    belongs(home)
    read_only(home)
    before = (home / "ledger.sqlite3").read_bytes()
    assert len(json.loads(coach(home, "log", "--json").stdout)) == 1
    assert coach(home, "today").returncode == 0
    assert (home / "ledger.sqlite3").read_bytes() == before


def test_a_read_only_home_tells_what_a_killed_coach_left_in_the_log(home: Path) -> None:
    """A take that is in the write-ahead log alone is read from there."""
    code = (
        "import os, sys; from coach.log.ledger import Ledger\n"
        "Ledger(sys.argv[1]).add_whole_take('lantern-walk', 84, 'held', 8); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", code, str(home / "ledger.sqlite3")], check=False)
    belongs(home)
    read_only(home)
    said = coach(home, "log", "--json")
    assert [row["drill"] for row in json.loads(said.stdout)] == ["outside-in", "lantern-walk"]


@pytest.mark.parametrize("case", CASES)
def test_the_app_opens_and_leaves(home: Path, case: str) -> None:
    """Today's page is drawn, ctrl-q ends it with a whole terminal, and the player's files are as they were."""
    CASES[case][0](home)
    kept = (home / "settings.toml").read_bytes() if ROOT else None
    terminal = Terminal("-c", COACH, home=str(home), size=(30, 100))
    try:
        got = terminal.read(PATIENCE_S, b"all keys")
        assert b"all keys" in got, got[-3000:]
        terminal.type("\x11")
        end = time.monotonic() + PATIENCE_S
        pid, status = 0, 0
        while not pid and time.monotonic() < end:
            got += terminal.read(0.1)
            pid, status = os.waitpid(terminal.pid, os.WNOHANG)
        assert pid, "it does not end"
        got += terminal.read(0.2)
    finally:
        terminal.kill(9)
        os.close(terminal.fd)
    assert os.waitstatus_to_exitcode(status) in (0, 1)
    assert b"\x1b[?1049l" in got
    assert b"Traceback" not in got
    if kept is not None and case != "a home with permissions 000":
        assert b"minutes = 25" in (home / "settings.toml").read_bytes()

"""A terminal whose letters are not UTF-8: app and commands work there with plain letters, and files stay UTF-8."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from coach.plain_letters import PLAIN, plain
from tests.calls import shell

if sys.platform == "win32":
    pytest.skip("needs a pseudo terminal and POSIX locales", allow_module_level=True)

from tests.terminal_rig import Terminal

PATIENCE_S = 60.0
WAYS = ("ISO-8859-1", "ASCII")


@pytest.fixture(scope="module")
def latin(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a real locale in ISO-8859-1."""
    if shutil.which("localedef") is None:
        pytest.skip("missing tool: localedef (Debian: libc-bin)")
    folder = tmp_path_factory.mktemp("locales")
    words = ["localedef", "-i", "en_US", "-f", "ISO-8859-1", str(folder / "en_US.ISO-8859-1")]
    made = subprocess.run(words, capture_output=True, text=True, check=False)
    if not (folder / "en_US.ISO-8859-1").exists():
        pytest.skip(f"missing tool: the sources of locales (Debian: locales); {made.stderr[:200]}")
    return folder


@pytest.fixture(params=WAYS)
def env(request: pytest.FixtureRequest, coach_home: Path) -> dict[str, str]:
    """The environment of such a terminal, with Python's own ways to UTF-8 shut."""
    off = {"PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "COACH_HOME": str(coach_home)}
    for name in ("LC_ALL", "LANG", "LC_CTYPE", "PYTHONIOENCODING"):
        off[name] = ""
    if request.param == "ASCII":
        env = {**os.environ, **off, "LC_ALL": "C"}
    else:
        folder = request.getfixturevalue("latin")
        env = {**os.environ, **off, "LOCPATH": str(folder), "LC_ALL": "en_US.ISO-8859-1"}
    env.pop("PYTHONIOENCODING")
    letters = [sys.executable, "-c", "import sys; print(sys.stdout.encoding)"]
    said = subprocess.run(letters, env=env, capture_output=True, text=True, check=True).stdout.strip().lower()
    assert said in ("iso8859-1", "iso-8859-1", "latin-1", "ascii", "ansi_x3.4-1968", "us-ascii"), said
    return env


def test_the_app_draws_plain_letters_hears_every_key_and_leaves(env: dict[str, str], coach_home: Path) -> None:
    """The page is there, no byte of it is UTF-8; letters typed that are no UTF-8 do no harm, and ctrl-q ends it."""
    terminal = Terminal("-m", "coach", home=str(coach_home), size=(30, 100), env=env)
    status = None
    try:
        got = terminal.read(PATIENCE_S, b"57 > 69 bpm")
        assert b"57 > 69 bpm" in got, got[-2000:]
        os.write(terminal.fd, b"\xe9\xff\xc3")  # é, ÿ and Ã there
        got += terminal.read(0.5)
        terminal.type("\x11")
        end = time.monotonic() + PATIENCE_S
        while status is None and time.monotonic() < end:
            got += terminal.read(0.1)
            pid, ended = os.waitpid(terminal.pid, os.WNOHANG)
            status = ended if pid else None
        got += terminal.read(0.2)
    finally:
        terminal.kill(9)
        os.close(terminal.fd)
    assert status == 0
    assert not re.search(rb"[\xc2-\xf4][\x80-\xbf]", got)
    assert b"Thumb on the beat" in got


LINES = (
    "show outside-in --chords C",
    "patterns",
    "today",
    "log",
    "neck F",
    "shapes C|F",
    "sheet last-boat -o {home}/boat.txt",
)


@pytest.mark.parametrize("line", LINES)
def test_every_command_answers_in_the_terminals_own_letters(env: dict[str, str], coach_home: Path, line: str) -> None:
    """The answer is the one UTF-8 gives, but for the signs that the terminal lacks; columns stay where they are."""
    coach_home.mkdir()
    words = line.format(home=coach_home).split()
    said = subprocess.run(
        [sys.executable, "-m", "coach", *words], env=env, stdin=subprocess.DEVNULL, capture_output=True, check=False
    )
    for file in coach_home.glob("*.txt"):
        file.read_text("utf-8")
        file.unlink()
    whole = shell(*words, env={**os.environ, "PYTHONUTF8": "1"})
    assert said.returncode == whole.returncode
    mine = said.stdout.decode("latin-1").splitlines()
    assert [len(one) for one in mine] == [len(one) for one in whole.stdout.splitlines()]
    for one, other in zip(mine, whole.stdout.splitlines(), strict=True):
        assert all(a in (b, *plain(b)) for a, b in zip(one, other, strict=True)), (one, other)


def test_files_are_written_and_read_as_utf_8_whatever_the_locale(env: dict[str, str], coach_home: Path) -> None:
    """A song with letters of many tongues: read, exported and read again, its words are the same."""
    (coach_home / "songs").mkdir(parents=True)
    song = coach_home / "songs" / "bruecke.song.toml"
    text = 'title = "Über die Brücke – Žluťoučký"\nkey = "G"\nmeter = "4/4"\ntempo = 92\norder = ["V"]\n'
    song.write_text(text + '[parts.V]\nbars = [{ chords = "G", words = "geh žádný 歌" }]\n', "utf-8")
    words = [sys.executable, "-X", "warn_default_encoding", "-m", "coach"]
    for line in (
        "song show bruecke", "song check bruecke", "song arrange bruecke", "sheet bruecke -o {home}/b.txt",
        "sheet bruecke -o {home}/b.musicxml", "log add --drill outside-in --tempo 80 --verdict held",
        "log export {home}/log.json", "log merge {home}/log.json", "log export {home}/log.csv",
    ):  # fmt: skip
        said = subprocess.run(
            [*words, *line.format(home=coach_home).split()], env=env, stdin=subprocess.DEVNULL, capture_output=True,
            text=True, encoding="latin-1", check=False,
        )  # fmt: skip
        assert said.returncode == 0, (line, said.stderr)
        warned = [one for one in said.stderr.splitlines() if "EncodingWarning" in one]
        assert [one for one in warned if f"{os.sep}coach{os.sep}" in one] == []
    assert "Über die Brücke – Žluťoučký" in (coach_home / "b.txt").read_text("utf-8")
    assert "geh" in (coach_home / "b.musicxml").read_text("utf-8")
    assert "žádný 歌" in song.read_text("utf-8")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("57 → 69 bpm · 2 min", "57 > 69 bpm . 2 min"),
        ("B♭ and F♯", "Bb and F#"),
        ("┌──┬──┐", "+--+--+"),
        ("│ ● │", "| # |"),
        ("Žluťoučký e\u0301", "Zlutoucky e"),
        ("歌", "??"),
        ("\udcff", "?"),
    ],
)
def test_stand_ins_are_as_wide_as_the_signs(text: str, said: str) -> None:
    """A musician reads the same; what has no stand-in is a question mark a column."""
    assert text.encode("ascii", PLAIN).decode() == said

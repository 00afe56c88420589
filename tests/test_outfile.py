"""Files being written lie beside their place; what a killed coach left is cleared away, a living one's is not."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from coach.errors import BadInput
from coach.files.writing import clear_away, new_file, refusal
from tests.calls import Run, shell

WRITING = """
import sys, time
from pathlib import Path
from coach.files.writing import new_file
with new_file(Path(sys.argv[1]), "the song") as out:
    out.write(b"half")
    out.flush()
    print("writing", flush=True)
    time.sleep(600)
"""


def writing(path: Path) -> subprocess.Popen[str]:
    """A process in the middle of writing a file."""
    process = subprocess.Popen([sys.executable, "-c", WRITING, str(path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "writing\n"
    return process


def gone() -> int:
    """The number of a process that has ended."""
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return process.pid


def test_what_a_killed_coach_left_is_gone_after_the_next_start(coach_home: Path) -> None:
    """Killed while it wrote a song, settings and a list of drills: the next command clears them away."""
    (coach_home / "songs").mkdir(parents=True)
    (coach_home / "patterns").mkdir()
    for name in ("songs/new.song.toml", "settings.toml", "patterns/mine.toml"):
        process = writing(coach_home / name)
        process.kill()
        process.wait()
    assert len(list(coach_home.rglob("*.part"))) == 3
    assert shell("today").returncode == 0
    assert not list(coach_home.rglob("*.part"))


def test_what_a_living_coach_is_writing_stays(coach_home: Path) -> None:
    """Another copy is at it, and its file gets its name in the end; also where its process cannot be seen from here."""
    coach_home.mkdir()
    process = writing(coach_home / "settings.toml")
    try:
        (mine,) = coach_home.glob("*.part")
        assert clear_away(coach_home) == 0
        # The same under the number of a process that is not alive: another container's.
        other = mine.rename(coach_home / f".settings.toml.{gone()}.part")
        assert clear_away(coach_home) == 0
        os.utime(other, (time.time() - 1e6,) * 2)
        assert clear_away(coach_home) == 0
    finally:
        process.kill()
        process.wait()
    assert clear_away(coach_home) == 1


def test_only_files_of_that_shape_are_cleared_away(coach_home: Path) -> None:
    """Names that only look like it, a folder, a link and its target: all stay. A number taken anew by another process
    keeps a file for a day."""
    coach_home.mkdir()
    dead = gone()
    names = (f"settings.toml.{dead}.part", f".settings.toml.{dead}.part.old", ".x.part", f".{dead}.part", ".a.b.part")
    kept = [coach_home / name for name in names]
    for path in kept:
        path.write_text("mine", "utf-8")
    (coach_home / f".folder.{dead}.part").mkdir()
    (coach_home / f".link.{dead}.part").symlink_to(kept[0])
    young, old = coach_home / f".young.{os.getppid()}.part", coach_home / f".old.{os.getppid()}.part"
    for path in (young, old):
        path.touch()
    os.utime(old, (time.time() - 2 * 24 * 3600,) * 2)
    assert clear_away(coach_home, coach_home / "nowhere") == 1
    assert not old.exists()
    assert young.exists()
    assert all(path.read_text("utf-8") == "mine" for path in kept)
    assert (coach_home / f".link.{dead}.part").is_symlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
@pytest.mark.parametrize("force", [False, True])
def test_a_pipe_or_a_device_is_never_replaced_by_a_file(tmp_path: Path, run: Run, force: bool) -> None:
    """Not even with --force: the pipe is still one, and the mistake is told with exit code 2."""
    pipe = tmp_path / "log.csv"
    os.mkfifo(pipe)
    code, out, err = run("log", "export", str(pipe), *["--force"] * force)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert "pipe" in err
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    with pytest.raises(BadInput), new_file(Path(os.devnull), "the log", force=force):
        pass


def test_trying_the_disk_leaves_nothing(tmp_path: Path) -> None:
    """Where it can be written nothing is said; where the folder is not there, why. Nothing stays of the trial."""
    assert refusal(tmp_path / "ledger.sqlite3") is None
    assert isinstance(refusal(tmp_path / "nowhere" / "ledger.sqlite3"), FileNotFoundError)
    assert list(tmp_path.iterdir()) == []

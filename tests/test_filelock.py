"""Files that are read, changed and written by several at once: nobody's change is lost without a word."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from coach.errors import CoachError
from coach.files.lock import hold_file
from coach.settings import Settings, write_settings
from coach.song.files.song_shelf import write_song

_WRITER = """
import sys
from pathlib import Path
from coach.errors import CoachError
from coach.song.files.song_file import read_text
from coach.song.files.song_shelf import write_song
path, name = Path(sys.argv[1]), sys.argv[2]
sys.stdin.read(1)
for number in range(75):
    text = read_text(path)
    try:
        write_song(path, f"{text}# {name}-{number}\\n", before=text)
    except CoachError as error:
        print("refused", error)
    else:
        print("written", f"{name}-{number}")
"""

_HOLDER = """
import sys
from pathlib import Path
from coach.files.lock import hold_file
with hold_file(Path(sys.argv[1]), "the song"):
    print("held", flush=True)
    sys.stdin.read()
"""


def hold(path: Path, longest_wait_s: float = 5.0) -> None:
    """Take the file and leave it at once."""
    with hold_file(path, "the song", longest_wait_s=longest_wait_s):
        pass


def test_of_300_changes_by_four_processes_each_is_in_the_file_or_was_refused(tmp_path: Path) -> None:
    """All begin at once; the file holds exactly the changes that were said to be written."""
    path = tmp_path / "ferry.song.toml"
    path.write_text("# mine\n", "utf-8")
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), name], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for name in "abcd"
    ]
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("!")
        writer.stdin.flush()
    told = [line.split(" ", 1) for writer in writers for line in writer.communicate()[0].splitlines()]
    assert len(told) == 300
    written = [said for kind, said in told if kind == "written"]
    assert sorted(path.read_text("utf-8").splitlines()[1:]) == sorted(f"# {said}" for said in written)
    assert len(written) >= 75  # who comes first is never refused
    assert all("was changed meanwhile" in said for kind, said in told if kind == "refused")
    assert list(tmp_path.iterdir()) == [path]


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds `file` in the test's folder."""
    process = subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(tmp_path / "file")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def test_a_file_that_is_held_for_long_is_one_sentence(tmp_path: Path, holder: subprocess.Popen[str]) -> None:
    """Nobody waits for ever on a coach that was stopped while it wrote; when it goes on, the file is free again."""
    os.kill(holder.pid, signal.SIGSTOP)
    with pytest.raises(CoachError, match=r"writing the song for 0\.05 seconds; try again, or close the other one\.$"):
        hold(tmp_path / "file", 0.05)
    os.kill(holder.pid, signal.SIGCONT)
    holder.communicate("")
    hold(tmp_path / "file")


def test_a_lock_whose_holder_was_killed_holds_nobody_up(tmp_path: Path, holder: subprocess.Popen[str]) -> None:
    """What it left beside the file goes with the next change."""
    holder.kill()
    holder.communicate()
    assert [path.name for path in tmp_path.iterdir()] == [".file.lock"]
    hold(tmp_path / "file", 0.0)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    """The lock stands beside the file."""
    with pytest.raises(CoachError, match=r"the song could not be written \(.*\); check that the folder"):
        hold(tmp_path / "none" / "file")


def test_what_a_link_leads_to_is_written_and_a_circle_of_links_is_one_sentence(tmp_path: Path) -> None:
    """A song kept elsewhere stays there, and both names are one file to the lock."""
    (tmp_path / "real.song.toml").write_text("one", "utf-8")
    (tmp_path / "link.song.toml").symlink_to("real.song.toml")
    write_song(tmp_path / "link.song.toml", "two", before="one")
    assert (tmp_path / "link.song.toml").is_symlink()
    assert (tmp_path / "real.song.toml").read_text("utf-8") == "two"
    (tmp_path / "a.toml").symlink_to("b.toml")
    (tmp_path / "b.toml").symlink_to("a.toml")
    with pytest.raises(CoachError, match="in a circle"):
        write_song(tmp_path / "a.toml", "two", before="one")
    with pytest.raises(CoachError, match="in a circle"):
        write_settings(Settings(minutes=30), tmp_path / "a.toml")

"""The README is true: examples print what it shows, commands are the project's, cautions are the coach's."""

from __future__ import annotations

import doctest
import re
import shlex
import tomllib
from pathlib import Path

import pytest

from coach import cli, shelf
from coach.picking.pattern_file import parse_pattern
from coach.plan.cautions import CAUTIONS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def blocks(kind: str) -> list[str]:
    """The fenced blocks of one kind."""
    return re.findall(rf"^```{kind}\n(.*?)^```$", README, re.M | re.S)


def examples() -> list[tuple[str, str]]:
    """(command, what it prints) for each `$` line of the console blocks, in order."""
    text = "".join(blocks("console"))
    return re.findall(r"^\$ (.*)\n((?:(?!\$ ).*\n)*)", text, re.M)


def test_every_example_prints_what_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Run one after the other in an empty folder; a line of three dots stands for anything."""
    monkeypatch.chdir(tmp_path)
    assert len(examples()) >= 8
    for command, want in examples():
        words = shlex.split(command)
        assert words[0] == "coach"
        assert cli.main(words[1:]) == 0, command
        got = capsys.readouterr().out
        assert doctest.OutputChecker().check_output(want, got, doctest.ELLIPSIS), f"{command}\n{got}"


def test_the_two_commands_install_what_the_project_names() -> None:
    """One installs and opens the coach, one installs the test extra and runs the tests."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    first, second = (block.strip() for block in blocks("sh"))
    assert first == "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/coach"
    assert second == "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"
    assert "coach" in project["scripts"]
    assert "test" in project["optional-dependencies"]


def test_the_pattern_in_the_readme_can_be_read() -> None:
    """Who copies it gets a pattern, and what it grows from is shipped."""
    text, _ = blocks("toml")
    pattern = parse_pattern(text, "two-and-a-pinch")
    assert len(pattern.bars[0].aims) == 5
    assert (ROOT / "patterns" / f"{pattern.grows_from}.toml").exists()


def test_the_cautions_of_the_coach_stand_in_the_readme() -> None:
    """Pain, rests, level and the clinician are named to who reads before playing."""
    said = " ".join(README.split())
    for sign in ("Warm up first", "five minutes in every half hour", "pain, numbness or tingling", "level low"):
        assert any(sign in caution for caution in CAUTIONS), sign
        assert sign in said
    assert "see a doctor or a performing-arts clinician" in said


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_what_a_page_links_to_is_there(page: str) -> None:
    """Every picture and file that a page points at stands in the project."""
    text = (ROOT / page).read_text("utf-8")
    for target in re.findall(r"\]\(([^)#:]+)\)", text):
        assert (ROOT / target).exists(), target


def test_the_song_in_the_readme_can_be_played() -> None:
    """Who copies it gets a song without a problem or a note, and its arrangement can be performed."""
    from coach.song.files.check_song import check_song

    _, text = blocks("toml")
    checked = check_song(text, "ferry-bell", shelf.library().patterns, shelf.shapes())
    assert (checked.problems, checked.notes) == ((), ())
    assert checked.song is not None
    assert checked.song.arrangements["plain"].capo == 2


def test_the_map_of_the_house_names_every_room() -> None:
    """DEVELOPERS.md draws each folder of the package, and none that is not there."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    drawn = text.split("```")[1]
    folders = {p.parent.name for p in (ROOT / "coach").rglob("__init__.py")} - {"coach"}
    assert set(re.findall(r"\b(\w+)/", drawn)) == folders


def test_the_files_that_developers_are_sent_to_are_there() -> None:
    """Every `room/module.py` or `tests/module.py` that DEVELOPERS.md names stands in the project."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = re.findall(r"`((?:\w+/)+\w+\.py)`", text)
    assert named
    assert [path for path in named if not ((ROOT / path).exists() or (ROOT / "coach" / path).exists())] == []

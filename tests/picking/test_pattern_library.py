"""The library of shipped and own patterns."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.errors import BadPattern
from coach.picking.pattern_library import read_library
from tests.picking.test_pattern_file import GOOD
from tests.sentences import is_one_sentence


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    """A shipped folder with `one`, and an own folder that is still empty."""
    shipped, own = tmp_path / "shipped", tmp_path / "own"
    shipped.mkdir()
    own.mkdir()
    (shipped / "one.toml").write_text(GOOD)
    return shipped, own


def test_a_broken_file_does_not_stop_the_rest(folders: tuple[Path, Path]) -> None:
    """Broken files are listed with their sentence and the good ones are there."""
    shipped, own = folders
    (own / "torn.toml").write_bytes(b"\xff\xff")
    (own / "folder.toml").mkdir()
    (own / "two.toml").write_text(GOOD)
    library = read_library(shipped, own)
    assert set(library.patterns) == {"one", "two"}
    assert {b.path.name for b in library.broken} == {"torn.toml", "folder.toml"}
    with pytest.raises(BadPattern, match="this is not a text file"):
        library.find("torn")


def test_own_goes_before_shipped(folders: tuple[Path, Path]) -> None:
    """A pattern of the player's own stands in for a shipped one of the same id."""
    shipped, own = folders
    (own / "one.toml").write_text(GOOD.replace("Two and two", "Mine"))
    library = read_library(shipped, own)
    assert (library.patterns["one"].title, library.patterns["one"].own) == ("Mine", True)


def test_a_broken_own_file_leaves_the_shipped_one(folders: tuple[Path, Path]) -> None:
    """The shipped pattern of that id can still be played."""
    shipped, own = folders
    (own / "one.toml").write_text("nonsense")
    library = read_library(shipped, own)
    assert not library.find("one").own
    assert len(library.broken) == 1


def test_a_folder_that_is_not_there_is_an_empty_one(tmp_path: Path) -> None:
    """First run: no own folder, no trouble."""
    assert read_library(tmp_path / "a", tmp_path / "b").patterns == {}


def test_a_ring_is_listed_all_the_same(folders: tuple[Path, Path]) -> None:
    """Two own patterns that grow from each other, or one from itself, still appear once each."""
    shipped, own = folders
    for name, parent in (("x", "y"), ("y", "x"), ("z", "z"), ("orphan", "gone")):
        (own / f"{name}.toml").write_text(f'grows_from = "{parent}"\n' + GOOD)
    assert sorted(read_library(shipped, own).patterns) == ["one", "orphan", "x", "y", "z"]


def test_what_grows_follows_what_it_grows_from(folders: tuple[Path, Path]) -> None:
    """A child stands after its parent in the list."""
    shipped, own = folders
    (own / "a-child.toml").write_text('grows_from = "one"\n' + GOOD)
    assert list(read_library(shipped, own).patterns) == ["one", "a-child"]


def test_a_path_is_a_pattern_too(folders: tuple[Path, Path]) -> None:
    """A pattern is found by id or by the path of its file."""
    shipped, own = folders
    library = read_library(shipped, own)
    assert library.find(str(shipped / "one.toml")).bars == library.find("one").bars


@pytest.mark.parametrize(("asked", "hint"), [("on", "did you mean one?"), ("waltz-in-nine", "`coach patterns`")])
def test_an_unknown_id_is_refused(folders: tuple[Path, Path], asked: str, hint: str) -> None:
    """One sentence, with the nearest id where there is one."""
    with pytest.raises(BadPattern) as caught:
        read_library(*folders).find(asked)
    assert is_one_sentence(caught.value)
    assert hint in str(caught.value)

"""The settings file: what is read, what is told, what is kept."""

import os
import stat
import tomllib
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import CoachError
from coach.guitar.grip import Hand
from coach.practice.ramps import RAMP_NAMES
from coach.settings import (
    GUIDES,
    RAMPS,
    Settings,
    parse_settings,
    read_settings,
    settings_table,
    write_settings,
)
from coach.shelf import hand_of

USUAL = Settings()


def test_no_file_means_twenty_minutes_and_no_complaint(coach_home: Path) -> None:
    """A first run needs no set-up."""
    found = read_settings(coach_home / "settings.toml")
    assert found.settings == USUAL
    assert found.settings.minutes == 20
    assert found.problems == ()


def test_a_value_in_the_file_stands_before_the_usual_one() -> None:
    """One line changes one thing."""
    found = parse_settings('minutes = 45\nclick_mode = "gaps"\n[keys]\nstumble = "x"\n')
    assert found.problems == ()
    assert found.settings == replace(USUAL, minutes=45, click_mode="gaps", keys={"stumble": "x"})


@pytest.mark.parametrize(
    "line",
    [
        "minutes = 0",
        "minutes = 241",
        "minutes = 20.5",
        "minutes = true",
        'minutes = "20"',
        "new_a_day = -1",
        "turn_minutes = 0",
        "click_volume = 1.1",
        "guide_volume = nan",
        'click_mode = "sometimes"',
        "click_mode = 3",
        'guide = "all"',
        'ramp = "up"',
        "bars_on = 0",
        "still_tab = 1",
        'bell = "yes"',
        "midi_out = 1",
        "offset_ms = inf",
        "buffer_ms = 0",
        "span_mm = -5",
        "span_mm = inf",
        'thumb_over = "no"',
        'barres = "half"',
        "scale_mm = 25.5",
        'keys = "x"',
        "keys = {stumble = 1}",
    ],
)
def test_a_value_that_cannot_be_is_told_with_its_line_and_the_usual_one_serves(line: str) -> None:
    """The coach starts all the same; the sentence names line 2."""
    found = parse_settings(f"bell = true\n{line}\n" if not line.startswith("bell") else f"minutes = 9\n{line}\n")
    (problem,) = found.problems
    assert problem.startswith("line 2: ")
    assert problem.count(".") >= 1
    assert "\n" not in problem
    name = line.split(" ")[0]
    assert getattr(found.settings, name) == getattr(USUAL, name)


def test_an_unknown_key_is_told_with_the_nearest_one() -> None:
    """`minuts` is no setting; the rest still counts."""
    found = parse_settings("minuts = 30\nbell = true\n")
    assert found.settings.bell
    assert found.settings.minutes == 20
    assert found.problems == ("line 1: 'minuts' is not a setting known here; did you mean 'minutes'?",)


@pytest.mark.parametrize("text", ["minutes = ", "= 3", "a = [" * 3000, "\x00"])
def test_a_file_that_is_not_toml_is_one_sentence(text: str) -> None:
    """Broken text never raises."""
    found = parse_settings(text)
    assert found.settings == USUAL
    assert len(found.problems) == 1


def test_a_folder_or_noise_in_the_place_of_the_file_is_told(tmp_path: Path) -> None:
    """What cannot be read is a sentence that names the path."""
    (tmp_path / "noise").write_bytes(b"\xff\xfe\x00")
    for name in (".", "noise"):
        (problem,) = read_settings(tmp_path / name).problems
        assert str(tmp_path) in problem


@given(
    st.builds(
        Settings,
        minutes=st.integers(1, 240),
        click_volume=st.floats(0, 1),
        guide=st.sampled_from(sorted(GUIDES)),
        ramp=st.sampled_from(RAMPS),
        still_tab=st.booleans(),
        span_mm=st.floats(40, 200),
        thumb_over=st.booleans(),
        midi_out=st.text(st.characters(exclude_categories=["Cs"])),
        offset_ms=st.floats(-500, 500),
        keys=st.dictionaries(st.text("abcd_-", min_size=1), st.text("xyz?", min_size=1)),
    )
)
def test_what_is_saved_loads_equal(tmp_path_factory: pytest.TempPathFactory, settings: Settings) -> None:
    """Writing and reading back is the identity."""
    path = tmp_path_factory.mktemp("settings") / "settings.toml"
    write_settings(settings, path)
    found = read_settings(path)
    assert found.problems == ()
    assert found.settings == settings


def test_keys_of_a_newer_version_survive_saving(tmp_path: Path) -> None:
    """An older coach writes back what it does not know, tables too."""
    path = tmp_path / "settings.toml"
    path.write_text('colour = "dark"\n[pedal]\nport = "front"\n', "utf-8")
    write_settings(replace(USUAL, minutes=30), path)
    table = tomllib.loads(path.read_text("utf-8"))
    assert (table["colour"], table["pedal"], table["minutes"]) == ("dark", {"port": "front"}, 30)


def test_a_broken_file_is_set_aside_not_lost(tmp_path: Path) -> None:
    """Saving over a file with a slip in it keeps the player's text, also twice."""
    path = tmp_path / "settings.toml"
    for text in ("minutes = = 1", "minutes = = 2"):
        path.write_text(text, "utf-8")
        write_settings(USUAL, path)
    assert (tmp_path / "settings.toml.old").read_text("utf-8") == "minutes = = 1"
    assert (tmp_path / "settings.toml.old2").read_text("utf-8") == "minutes = = 2"


def test_saving_leaves_no_half_file_behind(tmp_path: Path) -> None:
    """Beside then renamed: afterwards the folder holds the one file."""
    write_settings(USUAL, tmp_path / "settings.toml")
    write_settings(USUAL, tmp_path / "settings.toml")
    assert [p.name for p in tmp_path.iterdir()] == ["settings.toml"]


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    """A file where the folder should be: CoachError, and the file is untouched."""
    block = tmp_path / "home"
    block.write_text("mine", "utf-8")
    with pytest.raises(CoachError, match="could not be saved") as caught:
        write_settings(USUAL, block / "settings.toml")
    assert str(caught.value).count("\n") == 0
    assert block.read_text("utf-8") == "mine"


def test_the_settings_file_is_as_readable_as_any_new_file(tmp_path: Path) -> None:
    """The file gets the umask's usual mode, so that a backup program may read it."""
    path = tmp_path / "settings.toml"
    write_settings(USUAL, path)
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~mask


def test_the_ramps_a_player_can_choose_are_the_ramps_there_are() -> None:
    """The list here and the one of the practice room are one list."""
    assert RAMPS == RAMP_NAMES


def test_the_hand_s_settings_are_a_hand() -> None:
    """A player with a short reach and the thumb over the neck, on a short-scaled guitar."""
    found = parse_settings('span_mm = 80\nthumb_over = true\nbarres = "small"\nscale_mm = 570\n')
    assert found.problems == ()
    assert hand_of(found.settings) == Hand(span_mm=80, thumb=True, barres="small", scale_mm=570)
    assert hand_of(USUAL) == Hand()


def test_every_setting_is_in_the_file_and_explained_in_the_source() -> None:
    """A docstring stands under each field of the class."""
    import ast
    import inspect

    import coach.settings

    tree = ast.parse(inspect.getsource(coach.settings))
    body = next(n for n in tree.body if isinstance(n, ast.ClassDef) and n.name == "Settings").body
    explained = {
        above.target.id
        for above, below in pairwise(body)
        if isinstance(above, ast.AnnAssign) and isinstance(above.target, ast.Name) and isinstance(below, ast.Expr)
    }
    assert explained == {f.name for f in fields(Settings)} == set(settings_table(USUAL))

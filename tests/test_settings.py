"""The settings file: what is read, what is told, what is kept."""

import os
import stat
import subprocess
import sys
import tomllib
from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import CoachError
from coach.guitar.grip import Hand
from coach.music.ramps import RAMP_NAMES
from coach.session.context import World
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
        write_settings(replace(USUAL, minutes=30), path)
        assert tomllib.loads(path.read_text("utf-8")) == {"minutes": 30}
    assert (tmp_path / "settings.toml.old").read_text("utf-8") == "minutes = = 1"
    assert (tmp_path / "settings.toml.old2").read_text("utf-8") == "minutes = = 2"


MINE = """\
# for the evenings
bell = true    # no speakers there
minuts = 30
new_a_day = 9  # too keen

minutes = 15   # before work
[keys]  # moved
stumble = "x"
[pedal] # a newer version's
port = "front"
"""


def world(path: Path) -> World:
    """A coach that has just read its settings from `path`."""
    return World(None, None, read_settings(path).settings, path.with_name("ledger.sqlite3"), path)


def test_opening_and_quitting_writes_nothing(tmp_path: Path) -> None:
    """No file is made, and one with a slip in it keeps the slip, the comment and the time of its last change."""
    path = tmp_path / "settings.toml"
    assert world(path).save() == ""
    assert list(tmp_path.iterdir()) == []
    for text in (MINE, "minutes = = 3", "\ufeffbell = true"):
        path.write_text(text, "utf-8")
        os.utime(path, (1, 1))
        assert world(path).save() == ""
        assert (path.read_text("utf-8"), path.stat().st_mtime) == (text, 1)
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_what_was_changed_is_written_and_every_other_letter_stays(tmp_path: Path, newline: str) -> None:
    """One value of one line, and a line more for what was not set yet; comments, order, slips and strange keys stay."""
    path = tmp_path / "settings.toml"
    text = MINE.replace("\n", newline)
    path.write_bytes(text.encode())
    here = world(path)
    here.change(minutes=25)
    assert here.save() == ""
    assert path.read_bytes().decode() == text.replace("minutes = 15 ", "minutes = 25 ")
    here.change(guide="thumb")
    assert here.save() == ""
    expected = MINE.replace("minutes = 15   # before work", 'minutes = 25   # before work\nguide = "thumb"')
    assert path.read_bytes().decode() == expected.replace("\n", newline)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("# mine\n\n# what I moved\n[keys]\nstumble = 'x'\n", 3),
        ("# what I moved\n[keys]\nstumble = 'x'\n", 1),
        ("bell = true\n\n# what I moved\n[keys]\nstumble = 'x'", 2),
        ("# mine\n# both lines", 3),
        ("# mine\r\n\r\n[keys]\r\n", 3),
    ],
)
def test_what_was_not_set_yet_leaves_comments_with_what_they_speak_of(tmp_path: Path, text: str, line: int) -> None:
    """The new line stands by other settings, else below the words at the head of the file, never under a table's."""
    path = tmp_path / "settings.toml"
    path.write_bytes(text.encode())
    write_settings(replace(USUAL, minutes=25), path)
    after = path.read_bytes().decode().splitlines()
    assert after.pop(line - 1) == "minutes = 25"
    assert after == text.splitlines()
    assert read_settings(path).settings.minutes == 25


def test_two_copies_and_a_hand_leave_each_other_s_changes(tmp_path: Path) -> None:
    """Both open, each changes one thing, the file is edited meanwhile: all three are in it, in whatever order."""
    path = tmp_path / "settings.toml"
    path.write_text(MINE, "utf-8")
    one, other = world(path), world(path)
    one.change(minutes=25)
    path.write_text(path.read_text("utf-8").replace("too keen", "still too keen") + 'side = "left"\n', "utf-8")
    other.change(click_volume=0.3)
    assert (other.save(), one.save(), other.save()) == ("", "", "")
    text = path.read_text("utf-8")
    assert "# still too keen" in text
    assert tomllib.loads(text)["pedal"] == {"port": "front", "side": "left"}
    all_three = replace(USUAL, bell=True, minutes=25, click_volume=0.3, keys={"stumble": "x"})
    assert read_settings(path).settings == all_three


def test_what_is_set_back_is_written_too(tmp_path: Path) -> None:
    """Saved at 25, then put back to what was read at first: the file says that again."""
    path = tmp_path / "settings.toml"
    here = world(path)
    for minutes in (25, 20):
        here.change(minutes=minutes)
        assert here.save() == ""
        assert tomllib.loads(path.read_text("utf-8")) == {"minutes": minutes}


def test_a_new_file_shows_what_can_be_set(tmp_path: Path) -> None:
    """Every setting stands in it as a comment with its usual value; with the # taken away it reads as those."""
    path = tmp_path / "settings.toml"
    write_settings(replace(USUAL, minutes=30), path)
    head, _, rest = path.read_text("utf-8").partition("\n\n")
    assert rest == "minutes = 30\n"
    uncommented = "\n".join(line.removeprefix("# ") for line in head.splitlines()[1:])
    assert tomllib.loads(uncommented) == settings_table(USUAL)


def test_a_file_spoilt_by_hand_meanwhile_is_copied_and_what_the_player_had_chosen_goes_on(tmp_path: Path) -> None:
    """What was read at the start is kept beside what was changed, for the text that said it cannot be read."""
    path = tmp_path / "settings.toml"
    path.write_text(MINE, "utf-8")
    here = world(path)
    here.change(minutes=25)
    path.write_text("bell = yes", "utf-8")
    assert here.save() == ""
    assert path.with_name("settings.toml.old").read_text("utf-8") == "bell = yes"
    assert read_settings(path).settings == replace(USUAL, bell=True, minutes=25, keys={"stumble": "x"})


@pytest.mark.parametrize(
    "text",
    [
        "keys.stumble = 'x'\nminutes = 15 # mine\n",
        "keys = { stumble = 'x' } # mine\n\n\n",
        "[pedal]\nport = 1\n# mine, the end",
        "[[row]]\nminutes = 1 # mine\n[[row]]\n",
        "[pedal.left]\na = 1\n[other]\n[pedal.right] # mine\nb = 2",
        "list = [ # mine\n  1,\n\n  2, ]",
        "text = '''\n# mine\n'''",
        "\"minutes\" = 15 # mine\n",
        "minutes=15# mine",
    ],
)
def test_toml_of_every_make_keeps_its_values_and_comments(tmp_path: Path, text: str) -> None:
    """Dotted keys, braces, headers, lists of tables, tables out of order, no line end (TOML 1.0.0)."""
    path = tmp_path / "settings.toml"
    path.write_text(text, "utf-8")
    write_settings(replace(USUAL, minutes=25, guide="off"), path)
    after = path.read_text("utf-8")
    assert tomllib.loads(after) == {**tomllib.loads(text), "minutes": 25, "guide": "off"}
    assert "# mine" in after
    assert not path.with_name("settings.toml.old").exists()


ROWS = (
    "bell = true", "minutes=15   # before work", "# mine", "", "colour = 'dark'", "bars_on = [ # no\n 1,\n\n ]",
    "  guide = 'off'", "text = '''\nminutes = 3\n'''", "ramp = { a = 1 } # strange",
)  # fmt: skip
TABLES = (
    "[keys]\nstumble = 'x' # a", "# above\n[pedal]\nminutes = 3", "[[list]]\n# in it\n[[list]]", "[a.b]\nc = nan",
)  # fmt: skip
CHANGES = {"minutes": 25, "guide": "thumb", "ramp": "climb", "bars_on": 3}


@given(
    rows=st.lists(st.sampled_from(ROWS), unique=True),
    tables=st.lists(st.sampled_from(TABLES), unique=True),
    changes=st.fixed_dictionaries({}, optional={name: st.just(value) for name, value in CHANGES.items()}),
    ends=st.booleans(),
)
def test_whatever_stands_in_the_file_stays(
    tmp_path_factory: pytest.TempPathFactory, rows: list[str], tables: list[str], changes: dict[str, object], ends: bool
) -> None:
    """Lines and tables in any order: the values are those meant, and no line is lost but those of what was changed."""
    path = tmp_path_factory.mktemp("settings") / "settings.toml"
    text = "\n".join([*rows, *tables]) + ("\n" if ends else "")
    path.write_text(text, "utf-8")
    before = read_settings(path).settings
    write_settings(replace(before, **changes), path, before=before)  # type: ignore[arg-type]
    after = path.read_text("utf-8")
    changed = {key: value for key, value in changes.items() if value != getattr(before, key)}
    assert repr(sorted(tomllib.loads(after).items())) == repr(sorted({**tomllib.loads(text), **changed}.items()))
    kept = [row for row in [*rows, *tables] if not any(row.strip().startswith(key) for key in changed)]
    assert all(row in after for row in kept)
    assert (after == text) == (not changed)


_CHANGER = """
import sys
from dataclasses import replace
from pathlib import Path
from coach.errors import CoachError
from coach.settings import Settings, read_settings, write_settings
path, name, last = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
before = read_settings(path).settings
for number in range(1, last + 1):
    after = replace(before, **{name: number})
    for _ in range(20):
        try:
            write_settings(after, path, before=before)
            break
        except CoachError as error:  # on a very slow machine: another one held it for long
            print(error)
    before = after
"""


def test_many_processes_lose_no_setting(tmp_path: Path) -> None:
    """Five at once, each changing a setting of its own sixty times: the last value of each is there."""
    path = tmp_path / "settings.toml"
    path.write_text("# mine\n\n[pedal]\nport = 1\n", "utf-8")
    last = {"minutes": 60, "bars_on": 16, "bars_off": 16, "turn_minutes": 15, "buffer_ms": 60}
    running = [
        subprocess.Popen([sys.executable, "-c", _CHANGER, str(path), name, str(number)])
        for name, number in last.items()
    ]
    assert [process.wait() for process in running] == [0] * len(running)
    text = path.read_text("utf-8")
    assert tomllib.loads(text) == {**last, "pedal": {"port": 1}}
    assert text.startswith("# mine\n")
    assert list(tmp_path.iterdir()) == [path]


def test_saving_leaves_no_half_file_behind(tmp_path: Path) -> None:
    """Beside then renamed: afterwards the folder holds the one file."""
    write_settings(replace(USUAL, minutes=30), tmp_path / "settings.toml")
    write_settings(replace(USUAL, bell=True), tmp_path / "settings.toml")
    assert [p.name for p in tmp_path.iterdir()] == ["settings.toml"]


def test_a_place_that_cannot_be_written_is_one_sentence(tmp_path: Path) -> None:
    """A file where the folder should be: CoachError, and the file is untouched."""
    block = tmp_path / "home"
    block.write_text("mine", "utf-8")
    with pytest.raises(CoachError, match="could not be saved") as caught:
        write_settings(replace(USUAL, minutes=30), block / "settings.toml")
    assert str(caught.value).count("\n") == 0
    assert block.read_text("utf-8") == "mine"


def test_the_settings_file_is_as_readable_as_any_new_file(tmp_path: Path) -> None:
    """The file gets the umask's usual mode, so that a backup program may read it."""
    path = tmp_path / "settings.toml"
    write_settings(replace(USUAL, minutes=30), path)
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


def test_a_name_with_line_ends_in_it_is_told_on_one_line() -> None:
    """TOML lets a name in quotation marks hold anything."""
    (problem,) = parse_settings('"voice\\nvoice" = 3\n').problems
    assert "\n" not in problem
    assert "voice voice" in problem

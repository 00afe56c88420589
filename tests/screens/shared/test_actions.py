"""The table of keys: every key does one thing, every deed is there, and a player may move them."""

from __future__ import annotations

import string
from collections import Counter
from itertools import chain

import pytest
from hypothesis import given
from hypothesis import strategies as st
from textual.app import App
from textual.screen import Screen

from coach.plan.cautions import CAUTIONS
from coach.screens.app import Coach
from coach.screens.desk.desk_page import DeskPage
from coach.screens.patterns_page import Patterns
from coach.screens.progress.progress_page import ProgressPage
from coach.screens.shared.actions import (
    EVERYWHERE,
    PAGES,
    STAGE,
    TODAY,
    VERDICT,
    _long_name,
    all_actions,
    hints,
    keys_shown,
    usable_keys,
)
from coach.screens.shared.choice import Choice
from coach.screens.shared.help_page import help_text
from coach.screens.songs.arranging_page import ArrangingPage
from coach.screens.songs.chart_page import ChartPage
from coach.screens.songs.export_page import Exporting
from coach.screens.songs.songbook import Songbook
from coach.screens.stage.rest import Rest
from coach.screens.stage.stage_page import Stage
from coach.screens.stage.verdict import Verdict
from coach.screens.today_page import Today

CLASSES: dict[str, type[Screen[str]] | type[Screen[None]] | type[Screen[bool]] | type[App[None]]] = {
    "On the stage": Stage,
    "The songbook": Songbook,
    "An arrangement": ArrangingPage,
    "A chart": ChartPage,
    "Writing files": Exporting,
    "Today": Today,
    "Patterns": Patterns,
    "Progress": ProgressPage,
    "Choosing": Choice,
    "The desk": DeskPage,
    "After a block": Verdict,
    "Resting": Rest,
    "Everywhere": Coach,
}


@pytest.mark.parametrize("page", PAGES)
def test_every_action_is_there(page: str) -> None:
    """What a key is said to do on a page, the page can do."""
    for action in PAGES[page]:
        deed = action.deed.partition("(")[0]
        assert callable(getattr(CLASSES[page], f"action_{deed}", None)), action.id


@pytest.mark.parametrize("page", PAGES)
def test_no_key_stands_twice_on_a_page(page: str) -> None:
    """On each page every key, those that work everywhere included, has one meaning."""
    actions = PAGES[page] if page == "Everywhere" else (*PAGES[page], *EVERYWHERE)
    counted = Counter(chain.from_iterable(action.keys.split(",") for action in actions))
    assert [key for key, times in counted.items() if times > 1] == []


def test_every_action_has_a_name_of_its_own() -> None:
    """The settings' [keys] table names each action without doubt."""
    names = [action.id for action in all_actions()]
    assert len(set(names)) == len(names)


def test_keys_work_in_every_terminal() -> None:
    """Letters, digits, arrows, enter, space, escape, page keys, F1, the question mark, and ctrl with c, q or z."""
    plain = {"enter", "space", "pageup", "pagedown", "left", "right", "up", "down", "escape", "question_mark", "f1"}
    control = {"ctrl+c", "ctrl+q", "ctrl+z"}
    keys = set(chain.from_iterable(action.keys.split(",") for action in all_actions()))
    assert {key for key in keys if len(key) > 1} <= plain | control


def test_every_flow_has_the_pedals_page_key() -> None:
    """Page down begins today, walks through a block, takes the marked verdict and ends a rest."""
    for page in ("Today", "On the stage", "After a block", "Resting"):
        assert sum("pagedown" in action.keys.split(",") for action in PAGES[page]) == 1


def test_help_lists_every_action_and_every_caution() -> None:
    """All keys with what they do, page by page, the open one first; then hands and ears."""
    text = help_text({}, "Resting")
    flat = " ".join(text.split())
    for action in all_actions():
        assert f"{keys_shown(action, {})} {action.says}" in flat
    for caution in CAUTIONS:
        assert caution in flat
    assert text.startswith("Resting")


@pytest.mark.parametrize("width", [53, 69, 72])
def test_help_keeps_to_its_width(width: int) -> None:
    """No line is longer than the page has cells, and what wraps stands under its own column."""
    lines = help_text({}, "Today", width).splitlines()
    assert all(len(line) <= width for line in lines)
    assert any(line.startswith(" " * 21) and line.strip() for line in lines)


@pytest.mark.parametrize("width", [20, 58, 78, 158])
@pytest.mark.parametrize("page", PAGES)
def test_hints_fit_and_always_lead_to_all_keys(page: str, width: int) -> None:
    """As many hints as there is room for, none cut, and last the key for all keys."""
    text = hints(PAGES[page], {}, width)
    assert len(text) <= width
    assert text.endswith("? all keys")
    offered = [action.hint for action in PAGES[page] if action.hint]
    assert all(any(piece.endswith(hint) for hint in (*offered, "all keys")) for piece in text.split("  "))


def test_a_moved_key_shows_in_hints_and_help() -> None:
    """Stumble on x: the hint says `x stumble`, help says x, and space is gone from that line."""
    moved, problems = usable_keys({"stumble": "x"})
    assert problems == ()
    assert "x stumble" in hints(STAGE, moved, 158)
    line = next(line for line in help_text(moved).splitlines() if "mark a stumble" in line)
    assert line.split()[0] == "x"
    assert "space" not in line


def test_two_keys_may_change_places() -> None:
    """Sing on h and hold on s: both are had."""
    swapped = {"sing": "h", "hold": "s"}
    assert usable_keys(swapped) == (swapped, ())


@pytest.mark.parametrize(
    ("moved", "stays", "says"),
    [
        ({"sing": "h"}, {}, "h is taken (hold the ramp here, or let it go on)"),
        ({"sing": "x", "hold": "x"}, {"sing": "x"}, "x is taken (sing"),
        ({"sing": "question_mark"}, {}, "? is taken (all keys"),
        ({"help": "s"}, {}, "s is taken"),
        ({"stumbel": "x"}, {}, "this is no action; did you mean stumble?"),
        ({"zzzz": "x"}, {}, "this is no action, and is left alone."),
        ({"sing": "spcae"}, {}, "'spcae' is no key; give a letter"),
        ({"sing": ""}, {}, "'' is no key"),
    ],
)
def test_a_key_that_cannot_be_had_is_told_and_stays(moved: dict[str, str], stays: dict[str, str], says: str) -> None:
    """Taken on its page, unknown action, no key at all: one sentence, and the usual key goes on working."""
    usable, problems = usable_keys(moved)
    assert usable == stays
    assert len(problems) == 1
    assert says in problems[0]
    assert problems[0].startswith("settings, [keys] ")
    assert "\n" not in problems[0]


@given(
    st.dictionaries(
        st.sampled_from([action.id for action in all_actions()]),
        st.sampled_from([*"abcdefhlmorstx1?", "f5", "space", "pagedown", "ctrl+g", "nokey", "x,space"]),
        max_size=8,
    )
)
def test_whatever_is_moved_no_key_means_two_things(moved: dict[str, str]) -> None:
    """After any wishes each page still has every action on a key of its own."""
    usable, _ = usable_keys(moved)
    for page, actions in PAGES.items():
        there = actions if page == "Everywhere" else (*actions, *EVERYWHERE)
        keys = Counter(chain.from_iterable(usable.get(a.id, a.keys).split(",") for a in there))
        assert max(keys.values()) == 1
        assert all(usable.get(action.id, action.keys) for action in there)


def test_verdicts_are_keys_of_their_first_letters() -> None:
    """l, s, h, f for lost, shaky, held, flowing."""
    assert [(a.keys, a.id) for a in VERDICT[:4]] == [("l", "lost"), ("s", "shaky"), ("h", "held"), ("f", "flowing")]


def test_today_names_its_first_key() -> None:
    """What a newcomer needs stands first: enter begins."""
    assert hints(TODAY, {}, 58).startswith("⏎ begin")


@pytest.mark.parametrize("character", [char for char in string.printable if char.isprintable()])
def test_a_key_is_called_as_the_screen_library_calls_it(character: str) -> None:
    """Textual has no public way to ask, so its own is looked at here."""
    from textual.keys import _character_to_key

    assert _long_name(character) == _character_to_key(character)

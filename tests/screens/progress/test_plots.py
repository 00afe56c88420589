"""Plots are values: lines of one width whose signs say what the numbers say."""

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.screens.progress.plots import (
    BLOCKS,
    PLAIN,
    Glyphs,
    Point,
    column_plot,
    day_words,
    fade_bar,
    glyphs_here,
    loop_plot,
    tempo_plot,
    ticks,
)
from tests.skill.test_diagnosis import landing

FIRST = date(2026, 4, 1)


def day(number: int) -> date:
    """So many days after the first of April."""
    return FIRST + timedelta(number)


def points(*bpms: float, every: int = 1, wide: float = 3) -> list[Point]:
    """A figure for each of some days."""
    return [Point(day(n * every), bpm, bpm - wide, bpm + wide) for n, bpm in enumerate(bpms)]


def test_a_climb_in_halves_of_a_line() -> None:
    """From 80 to 90 bpm in three days under a target of 100, in eight lines."""
    assert tempo_plot(points(80, 85, 90, wide=1), 100, 40, 8) == (
        " 100 ┤╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌ target",
        "     │                                  ",
        "     │                                  ",
        "  90 ┤                       ░░░▄▄▄▄▄▄▀▀",
        "     │            ░░░▄▄▄▄▄▄▀▀▀▀▀░░░░    ",
        "     │ ░░░▄▄▄▄▄▄▀▀▀▀▀░░░                ",
        "  80 ┤▀▀▀▀░░░                           ",
        "      1 Apr                        3 Apr",
    )


bpms = st.floats(40, 200)
series = st.lists(st.tuples(bpms, st.floats(0, 12), st.integers(1, 30)), min_size=1, max_size=40)


@given(series, bpms, st.integers(24, 120), st.integers(4, 20), st.sampled_from([BLOCKS, PLAIN]))
def test_the_tempo_plot_keeps_its_size_whatever_the_figures(
    figures: list[tuple[float, float, int]], target: float, width: int, height: int, glyphs: Glyphs
) -> None:
    """As many lines as asked, each as wide as asked; the line is drawn and the target named or crossed by it."""
    at, found = FIRST, []
    for bpm, wide, gap in figures:
        at += timedelta(gap)
        found.append(Point(at, bpm, bpm - wide, bpm + wide))
    lines = tempo_plot(found, target, width, height, glyphs)
    assert len(lines) == height
    assert {len(line) for line in lines} == {width}
    drawn = "".join(line[6:] for line in lines[:-1])
    assert any(sign in drawn for sign in (glyphs.upper, glyphs.lower, glyphs.full))
    assert lines[-1].strip().endswith(day_words(found[-1].day))


def test_faster_is_higher() -> None:
    """The line of 100 bpm lies above that of 80 in the same plot."""
    lines = tempo_plot(points(80, 80, 100, 100), 110, 46, 16)
    left = next(n for n, line in enumerate(lines) if line[6] in "▀▄█")
    right = next(n for n, line in enumerate(lines) if line[45] in "▀▄█")
    assert right < left


def test_days_stand_where_they_lie_in_time() -> None:
    """After a gap of ninety days the last figure is far to the right: the one before stands near the left."""
    gap = [*points(80, 80), Point(day(91), 100, 99, 101)]
    lines = tempo_plot(gap, 100, 66, 12)
    assert any(line[35] in "▀▄█" for line in lines), "the line leads over the gap"


@pytest.mark.parametrize(
    ("low", "high", "most", "found"),
    [(70, 104, 4, [70, 80, 90, 100]), (79.2, 84.8, 6, [80, 81, 82, 83, 84]), (60, 180, 3, [100, 150])],
)
def test_ticks_are_round(low: float, high: float, most: int, found: list[int]) -> None:
    """Steps of 1, 2, 5, 10, 20 or 50."""
    assert ticks(low, high, most) == found


def test_columns_in_eighths() -> None:
    """Half, all, none and a day without one in two lines; what is above nothing always shows."""
    lines = column_plot([0.5, 1.0, 0.0, None, 0.01], [day(n) for n in range(5)], 1.0, ("all", "none"), 16, 3)
    assert lines == (
        " all │  █       ",
        "none │█ █     ▁ ",
        "      1 Apr     ",
    )


@given(st.lists(st.one_of(st.none(), st.floats(0, 50)), max_size=90), st.integers(20, 110), st.integers(2, 9))
def test_columns_keep_their_size_and_the_latest(values: list[float | None], width: int, height: int) -> None:
    """However many days there are, the plot is as large as asked; what has no room is the oldest."""
    days = [day(n) for n in range(len(values))]
    lines = column_plot(values, days, 50.0, ("50", "0"), width, height)
    assert len(lines) == height
    assert {len(line) for line in lines} == {width}


def test_the_loop_with_its_stumbles_and_the_mark() -> None:
    """Four bars: chords above, a column and a number for each beat, and a mark where stumbles gather."""
    counts = Counter({(2, 0): 7, (0, 1): 1})
    assert loop_plot(landing(), counts, frozenset({(2, 0)}), 60) == (
        " C            Am           F            G",
        "│    ▂▂      │            │ ██         │            │",
        "│ ·  1  ·  · │ ·  ·  ·  · │ 7  ·  ·  · │ ·  ·  ·  · │",
        "                            ▲",
    )


def test_a_narrow_loop_wraps_by_bars() -> None:
    """With room for two bars the loop stands in two rows, each with its own numbers."""
    lines = loop_plot(landing(), Counter({(3, 3): 12}), frozenset(), 30)
    assert [line.split() for line in lines[::3]] == [["C", "Am"], ["F", "G"]]
    assert lines[-1].endswith("12│")


def test_plain_characters_say_the_same() -> None:
    """Where there are no blocks, the numbers and the mark still stand."""
    lines = loop_plot(landing(), Counter({(2, 0): 7}), frozenset({(2, 0)}), 60, PLAIN)
    assert "".join(lines).isascii()
    assert lines[2] == "| .  .  .  . | .  .  .  . | 7  .  .  . | .  .  .  . |"
    assert "^" in lines[3]


def test_what_fades() -> None:
    """Nine in ten now and seven in ten in a week, over ten cells."""
    assert fade_bar(0.9, 0.7, 10) == "▄▄▄▄▄▄▄▁▁·"
    assert fade_bar(0.9, 0.7, 10, PLAIN) == "=======~~."


@pytest.mark.parametrize(("term", "glyphs"), [("dumb", PLAIN), ("linux", PLAIN), ("xterm-256color", BLOCKS)])
def test_a_terminal_without_blocks_gets_plain_characters(
    monkeypatch: pytest.MonkeyPatch, term: str, glyphs: Glyphs
) -> None:
    """The console of a machine without a desktop has no eighths of a block in its font."""
    monkeypatch.setenv("TERM", term)
    assert glyphs_here() is glyphs

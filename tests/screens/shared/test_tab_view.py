"""The tab on the stage: where the cursor stands, what a line holds, when a page turns."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.style import Style
from textual.app import App, ComposeResult
from textual.pilot import Pilot

from coach.picking.pattern import Pattern
from coach.picking.plucks import swing_beat
from coach.picking.tab import CHORD_ROW, COUNT_ROW, FINGER_ROW, ROWS, THUMB_ROW, draw_tab_bar, row_text, string_row
from coach.screens.shared.tab_view import GAP, KEPT_BARS, WIDEST_SLOT, TabView, _cut, row_plan, slot_width, written_beat
from coach.session.conductor import Loop, song_loop
from coach.session.run import COUNT, PLAY
from tests.screens.made_pages import landing, loop_of
from tests.screens.made_songs import lantern_loop, long_song, performed
from tests.screens.quiet import running

SHARES = st.fractions(Fraction(1, 2), Fraction(3, 4), max_denominator=1000)


# Pure ---------------------------------------------------------------------------------------


@given(st.fractions(0, 12, max_denominator=48), SHARES)
def test_the_written_place_of_a_swung_beat_comes_back(beat: Fraction, share: Fraction) -> None:
    """Swing a written beat, then ask where it is written: the same place to a billionth of a beat."""
    assert written_beat(float(swing_beat(beat, share)), share) == pytest.approx(float(beat), abs=1e-9)


@given(st.floats(0, 12), st.floats(0, 12), SHARES)
def test_the_cursor_never_goes_back(one: float, other: float, share: Fraction) -> None:
    """In any swing a later sounding beat is written no further left."""
    first, second = sorted((one, other))
    assert written_beat(first, share) <= written_beat(second, share) + 1e-9


def test_the_off_beat_of_a_two_to_one_swing_is_written_in_the_middle() -> None:
    """Two thirds of a beat sound where half a beat is written."""
    assert written_beat(2 / 3, Fraction(2, 3)) == pytest.approx(0.5)


@pytest.mark.parametrize("height", range(8, 30))
def test_every_row_has_its_line(height: int) -> None:
    """In any height all ten rows of tab are there, in order; air comes between strings only, evenly."""
    plan = row_plan(height)
    assert [row for row in plan if row != GAP] == list(range(ROWS))
    assert len(plan) <= max(height, ROWS)
    at = [plan.index(string_row(string)) for string in range(1, 7)]
    steps = {b - a for a, b in pairwise(at)}
    assert steps in ({1}, {2}, {3})
    assert plan.index(THUMB_ROW) == at[5] + 1
    assert plan.index(string_row(1)) == plan.index(FINGER_ROW) + 1


@given(st.integers(30, 300), st.integers(1, 64))
def test_slots_are_as_wide_as_two_bars_allow(width: int, slots: int) -> None:
    """A slot is two cells to WIDEST_SLOT; where it is wider than two, two whole bars are on the view."""
    cells = slot_width(width, slots)
    assert 2 <= cells <= WIDEST_SLOT
    assert cells == 2 or 2 * (1 + slots * cells) <= width


TEXTS = st.lists(st.tuples(st.text("─│0123 pima", min_size=1, max_size=9), st.just(Style())), max_size=12)


@given(TEXTS, st.integers(0, 20), st.integers(0, 40), st.integers(-5, 60))
def test_a_cut_is_the_text_cut_and_no_cell_else(
    runs: list[tuple[str, Style]], skip: int, width: int, cursor: int
) -> None:
    """Cutting styled runs gives what cutting the plain text gives, but for the one cell under the cursor."""
    text = "".join(t for t, _ in runs)[skip : skip + width]
    cut = _cut([tuple(runs)], skip, width, cursor, Style(bold=True)).text
    assert len(cut) == len(text)
    assert all(a == b for k, (a, b) in enumerate(zip(cut, text, strict=True)) if k != cursor)
    if 0 <= cursor < len(text) and text[cursor] in "─ │":
        assert cut[cursor] in "┃╂"


def test_thumb_and_fingers_are_told_apart_without_colour() -> None:
    """Every note of the thumb has its p below the strings, every finger its letter above them, in its own column."""
    loop = loop_of()
    one = loop.bar(0)
    bar = draw_tab_bar(one.plucks, one.plucks, one.held, one.meter, one.slots, 4)
    above, below = row_text(bar, FINGER_ROW), row_text(bar, THUMB_ROW)
    for pluck in one.plucks:
        column = bar.column(float(pluck.beat) * 2)
        if pluck.finger == "p":
            assert below[column] == "p"
        else:
            assert pluck.finger in above[column : column + 3]
    assert set(below) == {" ", "p"}
    assert set(above) <= set(" ima")


# On a view ----------------------------------------------------------------------------------


class View(App[None]):
    """Nothing but the tab."""

    def __init__(self, loop: Loop, look: Callable[[int], tuple[int, str, str] | None], still: bool) -> None:
        super().__init__()
        self.tab = TabView(loop, look, still=still)

    def compose(self) -> ComposeResult:
        """The tab."""
        yield self.tab


def round_and_round(loop: Loop) -> Callable[[int], tuple[int, str, str] | None]:
    """Every bar from 0 on is a bar of the loop in full."""
    return lambda number: (number % loop.bars, "full", PLAY) if number >= 0 else None


@asynccontextmanager
async def view(pattern: Pattern, width: int, *, still: bool) -> AsyncIterator[tuple[TabView, Pilot[None]]]:
    """The tab of a pattern on a screen of `width` columns."""
    loop = loop_of(pattern)
    app = View(loop, round_and_round(loop), still)
    async with running(app, (width, 24)) as pilot:
        yield app.tab, pilot


def line(tab: TabView, row: int) -> str:
    """A row of tab as plain text."""
    return tab.render_line(tab._plan.index(row)).text


PATTERNS = {"straight": landing(), "swung": landing("0.667"), "hard swing": landing("0.75")}


@pytest.mark.parametrize("still", [False, True], ids=["glide", "still"])
@pytest.mark.parametrize("width", [60, 80, 160])
@pytest.mark.parametrize("feel", PATTERNS)
async def test_the_cursor_is_on_the_note_that_sounds(feel: str, width: int, still: bool) -> None:
    """On every slot of three bars, as it sounds, the cursor stands where its count and its note are written."""
    pattern = PATTERNS[feel]
    async with view(pattern, width, still=still) as (tab, _):
        for number in range(3):
            for slot in range(pattern.slots):
                tab.move(number, float(swing_beat(pattern.meter.slot_beat(slot, pattern.slots), pattern.share)))
                count = line(tab, COUNT_ROW)
                word = count[tab.cursor_column]
                assert word == (str(slot // 2 + 1) if slot % 2 == 0 else "&"), (number, slot)
                # The same written place, found from the bar line: its slot's note.
                strings = line(tab, string_row(6))
                bar_lines = [k for k, char in enumerate(strings) if char == "│"]
                assert bar_lines
                assert {(tab.cursor_column - k) % tab.bar_width for k in bar_lines} == {2 + slot * tab.slot_cells}


@pytest.mark.parametrize("still", [False, True], ids=["glide", "still"])
@pytest.mark.parametrize("width", [60, 61, 80, 160, 233])
async def test_a_line_is_exactly_as_wide_as_the_view(width: int, still: bool) -> None:
    """At any moment of four bars every line has the width of the view, also left of the first bar."""
    async with view(PATTERNS["swung"], width, still=still) as (tab, _):
        for step in range(33):
            tab.move(step // 8, step % 8 / 2)
            for y in range(24):
                strip = tab.render_line(y)
                assert strip.cell_length == len(strip.text) == width


@pytest.mark.parametrize("width", [60, 80, 160])
async def test_a_still_page_turns_one_bar_early(width: int) -> None:
    """On every bar of two rounds the bar that comes next is on the page in full, and the cursor is on the page."""
    async with view(PATTERNS["straight"], width, still=True) as (tab, _):
        pages = []
        for number in range(8):
            tab.move(number, 0.0)
            pages.append(tab._page)
            shown = width // tab.bar_width
            assert shown >= 2 or width == 60
            assert tab.cursor_column < width
            if shown >= 2:
                assert number + 1 < tab._page + shown
        assert pages == sorted(pages)


async def test_a_still_page_stands_while_the_cursor_moves() -> None:
    """Within a bar only the cursor's cell changes: the rest of each line is as it was."""
    async with view(PATTERNS["straight"], 160, still=True) as (tab, _):
        tab.move(0, 0.0)
        before, old = line(tab, string_row(1)), tab.cursor_column
        tab.move(0, 2.0)
        after, new = line(tab, string_row(1)), tab.cursor_column
        differ = {k for k, (a, b) in enumerate(zip(before, after, strict=True)) if a != b}
        assert differ <= {old, new}


async def test_gliding_tab_moves_under_a_standing_cursor() -> None:
    """The cursor's column stays, a quarter from the left; a slot later the tab is a slot further left."""
    async with view(PATTERNS["straight"], 80, still=False) as (tab, _):
        tab.move(1, 0.0)
        first, column = line(tab, COUNT_ROW), tab.cursor_column
        tab.move(1, 0.5)
        second = line(tab, COUNT_ROW)
        assert tab.cursor_column == column == 20
        step = tab.slot_cells
        assert first[column + 4 * step] == second[column + 3 * step]


async def test_the_cursor_is_seen_without_colour() -> None:
    """On every line of tab the cursor's cell is a heavy line, or the note it stands on."""
    async with view(PATTERNS["straight"], 80, still=False) as (tab, _):
        tab.move(1, 0.25)
        column = tab.cursor_column
        assert {tab.render_line(y).text[column] for y in range(len(tab._plan))} <= {"╂", "┃"}
        assert line(tab, CHORD_ROW)[column] == "┃"


async def test_only_a_new_cell_is_drawn() -> None:
    """A thousandth of a beat further on nothing is drawn; half a beat further on it is."""
    async with view(PATTERNS["straight"], 80, still=False) as (tab, _):
        assert tab.move(1, 1.0)
        assert not tab.move(1, 1.001)
        assert tab.move(1, 1.5)


async def test_a_count_in_shows_the_count_on_empty_strings() -> None:
    """In the count-in the strings are bare and the syllables stand below: 1 & 2 & 3 & 4 &."""
    loop = loop_of()
    app = View(loop, lambda number: (0, "full", COUNT) if number == 0 else None, True)
    async with running(app, (80, 24)):
        app.tab.move(0, 3.9)
        assert line(app.tab, COUNT_ROW).split()[:8] == ["1", "&", "2", "&", "3", "&", "4", "&"]
        assert set(line(app.tab, string_row(5))) <= set("│─╂ ┃")


@pytest.mark.parametrize("layer", ["thumb", "pinches", "full"])
async def test_thinned_notes_leave_a_dot(layer: str) -> None:
    """What a layer leaves out is a dot in its place, so that the hand sees where it will come back."""
    loop = loop_of()
    app = View(loop, lambda number: (number % 4, layer, PLAY), True)
    async with running(app, (80, 24)):
        app.tab.move(1, 3.9)
        strings = "".join(line(app.tab, string_row(s))[1 : app.tab.bar_width] for s in range(1, 7))
        left_out = len(loop.bar(0).plucks) - len(loop.sounding(0, layer))
        assert strings.count("·") == left_out


@pytest.mark.parametrize("still", [False, True], ids=["glide", "still"])
@pytest.mark.parametrize("width", [60, 80, 160])
async def test_bars_of_any_length_fill_the_view_and_follow_each_other(width: int, still: bool) -> None:
    """A song of pick-ups, fours and threes: every line is as wide as the view at every half beat, the cursor is on the
    view, and its beat's count stands under it: in a pick-up of one beat the fourth.
    """
    loop = lantern_loop()
    app = View(loop, round_and_round(loop), still)
    async with running(app, (width, 24)):
        tab = app.tab
        for bar in loop.piece.bars:
            for half in range(int(bar.beats * 2)):
                tab.move(bar.number, half / 2)
                assert 0 <= tab.cursor_column < width
                assert {tab.render_line(y).cell_length for y in range(24)} == {width}
                if half % 2 == 0:
                    count = line(tab, COUNT_ROW)[tab.cursor_column]
                    assert count == str(half // 2 + 1 + int(bar.offset)), (bar.number, half)


async def test_bars_are_drawn_when_they_are_seen_and_forgotten_later() -> None:
    """Along a song of two hundred bars no more than KEPT_BARS are held drawn."""
    loop = song_loop(performed(long_song(200)))
    app = View(loop, round_and_round(loop), False)
    async with running(app, (160, 24)):
        assert len(app.tab._drawn) < 8
        for number in range(200):
            app.tab.move(number, 1.0)
            app.tab.render_line(0)
        assert len(app.tab._drawn) <= KEPT_BARS

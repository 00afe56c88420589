"""The songbook driven by keys: what it says of songs that were played, days, rests, playing and singing."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from textual.widgets import Input

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.screens.app import Coach
from coach.screens.songs.songbook import Songbook
from coach.screens.songs.songbook_text import CELL, columns, row_line, table_head
from coach.sound.clock import FakeClock
from tests.screens.house import House
from tests.screens.pictures import MOMENT, world
from tests.screens.quiet import running
from tests.screens.songs.test_first_song import SHEET


def played(ledger: Ledger, drill: str, tempo: float, days_ago: int, *, mode: str = "play", layer: str = "full") -> None:
    """Three clean passes of four bars."""
    at = MOMENT - timedelta(days=days_ago)
    take = ledger.begin_take(drill, tempo, layer, at, mode)
    for number in range(1, 4):
        ledger.add_pass(take, number, tempo, 4, 0, layer, at=at)
    ledger.give_verdict(take, "held", at=at)


@asynccontextmanager
async def opened(home: Path, size: tuple[int, int] = (160, 45)) -> AsyncIterator[tuple[House, Songbook]]:
    """The coach with the shipped songs, on the songbook."""
    home.mkdir(parents=True, exist_ok=True)
    clock = FakeClock()
    app = Coach(world(home, clock, cautions_seen=True))
    async with running(app, size) as pilot:
        here = House(app, pilot, clock, home)
        await here.on("Today")
        await here.press("b")
        await here.on("Songbook")
        page = app.screen
        assert isinstance(page, Songbook)
        await here.until(lambda: page.book is not None and page.rows, "the songs")
        await here.quiet()
        yield here, page
    app.scribe.close()


@pytest.mark.parametrize("size", [(160, 45), (100, 36), (80, 24)])
async def test_how_far_a_song_is(coach_home: Path, size: tuple[int, int]) -> None:
    """Its Verse was held at 70 of 84 and sung at 60: the song stands first, the figures on the Verse's line."""
    coach_home.mkdir()
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        played(ledger, "last-boat/plain/part/Verse", 70, 2)
        played(ledger, "last-boat/plain/part/Verse/sing", 60, 1, mode="sing", layer="thumb")
    async with opened(coach_home, size) as (here, page):
        assert page.line is not None
        assert page.line.song.id == "last-boat"
        line = next(text for text in here.lines() if "Verse  " in text)
        assert "held 70/84" in line
        assert "held 60/84" in line
        assert "Last played yesterday." in " ".join(" ".join(here.lines()).split())
        assert "not begun" in here.page_text()  # the others are offered, not pushed


async def test_a_day_and_a_rest_are_written_down_and_obeyed(coach_home: Path) -> None:
    """d, +14, enter: wanted in 14 days, and every drill of it is due then. r: it rests and none is planned."""
    async with opened(coach_home) as (here, page):
        assert page.line is not None
        song = page.line.song.id
        await here.press("d")
        await here.on("Ask")
        await here.until(lambda: isinstance(here.app.focused, Input), "the line to type on")
        await here.press("plus", "1", "4", "enter")
        await here.until(lambda: page.line is not None and page.line.settled.due is not None, "the day")
        assert "in 14 days" in here.page_text()
        wanted = {d.due for d in here.app.world.drills if d.id in (f"{song}/plain", f"{song}/plain/sing")}
        assert wanted == {MOMENT.date() + timedelta(14)}
        await here.press("r")
        await here.until(lambda: page.line is not None and page.line.settled.resting, "the rest")
        assert page.line.song.id == song
        assert all(d.resting for d in here.app.world.drills if d.id.startswith(f"{song}/"))
        await here.press("r")
        await here.until(lambda: page.line is not None and not page.line.settled.resting, "awake again")
    with Ledger(coach_home / "ledger.sqlite3") as ledger:
        assert len(ledger.notes(NoteKind.SONG_SETTLED)) == 3


async def test_a_day_that_is_none_changes_nothing(coach_home: Path) -> None:
    """The sentence says how to write one."""
    async with opened(coach_home) as (here, page):
        await here.press("d")
        await here.on("Ask")
        await here.press("x", "enter")
        await here.on("Songbook")
        await here.until(lambda: "is not a day" in here.page_text(), "the sentence")
        assert page.line is not None
        assert page.line.settled.due is None


@pytest.mark.parametrize(
    ("key", "tail", "singing"),
    [("enter", "", False), ("s", "/sing", True), ("f", "/sing-full", True), ("k", "", True)],
)
async def test_the_chosen_part_is_played_sung_or_spoken(
    coach_home: Path, key: str, tail: str, singing: bool
) -> None:
    """Enter plays, s sings over the thumb, f over all, k speaks; the picking is the thumb's, but with f all of it."""
    async with opened(coach_home) as (here, page):
        assert page.line is not None
        await here.press("right")
        named = next(row for row in page.rows if "sing" in row.ways)
        await here.press(*["down"] * page.rows.index(named))
        await here.press(key)
        stage = await here.running()
        kind = "spoken" if key == "k" else "part"
        assert stage.block.drill == f"{page.line.song.id}/plain/{kind}/{named.name}{tail}"
        assert stage.run_state.singing == singing
        assert stage.run_state.layer == ("thumb" if key in "sk" else "full")
        await here.press("escape")
        await here.on("Songbook")


async def test_the_other_tier_and_a_song_taken_up(coach_home: Path) -> None:
    """o takes the other arrangement in hand; u takes the song up: its drills are among those practised."""
    async with opened(coach_home) as (here, page):
        assert page.line is not None
        song = page.line.song.id
        assert (page.arrangement, page.other) == ("plain", "full")
        await here.press("o")
        assert (page.arrangement, page.other) == ("full", "plain")
        assert not any(d.id.startswith(f"{song}/") for d in here.app.world.drills)
        await here.press("u")
        await here.until(lambda: page.line is not None and page.line.practised, "taken up")
        assert any(d.id == f"{song}/full" for d in here.app.world.drills)


async def test_a_sheet_that_is_none_is_told_and_nothing_is_written(coach_home: Path) -> None:
    """i and a path where there is no file: one sentence, and the songs are as before."""
    async with opened(coach_home) as (here, page):
        count = len(page.book.lines) if page.book else 0
        await here.press("i")
        await here.on("Ask")
        await here.press(*"no.mxl", "enter")
        await here.on("Songbook")
        await here.until(lambda: "no.mxl" in here.page_text(), "the sentence")
        assert page.book is not None
        assert len(page.book.lines) == count
    assert not (coach_home / "songs").exists()


@pytest.mark.parametrize("width", [24, 40, 53, 70, 111, 160])
def test_lines_fit_their_room(width: int) -> None:
    """Head and rows are never wider than the room, and their columns lie under one another."""
    from coach.skill.readiness import DrillState, ReadinessRow
    from tests.drills.test_song_drills import BY_ID

    drill = BY_ID["landing/plain/part/Verse"]
    row = ReadinessRow("part", "A verse with a very long name indeed", {"played": DrillState(drill, "steady", 88.0)})
    for other in ("", "full"):
        head, line = table_head(width, other), row_line(row, width, other)
        assert len(head) <= width
        assert len(line) <= width
        assert line.index("steady 88/100") == head.index("played")
        assert len(columns(width, other)) * CELL < width


async def test_a_lead_sheet_is_brought_in_beside_what_is_there(coach_home: Path) -> None:
    """The same sheet twice: two songs of the player's own, the second under a name of its own; none is overwritten."""

    async with opened(coach_home) as (here, page):
        for count in (1, 2):
            await here.press("i")
            await here.on("Ask")
            here.app.screen.query_one("#answer", Input).value = str(SHEET)
            await here.press("enter")
            await here.on("Songbook")
            await here.until(
                lambda count=count: page.book is not None and sum(one.song.own for one in page.book.lines) == count,
                "the new song",
            )
        assert page.line is not None
        assert page.line.song.own
        assert "a proposes two" in here.page_text()
    files = sorted(file.name for file in (coach_home / "songs").iterdir())
    assert files == ["fosterbrownhair-2.song.toml", "fosterbrownhair.song.toml"]

"""The chart typed in the app: a whole song by the keyboard, saved as it is typed, nothing lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach import places
from coach.screens.shared.row_view import RowView
from coach.screens.songs.chart_page import ChartPage
from coach.screens.songs.chart_text import ADD, BAR, Place
from coach.song.chart import HOLD, Song
from coach.song.files.song_file import read_song
from coach.song.files.song_shelf import read_songs
from tests.screens.house import House, house
from tests.screens.made_songs import LANTERN, lantern

FILE = "lantern.song.toml"


async def opened(here: House, text: str = LANTERN) -> ChartPage:
    """The chart of a song of the player's own."""
    places.songs().mkdir(parents=True, exist_ok=True)
    (places.songs() / FILE).write_text(text, encoding="utf-8")
    here.app.world.songs = read_songs(places.shipped("shared") / "songs", places.songs())
    here.app.open_chart("lantern")
    await here.on("ChartPage")
    return page_of(here)


def page_of(here: House) -> ChartPage:
    """The chart that is open."""
    page = here.app.screen
    assert isinstance(page, ChartPage)
    return page


async def saved(here: House, page: ChartPage, name: str = "lantern") -> Song:
    """The song as its file says it, once all is written."""
    await here.until(lambda: not page.draft.busy, "the file")
    await here.quiet()
    return read_song(places.songs() / f"{name}.song.toml", own=True)


async def test_a_whole_song_is_typed(tmp_path: Path) -> None:
    """Title, chords of two parts, words under them, an order with a repeat: the file has it all."""
    async with house(tmp_path, (100, 36)) as here:
        here.app.open_chart(None)
        await here.on("NewSong")
        await here.press(*"Slow water", "enter", "enter", "enter", "enter")
        await here.on("ChartPage")
        page = page_of(here)
        await here.press("enter", "end", "backspace", *"G | C D | G", "enter", *"Em | D", "enter", "enter")
        song = await saved(here, page, "slow-water")
        typed = [" ".join(str(c) for _, c in bar.chords) for bar in song.parts["Verse"].bars]
        assert typed == ["G", "C D", "G", "Em", "D"]
        await here.press("pageup", "down", "right", "enter", *"Wa- ter|goes / slow-|ly", "enter", *"by?", "enter")
        await here.press("escape")
        song = await saved(here, page, "slow-water")
        assert [[w.text for w in bar.words] for bar in song.parts["Verse"].bars[:3]] == [
            ["Wa- ter", "goes"], ["slow-", "ly"], ["by?"],
        ]  # fmt: skip
        await here.press("n", "enter")
        await here.until(lambda: page.typing, "the new part")
        await here.press("end", "backspace", *"C | G", "enter", "enter", "o", "end", *", Verse x2", "enter")
        song = await saved(here, page, "slow-water")
        assert song.order == ("Verse", "Chorus", "Verse", "Verse")
        assert [str(bar.chords[0][1]) for bar in song.parts["Chorus"].bars] == ["C", "G"]


async def test_what_cannot_be_read_stays_on_the_page_and_out_of_the_file(tmp_path: Path) -> None:
    """Told while it is typed, marked when it is left, mended later; leaving with it asks once."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        await here.press("down", "enter", "end", *" Xq")
        assert "'Xq' is not a chord" in here.page_text()
        await here.press("enter")
        assert page.typing  # it is not let go of
        await here.press("escape")
        assert "! G Xq" in here.page_text()
        assert (places.songs() / FILE).read_text(encoding="utf-8") == LANTERN
        await here.press("escape")
        assert "a cell marked ! is not in the file" in here.page_text()
        assert type(here.app.screen).__name__ == "ChartPage"
        await here.press("enter", "backspace", "backspace", *"Am", "escape")
        song = await saved(here, page)
        assert [str(c) for _, c in song.parts["Verse"].bars[1].chords] == ["G", "Am"]
        assert "!" not in here.page_text()
        await here.press("escape")
        await here.on("Today")


async def test_marked_cells_go_with_their_bars(tmp_path: Path) -> None:
    """A bar put in before a marked one moves the mark with it."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        await here.press("down", "down", "enter", *" Q", "escape", "up", "i")
        await here.until(lambda: page.typing, "the new bar")
        await here.press("escape")
        await saved(here, page)
        assert list(page.wrong) == [Place(BAR, "Verse", 3)]


async def test_bars_are_put_in_taken_out_held_and_brought_back(tmp_path: Path) -> None:
    """i, x, h and u; undone to the end the file is letter by letter as it was."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        await here.press("down", "h")
        song = await saved(here, page)
        assert song.parts["Verse"].bars[1].way == HOLD
        await here.press("x")
        song = await saved(here, page)
        assert [str(bar.chords[0][1]) for bar in song.parts["Verse"].bars] == ["G", "C", "Em", "C", "G"]
        await here.press("i")
        await here.until(lambda: page.typing, "the new bar")
        await here.press(*"Am", "escape")
        song = await saved(here, page)
        assert [str(bar.chords[0][1]) for bar in song.parts["Verse"].bars] == ["G", "Am", "C", "Em", "C", "G"]
        for _ in range(6):
            await here.press("u")
        await saved(here, page)
        assert (places.songs() / FILE).read_text(encoding="utf-8") == LANTERN
        assert "nothing to take back" in here.page_text()
        await here.press("z")
        song = await saved(here, page)
        assert song.parts["Verse"].bars[1].way == HOLD


async def test_a_tab_goes_on_to_the_next_column(tmp_path: Path) -> None:
    """Chords, tab, words, tab, tune of one bar, typed in one go; a song without an order is given one."""
    async with house(tmp_path, (100, 36)) as here:
        text = LANTERN.replace('order = ["Verse", "Turn", "Verse", "Chorus"]\n', "")
        page = await opened(here, text)
        await here.press("pagedown", "down", "enter", *"Am", "tab", *"far", "tab", *"A4:4", "escape")
        bar = (await saved(here, page)).parts["Turn"].bars[0]
        assert (str(bar.chords[0][1]), bar.words[0].text, str(bar.tune[0].pitch)) == ("Am", "far", "A4")
        await here.press("o", *"Turn, Chorus", "enter")
        assert (await saved(here, page)).order == ("Turn", "Chorus")


async def test_leaving_the_coach_at_once_keeps_what_is_being_typed(tmp_path: Path) -> None:
    """Ctrl-q in the middle of a line: its chords are in the file."""
    async with house(tmp_path, (100, 36)) as here:
        await opened(here)
        await here.press("down", "enter", *"Am", "ctrl+q")
    song = read_song(places.songs() / FILE, own=True)
    assert str(song.parts["Verse"].bars[1].chords[0][1]) == "Am"


async def test_a_pick_up_is_typed_as_beats(tmp_path: Path) -> None:
    """b on the first bar of the turn: one beat of it is left, and nothing else changes."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        await here.press("pagedown", "down", "b", *"1", "enter", "escape")
        song = await saved(here, page)
        assert song.parts["Turn"].bars[0].beats == 1
        assert song.parts["Verse"] == lantern().parts["Verse"]


async def test_a_file_changed_by_another_hand_is_left_alone(tmp_path: Path) -> None:
    """What is typed then goes into a file beside it, and the page says so; neither loses a letter."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        other = LANTERN + "# a line by another hand\n"
        (places.songs() / FILE).write_text(other, encoding="utf-8")
        await here.press("down", "h")
        song = await saved(here, page, "lantern-2")
        assert song.parts["Verse"].bars[1].way == HOLD
        assert (places.songs() / FILE).read_text(encoding="utf-8") == other
        assert "lantern-2" in here.page_text()


@pytest.mark.parametrize("size", [(80, 24), (160, 45)])
async def test_four_hundred_bars_are_drawn_as_far_as_they_are_seen(tmp_path: Path, size: tuple[int, int]) -> None:
    """A step and a typed letter draw a screenful; the bars typed at the end are there."""
    bars = "\n".join(f'  {{ chords = "{chord}", words = "row on" }},' for chord in ["G", "C D", "Em", "C"] * 100)
    text = LANTERN.replace('bars = [ { chords = "C" }, { chords = "D" } ]', f"bars = [\n{bars}\n]")
    async with house(tmp_path, size) as here:
        page = await opened(here, text)
        view = page.query_one("#lines", RowView)
        assert view.rows > 410
        drawn = view.drawn
        await here.press("down")
        assert 0 < view.drawn - drawn <= 3 * size[1]
        page.place = Place(ADD, "Turn")
        await here.press("enter", *"Am | F | G")
        drawn = view.drawn
        await here.press("7")
        assert 0 < view.drawn - drawn <= 3 * size[1]
        await here.press("enter", "escape")
        song = await saved(here, page)
        assert len(song.parts["Turn"].bars) == 403
        assert str(song.parts["Turn"].bars[-1].chords[0][1]) == "G7"


async def test_help_opens_on_the_chart_and_a_question_mark_can_be_typed(tmp_path: Path) -> None:
    """? is all keys, and itself where one types."""
    async with house(tmp_path, (100, 36)) as here:
        page = await opened(here)
        await here.press("down", "right", "enter", *"who", "question_mark")
        assert page.query_one("#type").value.endswith("who?")  # type: ignore[attr-defined]
        await here.press("escape", "question_mark")
        await here.on("Help")
        assert here.page_text().find("A chart") >= 0

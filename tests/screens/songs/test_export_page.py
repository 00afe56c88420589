"""Files written from the app: each kind is what the command would write, told where it is, never over another."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from coach import places
from coach.handout import Chosen
from coach.paper.text_tab import write_text_tab
from coach.screens.desk.desk_page import DeskPage
from coach.screens.songs.export_page import Exporting, seconds_of
from coach.song.files.song_shelf import read_songs
from tests.screens.house import House, house
from tests.screens.made_songs import lantern, performed
from tests.screens.pictures import world


async def opened(here: House, what: Chosen | str) -> Exporting:
    """The page for writing files of something."""
    here.app.world.songs = read_songs(places.shipped("shared") / "songs", places.songs())
    here.app.open_export(what)
    await here.on("Exporting")
    page = here.app.screen
    assert isinstance(page, Exporting)
    return page


async def write(here: House, page: Exporting, kind: str) -> Path:
    """Choose a kind and write it."""
    while page.kind.suffix != kind:
        await here.press("down")
    await here.press("enter")
    await here.until(lambda: page.writing is None, f"the {kind}")
    await here.quiet()
    return page.path


@pytest.mark.parametrize(
    ("kind", "begins"),
    [(".txt", b"Last Boat Over"), (".pdf", b"%PDF"), (".musicxml", b"<?xml"), (".mid", b"MThd")],
)
async def test_a_sheet_of_each_kind_is_written_and_told(tmp_path: Path, kind: str, begins: bytes) -> None:
    """It lies in the handouts, is of its kind, and the page says where."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat/full")
        path = await write(here, page, kind)
        assert path == places.home() / "handouts" / f"last-boat-full{kind}"
        assert path.read_bytes().startswith(begins)
        assert "written:" in here.page_text()


async def test_the_text_is_that_of_the_preview_and_the_piece(tmp_path: Path) -> None:
    """What is seen is what is written, but for its width; sung it is thinned under the words."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat/plain")
        await here.until(lambda: page.lines, "the preview")
        assert "Last Boat Over" in page.lines[0]
        whole = (await write(here, page, ".txt")).read_text(encoding="utf-8")
        song, way = page.what.song, page.what.arrangement
        assert song is not None
        assert way is not None
        assert whole == write_text_tab(page.what.piece, source=song.source)
        await here.press("s", "enter", "enter")
        await here.until(lambda: page.writing is None and page.path.read_text(encoding="utf-8") != whole, "the other")
        sung = page.what.piece.sung(way.singing, early=way.early)
        assert page.path.read_text(encoding="utf-8") == write_text_tab(sung, source=song.source)


async def test_a_file_that_is_there_is_only_written_over_when_asked_twice(tmp_path: Path) -> None:
    """Enter asks; another kind or name forgets the question; enter again writes."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat")
        page.path.parent.mkdir(parents=True)
        page.path.write_text("mine", encoding="utf-8")
        await here.press("enter")
        assert "is there already" in here.page_text()
        assert page.path.read_text(encoding="utf-8") == "mine"
        await here.press("down", "up", "enter")
        assert page.path.read_text(encoding="utf-8") == "mine"
        await here.press("enter")
        await here.until(lambda: page.path.read_text(encoding="utf-8") != "mine", "the sheet")


async def test_another_name_takes_kind_and_folder_with_it(tmp_path: Path) -> None:
    """A name that ends in .pdf means a PDF; its folder is made."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat")
        await here.press("n")
        target = tmp_path / "evening" / "boat.pdf"
        await here.press("home", "ctrl+k", *str(target), "enter")
        assert page.path == target
        await here.press("enter")
        await here.until(lambda: target.exists(), "the handout")


async def test_a_track_is_written_at_its_tempo(tmp_path: Path) -> None:
    """A pattern twice round at 95 % of its tempo lasts as long as it says, and the count-in and what rings on."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, here.app.world.chosen_pattern("outside-in"))
        while page.kind.suffix != ".wav":
            await here.press("down")
        await here.press("left", *["b"] * 6)
        assert (page.percent, page.rounds) == (95, 2)
        path = await write(here, page, ".wav")
        seconds = (path.stat().st_size - 44) / (48000 * 4)
        bar = seconds_of(page.what.piece, page.what.piece.bars[0].bpm / page.what.piece.bars[0].bpm, 1)
        played = bar / 0.95 * 2
        one = played / (2 * len(page.what.piece.bars))
        assert played + one < seconds < played + one + 8


async def test_a_long_one_is_stopped_and_leaves_nothing(tmp_path: Path) -> None:
    """Escape while it writes: it ends, no file and no part of one is left, and the page stays."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat")
        page.rounds = 99
        while page.kind.suffix != ".wav":
            await here.press("down")
        await here.press("enter")
        await here.until(lambda: "stops it" in here.page_text(), "the progress")
        await here.press("escape")
        await here.until(lambda: page.writing is None, "the end")
        assert "nothing of it was kept" in here.page_text()
        assert list(page.path.parent.iterdir()) == []
        assert here.app.screen is page


async def test_a_pack_holds_sheet_tracks_pattern(tmp_path: Path) -> None:
    """One zip: the handout twice, three tracks, the pattern's file and what is in it."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, here.app.world.chosen_pattern("outside-in"))
        page.rounds = 1
        with zipfile.ZipFile(await write(here, page, ".zip")) as pack:
            names = pack.namelist()
        sheets = {"sheets/outside-in.pdf", "sheets/outside-in.txt"}
        assert {"README.txt", "patterns/outside-in.toml", *sheets} <= set(names)
        assert sum(name.startswith("tracks/") for name in names) == 3


async def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A folder that is a file: one sentence."""
    async with house(tmp_path, (120, 36)) as here:
        page = await opened(here, "last-boat")
        (tmp_path / "wall").write_text("", encoding="utf-8")
        page.folder = tmp_path / "wall" / "in"
        await write(here, page, ".txt")
        await here.until(lambda: "could not be written" in " ".join(here.page_text().split()), "the sentence")


async def test_patterns_and_desk_have_their_way_to_it(tmp_path: Path) -> None:
    """w on either page opens it with what is chosen there."""
    async with house(tmp_path, (120, 36)) as here:
        await here.press("p")
        await here.on("Patterns")
        await here.press("w")
        await here.on("Exporting")
        page = here.app.screen
        assert isinstance(page, Exporting)
        assert page.what.pattern is not None
        await here.press("escape", "escape", "d")
        await here.on("DeskPage")
        await here.until(lambda: isinstance(here.app.screen, DeskPage) and here.app.screen.desk is not None)
        await here.press("enter")
        await here.until(lambda: here.app.screen.focused is None, "the thinking")
        await here.press("w")
        await here.on("Exporting")
        page = here.app.screen
        assert isinstance(page, Exporting)
        assert [bar.held.name for bar in page.what.piece.bars] == ["C", "Am", "F", "G"]


def test_a_songs_arrangement_is_chosen_by_name(tmp_path: Path) -> None:
    """`song/arrangement`, or the song's first."""
    here = world(tmp_path)
    here.songs = read_songs(places.shipped("shared") / "songs", tmp_path / "none")
    assert here.chosen_song("last-boat").piece.arrangement == "plain"
    assert here.chosen_song("last-boat/full").piece.arrangement == "full"


def test_how_long_a_track_is() -> None:
    """29 beats at 90 and 12 at 120: two turns of it at half the tempo last four times as long."""
    piece = performed(lantern())
    once = sum(60 * float(bar.beats / bar.bpm) for bar in piece.bars)
    assert seconds_of(piece, piece.bars[0].bpm / piece.bars[0].bpm / 2, 2) == pytest.approx(4 * once)

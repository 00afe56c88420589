"""From a fresh install to singing the first part of an imported song: how many keys that takes."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.music.notes import Pitch
from coach.screens.app import Coach
from coach.screens.songs.songbook import Songbook
from coach.screens.stage.stage_page import RUNNING, Stage
from coach.song.arranging.arranger import tune_range
from coach.song.perform import tune_shift
from coach.sound.clock import FakeClock
from tests.calls import Run
from tests.folksongs import corpus
from tests.screens.house import House
from tests.screens.pictures import world
from tests.screens.quiet import running

# Stephen Foster, "Jeanie with the Light Brown Hair", 1854, as a lead sheet of music21's corpus (public domain).
SHEET = corpus() / "leadSheet" / "fosterBrownHair.mxl"
MOST_KEYS = 9


@pytest.mark.parametrize("size", [(160, 45), (80, 24)])
async def test_from_a_lead_sheet_to_singing_its_first_part(
    run: Run, coach_home: Path, size: tuple[int, int]
) -> None:
    """Imported by the command; then songs, arrange, voice (A2 to D4 is offered), back, sing: under ten keys.

    Two arrangements are in the song's file, both in a key in which the tune lies within A2 to D4, and the stage sings.
    """
    code, _, told = run("song", "import", str(SHEET))
    assert code == 0, told
    coach_home.mkdir(exist_ok=True)
    clock = FakeClock()
    app = Coach(world(coach_home, clock, cautions_seen=True))
    pressed: list[str] = []
    async with running(app, size) as pilot:
        here = House(app, pilot, clock, coach_home)

        async def press(*keys: str) -> None:
            pressed.extend(keys)
            await here.press(*keys)

        await here.on("Today")
        await press("b")
        await here.on("Songbook")
        book = app.screen
        assert isinstance(book, Songbook)
        await here.until(lambda: book.line is not None and book.line.song.own, "the imported song, first in the list")
        assert book.line is not None
        song_id = book.line.song.id
        await press("a")
        await here.on("ArrangingPage")
        await here.until(lambda: len(app.world.songs.songs[song_id].arrangements) == 2, "two arrangements")
        await press("y")
        await here.on("Ask")
        await press("enter")
        await here.on("ArrangingPage")

        def fits() -> bool:
            song = app.world.songs.songs[song_id]
            reach = tune_range(song)
            assert reach is not None
            low, high = Pitch.parse("A2").midi, Pitch.parse("D4").midi
            shifts = [tune_shift(song, way) for way in song.arrangements.values()]
            outside = [max(low - reach[0].midi - s, 0) + max(reach[1].midi + s - high, 0) for s in shifts]
            spread = reach[1].midi - reach[0].midi - (high - low)
            return all(over <= max(spread, 0) for over in outside)

        await here.until(fits, "a key for the voice")
        await press("escape")
        await here.on("Songbook")
        await here.until(lambda: book.rows, "its parts")
        await press("s")
        stage = await here.running()
        assert isinstance(stage, Stage)
        assert stage.phase == RUNNING
        assert stage.run_state.singing
        first = app.world.songs.songs[song_id].order[0]
        assert stage.block.drill == f"{song_id}/plain/part/{first}/sing"
        assert len(pressed) <= MOST_KEYS
        await here.press("escape")
    app.scribe.close()
    text = (coach_home / "songs" / f"{song_id}.song.toml").read_text("utf-8")
    assert "[arrangements.plain]" in text
    assert "[arrangements.full]" in text

"""How long a song of 400 bars keeps one waiting where it is written and arranged: `python -m tests.bench.bench_chart`.

Prints milliseconds beside those of a song of 4 bars: until the page is there, until a step or a letter is on the
screen, and until a change is in the file, the screen alive meanwhile.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
import time
from pathlib import Path
from statistics import median

from coach import places
from coach.screens.app import Coach
from coach.screens.songs.arranging_page import ArrangingPage
from coach.screens.songs.chart_page import ChartPage
from coach.song.files.song_shelf import read_songs
from tests.screens.pictures import world

STEPS = 25


def song(bars: int) -> str:
    """A song of so many bars, eighths under all of them."""
    rows = "\n".join(f'  {{ chords = "{c}", words = "row on|to the|far-|side" }},' for c in ("G", "C D", "Em", "C"))
    head = 'title = "Long way over"\nkey = "G"\nmeter = "4/4"\ntempo = 84\n[parts.Verse]\nbars = [\n'
    return head + (rows + "\n") * (bars // 4) + ']\n[arrangements.plain]\npattern = "outside-in"\n'


async def measured(bars: int) -> dict[str, float]:
    """Milliseconds by what is waited for."""
    (places.songs()).mkdir(parents=True, exist_ok=True)
    (places.songs() / "long.song.toml").write_text(song(bars), encoding="utf-8")
    here = world(places.home(), None, cautions_seen=True)
    here.songs = read_songs(places.songs(), places.songs())
    app = Coach(here)
    found: dict[str, float] = {}
    async with app.run_test(size=(120, 40)) as pilot:
        await pilot.pause(0.5)

        async def timed(what: str, *keys: str) -> None:
            times = []
            for _ in range(STEPS):
                start = time.perf_counter()
                await pilot.press(*keys)
                times.append(time.perf_counter() - start)
            found[what] = median(times) * 1000

        start = time.perf_counter()
        app.open_chart("long")
        await pilot.pause()
        chart = app.screen
        assert isinstance(chart, ChartPage)
        found["the chart is there"] = (time.perf_counter() - start) * 1000
        await timed("a step in the chart", "down")
        await pilot.press("enter", "end")
        await timed("a letter typed", "m")
        await pilot.press(*["backspace"] * STEPS)
        start = time.perf_counter()
        await pilot.press("space", "G", "escape")
        while chart.draft.busy:
            await asyncio.sleep(0.001)
        found["a bar typed, till it is in the file"] = (time.perf_counter() - start) * 1000
        await pilot.press("escape")
        await pilot.pause(0.2)
        start = time.perf_counter()
        app.open_arranging("long")
        await pilot.pause()
        page = app.screen
        assert isinstance(page, ArrangingPage)
        found["the arrangement is there"] = (time.perf_counter() - start) * 1000
        while not page.pieces:
            await asyncio.sleep(0.001)
        found["and is played through"] = (time.perf_counter() - start) * 1000
        await timed("a step in the arrangement", "down")
        start = time.perf_counter()
        await pilot.press("n")
        found["a pattern chosen, on the screen"] = (time.perf_counter() - start) * 1000
        while page.draft.busy:
            await asyncio.sleep(0.001)
        found["and in the file"] = (time.perf_counter() - start) * 1000
    app.scribe.close()
    return found


def main() -> None:
    """A table."""
    with tempfile.TemporaryDirectory() as home:
        os.environ["COACH_HOME"] = str(Path(home))
        short, long = asyncio.run(measured(4)), asyncio.run(measured(400))
    print(f"{'':<40}{'4 bars':>10}{'400 bars':>10}")
    for what, milliseconds in long.items():
        print(f"{what:<40}{short[what]:>8.0f}ms{milliseconds:>8.0f}ms")


if __name__ == "__main__":
    main()

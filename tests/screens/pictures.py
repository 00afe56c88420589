"""Pictures of the screens: `python -m tests.screens.pictures OUT_DIR`, or `... README` for the README's own.

Needs `rsvg-convert` (Debian librsvg2-bin) and a monospace font for the PNGs; without it only the SVGs are written.
"""

from __future__ import annotations

import asyncio
import re
import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from textual.widgets import Static

from coach import places
from coach.drills import song_choices
from coach.guitar.open_shapes import read_shape_book
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.picking.pattern_library import read_library
from coach.screens.app import Coach
from coach.screens.stage.stage_page import Stage
from coach.session.context import World
from coach.session.run_setup import free_block
from coach.settings import Settings
from coach.sound.clock import FakeClock
from coach.sound.device import SilentSpeaker
from tests.screens.evenings import practise

MOMENT = datetime(2026, 5, 9, 7, 5, tzinfo=UTC)


def world(home: Path, clock: FakeClock | None = None, **settings: object) -> World:
    """A world with the shipped patterns, an empty ledger in `home`, no sound and, if given, a clock set by hand."""
    book = read_shape_book(places.shipped("shared") / "shapes.toml")
    library = read_library(places.shipped("patterns"), home / "patterns")
    return World(
        library,
        book,
        Settings(**settings),  # type: ignore[arg-type]
        home / "ledger.sqlite3",
        home / "settings.toml",
        now=lambda: MOMENT,
        speaker=lambda buffer_ms: SilentSpeaker(),
        clock=clock,
    )


async def pictures(out: Path) -> None:
    """Write today.svg, stage.svg, sing.svg, verdict.svg, patterns.svg, help.svg in two sizes."""
    for name, size in (("wide", (160, 45)), ("small", (80, 24))):
        clock = FakeClock()
        with tempfile.TemporaryDirectory() as home:
            app = Coach(world(Path(home), clock, cautions_seen=True))
            async with app.run_test(size=size) as pilot:
                await pilot.pause(0.6)
                save(app, out / f"today-{name}.svg")
                await pilot.press("p")
                await pilot.pause(0.4)
                chosen = list(app.world.library.patterns).index("outside-in")
                await pilot.press(*["down"] * chosen)
                await pilot.pause(0.4)
                save(app, out / f"patterns-{name}.svg")
                await pilot.press("enter")
                await pilot.pause(1.0)
                clock.seconds = 22.3
                await pilot.pause(0.5)
                save(app, out / f"stage-{name}.svg")
                await pilot.press("s")
                clock.seconds = 28.1
                await pilot.pause(0.5)
                save(app, out / f"sing-{name}.svg")
                await pilot.press("question_mark")
                await pilot.pause(0.3)
                save(app, out / f"help-{name}.svg")
                await pilot.press("escape")
                clock.seconds = 60.0
                await pilot.pause(0.5)
                await pilot.press("e")
                clock.seconds = 75.0
                await pilot.pause(0.8)
                save(app, out / f"verdict-{name}.svg")
                await pilot.press("f")
                await pilot.pause(0.5)
                await pilot.press("escape", "o")
                await pilot.pause(0.5)
                save(app, out / f"settings-{name}.svg")


async def progress_pictures(out: Path) -> None:
    """Write planned.svg, progress.svg, its sides where not all fit, and stopped.svg, over made-up evenings."""
    for name, size in (("wide", (160, 45)), ("small", (80, 24)), ("least", (60, 22))):
        with tempfile.TemporaryDirectory() as home:
            practise(Path(home) / "ledger.sqlite3", MOMENT)
            app = Coach(world(Path(home), cautions_seen=True))
            async with app.run_test(size=size) as pilot:
                await pilot.pause(1.0)
                save(app, out / f"planned-{name}.svg")
                await pilot.press("w")
                await pilot.pause(0.4)
                save(app, out / f"choice-{name}.svg")
                await pilot.press("escape", "g")
                await pilot.pause(1.0)
                await pilot.press("down")
                await pilot.pause(0.6)
                save(app, out / f"progress-{name}.svg")
                for side in ("places", "days", "kept") if name != "wide" else ():
                    await pilot.press("right")
                    await pilot.pause(0.3)
                    save(app, out / f"progress-{side}-{name}.svg")
                await pilot.press("escape")
                app.world.note("pain reported")
                await pilot.pause(0.4)
                await pilot.press("r")
                await pilot.pause(1.0)
                save(app, out / f"stopped-{name}.svg")


async def song_pictures(out: Path) -> None:
    """Write song-wide.svg, song-middle.svg, song-small.svg: our own song in its full arrangement, sung."""
    for name, size in (("wide", (160, 45)), ("middle", (100, 36)), ("small", (80, 24))):
        await sung_picture(out / f"song-{name}.svg", size)


async def sung_picture(path: Path, size: tuple[int, int]) -> None:
    """The stage in the chorus of our own song, sung."""
    clock = FakeClock()
    with tempfile.TemporaryDirectory() as home:
        shown = world(Path(home), clock, cautions_seen=True)
        app = Coach(shown, free_block(shown, "last-boat/full/sing", 72, False))
        async with app.run_test(size=size) as pilot:
            await pilot.pause(1.0)
            # A third of a second at a time, as it would go, into the chorus.
            for step in range(1, 156):
                clock.seconds = step / 3
                await pilot.pause(0.02)
            await pilot.press("v")  # a key: what was said about the sound gives way
            await pilot.pause(0.1)
            app.screen.query_one("#say", Static).update("")  # of no use to the reader
            await pilot.pause(0.2)
            save(app, path)


async def songbook_pictures(out: Path) -> None:
    """Write songbook-wide.svg, songbook-middle.svg, songbook-small.svg: our own song after ten evenings."""
    for name, size in (("wide", (160, 45)), ("middle", (100, 36)), ("small", (80, 24))):
        with tempfile.TemporaryDirectory() as home:
            _ten_evenings(Path(home) / "ledger.sqlite3")
            app = Coach(world(Path(home), cautions_seen=True))
            async with app.run_test(size=size) as pilot:
                await pilot.pause(1.0)
                await pilot.press("b")
                await pilot.pause(2.0)
                await pilot.press("right", "down")
                await pilot.pause(0.4)
                save(app, out / f"songbook-{name}.svg")


def _ten_evenings(path: Path) -> None:
    """A ledger: the Verse gets faster and is sung from the seventh evening on; the song is wanted in a fortnight."""
    with Ledger(path) as ledger:
        for evening in range(10):
            at = MOMENT - timedelta(days=14 - evening)
            played = [("last-boat/plain/part/Verse", 58 + 2 * evening, "full", "play")]
            if evening > 6:
                played.append(("last-boat/plain/part/Verse/sing", 60, "thumb", "sing"))
            for drill, bpm, layer, mode in played:
                take = ledger.begin_take(drill, bpm, layer, at, mode)
                for number in range(1, 5):
                    ledger.add_pass(take, number, bpm + number, 10, int(number <= evening % 3), layer, at=at)
                ledger.give_verdict(take, "held", at=at)
        day = (MOMENT + timedelta(14)).date()
        ledger.add_note(NoteKind.SONG_SETTLED, song_choices.note_text(song_choices.DUE, "last-boat", day), at=MOMENT)


async def arranging_pictures(out: Path) -> None:
    """Write arranging-, keys-, chart- and export- in three sizes: our own song in its arrangements."""
    for name, size in (("wide", (160, 45)), ("middle", (100, 36)), ("small", (80, 24))):
        with tempfile.TemporaryDirectory() as home:
            app = Coach(world(Path(home), FakeClock(), cautions_seen=True))
            async with app.run_test(size=size) as pilot:
                await pilot.pause(0.5)
                app.open_arranging("last-boat")
                await pilot.pause(2.0)
                await pilot.press(*["down"] * 6)
                await pilot.pause(0.3)
                save(app, out / f"arranging-{name}.svg")
                await pilot.press("k")
                await pilot.pause(2.5)
                save(app, out / f"keys-{name}.svg")
                await pilot.press("escape", "h")
                await pilot.pause(0.6)
                await pilot.press("enter", "end", "space", "X")
                await pilot.pause(0.3)
                save(app, out / f"chart-{name}.svg")
                await pilot.press("backspace", "backspace", "escape", "escape", "w")
                await pilot.pause(1.5)
                save(app, out / f"export-{name}.svg")


async def readme_picture(path: Path) -> None:
    """The stage in the middle of a block, as the README shows it."""
    clock = FakeClock()
    with tempfile.TemporaryDirectory() as home:
        shown = world(Path(home), clock, cautions_seen=True)
        app = Coach(shown, free_block(shown, "outside-in", 72, False))
        async with app.run_test(size=(112, 36)) as pilot:
            await pilot.pause(1.0)
            # On in steps of a bar, as it would go: four passes, one of them with a stumble.
            for step in range(1, 300):
                clock.seconds = step / 3
                await pilot.pause(0.02)
                stage = app.screen
                assert isinstance(stage, Stage)
                if len(stage.take.passes) == 2 and not stage.run_state.stumbles:
                    await pilot.press("space")
                place = stage.engine.position() if stage.engine else None
                order = stage.conductor.order(place.number) if place else None
                if place and order and len(stage.take.passes) == 4 and order.loop_bar == 1 and place.beat > 1.4:
                    break
            stage.query_one("#say", Static).update("")  # that there is no sound here is of no use to the reader
            await pilot.pause(0.1)
            save(app, path)


def save(app: Coach, path: Path) -> None:
    """The screen as SVG and, where the converter is there, as PNG."""
    # Blanks at the head of a run of text are meant: without this they are left out of the picture.
    picture = app.export_screenshot().replace("<svg ", '<svg xml:space="preserve" ', 1)
    # The fonts of the one who looks will do; nothing is to be fetched from elsewhere.
    picture = re.sub(r"@font-face \{.*?\}|<!--.*?-->", "", picture, flags=re.DOTALL)
    path.write_text(picture, encoding="utf-8")
    if shutil.which("rsvg-convert") and path.parent.name != "pictures":
        subprocess.run(["rsvg-convert", "-o", str(path.with_suffix(".png")), str(path)], check=True)


if __name__ == "__main__":
    if sys.argv[1] == "README":
        shown_there = places.shipped("shared") / "pictures"
        asyncio.run(readme_picture(shown_there / "stage.svg"))
        asyncio.run(sung_picture(shown_there / "song.svg", (112, 36)))
        sys.exit()
    target = Path(sys.argv[1])
    target.mkdir(parents=True, exist_ok=True)
    asyncio.run(pictures(target))
    asyncio.run(song_pictures(target))
    asyncio.run(songbook_pictures(target))
    asyncio.run(progress_pictures(target))
    asyncio.run(arranging_pictures(target))

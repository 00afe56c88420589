"""The whole coach driven by a test: a home of its own, no sound, and a clock that is set by hand."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from textual.pilot import Pilot

from coach.log.ledger import Ledger
from coach.plan.planner import Block
from coach.screens.app import Coach
from coach.screens.stage.stage_page import RUNNING, Stage
from coach.session.run_setup import free_block
from coach.song.chart import Song
from coach.song.files.song_shelf import SongShelf
from coach.sound.clock import FakeClock
from coach.sound.engine import Engine
from tests.screens import quiet
from tests.screens.pictures import world

STEP_S = 1.2  # less than a bar, so that the engine always lies ahead


@dataclass
class House:
    """An app that runs, and what a test needs to drive it."""

    app: Coach
    pilot: Pilot[None]
    clock: FakeClock
    home: Path

    @property
    def stage(self) -> Stage:
        """The stage, also below a page that lies on it."""
        return next(screen for screen in reversed(self.app.screen_stack) if isinstance(screen, Stage))

    @property
    def engine(self) -> Engine:
        """The engine that runs."""
        engine = self.stage.engine
        assert engine is not None
        return engine

    async def until(self, fact: Callable[[], object], what: str = "") -> None:
        """Let the app work until something is so."""
        await quiet.until(self.pilot, fact, what)

    async def quiet(self) -> None:
        """Let the app do all that it has been asked to."""
        await quiet.quiet(self.pilot)

    async def press(self, *keys: str) -> None:
        """Press keys; each has done its work before the next, the last before the test goes on."""
        await quiet.press(self.pilot, *keys)

    async def resize(self, columns: int, lines: int) -> None:
        """Another window size, drawn."""
        await self.pilot.resize_terminal(columns, lines)
        await self.quiet()

    async def on(self, page: str) -> None:
        """Wait for a page by its class's name."""
        await self.until(lambda: type(self.app.screen).__name__ == page, f"page {page}")
        await self.quiet()

    async def running(self) -> Stage:
        """Wait until the first bar sounds."""
        await self.until(lambda: any(isinstance(screen, Stage) for screen in self.app.screen_stack), "a stage")
        stage = self.stage
        await self.until(lambda: stage.phase == RUNNING and stage._order is not None, "the first bar")
        return stage

    def _settled(self, stage: Stage) -> bool:
        """Engine and screen have both seen where the clock is."""
        engine = stage.engine
        if stage.phase != RUNNING or engine is None:
            return True
        position = engine.position()
        premix = engine._premix
        if position is None or premix is None:
            return not engine.running
        ahead = premix.end_frame is not None or engine.mixed_to > position.frame + 0.6 * engine.rate
        order = stage._order
        seen = order is not None and order.number == position.number
        return ahead and seen and stage._beat == stage._whole_beat(position.beat)

    async def settle(self) -> None:
        """Wait until engine and screen have caught up with the clock."""
        stage = self.stage
        await self.until(lambda: self._settled(stage), "the engine to catch up")

    async def to(self, seconds: float) -> None:
        """Let the clock go on to `seconds` since the run began, a step at a time."""
        stage = self.stage
        while self.clock.seconds < seconds and stage.phase == RUNNING:
            self.clock.seconds = min(self.clock.seconds + STEP_S, seconds)
            await self.until(lambda: self._settled(stage), "the engine to catch up")

    def bar_at(self, number: int) -> float:
        """Seconds of the bar line of a bar that is mixed."""
        bar = next(b for b in self.engine.timeline if b.number == number)
        return bar.start_frame / self.engine.rate

    async def another_stage(self, stage: Stage) -> Stage:
        """Wait for a stage after this one, and until it sounds."""

        def there() -> bool:
            return any(isinstance(screen, Stage) and screen is not stage for screen in self.app.screen_stack)

        await self.until(there, "another stage")
        return await self.running()

    async def to_bar(self, number: int, beat: float = 0.05) -> None:
        """Let the clock go on to `beat` of bar `number`."""
        stage = self.stage
        while stage._order is not None and stage._order.number < number:
            await self.settle()  # also lets the app work where the clock is past this bar already
            current = next(b for b in self.engine.timeline if b.number == stage._order.number)
            await self.to(max(current.end_frame / self.engine.rate, self.clock.seconds) + 0.001)
        bar = next(b for b in self.engine.timeline if b.number == number)
        frame = bar.start_frame + (bar.end_frame - bar.start_frame) * beat / float(bar.score.beats)
        await self.to(frame / self.engine.rate)

    def page_text(self) -> str:
        """All that is on the screen, as plain text."""
        return "\n".join(self.lines())

    def lines(self) -> list[str]:
        """The screen's lines, as plain text."""
        return [strip.text for strip in self.app.screen._compositor.render_strips()]

    def ledger(self) -> Ledger:
        """What was written down; the scribe is given time to finish first."""
        self.app.scribe.close()
        return Ledger(self.home / "ledger.sqlite3")


@asynccontextmanager
async def house(
    home: Path,
    size: tuple[int, int] = (80, 24),
    *,
    drill: str = "",
    tempo: int = 120,
    sing: bool = False,
    chords: str | None = None,
    songs: Iterable[Song] = (),
    **settings: object,
) -> AsyncIterator[House]:
    """The coach in `home`; with `drill` on the stage at once at `tempo`, on `chords`. `songs` are all there are."""
    home.mkdir(parents=True, exist_ok=True)
    clock = FakeClock()
    settings.setdefault("cautions_seen", True)
    here = world(home, clock, **settings)
    here.songs = SongShelf({song.id: song for song in songs})
    first: Block | None = free_block(here, drill, tempo, sing) if drill else None
    app = Coach(here, first, chords=chords)
    async with quiet.running(app, size) as pilot:
        yield House(app, pilot, clock, home)
    app.scribe.close()

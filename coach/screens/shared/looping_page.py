"""A page on which something is tried out by ear: a loop that plays round and round while it is being changed.

What is changed is heard from the next bar line on.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from textual import work
from textual.containers import Vertical
from textual.screen import Screen
from textual.timer import Timer

from coach.errors import CoachError
from coach.music.clicks import ClickWay
from coach.music.ramps import Steady
from coach.screens.shared.messages import RunOver, Trouble
from coach.screens.shared.page import SpeakingPage
from coach.screens.shared.tab_view import TabView
from coach.screens.shared.thread_results import stands
from coach.session.conductor import Conductor, Loop
from coach.session.context import World
from coach.session.player import Band, let_go, open_engine
from coach.session.run import PLAY, Run

if TYPE_CHECKING:
    from coach.sound.engine import Engine


class Hearing(SpeakingPage, Screen[None]):
    """The page has a box `#below` for the tab, tells what is to be played (`wanted`) and says sentences (`say`)."""

    ticker: Timer

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.bpm = 0
        self.loop: Loop | None = None
        self.conductor: Conductor | None = None
        self.band: Band | None = None
        self._opening = False

    def wanted(self) -> Loop | None:
        """What is to be played now; None while nothing is there. Raises CoachError."""
        raise NotImplementedError

    @property
    def engine(self) -> Engine | None:
        """What plays, None where nothing does."""
        return self.band.engine if self.band else None

    def on_mount(self) -> None:
        """The clock is looked at thirty times a second while something plays."""
        self.ticker = self.set_interval(1 / 30, self._tick, pause=True)

    def on_unmount(self) -> None:
        """The sound ends with the page."""
        self.silence()

    def action_play(self) -> None:
        """Play, or stop."""
        if self.band is not None:
            self.silence()
        elif not self._opening and self._wanted() is not None:
            self._opening = True
            self._open()

    def _wanted(self) -> Loop | None:
        try:
            return self.wanted()
        except CoachError as error:
            self.say(str(error))
            return None

    @work(thread=True, exclusive=True, group="sound")
    def _open(self) -> None:
        app = self.app
        try:
            engine = open_engine(self.world, lambda: None, self._tell_trouble)
        except CoachError as error:
            app.call_from_thread(self.say, str(error))
            self._opening = False
            return
        app.call_from_thread(self._opened, engine)

    def _tell_trouble(self, sentence: str) -> None:
        self.post_message(Trouble(sentence))

    def _opened(self, engine: Engine) -> None:
        self._opening = False
        loop = self._wanted() if stands(self) else None
        if loop is None:
            let_go(engine)
            return
        if engine.speaker.silent:
            self.say("no sound device: the cursor shows the beat")
        self.band = Band(self.world, engine, self._tell_trouble)
        self._begin(loop)

    def _begin(self, loop: Loop) -> None:
        """Play `loop` from its count-in on."""
        assert self.band is not None
        run = Run(loop.piece.bars, Steady(Fraction(self.bpm)), loop.layers)
        self.loop = loop
        self.conductor = Conductor(run, loop, ClickWay(), "on")
        for old in self.query(TabView):
            old.remove()
        self.query_one("#below", Vertical).mount(TabView(loop, self._look, id="tab"))
        self.band.start(self.conductor.source)
        self.ticker.resume()

    def _look(self, number: int) -> tuple[int, str, str] | None:
        return self.conductor.shown(number) if self.conductor else (number % self.loop.bars, "full", PLAY)  # type: ignore[union-attr]

    def replay(self) -> None:
        """What is wanted now is heard from the next bar line on."""
        if self.band is None or self.conductor is None:
            return
        loop, old = self._wanted(), self.conductor.loop
        if loop is None or loop == old:
            return
        if _measure(loop) != _measure(old):
            self.band.engine.stop()
            self._begin(loop)
            return
        with self.conductor.lock:
            self.conductor.loop = self.loop = loop
            run = self.conductor.run
            run.bars, run.layers, run.layer = loop.piece.bars, loop.layers, loop.layers[-1]
        self.band.engine.refresh()
        for tab in self.query(TabView):
            tab.play(loop)

    def at_tempo(self, bpm: int) -> None:
        """Slower or faster from the next bar line on."""
        self.bpm = bpm
        if self.conductor:
            with self.conductor.lock:
                self.conductor.run.change_ramp(Steady(Fraction(bpm)))
        if self.engine:
            self.engine.refresh()

    def _tick(self) -> None:
        engine, conductor = self.engine, self.conductor
        position = engine.position() if engine else None
        if position is None or conductor is None:
            return
        conductor.reach(position.number)
        for tab in self.query(TabView):
            tab.move(position.number, position.beat)

    def pause_playing(self) -> None:
        """Stop: what goes round and round is begun again from its count-in."""
        self.silence()

    def silence(self) -> None:
        """Stop what plays."""
        band, self.band = self.band, None
        self.conductor = None
        self.ticker.pause()
        if band is not None:
            band.stop()

    def on_trouble(self, message: Trouble) -> None:
        """Something went wrong without stopping."""
        message.stop()
        self.say(message.sentence)

    def on_run_over(self, message: RunOver) -> None:
        """Never: it plays until it is stopped."""
        message.stop()


def _measure(loop: Loop) -> list[tuple[object, ...]]:
    """What must be the same in two loops for one to go on where the other was."""
    return [(bar.part, bar.time, bar.meter, bar.beats) for bar in loop.piece.bars]

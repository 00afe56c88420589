"""The stage: where one plays. The loop's tab under the beat cursor, large figures, and one key for each wish.

A block goes   ready -> (opening the sound) -> running <-> stopped -> over.

Its time comes from the engine's clock alone: the tick asks where the engine is and draws what changed. All
that a key changes is told to the run under the conductor's lock and takes effect at the next bar line.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil
from time import perf_counter
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Static

from coach.errors import CoachError
from coach.log.notes import NoteKind
from coach.music.clicks import ClickWay
from coach.music.ramps import round_bpm
from coach.plan.planner import Block
from coach.screens.shared.actions import STAGE, action, bindings, first_key
from coach.screens.shared.leaving import leave
from coach.screens.shared.messages import RunOver, Trouble
from coach.screens.shared.page import SpeakingPage
from coach.screens.shared.tab_view import TabView
from coach.screens.shared.thread_results import stands
from coach.screens.stage.blank_boxes import BlankLines, Ground
from coach.screens.stage.large_letters import large
from coach.screens.stage.rest import FULL_S, Rest
from coach.screens.stage.stage_keys import StageKeys
from coach.screens.stage.stage_layout import LOOK, size_classes
from coach.screens.stage.stage_text import (
    OPENING,
    OVER,
    READY,
    REST_COMES,
    RUNNING,
    STOPPED,
    Moment,
    rest_words,
    stage_words,
)
from coach.screens.stage.verdict import Verdict
from coach.screens.stage.words_view import WordView
from coach.session.conductor import Conductor, Loop
from coach.session.context import World
from coach.session.ledger_writer import Scribe
from coach.session.player import Band, let_go, open_engine
from coach.session.run import PLAY, BarOrder
from coach.session.run_setup import Occasion, run_of
from coach.session.take_writer import TakeBook

if TYPE_CHECKING:
    from coach.sound.engine import Engine

T = TypeVar("T")
NEXT, LEAVE, AGAIN, HURT = "next", "leave", "again", "hurt"
FRAMES_A_SECOND = 60
VOLUME_STEP = 0.1
# From the clock being asked to the cells being on the terminal: half a frame until a tick, half a frame until the
# screen's own update, and some milliseconds of painting (tests/bench/bench_cursor.py measures it).
LEAD_S = 0.022


class Stage(SpeakingPage, StageKeys, BlankLines, Screen[str]):
    """Plays one block; ends with NEXT, AGAIN, LEAVE or HURT."""

    HELP_FIRST: ClassVar[str] = "On the stage"
    BINDINGS: ClassVar[list[BindingType]] = bindings(STAGE)
    CSS = LOOK

    def __init__(
        self, world: World, scribe: Scribe, block: Block, loop: Loop, occasion: Occasion | None = None
    ) -> None:
        # Classes are given at once: each change of them has the whole page dressed anew.
        told = {"worded": loop.worded, "song": bool(loop.piece.order), "listens": block.listened}
        super().__init__(classes=" ".join(name for name, here in told.items() if here))
        self.world = world
        self.scribe = scribe
        self.block = block
        self.loop = loop
        self.occasion = use = occasion or Occasion()
        settings = world.settings
        # An earned tempo may go past today's aim, as far as the drill itself is meant to go.
        self.ceiling = Fraction(world.drill(block.drill).target_bpm) if block.drill else None
        self.run_state = run_of(block, loop, settings, ceiling=self.ceiling, model=use.model)
        self.click_way = ClickWay(settings.click_mode, settings.bars_on, settings.bars_off)
        self.conductor = Conductor(self.run_state, loop, self.click_way, settings.guide)
        self.conductor.humming = settings.humming and any(loop.tune)
        self.phase = READY
        self.take = TakeBook(scribe, world.now, block.drill or loop.piece.id, use.chords)
        self.engine: Engine | None = None
        self.band: Band | None = None
        self._order: BarOrder | None = None
        self._beat = -1
        self._last_tick = 0.0
        self._late = 0
        self._skip = False
        self._silent_said = False
        self._shown: dict[str, str] = {}
        self._resting = False  # a rest comes with the end of the pass

    # The page ----------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Figures on top, the tab in the middle, what can be done below."""
        # Above and below the tab stand in boxes of their own, so that a moving tab does not have them looked at.
        with Ground(id="above"):
            yield Static(id="head", markup=False)
            with Horizontal(id="figures"):
                with Vertical(id="tempo"):
                    yield Static(id="bpm", markup=False)
                    yield Static(id="unit", classes="small", markup=False)
                    yield Static(id="ramp", classes="small", markup=False)
                with Vertical(id="place"):
                    yield Static(id="where", markup=False)
                    yield Static(id="pass", classes="small", markup=False)
                    yield Static("\n".join(large("LISTEN")), id="listen", markup=False)
                    yield Static(id="spoken", markup=False)
                yield Static(id="now", classes="shape", markup=False)
                yield Static(id="following", classes="shape", markup=False)
        yield TabView(self.loop, self._look, still=self.world.settings.still_tab, id="tab")
        if self.loop.worded:
            yield WordView(self.loop, id="words")
        with Ground(id="below"):
            yield Static(id="ladder", markup=False)
            yield Static(id="modes", markup=False)
            yield Static(id="history", markup=False)
            yield Static(id="say", markup=False)
            yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Show all, and start: hands are on the guitar."""
        self.tab = self.query_one("#tab", TabView)
        self.words = self.query_one("#words", WordView) if self.loop.worded else None
        self._figures()
        self.ticker = self.set_interval(1 / FRAMES_A_SECOND, self._tick, pause=True)
        self.world.rest_watch.begin_block()
        self._count_before()
        self.call_after_refresh(self.action_start_stop)

    def on_resize(self) -> None:
        """More room: air between the strings."""
        fits = size_classes(*self.size, worded=self.loop.worded)
        self.add_class(*(name for name, here in fits.items() if here))
        self.remove_class(*(name for name, here in fits.items() if not here))
        self._figures()

    def on_unmount(self) -> None:
        """Whatever happens, the sound ends with the screen, and what was played is written down."""
        self._silence()
        self._close_take()

    def _look(self, number: int) -> tuple[int, str, str] | None:
        shown_bar = self.conductor.shown(number)
        if shown_bar is None and self.phase in (READY, OPENING, STOPPED):
            bar, run = number % self.loop.bars, self.run_state
            return (bar, run.layers_of(run.layer)[bar], PLAY) if number >= 0 else None
        return shown_bar

    def _put(self, name: str, text: str) -> None:
        """Change a text only where it differs: an unchanged figure costs nothing."""
        if self._shown.get(name) != text:
            self._shown[name] = text
            self.query_one(f"#{name}", Static).update(text, layout=name == "say")
            if name == "say":
                self.set_class(bool(text), "saying")

    def _figures(self) -> None:
        """Everything beside the tab, as it is now."""
        if not stands(self) or not self.query("#spoken"):  # parts are lost from the innermost on
            return
        now = Moment(
            phase=self.phase,
            run=self.run_state,
            loop=self.loop,
            order=self._order,
            beat=self._beat,
            title=self.block.title,
            place=self.occasion.place,
            passes=self.take.passes,
            click=self.conductor.click,
            guide=self.conductor.guide,
            humming=self.conductor.humming,
            settings=self.world.settings,
            keys=self.world.keys,
            width=self.size.width,
            room=max(self.query_one("#spoken").size.width, 20),
        )
        for name, text in stage_words(now).items():
            self._put(name, text)

    # The clock's tick --------------------------------------------------------------------------

    def _tick(self) -> None:
        engine = self.engine
        if engine is None or self.phase != RUNNING:
            return
        now = perf_counter()
        # A machine that cannot keep up draws every second frame.
        self._late = (
            min(self._late + 1, 30) if now - self._last_tick > 2.5 / FRAMES_A_SECOND else max(self._late - 1, 0)
        )
        self._last_tick = now
        self._skip = self._late > 15 and not self._skip
        position = engine.position()
        if position is None:
            return
        if self._order is None or position.number != self._order.number:
            self._reach(position.number)
        order = self._order
        if order is None:
            return
        beat = self._whole_beat(position.beat)
        if beat != self._beat:
            self._beat = beat
            self._figures()
            self._ring(beat)
        if not self._skip:
            # Drawn a little ahead of the sound, so that it is right in the middle of the time it will stand.
            ahead, beats = position.beat + position.bpm / 60 * LEAD_S, float(order.beats)
            self.tab.move(position.number + (ahead >= beats), ahead - beats if ahead >= beats else ahead)
            if self.words is not None:
                self.words.follow(order, min(ahead, beats))

    def _whole_beat(self, beat: float) -> int:
        """The beat that was begun last in the bar that sounds."""
        assert self._order is not None
        return min(int(beat), ceil(self._order.beats) - 1)

    def _reach(self, number: int) -> None:
        ended = self.conductor.reach(number)
        for done in ended:
            self.take.add_pass(done)
        if ended and not self._resting and (offer := self.rest_offer()):
            self._put("say", offer)
        order = self.conductor.order(number)
        if order is None:
            return
        self._order = order
        self._beat = -1
        if order.kind == PLAY and not self.take.begun:
            self.take.begin(order)

    def _ring(self, beat: int) -> None:
        """The terminal's bell as a click, where nothing else can be heard."""
        order, engine = self._order, self.engine
        if not self.world.settings.bell or order is None or engine is None or engine.sounding:
            return
        if any(int(stroke.beat) == beat for stroke in self.conductor.clicks(order)):
            self.app.bell()

    # Start and stop ----------------------------------------------------------------------------

    def pause_playing(self) -> None:
        """Stop in the middle, to go on after a count-in."""
        if self.phase == RUNNING:
            self.action_start_stop()

    def action_start_stop(self) -> None:
        """Start, stop in the middle, or go on after a count-in."""
        if self.phase in (READY, STOPPED):
            self.phase = OPENING
            self._figures()
            self._open()
        elif self.phase == RUNNING:
            self._stop()

    @work(thread=True, exclusive=True, group="sound")
    def _open(self) -> None:
        """Open the sound away from the screen."""
        app = self.app  # a page that was left knows its app no more
        try:
            engine = open_engine(self.world, self._tell_over, self._tell_trouble)
        except CoachError as error:
            app.call_from_thread(self._cannot_start, str(error))
            return
        app.call_from_thread(self._opened, engine)

    def _tell_over(self) -> None:
        self.post_message(RunOver())

    def _tell_trouble(self, sentence: str) -> None:
        self.post_message(Trouble(sentence))

    def _cannot_start(self, why: str) -> None:
        if self.phase != OPENING or not stands(self):
            return
        self.phase = STOPPED
        self._put("say", why)
        self._figures()

    def _opened(self, engine: Engine) -> None:
        if self.phase != OPENING or not stands(self):
            let_go(engine)
            return
        self.engine, self.band = engine, Band(self.world, engine, self._tell_trouble)
        self.phase = RUNNING
        self.world.rest_watch.go_on(self.world.now(), self.run_state.played_s)
        self._order, self._beat = None, -1
        self.band.start(self.conductor.source)
        if engine.speaker.silent and not self._silent_said:
            self._silent_said = True
            self._put("say", "no sound device: watch the cursor; b rings the bell")
        self.tab.renew()
        self.ticker.resume()

    def _silence(self) -> None:
        band = self.band
        self.engine = self.band = None
        if band is not None:
            band.stop()

    def _stop(self) -> None:
        self.ticker.pause()
        self._silence()
        self.conductor.stop()
        self.world.rest_watch.stop(self.world.now())
        self.phase = STOPPED
        self._figures()
        self.tab.renew()

    def on_run_over(self) -> None:
        """The run has ended by itself or by `end`."""
        if self.phase != RUNNING:
            return
        for done in self.conductor.finish():
            self.take.add_pass(done)
        if self._resting:
            self._rest()
        else:
            self._over()

    def _over(self) -> None:
        self.phase = OVER
        self.ticker.pause()
        self._silence()
        self._close_take()
        passes = self.take.passes
        if self.block.listened and self.block.drill:
            heard, at = self.block.drill, self.world.now()
            self.scribe.write(lambda ledger: ledger.add_note(NoteKind.LISTENED, heard, None, at))
        if not passes:
            leave(self, NEXT)
            return
        asks = Verdict(passes, self.take.borne_out(), self.world.keys, self._shows, self._judge)
        self.app.push_screen(asks, self._judged)

    def _shows(self) -> tuple[str, ...]:
        """What the take has shown, from the ledger. On a thread; raises CoachError."""
        self.scribe.wait()
        if self.block.drill is None:
            return ()
        return self.world.after_take(self.block.drill, self.occasion.before, places=not self.take.chords)

    def _judge(self, word: str) -> None:
        """The player's word, written down. On a thread."""
        self.take.judge(word)
        self.scribe.wait()

    def _judged(self, answer: str | None) -> None:
        """The verdict, or none, or another go."""
        leave(self, AGAIN if answer == AGAIN else NEXT)

    # Rests -------------------------------------------------------------------------------------

    @work(thread=True)
    def _count_before(self) -> None:
        """How long the hands have played already, from the ledger."""
        app = self.app  # a page that was left knows its app no more
        try:
            self.scribe.wait()
            before = self.world.minutes_without_rest()
        except CoachError:  # today has said so, or the scribe will
            return
        app.call_from_thread(self._counted, before)

    def _counted(self, before: float) -> None:
        if stands(self):
            self.world.rest_watch.add_before(before)

    def rest_offer(self) -> str:
        """What proposes a rest now that a pass or the block has ended; "" where it is too early, or just was said."""
        minutes = self.world.rest_watch.proposed(self.run_state.played_s)
        return "" if minutes is None else rest_words(minutes, first_key(action("rest"), self.world.keys))

    def action_rest(self) -> None:
        """Five minutes of rest once this pass is over, at once where none is played; pressed again, none."""
        order = self._order
        if self.phase == RUNNING and order is not None and order.kind == PLAY:
            self._resting = not self._resting
            limit = order.pass_no + 1 if self._resting else None
            self._wish(lambda run: setattr(run, "pass_limit", limit))
            self._put("say", REST_COMES if self._resting else "no rest now")
        elif self.phase in (READY, STOPPED, RUNNING):
            self._rest()

    def _rest(self) -> None:
        """The page of the rest; after it the block goes on where it was, or is over when its time is."""
        self._resting = False
        self._stop()
        self._put("say", "")
        run = self.run_state
        run.pass_limit = None
        over = run.play_limit is not None and run.played_s >= run.play_limit

        def rested(on: bool | None) -> None:
            if not on:
                self._leave(LEAVE)
            elif over:
                self._over()
            else:
                self.action_start_stop()

        self.app.push_screen(Rest(FULL_S, self.block.title, self.world.keys), rested)

    def _close_take(self) -> None:
        self.take.close(self.run_state.played_s, self.loop.bar(0).meter.beats)

    # What keys do ------------------------------------------------------------------------------

    def _changed(self) -> None:
        if self.has_class("low"):
            self._put("say", "")
        if self.engine is not None:
            self.engine.refresh()
        self.tab.renew()
        self._figures()

    def action_stumble(self) -> None:
        """Mark it now; when nothing runs, start."""
        if self.phase != RUNNING:
            self.action_start_stop()
            return
        engine = self.engine
        position = engine.position() if engine else None
        if position is None:
            return
        if self._order is None or self._order.number != position.number:
            self._reach(position.number)  # the tick has not seen this bar yet
        order = self._order
        if order is None or order.kind != PLAY:
            return
        with self.conductor.lock:
            self.run_state.stumble()
        slot = self.loop.bar(order.loop_bar).slot_beats
        beat = Fraction(position.beat) // slot * slot
        self.take.add_stumble(order.loop_bar, beat, round_bpm(position.bpm / float(order.share)), order.pass_no)
        self._changed()

    def action_next(self) -> None:
        """One pedal for all: start, end the block, go on."""
        if self.phase == RUNNING:
            self.action_end()
        else:
            self.action_start_stop()

    def action_end(self) -> None:
        """End after this bar; at once when nothing runs."""
        if self.phase == RUNNING:
            with self.conductor.lock:
                self.run_state.finish()
            self._changed()
            self._put("say", "the block ends with this bar")
        else:
            self._over()

    def action_hurt(self) -> None:
        """Everything stops, and it is written down."""
        self.take.hurt(self.block.title)
        self._leave(HURT)

    def action_leave(self) -> None:
        """Off the stage; what was played is in the ledger."""
        self._leave(LEAVE)

    def _leave(self, how: str) -> None:
        self.phase = OVER
        self.ticker.pause()
        self._silence()
        self._close_take()
        leave(self, how)

    def on_trouble(self, message: Trouble) -> None:
        """Something went wrong without stopping: say so."""
        message.stop()
        self.say(message.sentence)

    def say(self, sentence: str) -> None:
        """One sentence, for as long as nothing else is said."""
        self._put("say", sentence)


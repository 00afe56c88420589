"""The stage: where one plays. The loop's tab under the beat cursor, large figures, and one key for each wish.

A block goes   ready -> (opening the sound) -> running <-> stopped -> over.

Its time comes from the engine's clock alone: the tick asks where the engine is and draws what changed. All
that a key changes is told to the run under the conductor's lock and takes effect at the next bar line.
"""

from __future__ import annotations

import gc
from dataclasses import dataclass, field
from fractions import Fraction
from threading import Thread
from time import perf_counter
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Static

from coach.errors import CoachError
from coach.music.clicks import CLICK_MODES, ClickWay
from coach.music.meter import count_syllables
from coach.practice.evidence import standing
from coach.practice.planner import Block
from coach.practice.ramps import RAMP_NAMES, make_ramp, shown, tenth
from coach.practice.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run
from coach.practice.takes import Pass, Take
from coach.screens.actions import STAGE, bindings, hints
from coach.screens.conductor import GUIDES, Conductor, Loop
from coach.screens.figures import figure
from coach.screens.leaving import leave
from coach.screens.messages import RunOver, Trouble
from coach.screens.scribe import Scribe
from coach.screens.shapeview import shape_rows
from coach.screens.tabview import TabView
from coach.screens.verdict import Verdict
from coach.screens.world import World

if TYPE_CHECKING:
    from coach.sound.engine import Engine
    from coach.sound.midi_out import MidiOut

READY, OPENING, RUNNING, STOPPED, OVER = "ready", "opening", "running", "stopped", "over"
NEXT, LEAVE, AGAIN, HURT = "next", "leave", "again", "hurt"
FRAMES_A_SECOND = 60
NARROW, ALL_ROWS = 76, 23
VOLUME_STEP = 0.1
# From the clock being asked to the cells being on the terminal: half a frame until a tick, half a frame until the
# screen's own update, and some milliseconds of painting (tests/bench/bench_cursor.py measures it).
LEAD_S = 0.022


@dataclass
class TakeInHand:
    """The take being written: its id comes once the scribe has begun it."""

    begun: bool = False
    id: str = ""
    passes: list[PassDone] = field(default_factory=list)


class Stage(Screen[str]):
    """Plays one block; ends with NEXT, AGAIN, LEAVE or HURT."""

    BINDINGS: ClassVar[list[BindingType]] = bindings(STAGE)
    CSS = """
    Stage { layout: vertical; background: $background; overflow: hidden; }
    #above { height: auto; }
    #below { height: 1fr; min-height: 3; }
    #head { height: 1; background: $panel; color: $foreground; padding: 0 1; }
    #figures { height: 8; padding: 0 1; }
    #tempo { width: 26; }
    #place { width: 1fr; }
    #bpm { color: $primary; height: 5; }
    #where { color: $foreground; height: 5; }
    .small { color: $foreground 75%; height: 1; }
    #ramp { height: 2; }
    .shape { width: 15; height: 8; color: $foreground; }
    #following { color: $foreground 55%; }
    #spoken { color: $accent; text-style: bold; height: 1; }
    #tab { height: 10; }
    #ladder { height: 1; padding: 0 1; color: $foreground; }
    #modes { height: 1; padding: 0 1; color: $foreground 75%; }
    #say { height: auto; min-height: 1; max-height: 2; padding: 0 1; color: $warning; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    #history { height: 1; padding: 0 2; color: $foreground 75%; display: none; }
    Stage.narrow #tempo { width: 23; }
    Stage.narrow #following { display: none; }
    Stage.low #say { display: none; }
    Stage.low.saying #say { display: block; }
    Stage.low.saying #modes, Stage.low.saying #ladder { display: none; }
    Stage.tall #figures { height: 10; padding: 1 2; }
    Stage.tall #tempo { width: 40; }
    Stage.tall #tab { height: 2fr; max-height: 20; margin: 1 0; }
    Stage.tall #history { display: block; }
    Stage.tall #ladder, Stage.tall #modes, Stage.tall #say { padding: 0 2; }
    """

    def __init__(
        self, world: World, scribe: Scribe, block: Block, loop: Loop, *, place: str = "", model: bool = False
    ) -> None:
        super().__init__()
        self.world = world
        self.scribe = scribe
        self.block = block
        self.loop = loop
        self.place = place
        settings = world.settings
        start, target = Fraction(block.tempo_from or 80), Fraction(block.tempo_to or block.tempo_from or 80)
        share = block.step_share or 0.03
        # An earned tempo may go past today's aim, as far as the drill itself is meant to go.
        self.ceiling = Fraction(world.drill(block.drill).target_bpm) if block.drill else None
        ramp = make_ramp(
            settings.ramp, start, target, step_share=share, pass_bars=loop.bars, ceiling=self.ceiling
        )
        self.run_state = Run(
            loop.bars,
            loop.pattern.meter.beats,
            ramp,
            loop.layers,
            layer=block.layer if block.layer in loop.layers else "full",
            model=model,
            play_limit=block.minutes * 60.0,
        )
        self.click_way = ClickWay(settings.click_mode, settings.bars_on, settings.bars_off)
        self.conductor = Conductor(self.run_state, loop, self.click_way, settings.guide)
        self.phase = READY
        self.take = TakeInHand()
        self.engine: Engine | None = None
        self.midi: MidiOut | None = None
        self._order: BarOrder | None = None
        self._beat = -1
        self._last_tick = 0.0
        self._late = 0
        self._skip = False
        self._silent_said = False
        self._shown: dict[str, str] = {}

    # The page ----------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Figures on top, the tab in the middle, what can be done below."""
        # Above and below the tab stand in boxes of their own, so that a moving tab does not have them looked at.
        with Vertical(id="above"):
            yield Static(id="head", markup=False)
            with Horizontal(id="figures"):
                with Vertical(id="tempo"):
                    yield Static(id="bpm", markup=False)
                    yield Static(id="unit", classes="small", markup=False)
                    yield Static(id="ramp", classes="small", markup=False)
                with Vertical(id="place"):
                    yield Static(id="where", markup=False)
                    yield Static(id="pass", classes="small", markup=False)
                    yield Static(id="spoken", markup=False)
                yield Static(id="now", classes="shape", markup=False)
                yield Static(id="following", classes="shape", markup=False)
        yield TabView(self.loop, self._look, still=self.world.settings.still_tab, id="tab")
        with Vertical(id="below"):
            yield Static(id="ladder", markup=False)
            yield Static(id="modes", markup=False)
            yield Static(id="history", markup=False)
            yield Static(id="say", markup=False)
            yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Show all, and start: hands are on the guitar."""
        self.tab = self.query_one("#tab", TabView)
        self._figures()
        self.ticker = self.set_interval(1 / FRAMES_A_SECOND, self._tick, pause=True)
        self.call_after_refresh(self.action_start_stop)

    def on_resize(self) -> None:
        """More room: air between the strings."""
        self.set_class(self.size.height >= 36, "tall")
        self.set_class(self.size.width < NARROW, "narrow")
        # Too low for all rows: what there is to say takes the place of layer and click until the next key.
        self.set_class(self.size.height < ALL_ROWS, "low")
        self._figures()

    def on_unmount(self) -> None:
        """Whatever happens, the sound ends with the screen."""
        self._silence(wait=False)

    def _look(self, number: int) -> tuple[int, str, str] | None:
        shown_bar = self.conductor.shown(number)
        if shown_bar is None and self.phase in (READY, OPENING, STOPPED):
            return (number % self.loop.bars, self.run_state.layer, PLAY) if number >= 0 else None
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
        if not self.is_mounted:
            return
        run, order = self.run_state, self._order
        bpm = order.bpm_from if order else run.ramp.tempo(0, [])[0] + run.nudge
        self._put("bpm", figure(str(round(bpm))))
        exact = "" if bpm == round(bpm) else f" ({shown(bpm)})"
        self._put("unit", f"{shown(bpm)} bpm · held" if run.held else f"beats a minute{exact}")
        self._put("ramp", f"{run.ramp.name}: {run.ahead()}")
        beat = max(self._beat, 0) + 1
        if order is None:
            self._put("where", figure("1.1"))
            self._put("pass", {OPENING: "one moment", STOPPED: "stopped"}.get(self.phase, "ready"))
            self._put("spoken", "")
        else:
            self._put("where", figure(f"{order.loop_bar + 1}.{beat}" if order.kind != COUNT else f"{beat}"))
            self._put("pass", self._pass_words(order))
            self._put("spoken", self._spoken(order))
        self._shapes()
        self._head()
        ladder = "  ".join(f"▐{name}▌" if name == run.layer else f" {name} " for name in run.layers)
        sung = "   you sing, the thumb holds" if run.layer == run.layers[0] and len(run.layers) > 1 else ""
        self._put("ladder", f"layer {ladder}{sung}")
        click, settings = self.conductor.click, self.world.settings
        way = CLICK_MODES[click.mode] + (f" {click.bars_on} on {click.bars_off} off" if click.mode == "gaps" else "")
        guide = GUIDES[self.conductor.guide]
        self._put("modes", f"click {way} {_bar(settings.click_volume)}   guide {guide} {_bar(settings.guide_volume)}")
        told = "  ".join(
            f"{shown(p.bpm)} {'✓' if p.clean else '×' * min(p.stumbles, 3)}" for p in self.take.passes[-12:]
        )
        self._put("history", f"passes {told}" if told else "")
        self._put("keys", hints(STAGE, self.world.keys, max(self.size.width - 2, 20)))

    def _head(self) -> None:
        chords = " ".join(dict.fromkeys(bar.name for bar in self.loop.held))
        left = self._seconds_left()
        time = f"{int(left) // 60}:{int(left) % 60:02d} left"
        title = f"{self.block.title} · {chords}"
        right = f"{self.place} · {time}" if self.place else time
        room = max(self.size.width - 2 - len(right) - 1, 8)
        self._put("head", f"{title[:room]:<{room}} {right}")

    def _seconds_left(self) -> float:
        order, limit = self._order, self.run_state.play_limit or 0.0
        return max(limit - (order.play_s if order else 0.0), 0.0)

    def _pass_words(self, order: BarOrder) -> str:
        if self.phase == STOPPED:
            return "stopped"
        if order.kind == MODEL:
            return f"listen · bar {order.loop_bar + 1} of {self.loop.bars}"
        if order.kind == COUNT:
            return "count-in"
        return f"pass {order.pass_no + 1} · bar {order.loop_bar + 1} of {self.loop.bars}"

    def _spoken(self, order: BarOrder) -> str:
        """The count of a count-in, up to where it is; in a pass its stumbles."""
        if order.kind == PLAY and (stumbles := self.run_state.stumbles):
            return f"{stumbles} stumble{'s' if stumbles > 1 else ''}"
        if order.kind != COUNT:
            return ""
        words = [w for w in count_syllables(self.loop.pattern.meter, self.loop.pattern.slots) if w != "·"]
        reached = Fraction(len(words), self.run_state.beats) * max(self._beat + 1, 1)
        # In sixteenths the whole bar is too long for its place: what was said last stays.
        room = max(self.query_one("#spoken").size.width, 20)
        said = "  ".join(words[: int(reached)])
        return said if len(said) <= room else said[-room:].lstrip()

    def _shapes(self) -> None:
        held = self.loop.held
        order = self._order
        bar = order.loop_bar if order and order.kind != COUNT else 0
        here = held[bar].at(Fraction(max(self._beat, 0)))
        later = [h for h in held[bar].holds if h.beat > here.beat] + [
            h for b in (*held[bar + 1 :], *held) for h in b.holds
        ]
        after = next((h for h in later if h.chord != here.chord), None)
        self._put("now", "\n".join(shape_rows(str(here.chord or "N"), here.shape, here.bass)))
        if after is not None:
            self._put("following", "\n".join(shape_rows(f"then {after.chord or 'N'}", after.shape, after.bass)))

    # The clock's tick --------------------------------------------------------------------------

    def _tick(self) -> None:
        engine = self.engine
        if engine is None or self.phase != RUNNING:
            return
        now = perf_counter()
        # A terminal that cannot keep up gets every second frame.
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
        beat = min(int(position.beat), self.run_state.beats - 1)
        if beat != self._beat:
            self._beat = beat
            self._figures()
            self._ring(beat)
        if not self._skip:
            # Drawn a little ahead of the sound, so that it is right in the middle of the time it will stand.
            ahead, beats = position.beat + position.bpm / 60 * LEAD_S, self.run_state.beats
            self.tab.move(position.number + (ahead >= beats), ahead - beats if ahead >= beats else ahead)

    def _reach(self, number: int) -> None:
        for done in self.conductor.reach(number):
            self._write_pass(done)
        order = self.conductor.order(number)
        if order is None:
            return
        self._order = order
        self._beat = -1
        if order.kind == PLAY and not self.take.begun:
            self._begin_take(order)

    def _ring(self, beat: int) -> None:
        """The terminal's bell as a click, where nothing else can be heard."""
        order, engine = self._order, self.engine
        if not self.world.settings.bell or order is None or engine is None or engine.sounding:
            return
        if order.kind != PLAY or beat in self.conductor.click.beats(order.number, self.run_state.beats):
            self.app.bell()

    # Writing it down ---------------------------------------------------------------------------

    def _begin_take(self, order: BarOrder) -> None:
        self.take.begun = True
        take, drill, at = self.take, self.block.drill or self.loop.pattern.id, self.world.now()
        sung = "sing" if order.layer == self.loop.layers[0] and len(self.loop.layers) > 1 else "play"
        self.scribe.write(
            lambda ledger: setattr(take, "id", ledger.begin_take(drill, order.bpm_from, order.layer, at, sung))
        )

    def _write_pass(self, done: PassDone) -> None:
        take, at = self.take, self.world.now()
        take.passes.append(done)
        self.scribe.write(
            lambda ledger: ledger.add_pass(
                take.id, done.number + 1, done.bpm, done.bars, done.stumbles, done.layer, at=at
            )
        )

    # Start and stop ----------------------------------------------------------------------------

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
        """Open the sound away from the screen: a sound server may take its time."""
        from coach.sound.engine import Engine

        app, settings = self.app, self.world.settings  # a page that was left knows its app no more
        try:
            speaker = self.world.speaker(settings.buffer_ms)
            engine = Engine(
                speaker,
                click_volume=settings.click_volume,
                guide_volume=settings.guide_volume,
                on_end=self._tell_over,
                on_trouble=self._tell_trouble,
                offset_s=settings.offset_ms / 1000,
                clock=self.world.clock,
            )
        except CoachError as error:
            app.call_from_thread(self._cannot_start, str(error))
            return
        # A full collection while playing would hold up the callback: what lives now is left out of it.
        gc.unfreeze()
        gc.collect()
        gc.freeze()
        app.call_from_thread(self._opened, engine)

    def _tell_over(self) -> None:
        self.post_message(RunOver())

    def _tell_trouble(self, sentence: str) -> None:
        self.post_message(Trouble(sentence))

    def _cannot_start(self, why: str) -> None:
        if self.phase != OPENING or not self.is_mounted:
            return
        self.phase = STOPPED
        self._put("say", why)
        self._figures()

    def _opened(self, engine: Engine) -> None:
        if self.phase != OPENING or not self.is_mounted:
            # Left meanwhile: the device is let go, away from the screen for it may take its time.
            Thread(target=engine.speaker.close, name="coach-let-go", daemon=True).start()
            return
        self.engine = engine
        self.phase = RUNNING
        self._order, self._beat = None, -1
        engine.start(self.conductor.source)
        port = self.world.settings.midi_out
        if port:
            from coach.sound.midi_out import MidiOut

            self.midi = MidiOut(port, on_trouble=self._tell_trouble)
            self.midi.start(engine)
        if engine.speaker.silent and not self._silent_said:
            self._silent_said = True
            self._put("say", "no sound device: watch the cursor; b rings the bell")
        self.tab.renew()
        self.ticker.resume()

    def _silence(self, *, wait: bool) -> None:
        engine, midi = self.engine, self.midi
        self.engine = self.midi = None
        if midi is not None:
            midi.stop()
        if engine is not None:
            engine.stop(wait=wait)

    def _stop(self) -> None:
        self.ticker.pause()
        self._silence(wait=False)
        self.conductor.stop()
        self.phase = STOPPED
        self._figures()
        self.tab.renew()

    def on_run_over(self) -> None:
        """The run has ended by itself or by `end`."""
        if self.phase != RUNNING:
            return
        for done in self.conductor.finish():
            self._write_pass(done)
        self._over()

    def _over(self) -> None:
        self.phase = OVER
        self.ticker.pause()
        self._silence(wait=False)
        passes = self.take.passes
        if not passes:
            leave(self, NEXT)
            return
        self.app.push_screen(Verdict(passes, suggested(passes), self.world.keys), self._judged)

    def _judged(self, answer: str | None) -> None:
        """The verdict, or none, or another go."""
        take = self.take
        if answer and answer != AGAIN:
            at = self.world.now()
            self.scribe.write(lambda ledger: ledger.give_verdict(take.id, answer, at=at))
        leave(self, AGAIN if answer == AGAIN else NEXT)

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
        slots = self.loop.pattern.slots_per_beat
        beat = Fraction(int(Fraction(position.beat) * slots), 1) / slots
        take, at, bpm, pass_no = self.take, self.world.now(), tenth(position.bpm), order.pass_no + 1
        bar = order.loop_bar
        self.scribe.write(lambda ledger: ledger.add_stumble(take.id, bar, beat, bpm, pass_no, at=at))
        self._changed()

    def action_next(self) -> None:
        """One pedal for all: start, end the block, go on."""
        if self.phase == RUNNING:
            self.action_end()
        else:
            self.action_start_stop()

    def action_tempo(self, by: int) -> None:
        """Faster or slower from the next bar line."""
        with self.conductor.lock:
            self.run_state.faster(by)
        self._changed()

    def action_sing(self) -> None:
        """Thumb alone, or back."""
        with self.conductor.lock:
            self.run_state.sing()
        self._changed()

    def action_layer(self, by: int) -> None:
        """Up or down the ladder of layers."""
        with self.conductor.lock:
            self.run_state.step_layer(by)
        self._changed()

    def action_repeat(self) -> None:
        """The pass again from its first bar."""
        with self.conductor.lock:
            self.run_state.again()
        self._changed()

    def action_hold(self) -> None:
        """Hold the ramp or let it go on."""
        with self.conductor.lock:
            self.run_state.hold()
        self._changed()

    def action_ramp(self) -> None:
        """The next kind of ramp, from the tempo of now."""
        names = RAMP_NAMES
        name = names[(names.index(self.run_state.ramp.name) + 1) % len(names)]
        now = self._order.bpm_from if self._order else self.run_state.ramp.tempo(0, [])[0]
        target = max(Fraction(self.block.tempo_to or 0), now)
        share = self.block.step_share or 0.03
        with self.conductor.lock:
            self.run_state.change_ramp(
                make_ramp(name, now, target, step_share=share, pass_bars=self.loop.bars, ceiling=self.ceiling)
            )
        self.world.change(ramp=name)
        self._changed()

    def action_click(self) -> None:
        """The next way to click."""
        modes = list(CLICK_MODES)
        mode = modes[(modes.index(self.conductor.click.mode) + 1) % len(modes)]
        self.conductor.click = ClickWay(mode, self.click_way.bars_on, self.click_way.bars_off)
        self.world.change(click_mode=mode)
        self._changed()

    def action_guide(self) -> None:
        """The next choice of guide notes."""
        names = list(GUIDES)
        self.conductor.guide = names[(names.index(self.conductor.guide) + 1) % len(names)]
        self.world.change(guide=self.conductor.guide)
        self._changed()

    def action_volume(self, which: str, by: int) -> None:
        """Click or guide, softer or louder."""
        name = f"{which}_volume"
        volume = round(min(max(getattr(self.world.settings, name) + by * VOLUME_STEP, 0.0), 1.0), 2)
        self.world.change(**{name: volume})
        if self.engine is not None:
            settings = self.world.settings
            self.engine.set_volumes(click=settings.click_volume, guide=settings.guide_volume)
        self._figures()

    def action_still(self) -> None:
        """Glide, or a still page."""
        self.tab.still = not self.tab.still
        self.world.change(still_tab=self.tab.still)
        self.tab.renew()

    def action_bell(self) -> None:
        """The terminal bell in the place of a click."""
        on = not self.world.settings.bell
        self.world.change(bell=on)
        self._put("say", "the terminal bell rings when there is no sound" if on else "the terminal bell is off")

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
        at, title = self.world.now(), self.block.title
        self.scribe.write(lambda ledger: ledger.add_note("pain reported", title, None, at))
        self._leave(HURT)

    def action_leave(self) -> None:
        """Off the stage; what was played is in the ledger."""
        self._leave(LEAVE)

    def _leave(self, how: str) -> None:
        self.phase = OVER
        self.ticker.pause()
        self._silence(wait=False)
        leave(self, how)

    def on_trouble(self, message: Trouble) -> None:
        """Something went wrong without stopping: say so."""
        message.stop()
        self.say(message.sentence)

    def say(self, sentence: str) -> None:
        """One sentence, for as long as nothing else is said."""
        self._put("say", sentence)


def suggested(passes: list[PassDone]) -> str:
    """The verdict that the passes bear out."""
    rows = tuple(Pass(p.number + 1, float(p.bpm), p.bars, p.stumbles, p.clean, p.layer) for p in passes)
    from datetime import UTC, datetime

    now = datetime.now(UTC)
    whole = Take("", now, now.date(), "", rows[-1].tempo, 0, 0, "flowing", passes=rows)
    return standing((whole,)) or "shaky"


def _bar(volume: float) -> str:
    """A volume as a small bar."""
    return "▁▂▃▄▅▆▇█"[min(round(volume * 7), 7)] if volume > 0 else "·"

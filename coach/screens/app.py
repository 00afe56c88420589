"""The full-screen coach: opens on today, walks through the blocks, leaves the terminal as it was."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, ClassVar

from textual import work
from textual.app import App
from textual.binding import BindingType
from textual.events import Resize
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Input

from coach.errors import CoachError
from coach.files.reading import open_to_add
from coach.plan.cautions import CLINICIAN, STOP
from coach.screens.shared.actions import EVERYWHERE, PAGES, bindings, usable_keys
from coach.screens.shared.messages import Trouble
from coach.screens.shared.page import Page, SpeakingPage
from coach.screens.shared.theme import EVENING, MORNING
from coach.screens.shared.too_small import LEAST_HEIGHT, LEAST_WIDTH, TooSmall
from coach.screens.terminal_letters import hear_every_byte, letters
from coach.screens.terminal_output import Outlet
from coach.screens.today_page import Today
from coach.screens.watchdog import Last, Watch, watching
from coach.session.context import World
from coach.sound import silence

if TYPE_CHECKING:
    from textual.driver import Driver

    from coach.handout import Chosen
    from coach.plan.planner import Block
    from coach.skill.steady_tempo import SteadyTempo

SHORT_REST_S = 10
HELD_UP_S = 0.2
LAST_NOTES_S = 0.3
LAST_KEYS_S = 0.1
LAST_WORDS_S = 0.1


class Coach(App[None]):
    """The app. `first` is a block to play at once instead of opening on today."""

    TITLE = "Steady Thumb"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = bindings(EVERYWHERE, priority=True)
    CSS = "ToastRack { align-horizontal: right; }"

    def __init__(self, world: World, first: Block | None = None, *, chords: str | None = None) -> None:
        super().__init__()
        self.world = world
        world.keys, in_vain = usable_keys(world.settings.keys)
        world.problems = (*world.problems, *in_vain)
        self.first = first
        self.chords = chords
        self.scribe = world.scribe(self._tell_trouble)
        self.ends_all = False  # true where the process ends with the app
        # Both where there is a terminal: the way out to it, and what watches over the end.
        self.outlet: Outlet | None = None
        self.watcher: Watch | None = None
        self._held = contextlib.ExitStack()
        self._lags = self._stale = False

    def _tell_trouble(self, sentence: str) -> None:
        self.post_message(Trouble(sentence))

    def on_mount(self) -> None:
        """Dress, bind the player's keys, open today or the stage."""
        self.register_theme(EVENING)
        self.register_theme(MORNING)
        self.theme = self.world.settings.look
        if self.world.keys:
            self.set_keymap(dict(self.world.keys))
        for problem in self.world.problems:
            self.notify(problem, severity="warning", timeout=10, markup=False)
        self.screen_change_signal.subscribe(self, self._page_changed)
        self.push_screen(Today(self.world))
        if self.first is not None:
            self.practise((self.first,), alone=True)
        self._begin_watch()

    def _begin_watch(self) -> None:
        loop = asyncio.get_running_loop()
        if self.watcher is not None:
            self.watcher.follow(loop)

        def told() -> None:
            with contextlib.suppress(RuntimeError):  # the loop has just been closed
                loop.call_soon_threadsafe(self._mind_outlet)

        if self.outlet is not None:
            self.outlet.told = told

    def leave_for_good(self) -> None:
        """What ends all from outside; the keys pressed before it count."""
        asyncio.get_running_loop().call_later(LAST_KEYS_S, self.exit)

    def get_driver_class(self) -> type[Driver]:
        """The usual driver; before the terminal goes to another program, it has taken all that was written to it."""
        usual = super().get_driver_class()

        class Finishing(usual):  # type: ignore[valid-type,misc]
            def close(self) -> None:
                super().close()
                if isinstance(sys.__stderr__, Outlet):
                    sys.__stderr__.finish()

        return Finishing

    def _mind_outlet(self) -> None:
        """Draw nothing while the terminal lags behind, and all that changed meanwhile once it has caught up."""
        lags = self.outlet is not None and self.outlet.full
        if lags == self._lags:
            return
        self._lags = lags
        if lags:
            self._held.enter_context(self.batch_update())
            return
        self._held.close()
        if not self.screen_stack:
            return
        if self._stale:  # another page, or another size: there is nothing on the terminal to go on from
            self._stale = False
            self.screen.refresh()
        self.screen.check_idle()

    def exit(self, *args: Any, **kwargs: Any) -> None:
        """Leave; a long ledger that is being read would keep the terminal for many seconds, so it is given up."""
        if self.ends_all:
            from coach.skill.estimates import give_up

            give_up()
        if self.outlet is not None:  # nobody needs to see any more of it
            self.outlet.drop()
        super().exit(*args, **kwargs)

    def on_resize(self, event: Resize) -> None:
        """Too small a window says what it needs and goes on playing."""
        self._stale = self._stale or self._lags
        # The app itself takes the new size over only after this.
        self._mind_size(event.size)

    def _page_changed(self, _: Screen[object]) -> None:
        self._stale = self._stale or self._lags
        self._mind_size(self.size)

    def _mind_size(self, size: Size) -> None:
        """The word about the size lies on top for as long as the window is too small, whatever page comes or goes."""
        small = size.width < LEAST_WIDTH or size.height < LEAST_HEIGHT
        shown = isinstance(self.screen, TooSmall)
        if small and not shown:
            self.push_screen(TooSmall())
        elif not small and shown:
            self.pop_screen()

    @work(exclusive=True, group="session")
    async def practise(self, blocks: Sequence[Block], alone: bool = False) -> None:
        """One block after another with a short rest between; a block can be had again."""
        from coach.screens.stage.rest import Rest
        from coach.screens.stage.stage_page import AGAIN, HURT, LEAVE, Stage
        from coach.session.run_setup import Occasion

        # Coming to the same drill again today, it need not be heard first.
        heard, known = await self._known_before()
        at = 0
        while at < len(blocks):
            block = blocks[at]
            if block.drill is None:
                if not await self.push_screen_wait(Rest(block.minutes * 60, _title(blocks, at + 1), self.world.keys)):
                    break
                at += 1
                continue
            try:
                loop = self.world.loop(block, self.chords if alone else None)
            except CoachError as error:
                self.notify(str(error), severity="error", markup=False)
                at += 1
                continue
            place = f"block {at + 1} of {len(blocks)}" if len(blocks) > 1 else ""
            first = not block.listened and block.drill not in heard
            chords = (self.chords or "") if alone else ""
            occasion = Occasion(place, first, known.get(block.drill), chords)
            stage = Stage(self.world, self.scribe, block, loop, occasion)
            heard.add(block.drill)
            how = await self.push_screen_wait(stage)
            if how == HURT:
                self.notify(f"{STOP} {CLINICIAN}", title="Stopped", severity="warning", timeout=30, markup=False)
                break
            if how == LEAVE:
                break
            if how == AGAIN:
                continue
            at += 1
            # Hands that only lay still need no rest.
            rests = at < len(blocks) and blocks[at].drill is not None and not block.listened
            if rests:
                rest = Rest(SHORT_REST_S, _title(blocks, at), self.world.keys, stage.rest_offer())
                if not await self.push_screen_wait(rest):
                    break
        if alone:
            self.exit()

    def open_arranging(self, song_id: str, arrangement: str = "") -> None:
        """The arrangements of a song, `arrangement` (else its first) in hand."""
        from coach.screens.songs.arranging_page import ArrangingPage

        self._open_page(lambda: ArrangingPage(self.world, song_id, arrangement))

    def open_chart(self, song_id: str | None) -> None:
        """The chart of a song, or of a new one."""
        from coach.screens.songs.chart_page import ChartPage
        from coach.screens.songs.new_song import NewSong

        def made(name: str | None) -> None:
            if name is not None:
                self.open_chart(name)

        if song_id is None:
            self.push_screen(NewSong(self.world), made)
        else:
            self._open_page(lambda: ChartPage(self.world, song_id))

    def open_desk(self) -> None:
        """The desk."""
        from coach.screens.desk.desk_page import DeskPage

        self.push_screen(DeskPage(self.world))

    def open_export(self, what: Chosen | str) -> None:
        """Files of a piece; of a song by its id, or `song/arrangement`."""
        from coach.screens.songs.export_page import Exporting

        def page() -> Screen[None]:
            chosen = self.world.chosen_song(what) if isinstance(what, str) else what
            return Exporting(self.world, chosen)

        self._open_page(page)

    def _open_page(self, make: Callable[[], Screen[None]]) -> None:
        """Open a page, or say why it cannot be."""
        try:
            self.push_screen(make())
        except CoachError as error:
            self.notify(str(error), severity="error", timeout=10, markup=False)

    async def _known_before(self) -> tuple[set[str], dict[str, SteadyTempo]]:
        """What need not be heard first, and the steady tempos known so far."""
        try:
            return await asyncio.to_thread(lambda: (self.world.heard(), self.world.steadies()))
        except CoachError:  # today has said so, or the scribe will
            return set(), {}

    def on_trouble(self, message: Trouble) -> None:
        """The scribe has something to say: on the stage where there is one, so that nothing lies over the tab."""
        page = next((screen for screen in reversed(self.screen_stack) if isinstance(screen, SpeakingPage)), None)
        if page is not None:
            page.say(message.sentence)
        else:
            self.notify(message.sentence, severity="warning", markup=False)

    def action_help_or_sign(self) -> None:
        """All keys; on a line to type on, the sign of the key."""
        if isinstance(self.focused, Input):
            self.focused.insert_text_at_cursor("?")
        else:
            self.action_help()

    def action_help(self) -> None:
        """All keys."""
        from coach.screens.shared.help_page import Help

        if isinstance(self.screen, Help):
            self.screen.dismiss()
            return
        first = self.screen.HELP_FIRST if isinstance(self.screen, Page) else Page.HELP_FIRST
        assert first in PAGES
        self.push_screen(Help(self.world.keys, first))

    def action_quit_now(self) -> None:
        """Leave at once; all is in the ledger."""
        self.exit()

    def action_pause_coach(self) -> None:
        """To the shell; the sound stops, and the run waits to be gone on with."""
        self._stop_playing()
        self.action_suspend_process()

    def _stop_playing(self) -> None:
        """What plays stops, as by its key."""
        for screen in self.screen_stack:
            if isinstance(screen, Page):
                screen.pause_playing()

    def _sound_stopped(self, sentence: str) -> None:
        """The watch had to stop the sound."""
        self._stop_playing()
        self.on_trouble(Trouble(sentence))


def _title(blocks: Sequence[Block], at: int) -> str:
    return blocks[at].title if at < len(blocks) else ""


def _sink(log: Path) -> BinaryIO:
    """The log to add to; nowhere, where it cannot be written: that stops no practice."""
    try:
        return open_to_add(log)
    except OSError:
        return open(os.devnull, "ab")


@contextlib.contextmanager
def _errors_to(log: Path) -> Iterator[Outlet]:
    """Point file descriptor 2 at a log: sound back ends print dozens of lines there, and the screen paints on it.

    The screen has the terminal through a copy of the descriptor, behind an outlet that never lets it wait.
    """
    old_stderr = sys.__stderr__
    terminal = os.dup(2)
    outlet = Outlet(terminal, letters())
    try:
        with _sink(log) as sink:
            sys.__stderr__ = outlet  # type: ignore[misc,assignment]
            os.dup2(sink.fileno(), 2)
            yield outlet
    finally:
        outlet.finish(LAST_WORDS_S)
        os.dup2(terminal, 2)  # the copy stays open: a terminal that takes nothing still has the outlet's thread
        sys.__stderr__ = old_stderr  # type: ignore[misc]


def run_app(first: Block | None = None, *, chords: str | None = None, world: World | None = None) -> int:
    """Open the coach on the terminal until the player leaves; the exit code."""
    from coach import places

    world = world or World.here()
    app = Coach(world, first, chords=chords)
    app.ends_all = True

    def last_things(limit_s: float) -> tuple[str, ...]:
        return tuple(filter(None, (app.scribe.close(limit_s), world.save())))

    last = Last(last_things)
    with _errors_to(places.log()) as app.outlet:
        hear_every_byte()
        app.watcher = Watch(app.outlet, last, app.leave_for_good, app._sound_stopped)
        try:
            with watching(app.watcher):
                app.run()
        except BaseException:
            traceback.print_exc()  # into the log: the terminal may be gone
            last.do()
            _end_if_held_up(1)
            raise
        finally:
            problems = last.do()
            for problem in problems:
                app.outlet.write(f"{problem}\n")
            _let_ring_out()
    code = app.return_code or int(bool(problems))
    if app.watcher.ending:
        os._exit(code)  # all is written and the terminal put right; there is nobody to tell anything more
    _end_if_held_up(code)
    return code


def _let_ring_out() -> None:
    """Wait a moment for what still fades, and for the last notes off to an instrument."""
    end = time.monotonic() + LAST_NOTES_S
    while silence.sounds() and time.monotonic() < end:
        time.sleep(0.01)


def _end_if_held_up(code: int) -> None:
    """End the process here if a thread would keep it for ever.

    Textual's reader of keys is no daemon, and after a visit to the shell or on a terminal that has gone it may go
    on reading; Python would wait for it at the end, on a dead terminal at full speed. All is written by now.
    """
    others = [t for t in threading.enumerate() if not t.daemon and t is not threading.main_thread()]
    for thread in others:
        thread.join(HELD_UP_S / len(others))
    if any(thread.is_alive() for thread in others):
        with contextlib.suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)

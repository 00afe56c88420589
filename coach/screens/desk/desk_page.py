"""The desk: a progression is typed, and its numerals, keys, shapes and the way through them are seen and heard.

Two hands on the keyboard while typing; then the arrows: left and right walk through the chords, up and down
through every shape of the chord looked at, while the route (or this chord alone) plays round and round under a
picking pattern. What is changed is heard from the next bar line on.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.widgets import Input, Static

from coach.errors import CoachError
from coach.handout import Chosen
from coach.screens.desk.desk_model import Desk, consider, looked_at, moved, with_chord, with_minimax, with_pin
from coach.screens.desk.desk_text import change_words, places_text, shapes_text, sum_words
from coach.screens.shared.actions import DESK, bindings, hints
from coach.screens.shared.looping_page import Hearing
from coach.screens.shared.thread_results import hand_over, stands
from coach.session.conductor import Loop, make_loop
from coach.session.context import World
from coach.shelf import hand_of
from coach.song.piece import pattern_piece

if TYPE_CHECKING:
    from coach.picking.pattern import Pattern

FIRST_SONG, FIRST_PATTERN, FIRST_BPM = "C | Am | F | G", "outside-in", 80
SLOWEST, FASTEST = 40, 160
TALL = 34
PLACES_WIDTH = 38
TYPING = "⏎ think it through  tab to the other line  esc back  F1 all keys"


class DeskPage(Hearing):
    """See the module's text."""

    HELP_FIRST: ClassVar[str] = "The desk"
    BINDINGS: ClassVar[list[BindingType]] = bindings(DESK)
    AUTO_FOCUS = ""
    CSS = """
    DeskPage { background: $background; overflow: hidden; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    DeskPage Input { height: 1; border: none; padding: 0 1; background: $surface; color: $foreground; }
    DeskPage Input:focus { background: $panel; }
    #sum { height: 1; padding: 0 1; color: $secondary; }
    #work { height: 1fr; min-height: 11; padding: 0 1; }
    #shapes { width: 1fr; height: 1fr; }
    #places { width: 38; height: 1fr; color: $foreground 85%; }
    #change { height: 2; padding: 0 1; color: $foreground; }
    #say { height: auto; max-height: 2; padding: 0 1; color: $warning; }
    DeskPage #tab { height: 15; display: none; }
    DeskPage.tall #tab { display: block; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__(world)
        self.desk: Desk | None = None
        self.bpm = FIRST_BPM
        self.only = False
        self.patterns = list(world.library.patterns)
        self.pattern = self.patterns.index(FIRST_PATTERN) if FIRST_PATTERN in self.patterns else 0
        self.place = -1
        self.before_stand_ins: Desk | None = None
        self.stand_in = -1

    def compose(self) -> ComposeResult:
        """Two lines to type on, then what comes of them."""
        yield Static("The desk: keys, shapes, and the way through them", id="title", markup=False)
        yield Input(FIRST_SONG, placeholder="chords: C | Am | F G | C", id="song", compact=True)
        yield Input(placeholder="key, voice and melody if known: G voice A2-D4 melody C4-A4", id="wish", compact=True)
        yield Static(id="sum", markup=False)
        with Horizontal(id="work"):
            yield Static(id="shapes")
            yield Static(id="places", markup=False)
        yield Static(id="change", markup=False)
        yield Static(id="say", markup=False)
        with Vertical(id="below"):
            pass
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Something to look at from the first moment."""
        self.action_edit()
        self.think()

    def on_resize(self) -> None:
        """More shapes, or fewer, fit; the tab is shown where there is room."""
        self.set_class(self.size.height >= TALL, "tall")
        self._show()

    # Thinking ----------------------------------------------------------------------------------

    def on_descendant_focus(self) -> None:
        """Typing: other keys count."""
        self._show()

    def on_descendant_blur(self) -> None:
        """No longer typing."""
        self._show()

    def on_input_submitted(self) -> None:
        """Enter on one of the two lines."""
        self.think(browse=True)

    @work(thread=True, exclusive=True, group="think")
    def think(self, browse: bool = False) -> None:
        """Work everything out, away from the screen."""
        app = self.app
        song, wish = self.query_one("#song", Input).value, self.query_one("#wish", Input).value
        try:
            desk = consider(song, wish, hand_of(self.world.settings))
        except CoachError as error:
            hand_over(app, self.say, str(error))
            return
        hand_over(app, self._thought, desk, browse)

    def _thought(self, desk: Desk, browse: bool) -> None:
        if not stands(self):
            return
        self.say("")
        self.place = -1
        self._no_stand_in()
        if browse:
            self.set_focus(None)
        self._take(desk)

    def _take(self, desk: Desk) -> None:
        """Another desk: show it, and play it from the next bar line on."""
        self.desk = desk
        self._show()
        self.replay()

    def _try(self, change: Callable[[], Desk]) -> None:
        """Do `change` (a function that gives a desk), or say why it cannot be."""
        try:
            self._take(change())
        except CoachError as error:
            self.say(str(error))

    def say(self, sentence: str) -> None:
        """One sentence."""
        if stands(self):
            self.query_one("#say", Static).update(sentence)

    def _show(self) -> None:
        desk = self.desk
        width = max(self.size.width - 2, 20)
        typing = isinstance(self.focused, Input)
        self.query_one("#keys", Static).update(TYPING if typing else hints(DESK, self.world.keys, width))
        if desk is None:
            return
        pattern = self._pattern().title
        playing = f"{pattern}, {self.bpm} bpm" + (", this chord alone" if self.only else "")
        self.query_one("#sum", Static).update(f"{sum_words(desk)} · {playing}")
        room = max(self.size.width - PLACES_WIDTH - 2, 15)
        self.query_one("#shapes", Static).update(shapes_text(desk, room))
        rows = max(self.query_one("#places").size.height, 8)
        self.query_one("#places", Static).update(places_text(desk, self.place, rows, PLACES_WIDTH))
        words: Text | str = change_words(desk, max(self.size.width - 2, 20))
        if self.stand_in >= 0 and self.before_stand_ins is not None:
            found = self.before_stand_ins.standins()[self.stand_in]
            lost, gained = ", ".join(found.lost) or "nothing", ", ".join(found.gained) or "nothing"
            words = f"stand-in ({found.kind}): {found.grip.chord} {found.grip.shape}\nlost {lost}; gained {gained}"
        self.query_one("#change", Static).update(words)

    def _pattern(self) -> Pattern:
        return self.world.library.patterns[self.patterns[self.pattern]]

    # Keys --------------------------------------------------------------------------------------

    def _no_stand_in(self) -> None:
        """What stands on the desk is what is meant."""
        self.stand_in, self.before_stand_ins = -1, None

    def action_edit(self) -> None:
        """Type."""
        self.query_one("#song", Input).focus()

    def action_chord(self, by: int) -> None:
        """Another chord."""
        if self.desk:
            self._no_stand_in()
            self.desk = looked_at(self.desk, self.desk.at + by)
            self._show()
            if self.only:
                self.replay()

    def action_shape(self, by: int) -> None:
        """Another shape of the chord looked at."""
        desk = self.desk
        if desk is None or not desk.options:
            return
        at = min(max(desk.option + by, 0), len(desk.options) - 1)
        self._no_stand_in()
        self._try(lambda: with_pin(desk, desk.options[at].shape))

    def action_free(self) -> None:
        """As the route likes."""
        if desk := self.desk:
            self._try(lambda: with_pin(desk, None))

    def action_hardest(self) -> None:
        """Ease the hardest change, or the sum."""
        if desk := self.desk:
            self._try(lambda: with_minimax(desk, not desk.minimax))

    def action_take_key(self, by: int) -> None:
        """The next of the ranked keys."""
        desk = self.desk
        if desk and desk.places:
            self.place = min(max(self.place + by, 0), len(desk.places) - 1)
            place = desk.places[self.place]
            self._no_stand_in()
            self._try(lambda: moved(desk, place))

    def action_stand_in(self) -> None:
        """The next stand-in for the chord looked at, and after the last the chord itself again."""
        base = self.before_stand_ins or self.desk
        if base is None:
            return
        found = base.standins()
        self.stand_in += 1
        if self.stand_in >= len(found):
            self._no_stand_in()
            self.say("" if found else "nothing easier that still tells this chord was found")
            self._take(base)
            return
        self.before_stand_ins = base
        standin = found[self.stand_in]
        self._try(lambda: with_chord(base, standin.grip.chord, standin.grip.shape))

    def action_pattern(self, by: int) -> None:
        """Another picking pattern."""
        self.pattern = (self.pattern + by) % len(self.patterns)
        self._show()
        self.replay()

    def action_tempo(self, by: int) -> None:
        """Slower or faster."""
        self.at_tempo(min(max(self.bpm + by, SLOWEST), FASTEST))
        self._show()

    def action_only(self) -> None:
        """This chord alone, or all."""
        self.only = not self.only
        self._show()
        self.replay()

    def action_export(self) -> None:
        """Files of the route under the pattern."""
        desk, pattern = self.desk, self._pattern()
        if desk is not None:
            piece = pattern_piece(pattern, desk.held(pattern.meter), Fraction(self.bpm), capo=desk.capo)
            self.silence()
            self.coach.open_export(Chosen(piece, pattern=pattern))

    def action_back(self) -> None:
        """Back to today."""
        self.silence()
        self.dismiss()

    def wanted(self) -> Loop | None:
        """The route, or this chord alone, under the pattern."""
        desk, pattern = self.desk, self._pattern()
        return None if desk is None else make_loop(pattern, desk.held(pattern.meter, only=self.only), capo=desk.capo)

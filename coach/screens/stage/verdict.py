"""After a block: how was it? One key, one pedal, or none at all."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping, Sequence
from textwrap import wrap
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Static

from coach.errors import CoachError
from coach.log.takes import VERDICTS
from coach.music.ramps import tempo_text
from coach.screens.shared.actions import VERDICT, action, bindings, first_key, keys_shown
from coach.screens.shared.leaving import leave
from coach.screens.shared.page import Page
from coach.screens.shared.thread_results import stands
from coach.session.run import PassDone

GO_ON_AFTER_S = 20
WIDTH = 76
_FRAME = 6  # cells of a line that border and padding take


class Verdict(Page, ModalScreen[str]):
    """Asks for one of the verdicts; the one the passes bear out is marked. Ends with it, "again", or "" for none."""

    HELP_FIRST: ClassVar[str] = "After a block"
    BINDINGS: ClassVar[list[BindingType]] = bindings(VERDICT)
    CSS = """
    Verdict { align: center middle; background: $background 60%; }
    #ask { width: 76; max-width: 100%; height: auto; background: $surface; border: round $primary; padding: 0 2; }
    """

    def __init__(
        self,
        passes: Sequence[PassDone],
        suggested: str,
        keys: Mapping[str, str],
        look: Callable[[], Sequence[str]] | None = None,
        write: Callable[[str], object] | None = None,
    ) -> None:
        """`look` tells what the take has shown; it may take its time, on a thread. So may `write`, which writes the
        player's word down: the page goes when that is done, so a word that was seen to be taken is never lost."""
        super().__init__()
        self.look = look
        self.write = write
        self.given = False
        self.told: Sequence[str] = ()
        self.passes = passes
        self.marked = suggested
        self.keys = keys
        self.left = GO_ON_AFTER_S

    def compose(self) -> ComposeResult:
        """What was played, and the four words."""
        with Vertical(id="ask"):
            yield Static(self.words(), id="words", markup=False)

    def words(self) -> str:
        """The whole page as text, in the lines and cells there are."""
        size = self.app.size
        width, height = min(size.width, WIDTH) - _FRAME, size.height - 2
        count = f"{len(self.passes)} pass{'es' if len(self.passes) > 1 else ''}"
        clean = sum(p.clean for p in self.passes)
        tempos = [p.bpm for p in self.passes]
        head = f"{count}, {clean} clean, {tempo_text(min(tempos))} to {tempo_text(max(tempos))} bpm"
        asked = [
            f" {'▸' if word.id == self.marked else ' '} {keys_shown(word, self.keys):>2}   {word.says}"
            for word in VERDICT[: len(VERDICTS)]
        ]
        take, again = first_key(action("take-suggested"), self.keys), first_key(action("another-go"), self.keys)
        by_itself = f"goes on by itself in {self.left} s"
        keys = [f"{take} or the pedal takes ▸ · {again} another go · {by_itself}"]
        if len(keys[0]) > width:
            keys = [f"{take} or the pedal takes ▸ · {again} another go", by_itself]
        told = [line for one in self.told for line in wrap(one, width, subsequent_indent="  ")]
        # What is asked must be on the page whole; what is told gives way, and before it the blank lines.
        room = height - len((head, "How was it?", *asked, *keys))
        if len(told) > room:
            told = [*told[: room - 1], f"{told[room - 1][: width - 2]} …"]
        gap, edge = ([""] if room - len(told) >= blanks else [] for blanks in (3, 5))
        return "\n".join([*edge, head, *told, *gap, "How was it?", *gap, *asked, *gap, *keys, *edge])

    def on_mount(self) -> None:
        """Hands may be busy: go on after a while without a word."""
        self.set_interval(1, self._wait)
        if self.look is not None:
            self._find_out(self.look)

    @work(thread=True)
    def _find_out(self, look: Callable[[], Sequence[str]]) -> None:
        app = self.app  # a page that was left knows its app no more
        try:
            found = look()
        except CoachError:  # the scribe has said so, or today will
            return
        app.call_from_thread(self._found, found)

    def _found(self, lines: Sequence[str]) -> None:
        if stands(self):
            self.told = lines
            self._draw()

    def _wait(self) -> None:
        self.left -= 1
        if self.left <= 0:
            leave(self, "")
        else:
            self._draw()

    def on_resize(self) -> None:
        """More or fewer lines."""
        self._draw()

    def _draw(self) -> None:
        self.query_one("#words", Static).update(self.words())

    def action_verdict(self, word: str) -> None:
        """The player's word."""
        if not self.given:
            self.given = True
            self._give(word)

    @work
    async def _give(self, word: str) -> None:
        if self.write is not None:
            await asyncio.to_thread(self.write, word)
        leave(self, word)

    def action_suggested(self) -> None:
        """The marked one."""
        self.action_verdict(self.marked)

    def action_again(self) -> None:
        """Another go."""
        leave(self, "again")

    def action_no_word(self) -> None:
        """No word: the passes speak."""
        leave(self, "")

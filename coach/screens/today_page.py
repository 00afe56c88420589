"""Today: the blocks for the minutes there are, each with its reasons; enter begins."""

from __future__ import annotations

from collections import deque
from textwrap import wrap
from threading import Lock
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.errors import CoachError
from coach.log.local_days import told_minutes
from coach.log.notes import NoteKind
from coach.picking.layers import THUMB
from coach.plan.cautions import CAUTIONS
from coach.plan.wishes import MINUTES, SWAP, UNDO, Wishes, wish_text
from coach.screens.shared.actions import TODAY, action, bindings, first_key, hints
from coach.screens.shared.choice import Choice
from coach.screens.shared.page import Page
from coach.screens.shared.thread_results import hand_over
from coach.session.context import World

if TYPE_CHECKING:
    from coach.plan.planner import Block, Plan

LEAST_MINUTES, MOST_MINUTES = 5, 240
TALL = 36  # lines from which each block also says what its pattern is good for


class Blocks(OptionList, inherit_bindings=False):
    """The list of blocks; keys that are not its own arrows belong to the screen."""

    BINDINGS: ClassVar[list[BindingType]] = []


class Today(Page, Screen[None]):
    """The plan, made away from the screen and shown when it is there."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *bindings(TODAY),
        ("up", "choose(-1)", ""),
        ("down", "choose(1)", ""),
    ]
    CSS = """
    Today { background: $background; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #sub { height: auto; padding: 1 2 0 2; color: $foreground 85%; }
    #blocks { height: 1fr; background: $background; border: none; padding: 0 1; margin: 1 0; }
    #blocks:focus { background-tint: $foreground 0%; }
    #blocks > .option-list--option-highlighted { background: $panel; color: $foreground; text-style: none; }
    #blocks > .option-list--option { padding: 0 1; }
    #notes { height: auto; max-height: 8; padding: 0 2; color: $foreground 85%; }
    #notes Static { height: auto; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.minutes = world.settings.minutes
        self.plan: Plan | None = None
        self.trouble = ""
        self._open = -1  # the block whose reasons are all told
        # A plan being made may be overtaken by the next one; what was wished is written by whichever comes to it.
        self._to_note: deque[tuple[str, str]] = deque()
        self._noting = Lock()

    def compose(self) -> ComposeResult:
        """Title, plan, notes."""
        yield Static(id="title", markup=False)
        yield Static("making the plan …", id="sub", markup=False)
        yield Blocks(id="blocks")
        with VerticalScroll(id="notes", can_focus=False):
            yield Static(id="note", markup=False)
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Make the plan after the first paint."""
        self._head()
        self.call_after_refresh(self.make_plan)

    def on_screen_resume(self) -> None:
        """Back from the stage or the settings: what was played or changed changes what is next."""
        self.minutes = self.world.settings.minutes
        if self.plan is not None:
            self.make_plan(after=True)

    def on_resize(self) -> None:
        """More or fewer hints and lines fit."""
        self._head()
        if self.plan is not None:
            self._show(self.plan)

    def _head(self) -> None:
        now = self.world.now()
        day = f"{now:%A} {now.day} {now:%B}"
        long = self.plan.length() if self.plan is not None else told_minutes(self.minutes)
        self.query_one("#title", Static).update(f"Steady Thumb · {day} · {long}")
        self.query_one("#keys", Static).update(hints(TODAY, self.world.keys, max(self.size.width - 2, 20)))

    @work(thread=True, exclusive=True, group="plan")
    def make_plan(self, after: bool = False) -> None:
        """Read the ledger and plan, away from the screen; what the player wished is written down before.

        `after`: what the scribe has been told so far is in the ledger first, so that the plan knows of it.
        """
        app, scribe, minutes = self.app, self.coach.scribe, self.minutes
        why = ""
        try:
            try:
                if after:
                    scribe.wait()
                with self._noting:
                    while self._to_note:
                        self.world.note(*self._to_note[0])
                        self._to_note.popleft()
                made = self.world.plan(minutes)
            except CoachError as error:
                # A ledger that cannot be read keeps nobody from playing.
                why = str(error)
                made = self.world.plan(minutes, takes=())
        except CoachError as error:
            hand_over(app, self._trouble, str(error))
            return
        hand_over(app, self._planned, made, minutes, why)

    def _trouble(self, why: str) -> None:
        self.query_one("#sub", Static).update(why)

    def _planned(self, made: Plan, minutes: int, why: str) -> None:
        if minutes == self.minutes:
            self.plan, self.trouble = made, why
            self._show(made)

    def _show(self, made: Plan) -> None:
        blocks = self.query_one("#blocks", Blocks)
        at = min(blocks.highlighted or 0, len(made.blocks) - 1)
        self._open = at
        blocks.clear_options()
        blocks.add_options([Option(self._words(block, k, k == at)) for k, block in enumerate(made.blocks)])
        blocks.highlighted = at if made.blocks else None
        first = not self.world.settings.cautions_seen
        begin = first_key(action("begin"), self.world.keys)
        welcome = f"Welcome. Guitar on the knee, {begin}, and play: the starter ladder is ready."
        self.query_one("#sub", Static).update(self.trouble or (welcome if first else self._sum(made)))
        told = made.notes if made.blocks else ()  # else they are said above
        notes = CAUTIONS if first else (*self.world.problems, *self._broken(), *told)
        self.query_one("#note", Static).update("\n".join(notes))
        self._head()

    def _sum(self, made: Plan) -> str:
        if not made.blocks and not made.stopped:
            return "\n".join(made.notes)
        if made.stopped:
            undo = first_key(action("plan-undo"), self.world.keys)
            return "\n".join([*made.notes, f"({undo} if the pain key was pressed by mistake.)"])
        playing = sum(b.minutes for b in made.blocks if b.played)
        names = len({b.drill for b in made.blocks if b.played})
        return f"{playing} minutes of playing, {names} drill{'s' if names != 1 else ''}, short turns."

    def _broken(self) -> list[str]:
        count, key = len(self.world.library.broken), first_key(action("patterns"), self.world.keys)
        return [f"{count} pattern file{'s' if count > 1 else ''} cannot be read: {key} shows why."] if count else []

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Only the chosen block tells all its reasons where lines are few."""
        if self.plan is None or event.option_index == self._open or self.size.height >= TALL:
            return
        closed, self._open = self._open, event.option_index
        for k in (closed, self._open):
            if 0 <= k < len(self.plan.blocks):
                event.option_list.replace_option_prompt_at_index(
                    k, self._words(self.plan.blocks[k], k, k == self._open)
                )

    def _words(self, block: Block, place: int, chosen: bool) -> Text:
        """What and how fast; why: all of it, or its first line where lines are few and another is chosen."""
        width = max(self.size.width - 6, 40)
        text = Text(no_wrap=True, overflow="ellipsis", end="")
        left = f"{place + 1:>2}  {'listen: ' if block.listened else ''}{block.title}"
        if block.drill:
            sung = "  sing over the thumb" if block.layer == THUMB else ""
            right = f"{block.tempos('→')}  {block.minutes:>2} min"
        else:
            sung, right = "", f"{block.minutes:>2} min"
        text.append(left, style="bold")
        text.append(sung, style="italic")
        text.append(" " * max(width - len(left) - len(sung) - len(right), 1) + right + "\n")
        tall = self.size.height >= TALL
        pattern = self.world.library.patterns.get(block.drill or "")
        if tall and pattern is not None and pattern.about:
            text.append(f"    {pattern.about}\n")
        lines = wrap("; ".join(block.why), max(width - 4, 20))
        if not (tall or chosen) and len(lines) > 1:
            lines = [lines[0][: max(width - 6, 18)].rstrip(" ;,") + " …"]
        for line in lines:
            text.append(f"    {line}\n", style="dim")
        text.rstrip()
        if tall:
            text.append("\n")
        return text

    # Keys --------------------------------------------------------------------------------------

    def action_choose(self, by: int) -> None:
        """Up and down the list."""
        blocks = self.query_one("#blocks", Blocks)
        if blocks.option_count:
            blocks.highlighted = min(max((blocks.highlighted or 0) + by, 0), blocks.option_count - 1)

    def action_begin(self) -> None:
        """Begin at the chosen block."""
        if self.plan is None or not self.plan.blocks:
            return
        self.world.change(cautions_seen=True)
        at = self.query_one("#blocks", Blocks).highlighted or 0
        self.coach.practise(self.plan.blocks[at:])

    def on_option_list_option_selected(self) -> None:
        """A click with a mouse does the same as enter."""
        self.action_begin()

    def action_minutes(self, by: int) -> None:
        """More or less time today; where today was ended earlier, only today is changed."""
        wished = self.world.wishes.minutes
        if wished is not None:
            self._note(NoteKind.WISH, wish_text(MINUTES, min(max(wished + by, LEAST_MINUTES), MOST_MINUTES)))
            return
        self.minutes = min(max(self.minutes + by, LEAST_MINUTES), MOST_MINUTES)
        self.world.change(minutes=self.minutes)
        self._head()
        self.make_plan()

    def _chosen(self) -> Block | None:
        """The chosen block, when it is one that is played."""
        at = self.query_one("#blocks", Blocks).highlighted
        if self.plan is None or at is None or at >= len(self.plan.blocks):
            return None
        block = self.plan.blocks[at]
        return block if block.drill else None

    def action_wish(self, deed: str) -> None:
        """Keep the chosen drill in today's plan, or leave it out."""
        block = self._chosen()
        if block is not None and block.drill:
            self._note(NoteKind.WISH, wish_text(deed, block.drill))

    def action_swap(self) -> None:
        """Another drill in the place of the chosen one."""
        block = self._chosen()
        if block is None or self.plan is None:
            return
        planned = {b.drill for b in self.plan.blocks}
        others = [(drill.id, drill.title) for drill in self.world.drills if drill.id not in planned]

        def chosen(into: str | None) -> None:
            if into is not None and block.drill:
                self._note(NoteKind.WISH, wish_text(SWAP, block.drill, into))

        self.app.push_screen(Choice(f"In the place of {block.title}, for today:", others, self.world.keys), chosen)

    def _note(self, kind: str, text: str = "") -> None:
        """Write a note and make the plan anew under it."""
        self._to_note.append((kind, text))
        self.make_plan()

    def action_shorten(self) -> None:
        """Today ends with the chosen block."""
        at = self.query_one("#blocks", Blocks).highlighted
        if self.plan is not None and at is not None and at < len(self.plan.blocks):
            minutes = sum(block.minutes for block in self.plan.blocks[: at + 1])
            if minutes < self.plan.minutes:
                self._note(NoteKind.WISH, wish_text(MINUTES, minutes))

    def action_undo(self) -> None:
        """Take back the latest wish; without one, the pain key when it was pressed by mistake today."""
        if self.plan is None:
            return
        if self.plan.stopped:
            self._note(NoteKind.PAIN_BY_MISTAKE)
        elif self.world.wishes == Wishes():
            self.notify("Nothing was wished today.", markup=False)
        else:
            self._note(NoteKind.WISH, wish_text(UNDO))

    def action_plan_again(self) -> None:
        """Read everything anew."""
        self.world.reread()
        self.make_plan()

    def action_patterns(self) -> None:
        """All patterns."""
        from coach.screens.patterns_page import Patterns

        self.app.push_screen(Patterns(self.world))

    def action_songbook(self) -> None:
        """Songs and how far each is."""
        from coach.screens.songs.songbook import Songbook

        self.app.push_screen(Songbook(self.world))

    def action_progress(self) -> None:
        """How each drill has gone."""
        from coach.screens.progress.progress_page import ProgressPage

        self.app.push_screen(ProgressPage(self.world))

    def action_desk(self) -> None:
        """Keys, shapes and routes."""
        self.coach.open_desk()

    def action_settings(self) -> None:
        """The settings."""
        from coach.screens.settings_page import SettingsPage

        self.app.push_screen(SettingsPage(self.world))

    def action_quit_coach(self) -> None:
        """Leave."""
        self.app.exit()

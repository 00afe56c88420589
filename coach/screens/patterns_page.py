"""All patterns: the ladders on the left, the chosen one as tab on the right, broken files with their reason."""

from __future__ import annotations

from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.errors import CoachError
from coach.picking.layers import FULL, next_layer
from coach.picking.pattern import Pattern
from coach.picking.tab import draw_tab_bar, wrap_tab_bars
from coach.plan.planner import Block
from coach.screens.shared.actions import PATTERNS, bindings, hints
from coach.screens.shared.page import Page
from coach.screens.shared.tab_view import slot_width
from coach.session.conductor import Loop
from coach.session.context import World

FREE_MINUTES = 5
NARROW = 76


class Patterns(Page, Screen[None]):
    """The library."""

    HELP_FIRST: ClassVar[str] = "Patterns"
    BINDINGS: ClassVar[list[BindingType]] = bindings(PATTERNS)
    CSS = """
    Patterns { background: $background; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #list { scrollbar-size-vertical: 1; width: 38; height: 1fr; background: $background; border: none; }
    #list { text-wrap: nowrap; text-overflow: ellipsis; }
    #list:focus { background-tint: $foreground 0%; }
    #list > .option-list--option-highlighted { background: $panel; color: $foreground; text-style: bold; }
    #one { width: 1fr; height: 1fr; padding: 0 1; }
    #about { height: auto; color: $foreground; }
    #drawn { height: auto; color: $foreground; margin: 1 0; text-wrap: nowrap; text-overflow: clip; }
    Patterns.narrow #list { width: 22; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.shown_layer: str = FULL

    def compose(self) -> ComposeResult:
        """List and picture."""
        library = self.world.library
        yield Static(f"Patterns · {len(library.patterns)}", id="title", markup=False)
        with Horizontal():
            yield OptionList(*self._options(), id="list")
            with Vertical(id="one"):
                yield Static(id="about", markup=False)
                yield Static(id="drawn", markup=False)
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """The list has the arrows."""
        self.query_one("#list", OptionList).focus()

    def on_resize(self) -> None:
        """The picture is as wide as there is room."""
        self.set_class(self.size.width < NARROW, "narrow")
        self.query_one("#keys", Static).update(hints(PATTERNS, self.world.keys, max(self.size.width - 2, 20)))
        self._show()

    def _options(self) -> list[Option]:
        library = self.world.library
        depth: dict[str, int] = {}
        found = []
        for pattern in library.patterns.values():
            depth[pattern.id] = depth.get(pattern.grows_from, -1) + 1 if pattern.grows_from else 0
            indent = " " * min(depth[pattern.id], 8)
            mine = " (own)" if pattern.own else ""
            found.append(
                Option(Text(f"{indent}{pattern.title}{mine}", no_wrap=True, overflow="ellipsis"), id=pattern.id)
            )
        for number, broken in enumerate(library.broken):
            found.append(Option(Text(f"! {broken.path.name}", style="bold"), id=f"!{number}"))
        return found

    def on_option_list_option_highlighted(self) -> None:
        """Another one is chosen."""
        self._show()

    def on_option_list_option_selected(self) -> None:
        """Enter on the list."""
        self.action_play()

    def _chosen(self) -> Pattern | None:
        chosen = self.query_one("#list", OptionList)
        option = chosen.get_option_at_index(chosen.highlighted) if chosen.highlighted is not None else None
        return self.world.library.patterns.get(option.id or "") if option else None

    def _loop(self, pattern: Pattern) -> tuple[Block, Loop]:
        drill = self.world.drill(pattern.id)
        block = Block(
            "play", drill.id, pattern.title, FREE_MINUTES, drill.start_bpm, drill.target_bpm, FULL, (), drill.step_share
        )
        return block, self.world.loop(block)

    def _show(self) -> None:
        about, drawn = self.query_one("#about", Static), self.query_one("#drawn", Static)
        pattern = self._chosen()
        if pattern is None:
            chosen = self.query_one("#list", OptionList)
            broken = self.world.library.broken
            number = (chosen.highlighted or 0) - len(self.world.library.patterns)
            about.update(broken[number].why if 0 <= number < len(broken) else "")
            drawn.update("")
            return
        lines = [pattern.title, pattern.about, ""]
        lines.append(f"{pattern.meter}, {pattern.slots} slots a bar, {_feel(pattern)}; {', '.join(pattern.tags)}")
        parent = self.world.library.patterns.get(pattern.grows_from)
        if parent:
            lines.append(f"grows from {parent.title}")
        try:
            loop = self._loop(pattern)[1]
        except CoachError as error:
            about.update("\n".join([*lines, str(error)]))
            drawn.update("")
            return
        if self.shown_layer not in loop.layers:
            self.shown_layer = FULL
        lines.append(f"layer {self.shown_layer} of {', '.join(loop.layers)}")
        about.update("\n".join(lines))
        width = max(self.size.width - (24 if self.size.width < NARROW else 40), 30)
        slots = slot_width(width, pattern.slots)
        bars = [
            draw_tab_bar(bar.plucks, loop.sounding(bar.number, self.shown_layer), bar.held, bar.meter, bar.slots, slots)
            for bar in loop.piece.bars[: max(len(pattern.bars), 2)]
        ]
        drawn.update(wrap_tab_bars(bars, width, barline="│"))

    # Keys --------------------------------------------------------------------------------------

    def action_layer(self, by: int) -> None:
        """Another layer of the chosen pattern."""
        pattern = self._chosen()
        if pattern is not None:
            self.shown_layer = next_layer(self._loop(pattern)[1].layers, self.shown_layer, by)
            self._show()

    def action_play(self) -> None:
        """On the stage with it."""
        pattern = self._chosen()
        if pattern is not None:
            self.coach.practise((self._loop(pattern)[0],))

    def action_export(self) -> None:
        """Files of the chosen pattern."""
        pattern = self._chosen()
        if pattern is not None:
            try:
                self.coach.open_export(self.world.chosen_pattern(pattern.id))
            except CoachError as error:
                self.app.notify(str(error), severity="error", markup=False)

    def action_back(self) -> None:
        """Back to today."""
        self.dismiss()


def _feel(pattern: Pattern) -> str:
    return "straight" if pattern.feel == "straight" else f"swing {float(pattern.share):.0%} of the beat"

"""All keys, read from the table of actions, the cautions, and why the plan is as it is."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import wrap
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from coach.plan.cautions import CAUTIONS
from coach.plan.plan_reasons import REASONS
from coach.screens.shared.actions import PAGES, keys_shown

KEYS_WIDTH = 20
WIDTH = 76
# Border, padding and scroll bar of the page.
MARGINS = 7


def help_text(moved: Mapping[str, str], first: str = "", width: int = 72) -> str:
    """Every page of keys, `first` before the others, then grounds and cautions; lines of at most `width` cells."""
    pages = sorted(PAGES, key=lambda page: page != first)
    lines: list[str] = []
    for page in pages:
        lines.append(page)
        for action in PAGES[page]:
            keys = f"  {keys_shown(action, moved)}".ljust(KEYS_WIDTH) + " "
            lines += wrap(action.says, width, initial_indent=keys, subsequent_indent=" " * len(keys))
        lines.append("")
    for heading, told in (("Why the plan is as it is", REASONS), ("Hands and ears", CAUTIONS)):
        lines.append(heading)
        for sentence in told:
            lines += wrap(sentence, width, initial_indent="  ", subsequent_indent="  ")
        lines.append("")
    return "\n".join(lines[:-1])


class Help(ModalScreen[None]):
    """Scrolls with the arrows; any of the closing keys goes back. The sound goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [("escape,q,question_mark,enter,space,f1", "dismiss", "back")]
    CSS = """
    Help { align: center middle; background: $background 60%; }
    #page { width: 76; max-width: 100%; height: 90%; scrollbar-size-vertical: 1; }
    #page { background: $surface; border: round $secondary; padding: 0 2; }
    """

    def __init__(self, moved: Mapping[str, str], first: str) -> None:
        super().__init__()
        self.moved = moved
        self.first = first

    def compose(self) -> ComposeResult:
        """One long page."""
        with VerticalScroll(id="page"):
            yield Static(self._text(self.app.size.width), id="text", markup=False)

    def _text(self, columns: int) -> str:
        return help_text(self.moved, self.first, min(columns, WIDTH) - MARGINS)

    def on_mount(self) -> None:
        """Arrows scroll."""
        self.query_one("#page").focus()

    def on_resize(self) -> None:
        """As wide as there is room, once the page itself has its new size."""
        text = self.query_one("#text", Static)
        self.call_after_refresh(lambda: text.update(self._text(self.size.width)))

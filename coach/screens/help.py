"""All keys, read from the table of actions, and the cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from coach.practice.cautions import CAUTIONS
from coach.screens.actions import PAGES, keys_shown


def help_text(moved: Mapping[str, str], first: str = "") -> str:
    """Every page of keys, `first` before the others, then the cautions."""
    pages = sorted(PAGES, key=lambda page: page != first)
    lines: list[str] = []
    for page in pages:
        lines.append(page)
        lines += [f"  {keys_shown(action, moved):<18} {action.says}" for action in PAGES[page]]
        lines.append("")
    return "\n".join([*lines, "Hands and ears", *(f"  {caution}" for caution in CAUTIONS)])


class Help(ModalScreen[None]):
    """Scrolls with the arrows; any of the closing keys goes back. The sound goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [("escape,q,question_mark,enter,space,f1", "dismiss", "back")]
    CSS = """
    Help { align: center middle; background: $background 60%; }
    #page { width: 76; max-width: 100%; height: 90%; background: $surface; border: round $secondary; padding: 0 2; }
    """

    def __init__(self, moved: Mapping[str, str], first: str) -> None:
        super().__init__()
        self.moved = moved
        self.first = first

    def compose(self) -> ComposeResult:
        """One long page."""
        with VerticalScroll(id="page"):
            yield Static(help_text(self.moved, self.first), markup=False)

    def on_mount(self) -> None:
        """Arrows scroll."""
        self.query_one("#page").focus()

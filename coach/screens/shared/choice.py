"""A page to choose one of several things from; ends with its id, or None."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from coach.screens.shared.actions import CHOICE, bindings, hints
from coach.screens.shared.leaving import leave
from coach.screens.shared.page import Page


class Choice(Page, ModalScreen[str | None]):
    """`options` are (id, title) pairs under a `question`; the arrows walk."""

    HELP_FIRST: ClassVar[str] = "Choosing"
    BINDINGS: ClassVar[list[BindingType]] = bindings(CHOICE)
    CSS = """
    Choice { align: center middle; background: $background 60%; }
    #choice { width: 62; max-width: 100%; height: 80%; background: $surface; border: round $primary; padding: 0 1; }
    #choice Static { height: auto; color: $foreground; }
    #options { height: 1fr; background: $surface; border: none; scrollbar-size-vertical: 1; }
    #options:focus { background-tint: $foreground 0%; }
    #options > .option-list--option-highlighted { background: $panel; color: $foreground; text-style: bold; }
    """

    def __init__(self, question: str, options: Sequence[tuple[str, str]], keys: Mapping[str, str]) -> None:
        super().__init__()
        self.question = question
        self.options = options
        self.keys = keys

    def compose(self) -> ComposeResult:
        """The question, the list, the keys."""
        with Vertical(id="choice"):
            yield Static(self.question, markup=False)
            yield OptionList(
                *(Option(Text(title, no_wrap=True, overflow="ellipsis"), id=id_) for id_, title in self.options),
                id="options",
            )
            yield Static(hints(CHOICE, self.keys, 56), markup=False)

    def on_mount(self) -> None:
        """The list has the arrows."""
        self.query_one("#options", OptionList).focus()

    def on_option_list_option_selected(self) -> None:
        """Enter on the list, or a click."""
        self.action_take()

    def action_take(self) -> None:
        """Take the chosen one."""
        listed = self.query_one("#options", OptionList)
        if listed.highlighted is not None:
            leave(self, listed.get_option_at_index(listed.highlighted).id)

    def action_back(self) -> None:
        """Choose none."""
        leave(self, None)

"""A page to choose one of many things from, with a line to look for it by; ends with its id, or None."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import ClassVar

from rich.text import Text
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from coach.screens.shared.leaving import leave
from coach.screens.shared.thread_results import stands

KEYS = "type to look for it  ↑↓ walk  ⏎ take  esc back"


def matching(words: str, options: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    """The (id, title) pairs whose id or title has every word in it, whatever the case; in their own order."""
    wanted = words.casefold().split()
    return [(id_, title) for id_, title in options if all(w in f"{id_} {title}".casefold() for w in wanted)]


class Finder(ModalScreen[str | None]):
    """`options` are (id, title) pairs under a `question`; typing leaves those that match; `at` is where to begin.

    What `more` says of the chosen one stands below.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        ("up", "walk(-1)", "up"),
        ("down", "walk(1)", "down"),
        ("pageup", "walk(-10)", "further up"),
        ("pagedown", "walk(10)", "further down"),
        ("escape", "back", "back"),
    ]
    CSS = """
    Finder { align: center middle; background: $background 60%; }
    #finder { width: 90; max-width: 100%; height: 80%; background: $surface; border: round $primary; padding: 0 1; }
    #finder Static { height: auto; color: $foreground; }
    #finder Input { height: 1; border: none; padding: 0; background: $panel; color: $foreground; }
    #found { height: 1fr; background: $surface; border: none; scrollbar-size-vertical: 1; }
    #found { text-wrap: nowrap; text-overflow: ellipsis; }
    Finder #more { max-height: 4; color: $foreground 80%; }
    #found > .option-list--option-highlighted { background: $panel; color: $foreground; text-style: bold; }
    """

    def __init__(
        self, question: str, options: Sequence[tuple[str, str]], at: str = "", more: Mapping[str, str] | None = None
    ) -> None:
        super().__init__()
        self.question = question
        self.options = options
        self.more = more or {}
        self.first = at

    def compose(self) -> ComposeResult:
        """The question, the line, the list."""
        with Vertical(id="finder"):
            yield Static(self.question, markup=False)
            yield Input(placeholder="look for", id="look", compact=True)
            yield OptionList(id="found")
            yield Static(id="more", markup=False)
            yield Static(KEYS, markup=False)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """What there is to say of it."""
        self.query_one("#more", Static).update(self.more.get(event.option_id or "", ""))

    def on_mount(self) -> None:
        """All of them, and the line has the keys."""
        self.query_one("#found", OptionList).can_focus = False
        self.query_one("#look", Input).focus()
        self._list("", self.first)

    def _list(self, words: str, at: str = "") -> None:
        found = self.query_one("#found", OptionList)
        shown = matching(words, self.options)
        found.clear_options()
        found.add_options(Option(Text(t, no_wrap=True, overflow="ellipsis"), id=id_) for id_, t in shown)
        ids = [id_ for id_, _ in shown]
        found.highlighted = (ids.index(at) if at in ids else 0) if ids else None

    def on_input_changed(self, event: Input.Changed) -> None:
        """Fewer of them, or more."""
        if stands(self):
            self._list(event.value, "" if event.value else self.first)

    def on_input_submitted(self) -> None:
        """Take the chosen one."""
        found = self.query_one("#found", OptionList)
        if found.highlighted is not None:
            leave(self, found.get_option_at_index(found.highlighted).id)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A click."""
        leave(self, event.option_id)

    def action_walk(self, by: int) -> None:
        """Another one."""
        found = self.query_one("#found", OptionList)
        if found.option_count:
            found.highlighted = min(max((found.highlighted or 0) + by, 0), found.option_count - 1)

    def action_back(self) -> None:
        """Choose none."""
        leave(self, None)


class Ask(ModalScreen[str | None]):
    """One line to type under a `question`; ends with it, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [("escape", "back", "back")]
    CSS = """
    Ask { align: center middle; background: $background 60%; }
    #ask { width: 70; max-width: 100%; height: auto; background: $surface; border: round $primary; padding: 0 1; }
    #ask Static { height: auto; color: $foreground; }
    #ask Input { height: 1; border: none; padding: 0; background: $panel; color: $foreground; }
    """

    def __init__(self, question: str, value: str = "") -> None:
        super().__init__()
        self.question = question
        self.value = value

    def compose(self) -> ComposeResult:
        """The question and the line."""
        with Vertical(id="ask"):
            yield Static(self.question, markup=False)
            yield Input(self.value, id="answer", compact=True)
            yield Static("⏎ take  esc back", markup=False)

    def on_mount(self) -> None:
        """Type at once."""
        self.query_one("#answer", Input).focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Done."""
        leave(self, event.value)

    def action_back(self) -> None:
        """Nothing."""
        leave(self, None)

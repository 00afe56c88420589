"""Many rows of text of which only those in sight are drawn: a song of four hundred bars costs what one of ten does."""

from __future__ import annotations

from collections.abc import Callable

from rich.text import Text
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip

Draw = Callable[[int, int], Text]


class RowView(ScrollView):
    """`rows` lines; `draw(row, width)` gives one of them. The row `at` is kept in sight, with one beside it."""

    DEFAULT_CSS = "RowView { scrollbar-size-vertical: 1; overflow-x: hidden; }"
    can_focus = False

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.rows = 0
        self.at = 0
        self.draw: Draw = lambda row, width: Text()
        self.drawn = 0  # rows drawn since it was made, for the tests

    def show(self, rows: int, draw: Draw, at: int) -> None:
        """Other rows, or another one chosen."""
        self.rows, self.draw, self.at = rows, draw, at
        self.virtual_size = Size(max(self.size.width - 1, 1), rows)
        self._see()
        self.refresh()

    def on_resize(self) -> None:
        """The chosen row stays in sight."""
        self.virtual_size = Size(max(self.size.width - 1, 1), self.rows)
        self._see()

    def _see(self) -> None:
        height = self.size.height
        if not height:
            return
        top, margin = self.scroll_offset.y, min(1, (height - 1) // 2)
        if self.at - margin < top:
            top = max(self.at - margin, 0)
        elif self.at + margin >= top + height:
            top = min(self.at + margin, self.rows - 1) - height + 1
        if top != self.scroll_offset.y:
            self.scroll_to(y=top, animate=False, immediate=True)

    def render_line(self, y: int) -> Strip:
        """One line on the screen."""
        row, width = y + self.scroll_offset.y, self.size.width
        base = self.rich_style
        if not 0 <= row < self.rows:
            return Strip.blank(width, base)
        self.drawn += 1
        text = self.draw(row, width)
        text.truncate(width, overflow="ellipsis", pad=True)
        return Strip(text.render(self.app.console), width).apply_style(base)

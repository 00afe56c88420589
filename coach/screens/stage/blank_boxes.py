"""Boxes that are only ground: what stands in them is drawn by itself, and they cost nothing when something moves.

Textual asks every widget on the page for all its lines whenever any of them changes. A box with no border and no
text of its own has the same blank line everywhere, so it keeps one.
"""

from __future__ import annotations

from textual.containers import Vertical
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget


class BlankLines(Widget):
    """Mixed into a box or page without border, padding or text of its own."""

    _blank: Strip | None = None

    def render_lines(self, crop: Region) -> list[Strip]:
        """The same blank line, as often as it is asked for."""
        blank = self._blank
        if blank is None or blank.cell_length != crop.width:
            background = self.background_colors[1]
            blank = Strip.blank(crop.width, self.visual_style.rich_style)
            for line_filter in self.get_line_filters():
                blank = blank.apply_filter(line_filter, background)
            self._blank = blank
        return [blank] * crop.height

    def notify_style_update(self) -> None:
        """Colours changed."""
        self._blank = None
        super().notify_style_update()


class Ground(BlankLines, Vertical):
    """A vertical box that is only ground."""

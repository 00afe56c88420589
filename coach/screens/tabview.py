"""The tab under the beat cursor.

Two ways to look at it:

    glide   the cursor stands, the tab moves under it:      ...─0───┃───3───...
    still   the page stands, the cursor moves over it and the page turns one bar early

Each bar is drawn once into styled runs; a frame cuts and joins them, and only when the cursor's cell has
changed. On a still page two columns are drawn again, in glide all of it. The cursor is a heavy line, so it
shows without colour.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from itertools import chain
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from coach.picking.tab import (
    CHORD_ROW,
    COUNT_ROW,
    FINGER_ROW,
    FIRST_STRING_ROW,
    ROWS,
    THUMB_ROW,
    tab_bar,
)
from coach.practice.run import COUNT, MODEL
from coach.screens.conductor import Loop

Line = tuple[tuple[str, Style], ...]
Drawn = tuple[Line, ...]
Shown = Callable[[int], tuple[int, str, str] | None]

_KINDS = (
    "line",
    "barline",
    "note",
    "thumb",
    "strong",
    "ghost",
    "gone",
    "chord",
    "letter",
    "pletter",
    "count",
    "offcount",
    "blank",
)
WIDEST_SLOT = 5
MOST_AIR = 2
GAP = -1
_AT_CURSOR = {"─": "╂", " ": "┃", "│": "┃"}


def written_beat(beat: float, share: Fraction) -> float:
    """Where on the written page a sounding beat is: the inverse of `coach.picking.plucks.swung`."""
    if share == Fraction(1, 2):
        return beat
    whole, part, s = int(beat), beat % 1, float(share)
    return whole + (part / s / 2 if part < s else 0.5 + (part - s) / (1 - s) / 2)


def row_plan(height: int) -> tuple[int, ...]:
    """Which row of a drawn bar stands on each line of a view `height` lines tall; GAP for air between strings."""
    air = min(max(height - ROWS, 0) // 5, MOST_AIR)
    strings = range(FIRST_STRING_ROW, FIRST_STRING_ROW + 6)
    spread = [row for s in strings for row in (s, *[GAP] * air)]
    return (CHORD_ROW, FINGER_ROW, *spread[: len(spread) - air], THUMB_ROW, COUNT_ROW)


def slot_width(width: int, slots: int) -> int:
    """Cells a slot: as wide as lets two bars (three on a wide screen) be seen, 2 to WIDEST_SLOT."""
    bars = 2.1 if width < 110 else 3
    return max(2, min(WIDEST_SLOT, int((width / bars - 1) / slots)))


class TabView(Widget):
    """See the module's text. `look` gives (loop bar, layer, kind) of a bar number, None where nothing is."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"tab--{kind}" for kind in (*_KINDS, "cursor")}
    DEFAULT_CSS = """
    TabView { height: 10; width: 1fr; background: $surface; color: $foreground; }
    TabView .tab--line { color: $foreground 38%; }
    TabView .tab--barline { color: $foreground 70%; }
    TabView .tab--note { color: $foreground; text-style: bold; }
    TabView .tab--thumb { color: $background; background: $primary; text-style: bold; }
    TabView .tab--strong { color: $accent; text-style: bold underline; }
    TabView .tab--ghost { color: $foreground 70%; text-style: italic; }
    TabView .tab--gone { color: $foreground 45%; }
    TabView .tab--chord { color: $secondary; text-style: bold; }
    TabView .tab--letter { color: $secondary; }
    TabView .tab--pletter { color: $primary; }
    TabView .tab--count { color: $foreground; text-style: bold; }
    TabView .tab--offcount { color: $foreground 55%; }
    TabView .tab--blank { color: $foreground; }
    TabView .tab--cursor { color: $accent; background: $accent 18%; text-style: bold; }
    """

    def __init__(self, loop: Loop, look: Shown, *, still: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self.loop = loop
        self.look = look
        self.still = still
        self.number = 0
        self.beat = 0.0
        self._cell: tuple[int, int] = (-1, -1)
        self._page = 0
        self._drawn: dict[tuple[int, str, str], Drawn] = {}
        self._styles: dict[str, Style] = {}
        self._plan: tuple[int, ...] = tuple(range(ROWS))
        # Kept from the last resize: asking the widget for its size walks up the tree, too slow for every line.
        self._width = self._height = 0
        self._slot_width = 2
        self.bar_width = 1

    # Places ------------------------------------------------------------------------------------

    @property
    def cursor_column(self) -> int:
        """Where on the view the cursor is now."""
        if self.still:
            return (self.number - self._page) * self.bar_width + self._column()
        return max(8, self._width // 4)

    def _column(self) -> int:
        """The cursor's cell within its bar: beat 0 is on the first slot's note, and a bar's end on the next one's."""
        pattern = self.loop.pattern
        return 2 + int(written_beat(self.beat, pattern.share) / pattern.meter.beats * self.bar_width)

    def _bars_on_page(self) -> int:
        return max(1, self._width // self.bar_width)

    # Moving ------------------------------------------------------------------------------------

    def move(self, number: int, beat: float) -> bool:
        """Put the cursor on `beat` of bar `number`; draws only what changed. True when something was."""
        old = self.cursor_column
        self.number, self.beat = number, min(beat, self.loop.pattern.meter.beats - 1e-9)
        cell = (number, self._column())
        if cell == self._cell:
            return False
        self._cell = cell
        if self.still:
            bars = self._bars_on_page()
            if not self._page <= number < self._page + max(1, bars - 1):
                self._page = number
                self.refresh()
            else:
                self.refresh(Region(old, 0, 1, self._height), Region(self.cursor_column, 0, 1, self._height))
        else:
            # The air between the strings stands still with the cursor: only the written lines move.
            self.refresh(*(Region(0, y, self._width, 1) for y, row in enumerate(self._plan) if row != GAP))
        return True

    def play(self, loop: Loop) -> None:
        """Show another loop from now on."""
        self.loop = loop
        self.on_resize()

    def renew(self) -> None:
        """Draw again: layers, mode or size have changed."""
        self._page = self.number
        self.refresh()

    def on_resize(self) -> None:
        """Slots may be wider or narrower now."""
        self._drawn.clear()
        self._width, self._height = self.size
        self._slot_width = slot_width(self._width, self.loop.pattern.slots)
        self.bar_width = 1 + self.loop.pattern.slots * self._slot_width
        self._plan = row_plan(self._height)
        self.renew()

    def notify_style_update(self) -> None:
        """Colours changed: what is drawn holds the old ones."""
        self._drawn.clear()
        self._styles.clear()
        super().notify_style_update()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Ten rows, or with air between the strings."""
        return ROWS

    # Drawing -----------------------------------------------------------------------------------

    def _dress(self) -> dict[str, Style]:
        """Every kind's look on the view's own ground; worked out once for each theme."""
        if not self._styles:
            ground, background = self.visual_style.rich_style, self.background_colors[1]
            for kind in (*_KINDS, "cursor"):
                segments = [Segment(" ", ground + self.get_component_rich_style(f"tab--{kind}"))]
                # What the app does to every line (no colour, say) is done to the looks once.
                for line_filter in self.get_line_filters():
                    segments = line_filter.apply(segments, background)
                self._styles[kind] = segments[0].style or ground
        return self._styles

    def render_lines(self, crop: Region) -> list[Strip]:
        """The lines of `crop`. There is no border and no padding, so nothing is to be kept or added around them."""
        strips = [self.render_line(y) for y in crop.line_range]
        if crop.x or crop.width != self._width:
            return [strip.crop(crop.x, crop.right) for strip in strips]
        return strips

    def _bar(self, number: int) -> Drawn | None:
        key = self.look(number)
        if key is None:
            return None
        found = self._drawn.get(key)
        if found is None:
            found = self._drawn[key] = self._draw(*key)
        return found

    def _draw(self, loop_bar: int, layer: str, kind: str) -> Drawn:
        pattern = self.loop.pattern
        width = self._slot_width
        if kind == COUNT:
            bar = tab_bar((), (), None, pattern.meter, pattern.slots, width)
        else:
            plucks = self.loop.plucks[loop_bar]
            sounding = plucks if kind == MODEL else self.loop.sounding(loop_bar, layer)
            before = self.loop.held[loop_bar - 1].holds[-1].chord if loop_bar else None
            held = self.loop.held[loop_bar]
            name = str(before) if before and len(held.holds) == 1 else ""
            bar = tab_bar(plucks, sounding, held, pattern.meter, pattern.slots, width, chord_before=name)
        styles = self._dress()
        return tuple(tuple((text, styles[kind]) for text, kind in row) for row in bar.rows)

    def render_line(self, y: int) -> Strip:
        """One line of the view."""
        width = self._width
        row = self._plan[y] if y < len(self._plan) else GAP
        styles = self._dress()
        empty = ((" " * width, styles["blank"]),)
        cursor = self.cursor_column if y < len(self._plan) else -1
        if row == GAP or width == 0:
            return _cut([empty], 0, width, cursor, styles["cursor"])
        bar_width = self.bar_width
        if self.still:
            number, skip = self._page, 0
        else:
            start = self._column() - cursor  # the view's left edge, in cells from the bar line
            bars_back = max(0, -(start // bar_width))
            number, skip = self.number - bars_back, start + bars_back * bar_width
        parts = []
        for have in range(-skip, width, bar_width):
            drawn = self._bar(number)
            parts.append(empty if drawn is None else drawn[row])
            if drawn is None and have + bar_width < width:
                parts[-1] = ((" " * bar_width, styles["blank"]),)
            number += 1
        return _cut(parts, skip, width, cursor, styles["cursor"])


def _cut(parts: Iterable[Line], skip: int, width: int, cursor: int, look: Style) -> Strip:
    """`width` cells of the joined `parts` after the first `skip`, with the cursor's line at cell `cursor`.

    Every character here is one cell wide, so cutting text is cutting cells.
    """
    segments: list[Segment] = []
    at = -skip
    for text, style in chain.from_iterable(parts):
        end = at + len(text)
        if end <= 0:
            at = end
            continue
        if at >= width:
            break
        if at < 0 or end > width:
            text = text[max(-at, 0) : width - at]
            at = max(at, 0)
        if at <= cursor < at + len(text):
            here = cursor - at
            char = text[here]
            if here:
                segments.append(Segment(text[:here], style))
            segments.append(Segment(_AT_CURSOR.get(char, char), look))
            text = text[here + 1 :]
        if text:
            segments.append(Segment(text, style))
        at = end
    return Strip(segments, width)

"""The tab under the beat cursor.

Two ways to look at it:

    glide   the cursor stands, the tab moves under it:      ...─0───┃───3───...
    still   the page stands, the cursor moves over it and the page turns one bar early

Bars may differ in length and grid. Each is drawn into styled runs when it first comes into view; a frame cuts and
joins them, and only when the cursor's cell has changed. On a still page two columns are drawn again, in glide all of
it. The cursor is a heavy line, so it shows without colour. Under a song stand its words, each at its beat.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain, groupby
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from coach.picking.realise import HeldBar
from coach.picking.tab import (
    CHORD_ROW,
    COUNT_ROW,
    FINGER_ROW,
    FIRST_STRING_ROW,
    ROWS,
    THUMB_ROW,
    StyledText,
    draw_tab_bar,
)
from coach.session.conductor import Loop
from coach.session.run import COUNT, MODEL, count_in
from coach.song.piece import PieceBar

Line = tuple[tuple[str, Style], ...]
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
    "word",
    "breath",
)
WORD_ROW = ROWS
BREATH = "’"
WIDEST_SLOT = 5
KEPT_BARS = 48  # bars that stay drawn: more than any view shows
MOST_AIR = 2
GAP = -1
_AT_CURSOR = {"─": "╂", " ": "┃", "│": "┃"}


def written_beat(beat: float, share: Fraction) -> float:
    """Where on the written page a sounding beat is: the inverse of `coach.picking.plucks.swung`."""
    if share == Fraction(1, 2):
        return beat
    whole, part, s = int(beat), beat % 1, float(share)
    return whole + (part / s / 2 if part < s else 0.5 + (part - s) / (1 - s) / 2)


def row_plan(height: int, *, words: bool = False) -> tuple[int, ...]:
    """Which row of a drawn bar stands on each line of a view `height` lines tall; GAP for air between strings."""
    air = min(max(height - ROWS - words, 0) // 5, MOST_AIR)
    strings = range(FIRST_STRING_ROW, FIRST_STRING_ROW + 6)
    spread = [row for s in strings for row in (s, *[GAP] * air)]
    plan = (CHORD_ROW, FINGER_ROW, *spread[: len(spread) - air], THUMB_ROW, COUNT_ROW)
    return (*plan, WORD_ROW) if words else plan


def slot_width(width: int, slots: int) -> int:
    """Cells a slot: as wide as lets two bars (three on a wide screen) be seen, 2 to WIDEST_SLOT."""
    bars = 2.1 if width < 110 else 3
    return max(2, min(WIDEST_SLOT, int((width / bars - 1) / slots)))


def piece_bar(
    bar: PieceBar, layer: str, slot_width: int, *, count: Fraction | None = None, chord_before: str = ""
) -> tuple[tuple[StyledText, ...], ...]:
    """A bar of a piece as rows of (text, kind) runs, all of one width: the tab's, and its words.

    What its `layer` leaves out is drawn as thinned away; a pick-up is counted as the end of a whole bar. With `count`
    it is a bar of the count-in, so many beats long. `chord_before` is not named again.
    """
    if count is not None:
        drawn = draw_tab_bar((), (), None, bar.meter, bar.slots, slot_width)
        return _window(drawn.rows, 0, _cells(count, bar, slot_width))
    plucks, sounding, held = bar.plucks, replace(bar, layer=layer).sounding, bar.held
    if bar.offset:
        # Drawn where it stands in a whole bar; then what it leaves out is cut away.
        plucks, sounding = (tuple(replace(p, beat=p.beat + bar.offset) for p in some) for some in (plucks, sounding))
        held = HeldBar(tuple(replace(hold, beat=hold.beat + bar.offset) for hold in held.holds))
    drawn = draw_tab_bar(plucks, sounding, held, bar.meter, bar.slots, slot_width, chord_before=chord_before)
    left, width = _cells(bar.offset, bar, slot_width), _cells(bar.beats, bar, slot_width)
    rows = _window(drawn.rows, left, width)
    return (*rows, word_runs(bar, slot_width, 1 + width)) if bar.words or bar.breaths else rows


def _cells(beats: Fraction, bar: PieceBar, slot_width: int) -> int:
    return round(beats / bar.slot_beats * slot_width)


def _window(rows: Sequence[Sequence[StyledText]], left: int, width: int) -> tuple[tuple[StyledText, ...], ...]:
    """Rows of runs without the `left` cells after their bar line, and no wider than `width` after it."""
    cut = []
    for row in rows:
        cells = [(char, kind) for text, kind in row for char in text]
        cells = [cells[0], *cells[1 + left : 1 + left + width]]
        cells += [(" " if cells[-1][1] == "blank" else cells[-1][0], cells[-1][1])] * (1 + width - len(cells))
        cut.append(_runs(cells))
    return tuple(cut)


def _runs(cells: Sequence[tuple[str, str]]) -> tuple[StyledText, ...]:
    return tuple(("".join(char for char, _ in run), kind) for kind, run in groupby(cells, key=lambda cell: cell[1]))


def word_runs(bar: PieceBar, slot_width: int, width: int) -> tuple[StyledText, ...]:
    """The bar's words and breaths, each at its beat or as soon after it as there is room, within `width` cells."""
    cells = [(" ", "blank")] * width
    for at, text, kind in _placed_words(bar, slot_width):
        at = min(at, width - 1) if kind == "breath" else at
        cells[at : at + len(text)] = [(char, kind) for char in text[: max(width - at, 0)]]
    return _runs(cells[:width])


def _placed_words(bar: PieceBar, slot_width: int) -> list[tuple[int, str, str]]:
    """(cell, text, kind) of words and breaths; one that has no room at its beat is pushed on."""
    found, free = [], 1
    said = [(word.beat, word.text, "word") for word in bar.words] + [(beat, BREATH, "breath") for beat in bar.breaths]
    for beat, text, kind in sorted(said, key=lambda item: item[0]):
        at = max(1 + _cells(beat, bar, slot_width) + (kind == "word"), free)
        found.append((at, text, kind))
        free = at + len(text) + (not text.endswith("-"))
    return found


def wide_enough(bar: PieceBar, least: int) -> int:
    """Cells a slot, `least` or more, so that the bar's words have room; WIDEST_SLOT where no width is enough."""
    for width in range(least, WIDEST_SLOT):
        words = [at + len(text) for at, text, kind in _placed_words(bar, width) if kind == "word"]
        if max(words, default=0) <= 1 + _cells(bar.beats, bar, width):
            return width
    return max(least, WIDEST_SLOT)


@dataclass(frozen=True)
class Drawn:
    """A bar as it is shown: styled rows of one `width`; the rest tells where a beat of it is."""

    rows: tuple[Line, ...]
    width: int
    slot_width: int
    beats: float
    offset: float = 0.0
    share: Fraction = Fraction(1, 2)

    def column(self, beat: float) -> int:
        """The cell of a sounding beat: beat 0 is on the first slot's note, and the bar's end on the next bar's."""
        written = written_beat(beat + self.offset, self.share) - self.offset
        return 2 + int(written / self.beats * self.width)


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
    TabView .tab--word { color: $foreground; text-style: bold; }
    TabView .tab--breath { color: $accent; text-style: bold; }
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
        self._plan: tuple[int, ...] = row_plan(ROWS + loop.worded, words=loop.worded)
        # Kept from the last resize: asking the widget for its size walks up the tree, too slow for every line.
        self._width = self._height = 0

    # Places ------------------------------------------------------------------------------------

    @property
    def cursor_column(self) -> int:
        """Where on the view the cursor is now."""
        if self.still:
            before = sum(self._bar(number).width for number in range(self._page, self.number))
            return before + self._bar(self.number).column(self.beat)
        return max(8, self._width // 4)

    @property
    def bar_width(self) -> int:
        """Cells of the bar under the cursor."""
        return self._bar(self.number).width

    @property
    def slot_cells(self) -> int:
        """Cells of one slot of the bar under the cursor."""
        return self._bar(self.number).slot_width

    def _bars_on_page(self) -> int:
        """Whole bars on a still page, at least one."""
        bars, room = 0, self._width
        while (room := room - self._bar(self._page + bars).width) >= 0:
            bars += 1
        return max(1, bars)

    def _laid(self) -> tuple[list[Drawn], int]:
        """The bars on the view from left to right, and how many cells of the first lie left of it."""
        number, left = self._page, 0
        if not self.still:
            number, left = self.number, self.cursor_column - self._bar(self.number).column(self.beat)
            while left > 0:
                number -= 1
                left -= self._bar(number).width
        bars, end = [], left
        while end < self._width:
            bars.append(self._bar(number))
            end += bars[-1].width
            number += 1
        return bars, -left

    # Moving ------------------------------------------------------------------------------------

    def move(self, number: int, beat: float) -> bool:
        """Put the cursor on `beat` of bar `number`; draws only what changed. True when something was."""
        bar = self._bar(number)
        beat = min(beat, bar.beats - 1e-9)
        cell = (number, bar.column(beat))
        if cell == self._cell:
            return False
        old = self.cursor_column
        self._cell, self.number, self.beat = cell, number, beat
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
        self._plan = row_plan(self._height, words=self.loop.worded)
        self.renew()

    def notify_style_update(self) -> None:
        """Colours changed: what is drawn holds the old ones."""
        self._drawn.clear()
        self._styles.clear()
        super().notify_style_update()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """The rows of tab, without air between the strings."""
        return ROWS + self.loop.worded

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
        laid = self._laid() if self._width else ([], 0)
        strips = [self._strip(y, *laid) for y in crop.line_range]
        if crop.x or crop.width != self._width:
            return [strip.crop(crop.x, crop.right) for strip in strips]
        return strips

    def render_line(self, y: int) -> Strip:
        """One line of the view."""
        return self._strip(y, *self._laid())

    def _bar(self, number: int) -> Drawn:
        key = self.look(number) or (0, "", "")
        found = self._drawn.get(key)
        if found is None:
            while len(self._drawn) >= KEPT_BARS:
                del self._drawn[next(iter(self._drawn))]
            found = self._drawn[key] = self._draw(*key)
        return found

    def _draw(self, loop_bar: int, layer: str, kind: str) -> Drawn:
        """A bar; without a `kind` the empty place of one."""
        bar = self.loop.bar(0 if kind == COUNT else loop_bar)
        slots = wide_enough(bar, slot_width(self._width, bar.slots))
        styles = self._dress()
        if not kind:
            width = 1 + _cells(bar.beats, bar, slots)
            return Drawn(((((" " * width), styles["blank"]),),) * (ROWS + 1), width, slots, float(bar.beats))
        count = count_in(bar)[loop_bar] if kind == COUNT else None
        before = self.loop.bar(loop_bar - 1).held.holds[-1].chord if loop_bar else None
        name = str(before) if before and len(bar.held.holds) == 1 else ""
        full = self.loop.layers[-1]
        runs = piece_bar(bar, full if kind == MODEL else layer or full, slots, count=count, chord_before=name)
        rows = tuple(tuple((text, styles[kind]) for text, kind in row) for row in runs)
        width = sum(len(text) for text, _ in runs[0])
        if len(rows) == ROWS:
            rows = (*rows, ((" " * width, styles["blank"]),))
        if count is not None:
            return Drawn(rows, width, slots, float(count))
        return Drawn(rows, width, slots, float(bar.beats), float(bar.offset), bar.share)

    def _strip(self, y: int, bars: Sequence[Drawn], skip: int) -> Strip:
        width = self._width
        row = self._plan[y] if y < len(self._plan) else GAP
        styles = self._dress()
        cursor = self.cursor_column if y < len(self._plan) else -1
        if row == GAP or width == 0:
            return _cut([((" " * width, styles["blank"]),)], 0, width, cursor, styles["cursor"])
        return _cut([bar.rows[row] for bar in bars], skip, width, cursor, styles["cursor"])


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

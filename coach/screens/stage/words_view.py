"""The words of a song as one sings them: the line of now, large, the syllable of now marked, the next line below it.

    Salt▸on the win-dow,           two lines where there is little room;
    rope on the pier

or in large letters three lines tall, a bar under the syllable of now, a comma where one breathes, the next line large
too where there is room. The mark is a change of colour and weight, and a sign as well: it is seen without colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from coach.picking.tab import StyledText
from coach.screens.shared.tab_view import written_beat
from coach.screens.stage.large_letters import BETWEEN, BREATH_SIGN, HEIGHT, large, large_width
from coach.screens.stage.lyrics import Line, Lyrics, Reading, Syllable, fitted, phrases
from coach.session.conductor import Loop
from coach.session.run import COUNT, BarOrder

SMALL_ROWS, LARGE_ROWS, LARGEST_ROWS = 2, HEIGHT + 2, 2 * HEIGHT + 2
POINTER, BREATH, BAR = "▸", "’", "▀"
BREATHE = "breathe"
_KINDS = ("sung", "now", "word", "mark", "breath", "next")

Rows = tuple[tuple[StyledText, ...], ...]


def words_rows(lyrics: Lyrics, at: Reading, width: int, height: int) -> Rows:
    """The rows of a view `height` rows tall, none wider than `width`: large letters from LARGE_ROWS on, those of the
    next line from LARGEST_ROWS on.
    """
    line = lyrics.lines[at.line]
    told = "" if at.bars == 0 else "in the next bar" if at.bars == 1 else f"in {at.bars} bars"
    if height < LARGE_ROWS:
        rest = f"   {told}" if told else ""
        rows: Rows = (_fit([*_small_row(line, at), (rest, "mark")], width), _next_row(lyrics, at.line, width))
    elif height < LARGEST_ROWS:
        rows = (*_large_rows(line, at, told, width), _next_row(lyrics, at.line, width))
    else:
        after = lyrics.following(at.line)[0]
        rows = (
            *_large_rows(line, at, told, width),
            *(_fit([(" ", "next"), (row, "next")], width) for row in large(after)),
            _next_row(lyrics, at.line + 1, width),
        )
    return rows[:height]


def _next_row(lyrics: Lyrics, line: int, width: int) -> tuple[StyledText, ...]:
    return _fit([(f" then {' / '.join(lyrics.following(line))}", "next")], width)


def _kind(number: int, at: Reading) -> str:
    return "now" if number == at.syllable else "sung" if number < at.syllable else "word"


def _small_row(line: Line, at: Reading) -> list[StyledText]:
    """` Salt▸on the win-dow,`: the pointer takes the cell before the syllable of now, so that nothing moves."""
    runs: list[StyledText] = []
    gap = " "
    for number, syllable in enumerate(line):
        here = number == at.syllable
        runs.append((POINTER, "mark") if here else (gap, _kind(number - 1, at)))
        runs.append((syllable.text, _kind(number, at)))
        gap = "-" if syllable.goes_on else " "
    if line[-1].breath:
        runs.append((BREATH, "breath"))
    return runs


def _large_rows(line: Line, at: Reading, told: str, width: int) -> Rows:
    """Large letters with the bar of now, and what is told, under them."""
    rows: list[list[StyledText]] = [[(" ", "word")] for _ in range(HEIGHT)]
    under: list[StyledText] = [(" ", "mark")]
    for number, syllable in enumerate(line):
        for row, text in zip(rows, large(syllable.written), strict=True):
            row.append((text, _kind(number, at)))
        room, letters = large_width(syllable.written), large_width(syllable.text) - BETWEEN
        sign = BAR * letters if number == at.syllable else ""
        under.append((sign.ljust(room), "mark"))
    if line[-1].breath:
        for row, text in zip(rows, large(BREATH_SIGN), strict=True):
            row.append((text, "breath"))
        if len(line) - at.syllable <= 2:
            under.append((BREATHE, "breath"))
    if told:
        under = [(f" {told}", "mark")]
    return (*(_fit(row, width) for row in rows), _fit(under, width))


def _fit(runs: Sequence[StyledText], width: int) -> tuple[StyledText, ...]:
    """Runs cut to `width` cells."""
    fitting: list[StyledText] = []
    for text, kind in runs:
        if width > 0 and text:
            fitting.append((text[:width], kind))
            width -= len(text)
    return tuple(fitting)


class WordView(Widget):
    """See the module's text. Its height is the style sheet's; it draws large letters where there is room for them."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"words--{kind}" for kind in _KINDS}
    DEFAULT_CSS = """
    WordView { height: 2; width: 1fr; background: $background; color: $foreground; }
    WordView .words--sung { color: $foreground 45%; }
    WordView .words--now { color: $accent; text-style: bold; }
    WordView .words--word { color: $foreground; text-style: bold; }
    WordView .words--mark { color: $accent; text-style: bold; }
    WordView .words--breath { color: $secondary; text-style: bold; }
    WordView .words--next { color: $foreground 65%; }
    """

    def __init__(self, loop: Loop, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._loop = loop
        self._phrases: tuple[Line, ...] = phrases(loop.piece.bars)
        self._starts = [float(bar.start) for bar in loop.piece.bars]
        self._lyrics = Lyrics(self._phrases)
        self._reading = Reading(0)
        self._strips: list[Strip] = []
        self._styles: dict[str, Style] = {}

    @property
    def big(self) -> bool:
        """In large letters."""
        return self.size.height >= LARGE_ROWS

    def follow(self, order: BarOrder, beat: float) -> None:
        """Put the mark on the syllable at `beat` of the bar that sounds; in the count-in it waits before the first."""
        if order.kind == COUNT:
            self.place(-1, -1.0)
            return
        bar = self._loop.bar(order.loop_bar)
        self.place(order.loop_bar, written_beat(beat + float(bar.offset), bar.share) - float(bar.offset))

    def place(self, loop_bar: int, written: float) -> None:
        """The run is on the written beat `written` of a bar of the loop; -1 and less: before its first."""
        beat = self._starts[loop_bar] + written if loop_bar >= 0 else float(loop_bar)
        reading = self._lyrics.at(loop_bar, beat)
        if reading != self._reading:
            self._reading = reading
            self._strips = []
            self.refresh()

    def rows(self) -> Rows:
        """What stands on the view now."""
        return words_rows(self._lyrics, self._reading, self.size.width, self.size.height)

    def on_resize(self) -> None:
        """Lines are broken to the width."""
        # With room for the mark of a breath at the end.
        width = self.size.width - (1 + large_width(BREATH_SIGN) if self.big else 2)
        self._lyrics = Lyrics(fitted(self._phrases, max(width, 10), _large_cells if self.big else _small_cells))
        self._reading = Reading(0)
        self._strips = []
        self.refresh()

    def notify_style_update(self) -> None:
        """Colours changed."""
        self._styles, self._strips = {}, []
        super().notify_style_update()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Two lines, if the style sheet says nothing else."""
        return SMALL_ROWS

    def _dress(self) -> dict[str, Style]:
        if not self._styles:
            ground, background = self.visual_style.rich_style, self.background_colors[1]
            for kind in _KINDS:
                segments = [Segment(" ", ground + self.get_component_rich_style(f"words--{kind}"))]
                for line_filter in self.get_line_filters():
                    segments = line_filter.apply(segments, background)
                self._styles[kind] = segments[0].style or ground
        return self._styles

    def render_lines(self, crop: Region) -> list[Strip]:
        """The lines of `crop`, made when the reading has changed and kept until it changes again."""
        if not self._strips:
            styles, width = self._dress(), self.size.width
            blank = styles["word"]
            rows = [*self.rows(), *[()] * self.size.height][: self.size.height]
            self._strips = [
                Strip([Segment(text, styles[kind]) for text, kind in row]).extend_cell_length(width, blank)
                for row in rows
            ]
        strips = [self._strips[y] for y in crop.line_range]
        if crop.x or crop.width != self.size.width:
            return [strip.crop(crop.x, crop.right) for strip in strips]
        return strips


def _large_cells(syllable: Syllable) -> int:
    return large_width(syllable.written)


def _small_cells(syllable: Syllable) -> int:
    return len(syllable.text) + 1  # a blank or a hyphen

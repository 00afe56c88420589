"""Tab in character cells: a bar of plucks drawn for the stage and for plain text alike.

Six lines, string 1 on top. Fingers are told from the thumb by place: their letters stand above the
lines, the thumb's below, as stems do in written guitar music.

    C                        chord row
      a   m       i          fingers
    |-0-------------         string 1 .. 6: a slot is `width` cells, its note in the second
    |-----1---------
    ...
      p       p              thumb
      1   &   2   &          count

A bar is a value: rows of (text, kind) runs. Who draws it gives each kind its look.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from coach.music.meter import Meter, count_syllables
from coach.picking.plucks import ACCENT, SOFT, Pluck
from coach.picking.realise import HeldBar

# Kinds of run.
LINE, BARLINE, NOTE, THUMB, STRONG, GHOST, GONE = "line", "barline", "note", "thumb", "strong", "ghost", "gone"
CHORD, LETTER, PLETTER, COUNT, OFFCOUNT, BLANK = "chord", "letter", "pletter", "count", "offcount", "blank"

CHORD_ROW, FINGER_ROW, FIRST_STRING_ROW, THUMB_ROW, COUNT_ROW, ROWS = 0, 1, 2, 8, 9, 10
NARROWEST = 2

StyledText = tuple[str, str]


@dataclass(frozen=True)
class TabBar:
    """One drawn bar: ROWS rows of (text, kind) runs, all `width` cells wide; slot k's note is at cell `column(k)`."""

    rows: tuple[tuple[StyledText, ...], ...]
    slot_width: int
    slots: int

    @property
    def width(self) -> int:
        """Cells in the bar, its bar line included."""
        return 1 + self.slots * self.slot_width

    def column(self, slot: float) -> int:
        """The cell of a place in the bar, in slots from the bar line."""
        return 2 + int(slot * self.slot_width)


def string_row(string: int) -> int:
    """The row of a string (6..1)."""
    return FIRST_STRING_ROW + string - 1


class _Grid:
    """Characters with their kinds, being filled."""

    def __init__(self, width: int, line: str) -> None:
        self.width = width
        self.text = [[" "] * width for _ in range(ROWS)]
        self.kind = [[BLANK] * width for _ in range(ROWS)]
        for string in range(1, 7):
            row = string_row(string)
            self.text[row] = [line] * width
            self.kind[row] = [LINE] * width

    def put(self, row: int, column: int, text: str, kind: str) -> None:
        for k, char in enumerate(text):
            if 0 <= column + k < self.width:
                self.text[row][column + k] = char
                self.kind[row][column + k] = kind

    def runs(self) -> tuple[tuple[StyledText, ...], ...]:
        return tuple(
            tuple(
                ("".join(t for t, _ in cells), kind)
                for kind, cells in ((k, list(g)) for k, g in groupby(zip(text, kinds, strict=True), key=lambda c: c[1]))
            )
            for text, kinds in zip(self.text, self.kind, strict=True)
        )


def draw_tab_bar(
    plucks: Sequence[Pluck],
    sounding: Sequence[Pluck],
    held: HeldBar | None,
    meter: Meter,
    slots: int,
    slot_width: int,
    *,
    line: str = "─",
    barline: str = "│",
    chord_before: str = "",
) -> TabBar:
    """Draw one bar.

    plucks     all plucks of the bar; those not in `sounding` are drawn as thinned away
    held       the bar's chords, named where they begin (not again if the bar goes on with `chord_before`)
    slot_width cells a slot, NARROWEST or more
    """
    slot_width = max(slot_width, NARROWEST)
    grid = _Grid(1 + slots * slot_width, line)
    for string in range(1, 7):
        grid.put(string_row(string), 0, barline, BARLINE)
    audible = set(sounding)
    letters: dict[int, str] = {}
    for pluck in plucks:
        slot = int(pluck.beat * slots / meter.beats)
        column = 2 + slot * slot_width
        row = string_row(pluck.string)
        if pluck not in audible:
            grid.put(row, column, "·", GONE)
            continue
        fret = str(pluck.fret)
        kind = THUMB if pluck.finger == "p" else NOTE
        if pluck.stress == SOFT and slot_width > NARROWEST:
            grid.put(row, column - 1, f"({fret})", GHOST)
        else:
            grid.put(row, column, fret, STRONG if pluck.stress == ACCENT and kind == NOTE else kind)
        if pluck.finger == "p":
            grid.put(THUMB_ROW, column, "p", PLETTER)
        else:
            letters[column] = letters.get(column, "") + pluck.finger
    for column, text in letters.items():
        # "ma" in order of string reads as a pinch of two fingers; a narrow slot has room for one letter.
        grid.put(FINGER_ROW, column, text[: max(1, slot_width - 1)], LETTER)
    for slot, word in enumerate(count_syllables(meter, slots)):
        if word != "·" or slot_width > NARROWEST:
            grid.put(COUNT_ROW, 2 + slot * slot_width, word, COUNT if word.isdigit() else OFFCOUNT)
    if held is not None:
        for hold in held.holds:
            name = str(hold.chord) if hold.chord else "N"
            if name != chord_before:
                slot = int(hold.beat * slots / meter.beats)
                grid.put(CHORD_ROW, 2 + slot * slot_width, name, CHORD)
            chord_before = name
    return TabBar(grid.runs(), slot_width, slots)


def row_text(bar: TabBar, row: int) -> str:
    """One row of a bar as plain text."""
    return "".join(text for text, _ in bar.rows[row])


_ROW_NAMES = ("", "", "E ", "B ", "G ", "D ", "A ", "E ", "", "")


def wrap_tab_bars(bars: Sequence[TabBar], width: int, names: Sequence[str] = _ROW_NAMES, barline: str = "|") -> str:
    """Bars wrapped to `width` cells, at least one bar a line; `names` stand before the rows."""
    margin = max(len(n) for n in names)
    systems: list[list[TabBar]] = []
    room = 0
    for bar in bars:
        if not systems or room + bar.width + 1 > width - margin:
            systems.append([])
            room = 0
        systems[-1].append(bar)
        room += bar.width
    lines: list[str] = []
    for system in systems:
        for row in range(ROWS):
            end = barline if FIRST_STRING_ROW <= row < FIRST_STRING_ROW + 6 else ""
            lines.append((names[row].ljust(margin) + "".join(row_text(bar, row) for bar in system) + end).rstrip())
        lines.append("")
    return "\n".join(lines[:-1])

"""Plots in a terminal: the tempo over days with its band, columns for days, the loop with its stumbles, what fades.

Each is a pure function from values to lines of text of one width. Height is told in halves or eighths of a line by
solid blocks, which stay readable from two metres and need no colour; a terminal without them gets plain characters.

    110 ┤                        ╌╌╌╌╌╌╌ target      the line is solid, the band light around it,
     90 ┤ ░░░▄▄▄▀▀▀▀░░░░▄▄▄▄▀▀▀░░                     the target dashed
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from coach.drills.loop_map import LoopMap, Place


@dataclass(frozen=True)
class Glyphs:
    """What is drawn with: nine heights of a column from nothing to full, halves of a line, band, target and so on."""

    heights: str = " ▁▂▃▄▅▆▇█"
    upper: str = "▀"
    lower: str = "▄"
    full: str = "█"
    band: str = "░"
    target: str = "╌"
    tick: str = "┤"
    axis: str = "│"
    bar: str = "│"
    fading: str = "▁"
    none: str = "·"
    mark: str = "▲"


BLOCKS = Glyphs()
PLAIN = Glyphs("  ..::|||", "'", "=", "#", ":", "-", "+", "|", "|", "~", ".", "^")


def glyphs_here() -> Glyphs:
    """Blocks, or plain characters where the terminal's encoding has none."""
    encoding = getattr(sys.__stdout__, "encoding", None) or "utf-8"
    try:
        "".join((BLOCKS.heights, BLOCKS.target, BLOCKS.fading, BLOCKS.mark)).encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return PLAIN if os.environ.get("TERM") in ("dumb", "linux") else BLOCKS


@dataclass(frozen=True)
class Point:
    """A day's steady tempo in bpm and its range."""

    day: date
    bpm: float
    low: float
    high: float


def ticks(low: float, high: float, most: int) -> list[int]:
    """At most `most` round numbers from `low` to `high`, in steps of 1, 2, 5, 10, 20 or 50."""
    for step in (1, 2, 5, 10, 20, 50):
        found = list(range(math.ceil(low / step) * step, math.floor(high) + 1, step))
        if len(found) <= max(most, 1):
            return found
    return [round(high)]


def tempo_plot(
    points: Sequence[Point], target: float, width: int, height: int, glyphs: Glyphs = BLOCKS
) -> tuple[str, ...]:
    """The steady tempo over days with its range and the target; `height` lines, the last of them the dates.

    Days stand where they lie in time. The target's line is named at its right end where there is room.
    """
    rows, columns = max(height - 1, 2), max(width - 6, 8)
    low = min([target, *(p.low for p in points)])
    high = max([target, *(p.high for p in points)])
    low, high = low - 0.04 * (high - low) - 0.5, high + 0.04 * (high - low) + 0.5
    halves = 2 * rows

    def half(bpm: float) -> int:
        return min(max(int((high - bpm) / (high - low) * halves), 0), halves - 1)

    cells = [[" "] * columns for _ in range(rows)]
    for column in range(columns):
        cells[half(target) // 2][column] = glyphs.target
    before: int | None = None
    for column, (bpm, lowest, highest) in enumerate(_spread(points, columns)):
        for row in range(half(highest) // 2, half(lowest) // 2 + 1):
            cells[row][column] = glyphs.band
        here = half(bpm)
        joined = range(min(here, before), max(here, before) + 1) if before is not None else range(here, here + 1)
        # The step up or down is drawn in the new column, without the half the column before has.
        filled = [h for h in joined if h != before or here == before]
        for row in {h // 2 for h in filled}:
            up, down = 2 * row in filled, 2 * row + 1 in filled
            cells[row][column] = glyphs.full if up and down else glyphs.upper if up else glyphs.lower
        before = here
    labels = {half(n) // 2: n for n in ticks(low, high, max(rows // 2, 2))}
    name = " target"
    end = half(target) // 2
    if all(cell in (" ", glyphs.target) for cell in cells[end][-len(name) :]):
        cells[end][-len(name) :] = name
    lines = [
        f"{labels.get(row, ''):>4} {glyphs.tick if row in labels else glyphs.axis}" + "".join(cells[row])
        for row in range(rows)
    ]
    return (*lines, _dates([p.day for p in points], 6, columns))


def _spread(points: Sequence[Point], columns: int) -> list[tuple[float, float, float]]:
    """Tempo, low and high for each column from the first day on, linear between days."""
    if not points:
        return []
    first, last = points[0].day.toordinal(), points[-1].day.toordinal()
    if first == last:
        one = points[-1]
        return [(one.bpm, one.low, one.high)] * min(3, columns)
    found, at = [], 0
    for column in range(columns):
        day = first + (last - first) * column / (columns - 1)
        while at < len(points) - 2 and points[at + 1].day.toordinal() < day:
            at += 1
        a, b = points[at], points[at + 1]
        part = min(max((day - a.day.toordinal()) / (b.day.toordinal() - a.day.toordinal()), 0.0), 1.0)
        found.append(
            (a.bpm + (b.bpm - a.bpm) * part, a.low + (b.low - a.low) * part, a.high + (b.high - a.high) * part)
        )
    return found


def day_words(day: date) -> str:
    """`9 May`."""
    return f"{day.day} {day:%b}"


def _dates(days: Sequence[date], indent: int, columns: int) -> str:
    if not days:
        return " " * (indent + columns)
    left, right = day_words(days[0]), day_words(days[-1])
    if days[0] == days[-1] or len(left) + len(right) + 2 > columns:
        return (" " * indent + left).ljust(indent + columns)[: indent + columns]
    return " " * indent + left + right.rjust(columns - len(left))


def column_plot(
    values: Sequence[float | None],
    days: Sequence[date],
    top: float,
    labels: tuple[str, str],
    width: int,
    height: int,
    glyphs: Glyphs = BLOCKS,
) -> tuple[str, ...]:
    """A column for each value, the latest at the right, as many as there is room for; the last line has the dates.

    `top` is the value of a full column, `labels` what stands at top and bottom (up to 4 cells). A value of None is a
    day without one and stays empty; one above 0 always shows.
    """
    rows, room = max(height - 1, 1), max(width - 6, 2)
    wide = max(1, min(4, room // max(len(values), 1) - 1))
    keep = min(len(values), (room + 1) // (wide + 1))
    shown, kept = list(values)[len(values) - keep :], list(days)[len(days) - keep :]
    parts = len(glyphs.heights) - 1
    lines = []
    for row in range(rows):
        cells = []
        for value in shown:
            eighths = 0 if value is None else round(min(max(value / top, 0.0), 1.0) * rows * parts) if top > 0 else 0
            if value is not None and value > 0:
                eighths = max(eighths, 1)
            below = (rows - 1 - row) * parts
            cells.append(glyphs.heights[min(max(eighths - below, 0), parts)] * wide)
        label = labels[0] if row == 0 else labels[1] if row == rows - 1 else ""
        lines.append(f"{label:>4} {glyphs.axis}{' '.join(cells)}".ljust(6 + room)[: 6 + room])
    used = max(keep * (wide + 1) - 1, 1)
    return (*lines, _dates(kept, 6, used).ljust(6 + room)[: 6 + room])


def loop_plot(
    loop: LoopMap, counts: Mapping[Place, int], gathered: frozenset[Place], width: int, glyphs: Glyphs = BLOCKS
) -> tuple[str, ...]:
    """The loop bar by bar: chords, columns of how many stumbles fell on each beat, the number itself, and a mark.

    As many bars stand in a row as there is room for. The mark stands under the beats where stumbles gather.
    """
    wide = 3 if loop.beats * 3 + 1 <= width else 2
    a_bar = loop.beats * wide + 1
    bars = max(1, min(loop.bars, (width - 1) // a_bar))
    most = max(counts.values(), default=0)
    lines: list[str] = []
    for first in range(0, loop.bars, bars):
        some = range(first, min(first + bars, loop.bars))
        rows = [
            [_cells(loop, bar, lambda place: _height(counts.get(place, 0), most, wide, glyphs)) for bar in some],
            [_cells(loop, bar, lambda place: _number(counts.get(place, 0), wide, glyphs)) for bar in some],
        ]
        under = [_cells(loop, bar, lambda p: (glyphs.mark if p in gathered else "").center(wide)) for bar in some]
        lines.append(" " + " ".join(_chord_line(loop, bar, a_bar - 1) for bar in some))
        lines += [glyphs.bar + glyphs.bar.join(row) + glyphs.bar for row in rows]
        if any(glyphs.mark in cell for cell in under):
            lines.append(" " + " ".join(under))
    return tuple(line.rstrip() for line in lines)


def _cells(loop: LoopMap, bar: int, cell: Callable[[Place], str]) -> str:
    return "".join(cell((bar, beat)) for beat in range(loop.beats))


def _height(count: int, most: int, wide: int, glyphs: Glyphs) -> str:
    parts = len(glyphs.heights) - 1
    part = math.ceil(count / most * parts) if count else 0
    return (glyphs.heights[part] * (wide - 1)).center(wide)


def _number(count: int, wide: int, glyphs: Glyphs) -> str:
    return (str(count) if count else glyphs.none).center(wide)[:wide]


def _chord_line(loop: LoopMap, bar: int, wide: int) -> str:
    cells = [" "] * wide
    step = wide // loop.beats
    free = 0
    for one in (p for p in loop.places if p.bar == bar):
        beat = one.beat
        if (beat == 0 or one.change) and beat * step >= free:
            name = one.change.rpartition(" ")[2] if one.change else one.chord
            cells[beat * step : beat * step + len(name)] = name
            free = beat * step + len(name) + 1
    return "".join(cells)[:wide]


def fade_bar(now: float, later: float, width: int, glyphs: Glyphs = BLOCKS) -> str:
    """Recall as a bar half a line high: solid what is left after a week, low what fades until then, dots the rest."""
    solid = round(min(now, later) * width)
    light = max(round(now * width) - solid, 0)
    return glyphs.lower * solid + glyphs.fading * light + glyphs.none * (width - solid - light)

"""Horizontal spacing of a line of music: its columns as far apart as time asks and as what stands in them needs.

A column is an instant (or a bar line). A cell is something that stands at a column, in a track: two cells of one
track never overlap. Columns are set from left to right, each as near as its cells allow. A line is brought to its
full width by giving time more room, so what had to be pushed apart is evened out first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from coach.paper.pdf.layout import Item

MOST_STRETCH = 1.6
_HALVINGS = 24

Step = tuple[float, float]
"""The distance a column wants from the one before: a fixed part, and one that grows with the line."""


@dataclass(frozen=True)
class Cell:
    """What stands at a column.

    lane     the row it is drawn in; () items only claim room
    tracks   tracks in which nothing else may stand there
    items    drawn around x = 0 and the lane's own zero
    left, right  how far it reaches from its column
    gap      free space it wants before it
    until    a second column: it is drawn midway, and claims nothing
    joins    a syllable that goes on: a hyphen follows
    """

    lane: str
    column: int
    items: tuple[Item, ...]
    tracks: tuple[str, ...]
    left: float
    right: float
    gap: float
    until: int | None = None
    joins: bool = False


def make_cell(
    lane: str, column: int, items: Sequence[Item], tracks: Sequence[str], gap: float, joins: bool = False
) -> Cell:
    """A cell as wide as its items."""
    left = min(i.box.left for i in items)
    right = max(i.box.right for i in items)
    return Cell(lane, column, tuple(items), tuple(tracks), left, right + (4.5 if joins else 0), gap, joins=joins)


def column_positions(steps: Sequence[Step], cells: Sequence[Cell], ease: float = 1.0) -> tuple[float, ...]:
    """x of every column; the last one is the line's right edge, past which nothing reaches.

    `steps[k]` is what column k wants (the first: from the line's left edge); `ease` multiplies what grows of it.
    """
    by_column: list[list[Cell]] = [[] for _ in steps]
    for each in cells:
        if each.until is None:
            by_column[each.column].append(each)
    edges: dict[str, float] = {}
    xs: list[float] = []
    wide = 0.0
    for (fixed, grows), here in zip(steps, by_column, strict=True):
        x = (xs[-1] if xs else 0.0) + fixed + grows * ease
        for each in here:
            x = max(x, -each.left)
            for track in each.tracks:
                x = max(x, edges.get(track, -inf) + each.gap - each.left)
        for each in here:
            for track in each.tracks:
                edges[track] = max(edges.get(track, -inf), x + each.right)
            wide = max(wide, x + each.right)
        xs.append(x)
    # What hangs over the last column (a word longer than its bar) pushes that column out: music ends at the margin.
    return (*xs[:-1], max(xs[-1], wide))


def spread_columns(steps: Sequence[Step], cells: Sequence[Cell], room: float) -> tuple[float, ...]:
    """The columns over `room` points, which is no less than they need: each distance of time as even as can be."""
    low, high = 1.0, 2.0
    while column_positions(steps, cells, high)[-1] < room:
        low, high = high, 2 * high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if column_positions(steps, cells, middle)[-1] < room else (low, middle)
    return column_positions(steps, cells, low)


def break_lines(naturals: Sequence[Sequence[float]], room: float) -> list[int]:
    """Where lines begin so that their bars are spread most evenly; `naturals[i][k]` is the width of bars i to i+k.

    The sum of squared white space is least (after Knuth & Plass 1981, "Breaking paragraphs into lines"); lines that
    begin on every fourth bar are liked better. A bar wider than the room has a line to itself.
    """
    count = len(naturals)
    best = [0.0] + [inf] * count
    before = [0] * (count + 1)
    for start in range(count):
        for k, natural in enumerate(naturals[start]):
            end = start + k + 1
            if natural > room and k:
                break
            loose = max(0.0, 1 - natural / room)
            cost = loose**2 * (0.4 if end == count else 1.0) + 0.02
            cost += 0.0 if end == count or end % 4 == 0 else 0.02 if end % 2 == 0 else 0.04
            cost += 0.2 if end == count and start and not k else 0.0  # one bar left over looks forgotten
            if best[start] + cost < best[end]:
                best[end], before[end] = best[start] + cost, start
    starts = []
    at = count
    while at:
        at = before[at]
        starts.append(at)
    return starts[::-1]

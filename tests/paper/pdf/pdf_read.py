"""Reads a printed tab back from the PDF alone, by where lines and figures stand; knows nothing of how it was made."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import pymupdf

Stroke = tuple[float, float, float]
Figures = tuple[tuple[int, str], ...]
"""What stands in one column: (string, figure), string 1 first."""


@dataclass(frozen=True)
class Run:
    """Characters of one size that touch: a figure, a word."""

    text: str
    left: float
    right: float
    base: float
    size: float


@dataclass(frozen=True)
class Staff:
    """Six lines: their heights, string 1 first; where bar lines cross them, and which of those are thick."""

    lines: tuple[float, ...]
    bars: tuple[float, ...]
    thick: tuple[float, ...]


def runs(page: pymupdf.Page) -> list[Run]:
    """Everything written on the page."""
    texts: list[Run] = []
    for block in page.get_text("rawdict", flags=pymupdf.TEXTFLAGS_RAWDICT & ~pymupdf.TEXT_PRESERVE_IMAGES)["blocks"]:
        for line in block.get("lines", ()):
            for span in line["spans"]:
                for char in span["chars"]:
                    left, _, right, _ = char["bbox"]
                    base, size = char["origin"][1], round(span["size"], 2)
                    last = texts[-1] if texts else None
                    if (
                        last is not None
                        and last.size == size
                        and abs(last.base - base) < 0.1
                        and -0.5 < left - last.right < 1.2
                        and char["c"] != " "
                    ):
                        texts[-1] = Run(last.text + char["c"], last.left, right, base, size)
                    elif char["c"] != " ":
                        texts.append(Run(char["c"], left, right, base, size))
    return texts


def strokes(page: pymupdf.Page) -> tuple[list[Stroke], list[Stroke], list[Stroke]]:
    """Level lines as (y, left, right), upright ones as (x, top, bottom), and thick upright ones."""
    level, upright, thick = [], [], []
    for drawing in page.get_drawings():
        for item in drawing["items"]:
            if item[0] == "l":
                a, b = item[1], item[2]
                if abs(a.y - b.y) < 0.01 and drawing["type"] == "s":
                    level.append((a.y, min(a.x, b.x), max(a.x, b.x)))
                elif abs(a.x - b.x) < 0.01 and drawing["type"] == "s":
                    upright.append((a.x, min(a.y, b.y), max(a.y, b.y)))
            elif item[0] == "re" and item[1].height > 20 and item[1].width < 4:
                thick.append(((item[1].x0 + item[1].x1) / 2, item[1].y0, item[1].y1))
    return level, upright, thick


def staves(page: pymupdf.Page, gap: float = 8.0) -> list[Staff]:
    """The staves of the page from the top: six level lines `gap` points apart, closed by upright ones."""
    level, upright, heavy = strokes(page)
    heights = sorted({round(y, 2) for y, left, right in level})
    staffs = []
    for top in heights:
        lines = [next((y for y in heights if abs(y - top - k * gap) < 0.05), None) for k in range(6)]
        across = [(x, a, b) for x, a, b in upright + heavy if abs(a - top) < 0.6 and abs(b - top - 5 * gap) < 0.6]
        bars = sorted({round(x, 1) for x, _, _ in across})
        if None not in lines and len(bars) > 1:
            thick = tuple(round(x, 1) for x, a, _ in heavy if abs(a - top) < 0.6)
            staffs.append(Staff(tuple(y for y in lines if y is not None), tuple(bars), thick))
    return staffs


def bars_of(page: pymupdf.Page) -> list[list[Figures]]:
    """Every bar of the page in reading order, as its columns of figures."""
    written = runs(page)
    bars: list[list[Figures]] = []
    for staff in staves(page):
        # Lines closer than this are one bar line: a double one, or one with a repeat sign.
        edges = [x for k, x in enumerate(staff.bars) if k == 0 or x - staff.bars[k - 1] > 6]
        figures = []
        for run in written:
            middle = run.base - 0.371 * run.size
            string = next((k + 1 for k, y in enumerate(staff.lines) if abs(y - middle) < 0.6), None)
            if string is not None and 7 < run.size < 10 and run.text.strip("()").isdigit():
                figures.append(((run.left + run.right) / 2, string, run.text))
        for left, right in pairwise(edges):
            columns: dict[float, list[tuple[int, str]]] = {}
            for x, string, text in sorted(figures):
                if left < x < right:
                    place = next((c for c in columns if abs(c - x) < 0.5), x)
                    columns.setdefault(place, []).append((string, text))
            # Between the line's beginning and the sign that a repeat begins there is no bar, only the meter.
            opens = left == edges[0] and any(abs(x - right) < 4 for x in staff.thick) and right != edges[-1]
            if columns or not opens:
                bars.append([tuple(sorted(column)) for _, column in sorted(columns.items())])
    return bars

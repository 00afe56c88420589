"""Shapes drawn upright, small and side by side, as many as the line holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coach.commands.answers import width
from coach.guitar.bass import Bass
from coach.guitar.shape import Shape
from coach.screens.shared.shape_view import FRETS, WIDTH, shape_rows


@dataclass(frozen=True)
class Drawing:
    """A shape with a line over it and a line under it."""

    over: str
    shape: Shape
    bass: Bass | None
    under: str = ""


def side_by_side(drawings: Sequence[Drawing]) -> Iterator[str]:
    """The drawings in rows, a blank line between the rows."""
    wide = max([WIDTH, *(len(text) for d in drawings for text in (d.over, d.under))]) + 2
    across = max(width() // wide, 1)
    for start in range(0, len(drawings), across):
        if start:
            yield ""
        row = drawings[start : start + across]
        frets = max(map(_frets, row))
        columns = [(*shape_rows(d.over, d.shape, d.bass, frets), d.under) for d in row]
        for lines in zip(*columns, strict=True):
            yield "".join(line.ljust(wide) for line in lines).rstrip()


def _frets(drawing: Drawing) -> int:
    """How many frets the picture needs."""
    held = [fret for fret in drawing.shape.frets if fret]
    return max(FRETS, max(held) - min(held) + 1) if held else FRETS

"""What is shipped, read once: patterns, shapes, and every pattern realised on every shape."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

from coach import places
from coach.guitar.bass import Bass, bass_of
from coach.guitar.open_shapes import read_shape_book
from coach.guitar.shape import Shape
from coach.music.chords import Chord, read_bars
from coach.picking.pattern import Pattern
from coach.picking.pattern_library import Library, read_library
from coach.picking.plucks import Pluck
from coach.picking.realise import HeldBar, Hold, hold_bars, realise

FOLDER = places.shipped("patterns")
LIBRARY: Library = read_library(FOLDER, Path("/nowhere"))
PATTERNS = tuple(LIBRARY.patterns.values())
BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")
SHAPES = tuple((Chord.parse(name), shape) for name, shapes in BOOK.open.items() for shape in shapes)


def held(chord: Chord, shape: Shape) -> HeldBar:
    """One bar on one shape."""
    return HeldBar((Hold(Fraction(0), chord, shape, bass_of(shape, chord)),))


@cache
def once_round(pattern: Pattern, chord: Chord, shape: Shape) -> tuple[Pluck, ...]:
    """All bars of the pattern on one shape."""
    return realise(pattern, [held(chord, shape)], loops=len(pattern.bars))


def everything() -> Iterator[tuple[Pattern, Shape, Bass, tuple[Pluck, ...]]]:
    """Every shipped pattern on every shape of the book."""
    for pattern in PATTERNS:
        for chord, shape in SHAPES:
            yield pattern, shape, bass_of(shape, chord), once_round(pattern, chord, shape)


def over(pattern: Pattern, chords: str) -> tuple[Pluck, ...]:
    """The pattern over a progression on the book's usual shapes."""
    return realise(pattern, hold_bars(read_bars(chords), pattern.meter, BOOK))

"""The left-hand shape as it is drawn beside the tab."""

from __future__ import annotations

import pytest

from coach.guitar.bass import bass_of
from coach.guitar.shape import Shape
from coach.music.chords import Chord
from coach.screens.shared.shape_view import FRETS, HEIGHT, WIDTH, shape_rows
from tests.screens.made_pages import BOOK


def rows(name: str, shape: Shape) -> tuple[str, ...]:
    """The picture of a chord's shape."""
    return shape_rows(name, shape, bass_of(shape, Chord.parse(name)))


def test_c_as_everybody_plays_it() -> None:
    """x32010: ring on 5, middle on 4, index on 2; root bass on 5, alternate on 4."""
    assert rows("C", BOOK.open["C"][0]) == (
        "C",
        "x     o   o",
        "╒═╤═╤═╤═╤═╕",
        "│ │ │ │ 1 │",
        "│ │ 2 │ │ │",
        "│ 3 │ │ │ │",
        "│ │ │ │ │ │",
        "  r a",
    )


@pytest.mark.parametrize("chord", sorted(BOOK.open))
def test_every_open_shape_fits_its_place(chord: str) -> None:
    """Each shape of the book: HEIGHT rows of at most WIDTH cells, and every finger that presses is in it."""
    for shape in BOOK.open[chord]:
        drawn = rows(chord, shape)
        assert len(drawn) == HEIGHT
        assert all(len(row) <= WIDTH for row in (*drawn, f"then {chord}"))
        pressed = [f for fret, f in zip(shape.frets, shape.fingers, strict=True) if fret]
        grid = "".join(drawn[3 : 3 + FRETS])
        assert sorted(char for char in grid if char in "1234T") == sorted(pressed)


@pytest.mark.parametrize("quality", sorted(q for q, forms in BOOK.slides.items() if forms))
def test_every_shape_up_the_neck_says_its_fret(quality: str) -> None:
    """Each closed form on every root: where it leaves the first four frets the lowest fret stands beside the grid."""
    for root in ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"):
        chord = Chord.parse(root + quality)
        for shape in BOOK.shapes(chord):
            drawn = rows(str(chord), shape)
            assert len(drawn) == HEIGHT
            assert all(len(row) <= WIDTH for row in drawn)
            pressed = [f for f in shape.frets if f]
            if max(pressed, default=0) > FRETS:
                assert drawn[2].startswith("┌")
                assert drawn[3].endswith(f" {min(pressed)}")
            grid = "".join(row[:11] for row in drawn[3 : 3 + FRETS])
            assert sum(char not in "│ " for char in grid) == len(pressed)


def test_marks_over_the_nut() -> None:
    """x over a muted string, o over an open one, nothing over a pressed one: D is x x o and three fingers."""
    assert rows("D", BOOK.open["D"][0])[1] == "x x o"


def test_the_thumbs_strings_are_named_below() -> None:
    """G: root on 6, alternate on 4, fifth on 5, so `r f a` under strings 6, 5 and 4."""
    assert rows("G", BOOK.open["G"][0])[-1] == "r f a"


def test_without_a_chord_there_is_only_its_name() -> None:
    """N: no picture."""
    assert shape_rows("N", None, None) == ("N", *[""] * (HEIGHT - 1))

"""Left-hand shapes as text."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadShape
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.guitar.tuning import STANDARD
from tests.sentences import is_one_sentence

FRETS = st.one_of(st.none(), st.integers(0, HIGHEST_FRET))
SHAPES = st.tuples(*[FRETS] * 6).filter(lambda f: any(x is not None for x in f)).map(Shape)


@given(SHAPES)
def test_a_shape_reads_back_as_written(shape: Shape) -> None:
    """Six frets, muted strings and frets over 9 survive writing and reading."""
    assert Shape.parse(str(shape)) == shape


@given(SHAPES, st.integers(0, 12))
def test_a_capo_raises_every_sounding_string(shape: Shape, capo: int) -> None:
    """With a capo the same shape sounds that many semitones higher, and what was muted stays muted."""
    for string in range(1, 7):
        plain, raised = shape.midi(string), shape.midi(string, capo=capo)
        assert raised == (None if plain is None else plain + capo)


def test_string_six_comes_first() -> None:
    """x32010: string 6 is muted, string 5 held at 3, string 1 open."""
    shape = Shape.parse("x32010")
    assert [shape.fret(s) for s in (6, 5, 4, 3, 2, 1)] == [None, 3, 2, 0, 1, 0]
    assert shape.sounding == (5, 4, 3, 2, 1)


def test_high_frets_stand_in_brackets() -> None:
    """8(10)(10)988 holds strings 5 and 4 at fret 10 and sounds C from the bottom."""
    shape = Shape.parse("8(10)(10)988")
    assert shape.frets == (8, 10, 10, 9, 8, 8)
    assert (shape.midi(6) or 0) % 12 == 0
    assert shape.midi(5) == STANDARD.open_midi(5) + 10


@pytest.mark.parametrize(
    "text",
    ["", "x3201", "x320100", "x32o10", "xxxxxx", "8(10)(1098", "0(25)0000", "x3 010", "-10000", "8()0000", "ⅹ32010"],
)
def test_bad_shapes_are_refused(text: str) -> None:
    """Too short, too long, silent, past the neck or misspelled: refused in one sentence."""
    with pytest.raises(BadShape) as caught:
        Shape.parse(text)
    assert is_one_sentence(caught.value)

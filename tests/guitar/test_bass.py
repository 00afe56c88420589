"""The strings a shape gives the thumb."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.guitar.bass import THUMB_STRINGS, bass_of
from coach.guitar.shape import Shape
from coach.music.chords import Chord
from tests.guitar.test_shape import SHAPES


# common practice, no source: where teachers of alternating bass send the thumb.
@pytest.mark.parametrize(
    ("chord", "shape", "root", "alternate", "fifth"),
    [
        ("G", "320003", 6, 4, 5),
        ("Em", "022000", 6, 4, 5),
        ("E", "022100", 6, 4, 5),
        ("F", "133211", 6, 4, 5),
        ("C", "x32010", 5, 4, 5),
        ("C", "332010", 5, 4, 6),
        ("Am", "x02210", 5, 4, 5),
        ("Am/E", "002210", 6, 4, 5),
        ("B7", "x21202", 5, 4, 5),
        ("D", "xx0232", 4, 3, 4),
        ("D", "x00232", 4, 3, 5),
        ("F", "xx3211", 4, 3, 4),
        ("G/B", "x20003", 5, 4, 5),
        ("C/G", "332010", 6, 4, 5),
        ("D/F#", "200232", 6, 4, 5),
        ("D/F#", "2x0232", 6, 4, 6),
    ],
)
def test_bass_strings_of_the_trades_shapes(chord: str, shape: str, root: int, alternate: int, fifth: int) -> None:
    """G alternates 6 4 5 4, C 5 4, D 4 3; a second alternate that is muted falls back to the root."""
    bass = bass_of(Shape.parse(shape), Chord.parse(chord))
    assert (bass.r, bass.a, bass.f) == (root, alternate, fifth)


@given(SHAPES, st.sampled_from(["C", "F#m7", "Bb/D", "E7", "Adim"]))
def test_the_thumb_is_only_sent_where_it_sounds(shape: Shape, symbol: str) -> None:
    """Whatever the shape, root, alternate and fifth are strings that sound."""
    bass = bass_of(shape, Chord.parse(symbol))
    assert {bass.r, bass.a, bass.f} <= set(shape.sounding)


@given(SHAPES)
def test_the_thumb_keeps_to_its_own_strings_where_it_can(shape: Shape) -> None:
    """With two of strings 6 to 4 sounding and the root among them, at most string 3 is borrowed."""
    bass = bass_of(shape, None)
    if set(shape.sounding) & set(THUMB_STRINGS):
        assert bass.r in THUMB_STRINGS
    assert bass.a != bass.r or len(shape.sounding) == 1 or not set(shape.sounding) & {3, 4, 5, 6} - {bass.r}


def test_a_role_is_told_from_the_string() -> None:
    """On G string 6 is the root, 4 the alternate, 5 the fifth."""
    bass = bass_of(Shape.parse("320003"), Chord.parse("G"))
    assert [bass.role(s) for s in (6, 4, 5)] == ["r", "a", "f"]
    assert [bass.string(role) for role in "raf"] == [6, 4, 5]

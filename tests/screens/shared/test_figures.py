"""Large figures: read from two metres, in any font, without colour."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.screens.shared.figures import HEIGHT, figure, figure_rows


def test_four_two() -> None:
    """42 as it stands on the stage."""
    assert figure("42").split("\n") == [
        "██  ██  ██████",
        "██  ██      ██",
        "██████  ██████",
        "    ██  ██    ",
        "    ██  ██████",
    ]


@given(st.text("0123456789.- ", min_size=1, max_size=8))
def test_all_rows_are_equally_wide(text: str) -> None:
    """Five rows of one width; a digit takes six cells, a point or blank two, with two between."""
    rows = figure_rows(text)
    assert len(rows) == HEIGHT
    cells = sum(6 if char in "0123456789-" else 2 for char in text) + 2 * (len(text) - 1)
    assert {len(row) for row in rows} == {cells}


def test_no_two_digits_look_alike() -> None:
    """Ten digits, ten pictures."""
    pictures = [figure(digit) for digit in "0123456789"]
    assert len(set(pictures)) == 10


@pytest.mark.parametrize("bpm", [20, 99, 137, 400])
def test_a_tempo_fits_its_place(bpm: int) -> None:
    """Three digits are 22 cells: they fit the 26 that the stage gives them, padding taken off."""
    assert len(figure_rows(str(bpm))[0]) <= 24


def test_what_has_no_figure_is_left_out() -> None:
    """A letter is not drawn at all."""
    assert figure("4x2") == figure("42")

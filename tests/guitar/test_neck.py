"""The neck in millimetres."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.guitar.neck import Neck

SCALES = st.floats(400, 800)


@given(SCALES)
def test_the_twelfth_fret_halves_the_string(scale: float) -> None:
    """Fret 12 at half, fret 24 at three quarters of the string, the nut at nothing."""
    neck = Neck(scale)
    assert neck.fret_mm(0) == pytest.approx(0)
    assert neck.fret_mm(12) == pytest.approx(scale / 2)
    assert neck.fret_mm(24) == pytest.approx(scale * 3 / 4)


@given(SCALES, st.integers(1, 23))
def test_a_finger_stands_between_two_wires(scale: float, fret: int) -> None:
    """Half way from the wire before to its own."""
    neck = Neck(scale)
    assert neck.finger_mm(fret) - neck.fret_mm(fret - 1) == pytest.approx(neck.fret_mm(fret) - neck.finger_mm(fret))
    assert neck.fingers_mm[fret] == neck.finger_mm(fret)


@given(SCALES, st.integers(1, 12), st.integers(1, 8))
def test_frets_lie_closer_up_the_neck(scale: float, low: int, frets: int) -> None:
    """The same stretch in frets is shorter one fret higher, and the same from both ends."""
    neck = Neck(scale)
    assert neck.stretch_mm(low + 1, low + 1 + frets) < neck.stretch_mm(low, low + frets)
    assert neck.stretch_mm(low, low + frets) == neck.stretch_mm(low + frets, low)


@given(SCALES, st.integers(0, 11), st.integers(1, 12))
def test_a_capo_makes_a_shorter_neck(scale: float, capo: int, fret: int) -> None:
    """Fret n above a capo at c is the wire c + n of the whole neck."""
    assert Neck(scale, capo).bridge_mm(fret) == pytest.approx(Neck(scale).bridge_mm(capo + fret))
    assert len(Neck(scale, capo).fingers_mm) == 25 - capo

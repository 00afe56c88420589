"""Where frets lie, held to published tables and figures."""

from __future__ import annotations

import pytest

from coach.guitar.grip import Hand
from coach.guitar.neck import Neck
from coach.guitar.search import find_grips
from coach.music.chords import Chord

# A published fret table for a 635 mm string, bridge to frets 1 to 10 (stuphi.co.uk, wordpress page 18).
PUBLISHED_635 = [599.360, 565.721, 533.969, 504.000, 475.712, 449.013, 423.812, 400.025, 377.573, 356.382]


@pytest.mark.parametrize(("fret", "bridge_mm"), list(enumerate(PUBLISHED_635, start=1)))
def test_the_published_table_of_635_mm(fret: int, bridge_mm: float) -> None:
    """Every fret lies within 0.001 mm of the published distance to the bridge."""
    assert Neck(635).bridge_mm(fret) == pytest.approx(bridge_mm, abs=0.001)


def _by_eighteens(scale: float, fret: int) -> float:
    """The old rule of 18: each fret takes an eighteenth of what is left."""
    return scale * (17 / 18) ** fret


@pytest.mark.parametrize(("fret", "bridge_mm"), list(enumerate(PUBLISHED_635, start=1)))
def test_the_rule_of_18_fails_the_table(fret: int, bridge_mm: float) -> None:
    """It is off by more than 0.3 mm from the first fret on, so the table tells the two apart."""
    assert abs(_by_eighteens(635, fret) - bridge_mm) > 0.3


# M. Koch, Building Electric Guitars: each fret takes 1/17.817 of what is left of the string (exactly 17.817154).
def test_the_constant_of_the_luthiers() -> None:
    """What is left of the string divided by 17.817154 is the way to the next fret."""
    neck = Neck(648)
    for fret in range(24):
        step = neck.fret_mm(fret + 1) - neck.fret_mm(fret)
        assert neck.bridge_mm(fret) / step == pytest.approx(17.817154, abs=1e-6)


# Computed apart from this program for 25.4 and 25.5 inches of string, the nut to frets 1 to 4 and 12.
@pytest.mark.parametrize(
    ("scale", "places"),
    [
        (645.16, {1: 36.210, 2: 70.388, 3: 102.647, 4: 133.096, 5: 161.836, 8: 238.735, 12: 322.580}),
        (647.70, {1: 36.353, 2: 70.665, 3: 103.051, 4: 133.620, 5: 162.473, 12: 323.850}),
    ],
)
def test_two_common_string_lengths(scale: float, places: dict[int, float]) -> None:
    """To the thousandth of a millimetre."""
    for fret, mm in places.items():
        assert Neck(scale).fret_mm(fret) == pytest.approx(mm, abs=0.0006)


@pytest.mark.parametrize(
    ("scale", "wires", "fingers_four", "fingers_three"),
    [(645.16, (96.9, 76.9, 51.3), 99.8, 68.4), (647.70, (97.3, 77.2, 51.5), 100.2, 68.7)],
)
def test_stretches_between_wires_and_fingers(
    scale: float, wires: tuple[float, ...], fingers_four: float, fingers_three: float
) -> None:
    """From wire 1 to 4, 5 to 8, 12 to 15; from finger to finger at frets 1 and 4, 1 and 3 (computed apart)."""
    neck = Neck(scale)
    for low, mm in zip((1, 5, 12), wires, strict=True):
        assert neck.fret_mm(low + 3) - neck.fret_mm(low) == pytest.approx(mm, abs=0.05)
    assert neck.stretch_mm(1, 4) == pytest.approx(fingers_four, abs=0.05)
    assert neck.stretch_mm(1, 3) == pytest.approx(fingers_three, abs=0.05)


@pytest.mark.parametrize(("capo", "share"), [(1, 0.9439), (2, 0.8909)])
def test_a_capo_shrinks_every_stretch(capo: int, share: float) -> None:
    """Each fret of capo by the twelfth root of two (arithmetic)."""
    for low, high in ((1, 4), (2, 3), (5, 9)):
        assert Neck(648, capo).stretch_mm(low, high) / Neck(648).stretch_mm(low, high) == pytest.approx(share, abs=5e-5)


def test_a_hand_of_95_mm_reaches_four_frets_at_the_fifth_but_not_at_the_first() -> None:
    """Frets 1 to 4 are 99.8 mm from finger to finger, 5 to 8 79.2 mm (computed apart for 645.16 mm)."""
    hand = Hand(span_mm=95, scale_mm=645.16)
    assert Neck(645.16).stretch_mm(5, 8) == pytest.approx(79.2, abs=0.05)
    spans = {
        (min(held), max(held))
        for symbol in ("Am7", "C9", "Bb6", "Ebmaj7", "F#m7", "G13", "Cdim7")
        for grip in find_grips(Chord.parse(symbol), hand)
        if (held := [fret for fret in grip.shape.frets if fret])
    }
    assert (1, 4) not in spans
    assert (5, 8) in spans

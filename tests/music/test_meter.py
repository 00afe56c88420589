"""Meters and how they are counted."""

from __future__ import annotations

from fractions import Fraction

import pytest

from coach.errors import BadMusic
from coach.music.meter import METERS, Meter, count_syllables
from tests.sentences import is_one_sentence


@pytest.mark.parametrize(
    ("name", "beats", "quarters"),
    [
        ("2/4", 2, 1),
        ("3/4", 3, 1),
        ("4/4", 4, 1),
        ("5/4", 5, 1),
        ("6/8", 2, "3/2"),
        ("9/8", 3, "3/2"),
        ("12/8", 4, "3/2"),
    ],
)
def test_beats_of_a_bar(name: str, beats: int, quarters: int | str) -> None:
    """4/4 has four quarter beats; 6/8 has two beats, each a dotted quarter."""
    meter = Meter.parse(name)
    assert (meter.beats, meter.quarters_per_beat) == (beats, Fraction(quarters))


@pytest.mark.parametrize("meter", METERS.values(), ids=str)
def test_a_bar_is_as_long_as_its_signature_says(meter: Meter) -> None:
    """Beats times their length is upper over lower of a whole note."""
    assert meter.beats * meter.quarters_per_beat == Fraction(4 * meter.upper, meter.lower)


def test_slots_fall_on_exact_beats() -> None:
    """The fourth of eight slots in 4/4 is the and of two; the second eighth of 6/8 is a third of a beat."""
    assert Meter.parse("4/4").slot_beat(3, 8) == Fraction(3, 2)
    assert Meter.parse("6/8").slot_beat(1, 6) == Fraction(1, 3)


# common practice, no source
@pytest.mark.parametrize(
    ("name", "slots", "said"),
    [
        ("4/4", 4, "1 2 3 4"),
        ("4/4", 8, "1 & 2 & 3 & 4 &"),
        ("4/4", 16, "1 e & a 2 e & a 3 e & a 4 e & a"),
        ("3/4", 6, "1 & 2 & 3 &"),
        ("6/8", 6, "1 2 3 4 5 6"),
        ("6/8", 12, "1 & 2 & 3 & 4 & 5 & 6 &"),
        ("6/8", 2, "1 4"),
        ("2/4", 6, "1 & a 2 & a"),
        ("4/4", 7, "1 · · · · · ·"),
    ],
)
def test_counts(name: str, slots: int, said: str) -> None:
    """Eighths are counted `1 &`, sixteenths `1 e & a`, and 6/8 to six."""
    assert " ".join(count_syllables(Meter.parse(name), slots)) == said


@pytest.mark.parametrize("text", ["", "4", "4/5", "7/8", "0/4", "4/4/4", "four", "4-4"])
def test_unknown_meters_are_refused(text: str) -> None:
    """A meter this style does not use is refused in one sentence that lists those it does."""
    with pytest.raises(BadMusic) as caught:
        Meter.parse(text)
    assert is_one_sentence(caught.value)
    assert "12/8" in str(caught.value)

"""Tunings."""

from __future__ import annotations

import pytest

from coach import places
from coach.errors import BadShape
from coach.guitar.open_shapes import read_tunings
from coach.guitar.tuning import STANDARD, Tuning
from tests.sentences import is_one_sentence

TUNINGS = read_tunings(places.shipped("shared") / "tunings.toml")


# common practice, no source (the names say most of it)
@pytest.mark.parametrize(
    ("name", "midi"),
    [
        ("standard", [40, 45, 50, 55, 59, 64]),
        ("drop-d", [38, 45, 50, 55, 59, 64]),
        ("dadgad", [38, 45, 50, 55, 57, 62]),
        ("open-g", [38, 43, 50, 55, 59, 62]),
        ("half-step-down", [39, 44, 49, 54, 58, 63]),
    ],
)
def test_shipped_tunings(name: str, midi: list[int]) -> None:
    """Every shipped tuning sounds its six pitches, string 6 first."""
    assert [TUNINGS[name].open_midi(s) for s in (6, 5, 4, 3, 2, 1)] == midi


def test_no_tuning_is_untested() -> None:
    """The table above knows every shipped tuning."""
    assert sorted(TUNINGS) == ["dadgad", "drop-d", "half-step-down", "open-g", "standard"]


def test_open_g_is_a_g_chord() -> None:
    """Strummed open, open G sounds G, B and D and nothing else."""
    assert {p.midi % 12 for p in TUNINGS["open-g"].pitches} == {7, 11, 2}


def test_half_a_step_down_is_half_a_step_down() -> None:
    """Each string lies one semitone under standard."""
    lower = TUNINGS["half-step-down"]
    assert {STANDARD.open_midi(s) - lower.open_midi(s) for s in range(1, 7)} == {1}


def test_any_six_pitches_make_a_tuning() -> None:
    """A tuning of the player's own is written as six pitches and reads back as written."""
    own = Tuning.of("C2 G2 C3 G3 C4 E4")
    assert Tuning.of(str(own)).pitches == own.pitches
    assert own.open_midi(6) == 36


@pytest.mark.parametrize("text", ["", "E2 A2 D3 G3 B3", "E2 A2 D3 G3 B3 E4 A4", "E A D G B E", "E2 A2 D3 G3 B3 E400"])
def test_bad_tunings_are_refused(text: str) -> None:
    """Too few, too many, or no octave: refused in one sentence."""
    with pytest.raises(BadShape) as caught:
        Tuning.of(text)
    assert is_one_sentence(caught.value)

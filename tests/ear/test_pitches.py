"""Which pitches begin: octaves, strings that ring on, pinches, tuning."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear import pitches
from coach.ear.pinches import begins
from coach.music.notes import hertz
from tests.ear.played import Room, Struck, recorded

RATE = 44100
CANDIDATES = [40, 45, 48, 50, 52, 55, 60, 64, 67]


def shares(played: list[Struck], at: float) -> dict[int, float]:
    """What part of the new sound at a moment each candidate pitch has."""
    sound = recorded(played, Room(seed=4))
    risen = pitches.rises(sound, RATE, [s.time_s for s in played])
    risen = (risen / pitches.colour(risen)) ** 1.4
    rows = np.einsum(
        "ph,phg->pg", pitches.usual_envelopes(CANDIDATES), pitches.combs(CANDIDATES, [0.0] * len(CANDIDATES))
    )
    weights = pitches.strengths(risen, rows)
    row = [s.time_s for s in played].index(at)
    return dict(zip(CANDIDATES, weights[row, : len(CANDIDATES)] / weights[row].sum(), strict=True))


def test_ringing_strings_are_foretold_by_their_past() -> None:
    """Sixty harmonics of five strings that die away, with a little hiss: a tenth of a second of their future is in an
    eighth of a second of their past, half of it to a quarter of their strength; and without hiss nothing runs away."""
    t = np.arange(2000) / 8820
    chance = np.random.default_rng(2)
    rows = [
        np.sin(2 * np.pi * hertz(midi) * h * t + chance.uniform(0, 6)) / h * np.exp(-t * h / 2)
        for midi in (43, 47, 50, 59, 67)
        for h in range(1, 13)
    ]
    for hiss in (1e-3, 0.0):
        sound = sum(rows) + chance.normal(0, hiss or 1e-12, len(t))
        ahead = sound[1100:1980]
        missing = pitches.foretold(sound[None, :1100], 880, 256)[0] - ahead
        assert np.std(missing) < np.std(ahead)
        if hiss:
            assert np.std(missing[:440]) < 0.25 * np.std(ahead)


def test_a_string_that_rings_on_is_not_new() -> None:
    """C3 rings while G3 is plucked: what is new is G3."""
    found = shares([Struck(0.5, 5, 48), Struck(0.9, 3, 55)], 0.9)
    assert found[55] > 0.5
    assert found[48] < 0.1


@pytest.mark.parametrize(("low", "high"), [(40, 52), (52, 64), (48, 60), (48, 67)])
def test_a_low_note_is_not_taken_for_the_one_in_its_harmonics(low: int, high: int) -> None:
    """All partials of the octave (and the twelfth) are partials of the low note too."""
    before = [Struck(0.5, 3, 55), Struck(0.9, 2, 60)]
    for string, there, other in ((5, low, high), (1, high, low)):
        found = shares([*before, Struck(1.3, string, there)], 1.3)
        assert found[there] > 3 * found[other]


def test_a_pinch_is_two_pitches() -> None:
    """Thumb on A2, ring finger on E4, whose third harmonic is a partial of A2."""
    found = shares([Struck(0.5, 5, 48), Struck(0.9, 5, 45), Struck(0.9, 1, 64)], 0.9)
    assert sorted(found, key=lambda m: -found[m])[:2] in ([45, 64], [64, 45])
    assert min(found[45], found[64]) > 0.1


@pytest.mark.parametrize("cents", [-20, -7, 0, 13, 20])
def test_how_far_a_string_is_out_of_tune_is_learned(cents: int) -> None:
    """To four cents, from eight plucks."""
    played = [Struck(0.5 + 0.5 * k, 3, 57) for k in range(8)]
    risen = pitches.rises(recorded(played, Room(cents={3: cents})), RATE, [s.time_s for s in played])
    risen = (risen / pitches.colour(risen)) ** 1.4
    assert pitches.tuning(risen, 57, pitches.usual_envelopes([57])[0]) == pytest.approx(cents, abs=4)


@pytest.mark.parametrize("apart", [-0.02, -0.012, 0.0, 0.012, 0.02])
def test_the_two_plucks_of_a_pinch_are_placed_one_by_one(apart: float) -> None:
    """Thumb and finger up to 20 ms apart, either first, over a ringing chord: to 4 ms."""
    errors = []
    for k, (low, high) in enumerate([(48, 64), (45, 60), (43, 67), (40, 59)]):
        first, second = 1.3 + max(-apart, 0), 1.3 + max(apart, 0)
        played = [Struck(0.4, 4, 50), Struck(0.8, 3, 55), Struck(first, 6, low), Struck(second, 1, high)]
        told = begins(recorded(played, Room(seed=k)), RATE, 1.3, [hertz(low), hertz(high)])
        errors += [told[0] - first, told[1] - second]
    assert np.median(np.abs(errors)) < 0.0025
    assert np.quantile(np.abs(errors), 0.8) < 0.005

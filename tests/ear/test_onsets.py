"""Onsets: what makes one, what does not, and how exactly it is placed."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ear.onsets import HOP_S, onsets, spectral_flux
from tests.ear.played import Room, Struck, recorded, tone

RATE = 44100


def vibrato(seconds: float = 3.0) -> np.ndarray:
    """A tone of ten harmonics that wavers by 50 cents either way six times a second, begun at 0.5 s."""
    t = np.arange(int(seconds * RATE)) / RATE
    cents = 50 * np.sin(2 * np.pi * 6 * t)
    phase = np.cumsum(440 * 2 ** (cents / 1200)) / RATE * 2 * np.pi
    sound = sum(np.sin(h * phase) / h for h in range(1, 11)) * 0.2
    return np.concatenate([np.zeros(RATE // 2), sound])


def test_a_steady_tone_has_no_flux_after_its_attack() -> None:
    """Bello et al. 2005: flux is change. Under a hundredth of the attack's own, half a second later and on."""
    t = np.arange(2 * RATE) / RATE
    flux = spectral_flux(np.concatenate([np.zeros(RATE // 2), 0.5 * np.sin(2 * np.pi * 330 * t)]), RATE)
    late = flux[round(0.8 / HOP_S) : round(2.3 / HOP_S)]
    assert late.max() < 0.01 * flux.max()


def test_a_click_is_one_onset_where_it_is() -> None:
    """Within one hop of the flux (5 ms), in fact far nearer."""
    sound = np.random.default_rng(1).normal(0, 1e-4, 2 * RATE)
    sound[RATE : RATE + 40] += 0.8
    found = onsets(sound, RATE)
    assert len(found) == 1
    assert abs(found[0].time_s - 1.0) < 0.001


def test_a_wavering_pitch_is_one_onset_with_the_maximum_filter_and_more_without() -> None:
    """Boeck & Widmer 2013: that is what the filter is for."""
    assert len(onsets(vibrato(), RATE, floor=0.05)) == 1
    assert len(onsets(vibrato(), RATE, floor=0.05, widest=1)) > 1


@pytest.mark.parametrize("rate", [8000, 16000, 44100, 48000, 96000])
def test_plucks_over_ringing_strings_are_placed_to_two_milliseconds(rate: int) -> None:
    """Plucks 180 ms apart on four strings, each ringing on; the sample each begins on is known."""
    times = [0.7 + 0.18 * k + 0.004 * (k % 3) for k in range(24)]
    played = [Struck(t, 5 - k % 4, (48, 52, 55, 60)[k % 4]) for k, t in enumerate(times)]
    found = [o.time_s for o in onsets(recorded(played, Room(rate=rate)), rate, floor=0.08)]
    errors = [min((f - t for f in found), key=abs) for t in times]
    assert np.median(np.abs(errors)) < 0.002
    assert sum(abs(e) < 0.025 for e in errors) >= 23


def test_sixteenths_at_120_are_all_found_and_nothing_else() -> None:
    """F of 0.98 or more within 25 ms (Boeck's window, from memory) on clean synthetic plucks."""
    chance = np.random.default_rng(3)
    times = 1.0 + 0.125 * np.arange(64) + chance.normal(0, 0.008, 64)
    played = [
        Struck(float(t), 6 - k % 6, (40, 48, 52, 55, 60, 64)[k % 6], 10 ** (chance.normal(0, 2) / 20))
        for k, t in enumerate(times)
    ]
    found = np.array([o.time_s for o in onsets(recorded(played), RATE)])
    hits = sum(np.abs(found - t).min() < 0.025 for t in times)
    assert 2 * hits / (len(times) + len(found)) >= 0.98


def test_where_the_recording_is_cut_off_nothing_begins() -> None:
    """A string rings to the very last sample."""
    sound = 0.2 * tone(45, 2.0, RATE, np.random.default_rng(1), 5)
    found = onsets(np.concatenate([np.zeros(RATE // 4), sound]), RATE)
    assert [round(o.time_s, 2) for o in found] == [0.25]


def test_the_flux_does_not_depend_on_where_the_blocks_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Frames are worked out by the thousand; by 37 it comes to the same."""
    sound = recorded([Struck(0.3 * k, 3, 55) for k in range(1, 8)])
    whole = spectral_flux(sound, RATE)
    monkeypatch.setattr("coach.ear.onsets._BLOCK", 37)
    assert np.allclose(spectral_flux(sound, RATE), whole, atol=1e-4)


@pytest.mark.parametrize("sound", [np.zeros(RATE), np.zeros(3), np.full(RATE, 0.3)])
def test_silence_has_no_onsets(sound: np.ndarray) -> None:
    """Nor have three samples, nor an offset of the sound card."""
    assert [o for o in onsets(sound, RATE) if o.time_s > 0.05] == []

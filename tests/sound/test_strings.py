"""The plucked-string voice: what it sounds like, said in numbers."""

from __future__ import annotations

import numpy as np
import pytest

from coach.music.notes import hertz
from coach.picking.plucks import ACCENT, PLAIN, SOFT
from coach.sound.strings import LENGTH_S, LEVEL, StringBank, pluck_note
from tests.sound.hands import RATE

OPEN = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}


def level(wave: np.ndarray, start_s: float, length_s: float = 0.1) -> float:
    """RMS in dB of a stretch of a note."""
    part = wave[round(start_s * RATE) : round((start_s + length_s) * RATE)].astype(float)
    return float(10 * np.log10(np.mean(part**2)))


def centre(wave: np.ndarray, start_s: float) -> float:
    """Centre of the spectrum of 0.2 s of a note, in Hz: how bright it is."""
    part = wave[round(start_s * RATE) : round((start_s + 0.2) * RATE)]
    strength = np.abs(np.fft.rfft(part * np.hanning(len(part))))
    return float(np.sum(strength * np.fft.rfftfreq(len(part), 1 / RATE)) / np.sum(strength))


@pytest.mark.parametrize("string", OPEN)
def test_a_string_sounds_at_once_and_dies_away(string: int) -> None:
    """The first sample is already the pluck, each half second is quieter than the last, and the end is silence."""
    wave = pluck_note(OPEN[string], string, PLAIN, RATE)
    assert len(wave) == round(LENGTH_S * RATE)
    assert abs(wave[0]) > 0.2 * LEVEL[PLAIN]
    levels = [level(wave, s) for s in (0.1, 0.6, 1.1, 1.6, 2.1, 2.6)]
    assert levels == sorted(levels, reverse=True)
    assert abs(wave[-1]) < 1e-6


def test_wound_strings_ring_longer_and_darker() -> None:
    """Plucked at the same E4, string 1 open is brighter than string 4 at fret 14; open E2 outrings open E4."""
    assert centre(pluck_note(64, 1, PLAIN, RATE), 0.05) > centre(pluck_note(64, 4, PLAIN, RATE), 0.05)
    low, high = pluck_note(40, 6, PLAIN, RATE), pluck_note(64, 1, PLAIN, RATE)
    assert level(low, 0.1) - level(low, 1.6) + 6 < level(high, 0.1) - level(high, 1.6)


@pytest.mark.parametrize("string", OPEN)
def test_stress_is_louder_and_brighter(string: int) -> None:
    """An accent is louder and brighter than a plain pluck, and that than a soft one; each peaks at its level."""
    waves = [pluck_note(OPEN[string], string, stress, RATE) for stress in (SOFT, PLAIN, ACCENT)]
    peaks = [float(np.max(np.abs(w))) for w in waves]
    assert peaks == pytest.approx([LEVEL[SOFT], LEVEL[PLAIN], LEVEL[ACCENT]], abs=1e-6)
    brightness = [centre(w, 0.0) for w in waves]
    assert brightness == sorted(brightness)


def test_a_note_loses_its_edge_first() -> None:
    """Half a second on, a string sounds darker than when it was plucked."""
    wave = pluck_note(48, 5, PLAIN, RATE)
    assert centre(wave, 0.5) < 0.6 * centre(wave, 0.0)


def test_plucked_a_fifth_from_the_bridge() -> None:
    """Plucked near a fifth of its length, a string has little of its fifth partial: 9 dB under the fourth and more."""
    wave = pluck_note(40, 6, PLAIN, RATE)[: RATE // 2]
    strength = 20 * np.log10(np.abs(np.fft.rfft(wave * np.hanning(len(wave)))))
    at = [strength[round(n * hertz(40) / 2) - 3 : round(n * hertz(40) / 2) + 4].max() for n in range(1, 8)]
    assert at[4] < at[3] - 9


def test_strings_are_evenly_loud() -> None:
    """Over its first half second no open string is more than 4 dB louder than another."""
    levels = [level(pluck_note(midi, string, PLAIN, RATE), 0.0, 0.5) for string, midi in OPEN.items()]
    assert max(levels) - min(levels) < 4


def test_the_same_pluck_always_sounds_the_same() -> None:
    """A note is a value: two banks give the same samples, and another string or stress gives others."""
    first, second = StringBank(RATE).note(52, 4), StringBank(RATE).note(52, 4)
    assert np.array_equal(first, second)
    assert not np.array_equal(first, pluck_note(52, 5, PLAIN, RATE))
    with pytest.raises(ValueError, match="read-only"):
        first[0] = 0.0

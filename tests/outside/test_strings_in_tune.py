"""The guide is in tune: MIDI note numbers in equal temperament at A4 = 440 Hz (ISO 16:1975; MIDI Tuning Standard).

The pitch is measured, not computed: the peak of a long spectrum, with a parabola through the three highest bins of
its logarithm (the usual interpolation of spectral peaks; from memory: J. O. Smith, Spectral Audio Signal Processing).
"""

from __future__ import annotations

import numpy as np
import pytest

from coach.picking.plucks import ACCENT, PLAIN, SOFT
from coach.sound.strings import _TIMBRES, _ring, pluck_note, string_loop

# Open strings 6 to 1: E2 A2 D3 G3 B3 E4 (W3C MusicXML 4.0 tablature tutorial, staff-tuning).
OPEN = {6: 40, 5: 45, 4: 50, 3: 55, 2: 59, 1: 64}


def measured_hertz(wave: np.ndarray, rate: int, near: float) -> float:
    """The frequency of the strongest partial within half a semitone of `near`."""
    size = 1 << 18
    part = wave[round(0.05 * rate) : round(2.05 * rate)].astype(float)
    strength = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    low, high = int(near * 0.97 * size / rate), int(near * 1.03 * size / rate) + 2
    top = low + int(np.argmax(strength[low:high]))
    left, middle, right = np.log(strength[top - 1 : top + 2])
    return float((top + 0.5 * (left - right) / (left - 2 * middle + right)) * rate / size)


def cents(hz: float, midi: int) -> float:
    """How far `hz` is from note `midi`, with the frequency of the standard's own formula."""
    return float(1200 * np.log2(hz / (440.0 * 2.0 ** ((midi - 69) / 12))))


def cents_off(wave: np.ndarray, rate: int, midi: int) -> float:
    """How far a sounding note is from the note it should be."""
    return cents(measured_hertz(wave, rate, 440.0 * 2.0 ** ((midi - 69) / 12)), midi)


def test_the_measure_itself() -> None:
    """A plain sine of 440 Hz is measured as 440 Hz to a hundredth of a cent (else nothing below means anything)."""
    t = np.arange(3 * 48000) / 48000
    assert cents(measured_hertz(np.sin(2 * np.pi * 440.0 * t), 48000, 440.0), 69) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("rate", [44100, 48000])
def test_every_note_within_a_cent(rate: int) -> None:
    """Each note from E2 to E6, on every string that has it within 24 frets, is within 1 cent of equal temperament."""
    off = {}
    for string, lowest in OPEN.items():
        for midi in range(lowest, min(lowest + 24, 88) + 1):
            off[midi, string] = cents_off(pluck_note(midi, string, PLAIN, rate), rate, midi)
    assert {midi for midi, _ in off} == set(range(40, 89))
    assert {key: value for key, value in off.items() if abs(value) > 1.0} == {}


@pytest.mark.parametrize("stress", [SOFT, ACCENT])
def test_stress_does_not_bend(stress: str) -> None:
    """A soft and an accented pluck of each open string are in tune as well."""
    for string, midi in OPEN.items():
        assert abs(cents_off(pluck_note(midi, string, stress, 48000), 48000, midi)) < 1.0


# Cents off for the string without a fractional delay, loop of N samples and the two-point average (half a sample
# more), 44.1 kHz: computed from f0 = rate / (N + 1/2), Jaffe & Smith 1983, Computer Music Journal 7(2):56-69.
UNTUNED = {40: -1.13, 45: 1.77, 50: -0.91, 55: -3.82, 59: 0.82, 64: 3.72}


@pytest.mark.parametrize("midi", UNTUNED)
def test_negative_control_whole_samples_are_out_of_tune(midi: int) -> None:
    """Without the fraction the string is as far out as the published formula says (G3: -3.8 cents), and we see it."""
    hz = 440 * 2 ** ((midi - 69) / 12)
    string = next(s for s, lowest in OPEN.items() if lowest == midi)
    whole, taps = string_loop(hz, _TIMBRES[string], 44100, fraction=False)
    pulse = np.zeros(whole)
    pulse[: whole // 5] = 1.0
    wave = _ring(pulse - pulse.mean(), whole, taps, 3 * 44100)
    assert cents(measured_hertz(wave, 44100, hz), midi) == pytest.approx(UNTUNED[midi], abs=0.1)

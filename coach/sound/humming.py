"""The hummed tone that carries a tune: closed lips, soft attack, exact pitch, never loud.

Five partials that fall off fast, as a hum has most of its strength in the lowest (from memory). They are worked out
from the first by the recurrence of the cosine, sin(k·x) = 2·cos(x)·sin((k-1)·x) - sin((k-2)·x), which costs little.
The pitch stands still: a tone to tune to, not a singer.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from coach.music.notes import hertz

PEAK = 0.13  # the highest sample of a tone: -17.7 dBFS
ATTACK_S = 0.055
RELEASE_S = 0.070  # it dies away in this time after its end, under the next tone's attack
_PARTIALS = (1.0, 0.34, 0.13, 0.05, 0.02)
_SWELL_S = 0.35  # after the attack the tone still opens a little


def hum(midi: int, frames: int, rate: int) -> NDArray[np.float32]:
    """A tone `frames` long and its release after it, as (frames + release,) float32 within ±`PEAK`."""
    release = round(RELEASE_S * rate)
    length = frames + release
    seconds = 1 << max((length - 1) // rate, 0).bit_length()  # few lengths, so that most tones are found ready
    wave = _steady_tone(midi, rate, seconds)[:length].copy()
    rise = min(round(ATTACK_S * rate), frames)
    if rise:
        wave[:rise] *= _half_cosine(rise)
    swell_frames = min(round(_SWELL_S * rate), length)
    wave[:swell_frames] *= _swell(swell_frames)
    wave[frames:] *= _half_cosine(release)[::-1]
    return wave


@lru_cache(maxsize=16)
def _half_cosine(frames: int) -> NDArray[np.float32]:
    """From 0 up to 1 without a corner."""
    return (0.5 - 0.5 * np.cos(np.pi * np.arange(frames) / frames)).astype(np.float32)


@lru_cache(maxsize=16)
def _swell(frames: int) -> NDArray[np.float32]:
    return np.linspace(0.82, 1.0, frames, dtype=np.float32)


@lru_cache(maxsize=32)
def _steady_tone(midi: int, rate: int, seconds: int) -> NDArray[np.float32]:
    """The tone without beginning or end, `seconds` long; shared and read-only."""
    f0 = hertz(midi)
    phase = 2 * np.pi * f0 / rate * np.arange(seconds * rate)
    before, sine, twice = np.zeros_like(phase), np.sin(phase), 2 * np.cos(phase)
    wave = np.zeros_like(phase)
    for number, strength in enumerate(_PARTIALS, start=1):
        if number * f0 < 0.45 * rate:
            wave += strength * sine
        before, sine = sine, twice * sine - before
    wave *= PEAK / np.max(np.abs(wave))
    sound: NDArray[np.float32] = wave.astype(np.float32)
    sound.flags.writeable = False
    return sound

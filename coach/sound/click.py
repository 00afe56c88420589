"""The click: two knocks on wood, the first of the bar higher and a little heavier than the others.

A knock is two damped partials and, in its first two milliseconds, a brush of a third; the second partial stands
about 2.7 times above the first, as in a short free bar of wood (2.756, the free-free bar; from memory). It
starts on a step of nearly half its height, so the very first sample is the onset and can be found to the sample.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from coach.sound.score import BEAT, DOWN

LENGTH_S = 0.028
# Highest sample at full volume: -9.1 and -11.4 dBFS. An accent in the guitar changes neither.
PEAK = {DOWN: 0.35, BEAT: 0.27}
_HERTZ = {DOWN: 1175.0, BEAT: 784.0}
_BAR_RATIO = 2.756


@lru_cache(maxsize=8)
def knock(kind: str, rate: int) -> NDArray[np.float32]:
    """The knock DOWN or BEAT as (frames,) float32; sample 0 is its onset. The array is shared and read-only."""
    t = np.arange(round(LENGTH_S * rate)) / rate
    low, high = _HERTZ[kind], _HERTZ[kind] * _BAR_RATIO
    body = np.cos(2 * np.pi * low * t - 0.9) * np.exp(-t / 0.0048)
    over = 0.42 * np.cos(2 * np.pi * high * t - 0.6) * np.exp(-t / 0.0021)
    brush = 0.18 * np.cos(2 * np.pi * 5300.0 * t - 0.4) * np.exp(-t / 0.0006)
    wave = body + over + brush
    fade = round(0.004 * rate)
    wave[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / (fade - 1))
    wave *= PEAK[kind] / np.max(np.abs(wave))
    sound: NDArray[np.float32] = wave.astype(np.float32)
    sound.flags.writeable = False
    return sound

"""When each pluck of a pinch begins: two onsets a few ms apart, told by the harmonics of both.

What is new in the sound around the pinch is fitted, by least squares, with the harmonics of its pitches, each set of
them silent until its own beginning; the beginnings that leave the least over are taken, one after the other in turn.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from coach.ear.onsets import Floats, Wave, cut_out
from coach.ear.pitches import foretold

APART_S = 0.007
"""Nearer than this two plucks are one event: of what is left, most is the error of this very method."""

_PACE_HZ = 4800
_PAST_S, _ORDER = 0.11, 160
_BEFORE_S, _AFTER_S = 0.028, 0.05
_HIGHEST_HZ, _HARMONICS = 2000.0, 12
_COARSE_S, _FINE_S = 0.003, 0.001
_RIDGE = 1e-3
_BLOCK = 256


def begins(samples: Wave, rate: int, about_s: float, tones: Sequence[float]) -> list[float]:
    """When each of `tones` (Hz, fundamentals) begins near `about_s`."""
    return next(all_begin(samples, rate, [(about_s, tones)]))


def all_begin(samples: Wave, rate: int, instants: Sequence[tuple[float, Sequence[float]]]) -> Iterator[list[float]]:
    """When each tone of each instant begins, as `begins` tells it."""
    step = max(round(rate / _PACE_HZ), 1)
    pace = rate / step
    past, before, after = (round(s * pace) for s in (_PAST_S, _BEFORE_S, _AFTER_S))
    at = (np.arange(before + after) - before) / pace
    for first in range(0, len(instants), _BLOCK):
        block = instants[first : first + _BLOCK]
        pieces = np.array([cut_out(samples, rate, step, about, past + before, after) for about, _ in block])
        new = pieces[:, past:] - foretold(pieces[:, :past], before + after, _ORDER)
        for row, (about, tones) in zip(new, block, strict=True):
            yield [about + start for start in _starts(row, at, tones)]


def _starts(new: Floats, at: Floats, tones: Sequence[float]) -> list[float]:
    waves = [_waves(tone, at) for tone in tones]
    starts = [0.0] * len(tones)
    reach = _BEFORE_S - 0.004
    again = ((reach, _COARSE_S),) if len(tones) > 1 else ()
    for width, grain in ((reach, _COARSE_S), *again, (_COARSE_S, _FINE_S)):
        first = width == reach and len(tones) == 2
        for k in _livelier(new, at, waves, starts, width, grain) if first else range(len(tones)):
            tries = np.arange(-width, width + grain / 2, grain) + (starts[k] if width < reach else 0.0)
            starts[k] = float(tries[np.argmin(_left(new, at, waves, starts, k, tries))])
    return starts


def _waves(tone: float, at: Floats) -> Floats:
    """(2 harmonics, samples): sines and cosines of the harmonics."""
    count = max(min(int(_HIGHEST_HZ / tone), _HARMONICS), 2)
    turned = 2 * np.pi * tone * np.outer(np.arange(1, count + 1), at)
    return np.concatenate([np.sin(turned), np.cos(turned)])


def _livelier(
    new: Floats, at: Floats, waves: Sequence[Floats], starts: Sequence[float], width: float, grain: float
) -> list[int]:
    """The plucks in the order in which moving their beginning helps most."""
    tries = np.arange(-width, width + grain / 2, grain)
    gains = [float(_left(new, at, waves, starts, k, tries).min()) for k in range(len(waves))]
    return list(np.argsort(gains))


def _left(
    new: Floats, at: Floats, waves: Sequence[Floats], starts: Sequence[float], which: int, tries: Floats
) -> Floats:
    """(tries,): the energy that is not explained when the pluck `which` begins at each of `tries`."""
    moved = waves[which] * (at >= tries[:, None])[:, None, :]
    kept = [wave * (at >= start) for k, (wave, start) in enumerate(zip(waves, starts, strict=True)) if k != which]
    fixed = [np.broadcast_to(wave, (len(tries), *wave.shape)) for wave in kept]
    rows = np.concatenate([moved, *fixed], axis=1)
    square = rows @ rows.transpose(0, 2, 1)
    size = square.shape[1]
    square[:, np.arange(size), np.arange(size)] += _RIDGE * len(at)
    seen = rows @ new
    weights = np.linalg.solve(square, seen[..., None])[..., 0]
    left: Floats = new @ new - np.einsum("tk,tk->t", weights, seen)
    return left

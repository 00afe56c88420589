"""Where sounds begin in a recording: found by the flux of its spectrum, then placed by the jump of what is new in it.

Finding: log-filtered spectral flux with a maximum filter over neighbouring bands (Boeck & Widmer 2013, DAFx-13:55-61;
their 5 ms hop, lag of two frames, 24 bands an octave, filter over three bands), so that a wavering pitch makes no
onset; peaks are picked against a moving mean (Bello et al. 2005, IEEE TSAP 13:1035-1047).

Placing: a flux frame sees 46 ms at once, far more than a player's jitter. So the sound before is taken as an
autoregressive process, which predicts strings that ring on; what it cannot foresee jumps where the new one is plucked,
and the likeliest moment for a jump of its variance is the onset (change detection on a residual: Bello et al. 2005,
section III-B).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Wave = NDArray[np.floating]
Floats = NDArray[np.float64]

HOP_S = 0.005
_WINDOW_S = 0.0464  # 1024 frames at 22.05 kHz
_LAG = 2  # frames
_BANDS_PER_OCTAVE = 24
_LOWEST_HZ, _HIGHEST_HZ = 27.5, 16000.0
_BLOCK = 1024  # frames worked out at a stroke: little memory however long the take
_AROUND_S, _MEAN_S, _APART_S = 0.03, 0.1, 0.03
LOUD = 0.25
"""Usual sharpness of the peak picking: a peak stands so far above the moving mean, as a share of a plain pluck's."""

# What counts as nothing at all: -80 dB below full scale.
SILENCE = 1e-4


@dataclass(frozen=True)
class Onset:
    """A sound begins at `time_s` of the recording; `strength` is its flux, 1 for a middling one of the recording."""

    time_s: float
    strength: float


def onsets(samples: Wave, rate: int, *, floor: float = LOUD, widest: int = 3) -> list[Onset]:
    """The onsets of (frames,) mono samples, -1..1, at `rate` Hz from 8000 up, in order.

    `floor` is how far a peak must stand above what is around it, as a share of a middling peak; `widest` the bands of
    the maximum filter (1 is none).
    """
    return picked(samples, rate, spectral_flux(samples, rate, widest=widest), floor)


def picked(samples: Wave, rate: int, flux: Floats, floor: float) -> list[Onset]:
    """The onsets at the peaks of a flux."""
    peaks, middling = _picked(flux, floor)
    return [Onset(placed(samples, rate, k * HOP_S), float(flux[k] / middling)) for k in peaks]


def spectral_flux(samples: Wave, rate: int, *, widest: int = 3) -> Floats:
    """The flux at every multiple of `HOP_S` seconds: how much louder the bands got (log scale, summed; 0 is none)."""
    loudest = _level(samples)
    flux = np.zeros(int(len(samples) / (rate * HOP_S)) + 1)
    if loudest < SILENCE:
        return flux
    before: Floats | None = None
    at = 0
    for bands in _band_blocks(samples, rate, 1.0 / loudest):
        whole = bands if before is None else np.concatenate([before, bands])
        rise = np.maximum(whole[_LAG:] - _widened(whole[:-_LAG], widest), 0.0).sum(axis=1)
        first = at - (0 if before is None else _LAG) + _LAG
        flux[first : first + len(rise)] = rise
        at += len(bands)
        before = whole[-_LAG:]
    return flux


def _level(samples: Wave) -> float:
    """A robust peak: the loudest of most tenths of a second, so that one knock on the table does not count."""
    size = max(len(samples) // 4000, 64)
    pieces = len(samples) // size
    if not pieces:
        return 0.0
    rows = samples[: pieces * size].reshape(pieces, size)
    peaks = np.maximum(rows.max(axis=1), -rows.min(axis=1))  # without a second recording in hand
    return float(np.quantile(peaks, 0.95))


def _band_blocks(samples: Wave, rate: int, gain: float) -> Iterator[Floats]:
    """Log-compressed bands of the frames whose middles are the multiples of the hop, in blocks (frames, bands)."""
    size = 1 << round(float(np.log2(_WINDOW_S * rate)))
    window = np.hanning(size + 1)[:-1].astype(np.float32) * np.float32(gain)
    filters = _filters(size, rate)
    count = int(len(samples) / (rate * HOP_S)) + 1
    for begin in range(0, count, _BLOCK):
        middles = np.rint(np.arange(begin, min(begin + _BLOCK, count)) * (rate * HOP_S)).astype(np.int64)
        first, last = int(middles[0]) - size // 2, int(middles[-1]) + size // 2
        piece = samples[max(first, 0) : min(last, len(samples))].astype(np.float32)
        piece = np.pad(piece, (max(-first, 0), max(last - len(samples), 0)))
        frames = np.lib.stride_tricks.sliding_window_view(piece, size)[middles - size // 2 - first]
        magnitudes = np.abs(np.fft.rfft(frames * window, axis=1)).astype(np.float32)
        yield np.log10(1.0 + magnitudes[:, : len(filters)] @ filters)


def _filters(size: int, rate: int) -> NDArray[np.float32]:
    """(bins, bands): overlapping triangles, 24 an octave; where bins are wider than bands, one band a bin."""
    octaves = np.log2(min(_HIGHEST_HZ, rate / 2) / _LOWEST_HZ)
    hertz = _LOWEST_HZ * 2 ** (np.arange(int(octaves * _BANDS_PER_OCTAVE) + 1) / _BANDS_PER_OCTAVE)
    corners = np.unique(np.rint(hertz * size / rate).astype(int))
    corners = corners[(corners > 0) & (corners <= size // 2)]
    filters = np.zeros((size // 2 + 1, len(corners) - 2), np.float32)
    for band, (low, middle, high) in enumerate(zip(corners, corners[1:], corners[2:], strict=False)):
        filters[low : middle + 1, band] = np.linspace(0, 1, middle - low + 1)
        filters[middle : high + 1, band] = np.linspace(1, 0, high - middle + 1)
    return filters


def _widened(bands: Floats, widest: int) -> Floats:
    """Each band at the loudest of its neighbours: a pitch that wavers into the next one is no rise."""
    if widest <= 1:
        return bands
    reach = widest // 2
    padded = np.pad(bands, ((0, 0), (reach, reach)), mode="edge")
    wide: Floats = np.max([padded[:, k : k + bands.shape[1]] for k in range(2 * reach + 1)], axis=0)
    return wide


def _picked(flux: Floats, floor: float) -> tuple[list[int], float]:
    """(frames of the peaks, flux of a middling one)."""
    around, mean = round(_AROUND_S / HOP_S), round(_MEAN_S / HOP_S)
    padded = np.pad(flux, around)
    local = np.max([padded[k : k + len(flux)] for k in range(2 * around + 1)], axis=0)
    summed = np.concatenate([[0.0], np.cumsum(flux)])
    places = np.arange(len(flux))
    low, high = np.maximum(places - mean, 0), np.minimum(places + mean + 1, len(flux))
    above = flux - (summed[high] - summed[low]) / (high - low)
    tops = np.flatnonzero((flux >= local) & (flux > 0))
    if not len(tops):
        return [], 1.0
    # A middling peak: of those that stand out at all, so that hiss between the plucks does not count.
    outstanding = flux[tops][flux[tops] > 0.2 * np.quantile(flux[tops], 0.98)]
    middling = float(np.median(outstanding))
    # The last frames see the recording cut off, which is no onset.
    tops = tops[tops < len(flux) - _WINDOW_S / 2 / HOP_S - 1]
    peaks: list[int] = []
    for k in tops[above[tops] > floor * middling]:
        if not peaks or (k - peaks[-1]) * HOP_S > _APART_S:
            peaks.append(int(k))
    return peaks, middling


# placing ------------------------------------------------------------------------------------------

_PAST_S = 0.095  # before the flux peak: from here on the prediction is learned
_ASK_S = (0.014, 0.020)  # before and after it: where the jump is looked for
_BEFORE_S, _AFTER_S = 0.010, 0.005  # the levels that are compared on both sides of a jump
_PLACING_HZ = 22000
_ORDER = 32


def placed(samples: Wave, rate: int, about_s: float) -> float:
    """The onset near `about_s` seconds to a fraction of a millisecond where the attack is that sharp."""
    step = max(round(rate / _PLACING_HZ), 1)
    pace = rate / step
    middle = round(about_s * rate)
    begin = max(middle - round(_PAST_S * rate), 0)
    end = middle + round((_ASK_S[1] + _AFTER_S) * rate)
    piece = thinner(np.asarray(samples[begin:end], dtype=np.float64), step)
    before, after = round(_BEFORE_S * pace), round(_AFTER_S * pace)
    split = max(round((about_s - begin / rate - _ASK_S[0] - _BEFORE_S) * pace), 0)
    power = _unforeseen(piece, split)[split:] ** 2
    if len(power) < before + after + 2 or not power.any():
        return about_s
    return begin / rate + (split + _jump(power + 1e-6 * float(power.max()), before, after)) / pace


def cut_out(samples: Wave, rate: int, step: int, time_s: float, before: int, after: int) -> Floats:
    """`before` and `after` samples around `time_s`, of every `step`-th; beyond the recording there is silence."""
    first = round(time_s * rate) - before * step
    reach = 4 * step
    low, high = first - reach, first + (before + after) * step + reach
    piece = np.asarray(samples[max(low, 0) : max(min(high, len(samples)), 0)], dtype=np.float64)
    piece = np.pad(piece, (min(max(-low, 0), high - low), max(high - max(len(samples), low), 0)))[: high - low]
    return thinner(piece, step)[reach // step : reach // step + before + after]


def thinner(piece: Floats, step: int) -> Floats:
    """Every `step`-th sample after a low-pass (windowed sinc); the first sample stays the first."""
    if step == 1:
        return piece
    taps = np.arange(-4 * step, 4 * step + 1)
    kernel = np.sinc(0.9 * taps / step) * np.hanning(len(taps) + 2)[1:-1]
    if len(piece) < len(kernel):
        return piece[::step]
    thin: Floats = np.convolve(piece, kernel / kernel.sum(), mode="same")[::step]
    return thin


def _unforeseen(piece: Floats, learned: int) -> Floats:
    """`piece` less what its past foretells, by the autoregression that fits its first `learned` samples best."""
    past = piece[:learned]
    if learned < 4 * _ORDER or not past.any():
        return np.diff(piece, prepend=piece[:1])
    rows = np.ascontiguousarray(np.lib.stride_tricks.sliding_window_view(past[:-1], _ORDER))
    square = rows.T @ rows
    square[np.diag_indices(_ORDER)] *= 1.0 + 1e-6
    square[np.diag_indices(_ORDER)] += 1e-12
    taps = np.linalg.solve(square, rows.T @ past[_ORDER:])[::-1]
    foreseen = np.convolve(piece, np.concatenate([[0.0], taps]))[: len(piece)]
    residual: Floats = piece - foreseen
    residual[:_ORDER] = 0.0
    return residual


def _jump(power: Floats, before: int, after: int) -> int:
    """The index at which a row's level most likely jumps up: as Gaussians of two variances, `before` and `after` it."""
    summed = np.concatenate([[0.0], np.cumsum(power)])
    at = np.arange(before, len(power) - after)
    low = (summed[at] - summed[at - before]) / before
    high = (summed[at + after] - summed[at]) / after
    both = (before * low + after * high) / (before + after)
    gain = (before + after) * np.log(both) - before * np.log(low) - after * np.log(high)
    gain[high <= low] = 0.0
    # A knock shorter than the second level is all in it for a while: the last moment is its beginning.
    return int(at[np.flatnonzero(gain >= 0.98 * gain.max())[-1]])

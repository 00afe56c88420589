"""Which pitches begin at a moment: what is new in the spectrum, explained by the harmonics of the likely strings.

What sounded before is carried on by its own autoregression, as strings ring on; what then differs in the tenth of a
second after the moment belongs to what was plucked now. That is explained as a sum of harmonic patterns, one for each
pitch that may come, and of smooth noise bumps for knocks, clicks and speech (non-negative matrix factorisation with
the patterns given: Lee & Seung 2001, NIPS 13, the divergence's multiplicative rule; for music Smaragdis & Brown 2003,
WASPAA). Explaining all at once is what keeps octaves and shared harmonics apart: a note that is only the upper
half of a lower one's harmonics gets nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coach.ear.onsets import Floats, Wave, cut_out
from coach.music.notes import hertz

LOOK_S = 0.1
_SKEW = 0.6  # the window leans forward: a prediction is best at first
_PAST_S = 0.12
_GUARD_S = 0.003
_LOOKING_HZ = 9000
_ORDER = 256
_PRECISION = 1e-5
_BLOCK = 256  # times worked out at a stroke
_LOWEST_HZ, _LINEAR_HZ, _HIGHEST_HZ = 70.0, 500.0, 4200.0
_HARMONICS = 16
_STIFF = 5e-5  # h-th partial at h f0 sqrt(1 + B h^2); of guitar strings B is of this order (from memory)
_OUT_CENTS = 10.0  # how far a string may be off besides what was found
_BUMPS = 9
_ROUNDS = 120


def grid() -> Floats:
    """The frequencies that are looked at: every 5 Hz below 500, then 1 % apart."""
    linear = np.arange(_LOWEST_HZ, _LINEAR_HZ, 5.0)
    count = int(np.log(_HIGHEST_HZ / _LINEAR_HZ) / np.log(1.01))
    return np.concatenate([linear, _LINEAR_HZ * 1.01 ** np.arange(count)])


def rises(samples: Wave, rate: int, times: Sequence[float]) -> Floats:
    """(times, grid): how much of each frequency is new just after each time; never negative."""
    step = max(round(rate / _LOOKING_HZ), 1)
    pace = rate / step
    look, guard, past = round(LOOK_S * pace), max(round(_GUARD_S * pace), 1), round(_PAST_S * pace)
    rising = (np.arange(look) + 0.5) / look
    window = np.sin(np.pi * rising**_SKEW) ** 2
    window /= window.sum()
    padded = 1 << int(np.ceil(np.log2(4 * look)))
    places = grid()
    low = np.minimum((places * padded / pace).astype(int), padded // 2 - 1)
    share = places * padded / pace - low
    out = np.zeros((len(times), len(places)))
    for begin in range(0, len(times), _BLOCK):
        block = times[begin : begin + _BLOCK]
        pieces = np.array([cut_out(samples, rate, step, time, past + guard, guard + look) for time in block])
        before, after = pieces[:, :past], pieces[:, -look:]
        new = after - foretold(before, 2 * guard + look, _ORDER)[:, 2 * guard :]
        spectra = [np.abs(np.fft.rfft(rows * window, padded, axis=1)) for rows in (new, after)]
        # A string that was stopped is foretold and does not come: no more is new than there is.
        least = np.minimum(*spectra)
        out[begin : begin + len(block)] = least[:, low] * (1 - share) + least[:, low + 1] * share
    out[:, places >= 0.45 * pace] = 0.0
    return out


def foretold(past: Floats, count: int, order: int) -> NDArray[np.float32]:
    """(rows, count): how each row of `past` would go on by itself, by its autoregression of `order`.

    Burg's way of finding it (Burg 1967; Kay & Marple 1981, Proc. IEEE 69:1380-1419), which is always stable and needs
    little sound to tell many partials from one another. All rows are worked out together.
    """
    forward = past.astype(np.float32)
    backward = forward.copy()
    rows, length = past.shape
    order = min(order, length // 2)
    taps = np.zeros((rows, order + 1), np.float32)
    taps[:, 0] = 1.0
    # Below this, what is left is the error of single precision, and a prediction built on it would run away.
    least = _PRECISION * np.einsum("ij,ij->i", forward, forward) + 1e-12
    for k in range(order):
        ahead, behind = forward[:, k + 1 :], backward[:, k:-1]
        both = np.einsum("ij,ij->i", ahead, ahead) + np.einsum("ij,ij->i", behind, behind)
        turn = (-2.0 * np.einsum("ij,ij->i", ahead, behind) / (both + least))[:, None]
        ahead, behind = ahead + turn * behind, behind + turn * ahead
        forward[:, k + 1 :], backward[:, k + 1 :] = ahead, behind
        taps[:, 1 : k + 2] += turn * taps[:, k::-1]
    row = np.concatenate([past.astype(np.float32), np.zeros((rows, count), np.float32)], axis=1)
    weights = -taps[:, :0:-1]
    for t in range(length, length + count):
        row[:, t] = np.einsum("ij,ij->i", row[:, t - order : t], weights)
    return row[:, length:]


def combs(midis: Sequence[int], cents: Sequence[float], out_cents: float = _OUT_CENTS) -> Floats:
    """(pitches, harmonics, grid): how each harmonic of each pitch looks through the window; each row sums to 1.

    cents: by how much each pitch is out of tune; out_cents: what it may be off besides.
    """
    places = grid()
    numbers = np.arange(1, _HARMONICS + 1)
    f0 = np.array([hertz(m) * 2 ** (c / 1200) for m, c in zip(midis, cents, strict=True)])
    middles = (f0[:, None] * numbers * np.sqrt(1 + _STIFF * numbers**2))[..., None]
    # The main lobe of the window as a bell of its width, blurred by what the tuning may be off.
    wide = np.hypot(0.72 / LOOK_S, middles * out_cents * np.log(2) / 1200)
    bells = np.exp(-0.5 * ((places - middles) / wide) ** 2) * (middles < _HIGHEST_HZ)
    whole: Floats = bells / np.maximum(bells.sum(axis=2, keepdims=True), 1e-9) * (middles < _HIGHEST_HZ)
    return whole


def usual_envelopes(midis: Sequence[int]) -> Floats:
    """(pitches, harmonics): the strength of each harmonic once the colour of the take is out; each row sums to 1."""
    numbers = np.arange(1, _HARMONICS + 1)
    f0 = np.array([hertz(m) for m in midis])[:, None]
    rows = numbers**-0.5 * (f0 * numbers < _HIGHEST_HZ)
    # A bell is the wider on the uneven grid the denser that is; what counts is how much of the grid it fills.
    rows = rows * np.minimum(np.maximum(f0 * numbers, _LINEAR_HZ) / _LINEAR_HZ, 8.0) ** -0.5
    even: Floats = rows / rows.sum(axis=1, keepdims=True)
    return even


def _bumps() -> Floats:
    """(bumps, grid): smooth, wide, overlapping; no row of harmonics looks like them."""
    places = np.log(grid())
    middles = np.linspace(places[0], places[-1], _BUMPS)
    wide = middles[1] - middles[0]
    rows = np.maximum(1 - np.abs(places - middles[:, None]) / wide, 0.0)
    whole: Floats = rows / rows.sum(axis=1, keepdims=True)
    return whole


def colour(risen: Floats) -> Floats:
    """(grid,): the colour of instrument, room and microphone: the usual rise of each frequency over the take, smoothly.
    Rises are divided by it."""
    usual = risen.mean(axis=0)
    kernel = np.hanning(33)
    smooth = np.convolve(np.pad(usual, 16, mode="edge"), kernel / kernel.sum(), mode="valid")
    found: Floats = smooth + 0.02 * smooth.max() + 1e-12
    return found


def strengths(risen: Floats, rows: Floats, allowed: Floats | None = None, rounds: int = _ROUNDS) -> Floats:
    """(times, pitches + bumps): how much of each time's rise each row of harmonics, then each bump of noise, explains.

    allowed: (times, pitches), zero where a pitch cannot be.
    """
    table = np.concatenate([rows, _bumps()])
    weights: Floats = np.ones((len(risen), len(table))) * (risen.sum(axis=1, keepdims=True) / len(table) + 1e-9)
    if allowed is not None:
        weights[:, : len(rows)] *= allowed
    total = table.sum(axis=1)
    for begin in range(0, len(risen), _BLOCK):
        seen, mine = risen[begin : begin + _BLOCK], weights[begin : begin + _BLOCK]
        for _ in range(rounds):
            mine *= (seen / (mine @ table + 1e-9)) @ table.T / total
            np.maximum(mine, 1e-30, out=mine)  # numbers below the smallest normal one are slow
    return weights


def learned_envelopes(risen: Floats, comb: Floats, envelopes: Floats, allowed: Floats, trust: float) -> Floats:
    """The harmonics' strengths as the take itself has them, where it is known which pitches may be at each time.

    Each pitch keeps to the envelope it came with as if that had been heard `trust` times.
    """
    learned = envelopes
    for _ in range(8):
        rows = np.einsum("ph,phg->pg", learned, comb)
        weights = strengths(risen, rows, allowed, rounds=15)
        table = np.concatenate([rows, _bumps()])
        asked = np.zeros(rows.shape)
        for begin in range(0, len(risen), _BLOCK):
            mine = weights[begin : begin + _BLOCK]
            asked += mine[:, : len(rows)].T @ (risen[begin : begin + _BLOCK] / (mine @ table + 1e-9))
        counted: Floats = learned * np.einsum("pg,phg->ph", asked, comb)
        middling = weights[:, : len(rows)].sum() / np.maximum(allowed.sum(), 1.0)
        learned = counted + trust * middling * envelopes
        learned = np.asarray(learned / learned.sum(axis=1, keepdims=True))
    return learned


def tuning(risen: Floats, midi: int, envelope: Floats) -> float:
    """By how many cents the notes of one pitch are out, from rises (times, grid) where it was plucked."""
    usual = risen.mean(axis=0)
    tries = np.arange(-40.0, 41.0, 4.0)
    bells = combs([midi] * len(tries), list(tries), 4.0)
    fits = np.einsum("h,thg,g->t", envelope, bells, usual)
    k = int(np.argmax(fits))
    if 0 < k < len(tries) - 1:
        left, middle, right = fits[k - 1 : k + 2]
        bend = left - 2 * middle + right
        return float(tries[k] + (4.0 * 0.5 * (left - right) / bend if bend < 0 else 0.0))
    return float(tries[k])

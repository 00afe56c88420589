"""The plucked-string voice: a travelling wave on a string, damped as it goes round, heard through a small wooden box.

The loop is the extended plucked-string algorithm (Karplus & Strong 1983; Jaffe & Smith 1983, Computer Music
Journal 7(2)): what comes out is what came out one period ago, a little quieter and duller,

    y[t] = x[t] + Σ h[k] · y[t - N - k]

h holds two things: the damping (three symmetric taps) and a fractional delay (Lagrange, third order), whose
fraction is solved so that the whole loop has the phase delay rate / f0 at the fundamental, whence the tuning.
Applied m times in a row, h becomes h*h*...*h at a distance of m·N; so numpy can work out several periods at a stroke.

x is one period of the force of an ideally plucked string on the bridge (a pulse as wide as the plucking point is
far from the bridge) with a little noise of the fingertip, then sent through the box (three of its modes). String and
box are linear, so the box may as well come first, where it costs nothing (commuted synthesis, Smith 1993; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from coach.music.notes import hertz
from coach.picking.plucks import ACCENT, PLAIN, SOFT

LENGTH_S = 3.5
_FADE_S = 0.4
_BLOCK = 512  # frames worked out at a stroke, about

Wave = NDArray[np.float64]


@dataclass(frozen=True)
class _Timbre:
    """One string's sound: its open pitch, how long it rings, how fast its edge goes, how bright it is plucked."""

    open_midi: int
    ring_s: float  # until the fundamental is 60 dB down, open
    spread: int  # damping taps at -spread, 0, +spread samples (at 48 kHz): wide is dull
    dulling: float  # share of the outer taps
    edge_hz: float  # where a plain pluck has lost half its partials' strength
    noise: float


# Strings 6 to 4 are wound: darker and longer. 3 to 1 are plain.
_TIMBRES = {
    6: _Timbre(40, 7.5, 3, 0.115, 1500.0, 0.10),
    5: _Timbre(45, 7.0, 3, 0.095, 1700.0, 0.09),
    4: _Timbre(50, 6.2, 3, 0.075, 1950.0, 0.08),
    3: _Timbre(55, 5.0, 2, 0.105, 2400.0, 0.07),
    2: _Timbre(59, 4.4, 2, 0.085, 2900.0, 0.06),
    1: _Timbre(64, 3.8, 2, 0.065, 3300.0, 0.06),
}
LEVEL = {SOFT: 0.105, PLAIN: 0.18, ACCENT: 0.26}  # the highest sample of a note
_BRIGHTNESS = {SOFT: 0.6, PLAIN: 1.0, ACCENT: 1.55}
_PLUCKED_AT = 0.19  # of the open string, from the bridge
# The box: Hz, ring in s, strength. Air, top, and a cluster above (typical of a steel-string guitar; from memory).
_BOX = ((102.0, 0.030, 0.0016), (196.0, 0.020, 0.0028), (390.0, 0.010, 0.0035))
_BOX_S = 0.06


def pluck_note(midi: int, string: int, stress: str, rate: int) -> NDArray[np.float32]:
    """The note `midi` plucked on `string` (6..1) as (frames,) float32 of `LENGTH_S`, peak `LEVEL[stress]`.

    Always the same for the same arguments. In tune to less than a cent from E2 to E6 at the usual rates.
    """
    f0 = hertz(midi)
    timbre = _TIMBRES[string]
    whole, taps = string_loop(f0, timbre, rate)
    struck = _filter_by_box(_pluck(f0, midi, string, stress, rate), rate)
    wave = _ring(struck, whole, taps, round(LENGTH_S * rate))
    fade = round(_FADE_S * rate)
    wave[-fade:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(fade) / (fade - 1))
    wave *= LEVEL[stress] / np.max(np.abs(wave))
    sound: NDArray[np.float32] = wave.astype(np.float32)
    sound.flags.writeable = False
    return sound


def string_loop(f0: float, timbre: _Timbre, rate: int, *, fraction: bool = True) -> tuple[int, Wave]:
    """The loop of a string at `f0` Hz: (N, h) such that y[t] = Σ h[k] · y[t - N - k].

    With `fraction` false the delay is rounded to whole samples and the damping is the plain two-point average: the
    classic untuned string, kept for the tests to show what the fraction is for.
    """
    period = rate / f0
    if not fraction:
        return round(period - 0.5), np.array([0.5, 0.5])  # the average itself delays by half a sample
    spread = max(round(timbre.spread * rate / 48000), 1)
    # High up the neck the period is short and the same taps would kill the note: less of them.
    dulling = timbre.dulling * min(1.0, (hertz(timbre.open_midi) / f0) ** 0.5)
    damping = np.zeros(2 * spread + 1)
    damping[[0, -1]] = dulling / 2
    damping[spread] = 1.0 - dulling
    # A stopped string rings shorter than an open one.
    ring_s = timbre.ring_s * (hertz(timbre.open_midi) / f0) ** 0.55
    per_period = 10.0 ** (-3.0 / (f0 * ring_s))
    omega = 2 * np.pi * f0 / rate
    damping *= per_period / abs(_response(damping, omega))
    rest = period - spread  # what the fraction and the whole samples must make up
    whole = int(rest) - 1
    want = rest - whole  # 1 <= want < 2, where a third-order Lagrange delay is at its best
    delay = want
    for _ in range(8):  # its phase delay at f0 is nearly its nominal one: a few corrections settle it
        delay += want - _phase_delay(_lagrange(delay), omega)
    return whole, np.convolve(damping, _lagrange(delay))


def _lagrange(delay: float) -> Wave:
    """Four taps that delay by `delay` samples (1..2): Lagrange interpolation of third order."""
    taps = [np.prod([(delay - k) / (n - k) for k in range(4) if k != n]) for n in range(4)]
    return np.array(taps)


def _response(taps: Wave, omega: float) -> complex:
    return complex(np.sum(taps * np.exp(-1j * omega * np.arange(len(taps)))))


def _phase_delay(taps: Wave, omega: float) -> float:
    return float(-np.angle(_response(taps, omega)) / omega)


def _pluck(f0: float, midi: int, string: int, stress: str, rate: int) -> Wave:
    """One period of what the finger gives the bridge, without any constant part."""
    timbre = _TIMBRES[string]
    frames = round(rate / f0)
    place = min(_PLUCKED_AT * f0 / hertz(timbre.open_midi), 0.45)
    partial = np.arange(1, frames // 2 + 1)
    at_hz = partial * f0
    edge = timbre.edge_hz * _BRIGHTNESS[stress]
    strength = np.sin(np.pi * partial * place) / partial / (1.0 + (at_hz / edge) ** 2)
    strength[at_hz > 0.42 * rate] = 0.0
    seed = np.random.default_rng(midi * 100 + string * 10 + sorted(LEVEL).index(stress))
    fingertip = seed.standard_normal(len(partial)) + 1j * seed.standard_normal(len(partial))
    fingertip *= timbre.noise * _BRIGHTNESS[stress] * strength[0] / (1.0 + (at_hz / (2 * edge)) ** 4) / 2
    spectrum = np.zeros(frames // 2 + 1, dtype=complex)
    spectrum[1:] = (strength + fingertip)[: frames // 2]
    return np.fft.irfft(spectrum, frames) * frames


@lru_cache(maxsize=4)
def _box(rate: int) -> Wave:
    t = np.arange(round(_BOX_S * rate)) / rate
    modes = sum(strength * np.sin(2 * np.pi * hz * t) * np.exp(-t / ring) for hz, ring, strength in _BOX)
    answer = np.asarray(modes) * (48000.0 / rate)
    answer *= 0.5 + 0.5 * np.cos(np.pi * np.arange(len(t)) / len(t))
    answer[0] += 1.0
    return answer


def _filter_by_box(x: Wave, rate: int) -> Wave:
    filtered = np.convolve(x, _box(rate))
    filtered -= np.mean(filtered)
    return filtered


def _ring(x: Wave, whole: int, taps: Wave, frames: int) -> Wave:
    """y[t] = x[t] + Σ taps[k] · y[t - whole - k], `frames` long."""
    start = whole + len(taps)  # silence before the first frame, so that every index exists
    y = np.zeros(start + frames)
    y[start : start + len(x)] = x
    driven = start + len(x) + whole
    t = start
    while t < min(driven, start + frames):
        t = _step(y, t, whole, taps, add=True)
    # From here on nothing is put in, and several rounds can be taken at once: h applied m times at a distance m·N.
    times = max(_BLOCK // whole, 1)
    while times > 1 and t - start < times * (whole + len(taps)):
        t = _step(y, t, whole, taps, add=False)
    far = taps
    for _ in range(times - 1):
        far = np.convolve(far, taps)
    while t < start + frames:
        t = _step(y, t, times * whole, far, add=False)
    return y[start:]


def _step(y: Wave, t: int, distance: int, taps: Wave, *, add: bool) -> int:
    """Work out y[t : t + distance] from what lies `distance` and more before it; the index after it."""
    end = min(t + distance, len(y))
    back = y[t - distance - len(taps) + 1 : end - distance]
    fed_back = np.convolve(back, taps, mode="valid")
    if add:
        y[t:end] += fed_back
    else:
        y[t:end] = fed_back
    return end


class StringBank:
    """Notes already worked out, kept for the next time they are plucked (64 of them are 43 MB at 48 kHz)."""

    def __init__(self, rate: int, *, keep: int = 64) -> None:
        self.rate = rate
        self._note = lru_cache(maxsize=keep)(pluck_note)

    def note(self, midi: int, string: int, stress: str = PLAIN) -> NDArray[np.float32]:
        """`pluck_note` of this module at the bank's rate; the array is shared and read-only."""
        return self._note(midi, string, stress, self.rate)

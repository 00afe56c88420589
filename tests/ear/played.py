"""Recordings made here, with every onset known to the sample: plain decaying harmonics, nothing of the coach's strings.

A string plucked anew stops ringing at once and sounds again (a finger rests on it first). Partials: strength by the
plucking place, sin(pi h x)/h (ideal plucked string, Fletcher & Rossing, from memory), stretched by stiffness, each
dying the faster the higher it is; phases by chance; a burst of noise of a few ms for the finger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Struck:
    """One pluck as it is really played."""

    time_s: float
    string: int
    midi: int
    level: float = 1.0


def tone(midi: float, seconds: float, rate: int, chance: np.random.Generator, string: int = 3) -> Floats:
    """A plucked string by itself, peak about 1."""
    f0 = 440.0 * 2 ** ((midi - 69) / 12)
    t = np.arange(int(seconds * rate)) / rate
    place = chance.uniform(0.12, 0.25)
    wound = string > 3
    sound = np.zeros(len(t))
    for h in range(1, 40):
        hertz = h * f0 * np.sqrt(1 + (3e-5 if wound else 6e-5) * h * h)
        if hertz > min(7000.0, 0.45 * rate):
            break
        strength = np.sin(np.pi * h * place) / h * (0.7 if wound else 1.0) ** (h / 6)
        ring_s = 2.2 / (1 + 0.12 * h) * (110 / f0) ** 0.4
        sound += strength * np.exp(-t / ring_s) * np.sin(2 * np.pi * hertz * t + chance.uniform(0, 2 * np.pi))
    sound *= np.minimum(t / 0.002, 1.0)
    nail = chance.normal(0, 1, len(t)) * np.exp(-t / 0.004)
    return (sound + 0.08 * nail) / 1.5


@dataclass
class Room:
    """What a take is recorded in: rate, hiss below the plucks in dB, cents by which each string is out, chance."""

    rate: int = 44100
    hiss_db: float = -46.0
    cents: dict[int, float] = field(default_factory=dict)
    seed: int = 1


def recorded(struck: Sequence[Struck], room: Room = Room(), tail_s: float = 1.5) -> Floats:  # noqa: B008
    """The sound of the plucks, (frames,) at about -12 dB."""
    chance = np.random.default_rng(room.seed)
    end = max((s.time_s for s in struck), default=0.0) + tail_s
    out = np.zeros(int(end * room.rate))
    for string in {s.string for s in struck}:
        mine = sorted((s for s in struck if s.string == string), key=lambda s: s.time_s)
        stops = [s.time_s for s in mine[1:]] + [end]
        for one, stop in zip(mine, stops, strict=True):
            first = round(one.time_s * room.rate)
            length = min(stop - one.time_s, 4.0)
            wave = tone(one.midi + room.cents.get(string, 0.0) / 100, length, room.rate, chance, string)
            fade = min(round(0.008 * room.rate), len(wave))
            wave[len(wave) - fade :] *= np.linspace(1, 0, fade)
            wave = wave[: len(out) - first]
            out[first : first + len(wave)] += 0.2 * one.level * wave
    return out + chance.normal(0, 0.2 * 10 ** (room.hiss_db / 20), len(out))

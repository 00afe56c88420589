"""What the tests of sound share: bars written by hand, a speaker pumped by hand, and finding clicks in samples."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from fractions import Fraction

import numpy as np

from coach.picking.plucks import PLAIN, Pluck
from coach.sound.score import BEAT, DOWN, BarScore, Stroke

RATE = 48000


def strokes(beats: int = 4) -> tuple[Stroke, ...]:
    """A click on every beat, the first of them DOWN."""
    return tuple(Stroke(Fraction(b), BEAT if b else DOWN) for b in range(beats))


def pluck(beat: object, string: int, midi: int, stress: str = PLAIN, bar: int = 0) -> Pluck:
    """One pluck with only what the sound needs."""
    at = Fraction(str(beat))
    return Pluck(bar, at, at, string, 0, midi, "p" if string > 3 else "i", "-", stress)


def picked_bar() -> tuple[Pluck, ...]:
    """A bar of alternating bass on an open C shape: thumb on 5 and 4, fingers between, a pinch on the first beat."""
    bass = [pluck(0, 5, 48), pluck(1, 4, 52), pluck(2, 5, 48), pluck(3, 4, 52)]
    fingers = [pluck(0, 1, 64), pluck("3/2", 2, 60), pluck("5/2", 1, 64), pluck("7/2", 3, 55)]
    return (*bass, *fingers)


def bar(number: int, bpm: object, to: object = None, *, beats: int = 4, plucks: Sequence[Pluck] = ()) -> BarScore:
    """A bar with a click on every beat, at `bpm`, rising to `to` where given."""
    start = Fraction(str(bpm))
    return BarScore(
        number, Fraction(beats), start, start if to is None else Fraction(str(to)), strokes(beats), tuple(plucks)
    )


def onsets(samples: np.ndarray, *, step: float = 0.06, apart: int = 1800) -> list[int]:
    """Where clicks begin, to the sample: the first sample of each jump out of silence or near silence."""
    mono = samples if samples.ndim == 1 else samples[:, 0]
    frames, last = [], -apart
    jumps = np.flatnonzero(np.abs(np.diff(mono, prepend=np.float32(0))) > step)
    for at in jumps.tolist():
        if at - last >= apart:
            frames.append(at)
        if at - last >= apart or at - last < 0:
            last = at
    return frames


class HandSpeaker:
    """A speaker that asks only when the test says so; the test's time goes on with what it asks for."""

    name = "hand"
    silent = False

    def __init__(self, period: int = 1024, rate: int = RATE) -> None:
        self.period, self.rate = period, rate
        self.period_s = period / rate
        self.latency_s = 3 * period / rate
        self.seconds = 100.0
        self.fill: Callable[[int], bytes] | None = None
        self.heard: list[bytes] = []
        self.opened = threading.Event()
        self.closed = 0
        self.refuse: Exception | None = None

    def now(self) -> float:
        """The time the engine is given."""
        return self.seconds

    def open(self, rate: int, channels: int, fill: Callable[[int], bytes]) -> None:
        """Remember whom to ask."""
        if self.refuse is not None:
            raise self.refuse
        assert (rate, channels) == (self.rate, 2)
        self.fill = fill
        self.opened.set()

    def close(self) -> None:
        """Count it."""
        self.closed += 1

    def pump(self, frames: int) -> None:
        """Ask for at least `frames` frames, one period after the other."""
        assert self.fill is not None
        for _ in range(-(-frames // self.period)):
            self.heard.append(self.fill(self.period))
            self.seconds += self.period_s

    @property
    def samples(self) -> np.ndarray:
        """All that was handed over: (frames, 2) float32."""
        return np.frombuffer(b"".join(self.heard), dtype=np.float32).reshape(-1, 2)


def until(fact: Callable[[], bool], limit_s: float = 5.0) -> bool:
    """Wait for another thread to bring something about."""
    end = time.perf_counter() + limit_s
    while not fact():
        if time.perf_counter() > end:
            return False
        time.sleep(0.001)
    return True

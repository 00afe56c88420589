"""How long the sound takes: python -m tests.bench.bench_sound

Prints the time of a callback, of mixing a bar, of making the notes, of rendering offline, and the error of the clock.
Figures to look at, not to pass: they depend on the machine.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable

import numpy as np

from coach.sound.clock import AudioClock
from coach.sound.mixer import Mixer, render_bars
from coach.sound.premix import Premix
from coach.sound.strings import StringBank
from tests.sound.hands import RATE, bar, picked_bar


def spread(name: str, seconds: list[float], unit: str = "ms") -> None:
    """One line: median, 99th hundredth, worst."""
    scale = 1e3 if unit == "ms" else 1e6
    ordered = np.sort(np.array(seconds)) * scale
    at = [ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.99)], ordered[-1]]
    print(f"{name:38} median {at[0]:8.3f} {unit}   99 % {at[1]:8.3f}   worst {at[2]:8.3f}   ({len(ordered)})")


def timed(what: Callable[[], object]) -> float:
    """Seconds that `what` takes."""
    start = time.perf_counter()
    what()
    return time.perf_counter() - start


def main() -> None:
    """Measure and print."""
    notes = [(48, 5), (52, 4), (43, 6), (50, 4), (55, 3), (60, 2), (64, 1), (57, 3), (62, 2), (67, 1), (45, 5), (41, 6)]
    bank = StringBank(RATE)
    spread("making one note", [timed(lambda n=n: bank.note(*n)) for n in notes])
    fresh = StringBank(RATE)
    print(f"{'filling 12 notes':38} {timed(lambda: [fresh.note(*n) for n in notes]):.3f} s")

    score = bar(0, 100, plucks=picked_bar())
    premix = Premix(lambda n: bar(n, 100, plucks=picked_bar()), Mixer(RATE, bank=bank))
    premix.ahead()
    feed = premix.feed
    assert feed is not None
    asked = []
    for _ in range(3000):
        asked.append(timed(lambda: feed.fill(1920)))
        premix.ahead()
    spread("callback, 40 ms of sound", asked, "us")
    mixer = Mixer(RATE, bank=bank)
    laid = premix._laid[-1]
    placed = laid.placed
    assert placed is not None
    mix = lambda: mixer.mix(  # noqa: E731
        score, placed.start_frame, placed.end_frame, placed.plan, placed.start_beat, laid.carry_in
    )
    spread("mixing a bar of 2.4 s", [timed(mix) for _ in range(100)])
    feed.fill(feed.block.end - feed.frame + RATE)  # into the middle of a bar
    premix.ahead()
    spread("changing the bars to come", [timed(premix.renew) for _ in range(50)])

    frames = 0
    start = time.perf_counter()
    for piece in render_bars([bar(n, 100, plucks=picked_bar()) for n in range(50)], RATE):
        frames += len(piece)
    took = time.perf_counter() - start
    print(f"{'rendering offline':38} {frames / RATE / took:.0f} times real time ({frames / RATE:.0f} s of sound)")

    luck, now = random.Random(1), [0.0]
    clock = AudioClock(now=lambda: now[0])
    clock.start(RATE)
    errors, reads = [], []
    for n in range(1500):  # 60 s of callbacks every 40 ms, each late by up to 15 ms, a few by 34
        now[0] = n * 0.040 + (luck.uniform(0.02, 0.034) if luck.random() < 0.02 else luck.expovariate(1 / 0.002))
        clock.note(now[0], n * 1920)
        now[0] = max(n * 0.040 + luck.uniform(0.0, 0.039), now[0])
        reads.append(timed(clock.position))
        errors.append(abs(clock.position() / RATE - now[0]))
    spread("error of the clock (late callbacks)", errors[50:])
    spread("reading the clock", reads, "us")


if __name__ == "__main__":
    main()

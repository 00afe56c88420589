"""A program for the tests with a real sound server: plays clicks for so many seconds and prints what it was told.

    python -m tests.play_click SECONDS [BPM]
"""

from __future__ import annotations

import sys
import time

from coach.sound.device import open_speaker
from coach.sound.engine import Engine
from tests.sound.hands import bar


def main(seconds: float, bpm: float) -> None:
    """Play, and print one line for each thing that happens."""
    engine = Engine(
        open_speaker(),
        on_bar=lambda n: print("bar", n, flush=True),
        on_trouble=lambda sentence: print("trouble", sentence, flush=True),
    )
    print("speaker", engine.speaker.name, "silent" if engine.speaker.silent else "sounding", flush=True)
    engine.start(lambda n: bar(n, bpm))
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        position = engine.position()
        if position is not None:
            print("at", f"{position.frame:.1f}", f"{time.perf_counter():.6f}", flush=True)
        time.sleep(0.1)
    begun = time.perf_counter()
    engine.stop()
    print("stopped", f"{time.perf_counter() - begun:.3f}", flush=True)


if __name__ == "__main__":
    main(float(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 120.0)

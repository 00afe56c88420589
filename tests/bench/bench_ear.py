"""How fast the ear is, as times real time, and how well it hears the tests' own strings.

`python -m tests.bench.bench_ear`

No test asserts these numbers. OPENBLAS_NUM_THREADS=1, as `coach listen` sets it, is what to measure with.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections import Counter

import numpy as np

from coach.ear.hearing import hear
from coach.ear.onsets import onsets
from tests.ear.played import Room, recorded
from tests.ear.test_hearing import OUT_OF_TUNE, meant, performed

CASES = [
    ("outside-in", 90),
    ("outside-in-sixteenths", 120),
    ("roll-forward-sixteenths", 100),
    ("thumb-on-the-beat", 80),
]


def _timed(name: str, bpm: int, loops: int, rate: int) -> None:
    wanted = meant(name, bpm, loops)
    played = performed(wanted, missed=0.05, wrong=0.05)
    sound = recorded(played.struck, Room(rate=rate, cents=dict(OUT_OF_TUNE)))
    seconds = len(sound) / rate
    begun = time.perf_counter()
    found = onsets(sound, rate)
    finding = time.perf_counter() - begun
    begun = time.perf_counter()
    heard = hear(sound, rate, wanted)
    hearing = time.perf_counter() - begun
    right = Counter(
        (status, pluck.status == status and (string is None or pluck.string == string))
        for pluck, (status, string, _) in zip(heard.plucks, played.truth, strict=True)
    )
    shares = ", ".join(
        f"{status} {right[status, True]} of {right[status, True] + right[status, False]}"
        for status in ("hit", "missed", "wrong")
    )
    errors = [
        abs(p.time_s - t) * 1000
        for p, (_, _, t) in zip(heard.plucks, played.truth, strict=True)
        if p.time_s is not None and t is not None
    ]
    print(
        f"{name:24} {bpm:3} bpm {seconds:5.0f} s at {rate} Hz: {len(found):4} onsets in {finding:5.2f} s "
        f"({seconds / finding:4.0f}x), heard in {hearing:5.2f} s ({seconds / hearing:4.0f}x); {shares}; "
        f"time error {np.median(errors):.2f} ms, 95 % {np.quantile(errors, 0.95):.1f} ms"
    )


def main() -> None:
    """Short takes of some patterns, then one of ten minutes in sixteenths."""
    for name, bpm in CASES:
        _timed(name, bpm, 3, 44100)
    _timed("outside-in-sixteenths", 120, 75, 48000)


if __name__ == "__main__":
    main()

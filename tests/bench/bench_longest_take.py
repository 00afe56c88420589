"""What hearing the longest take allowed costs: the most memory of the process, and its time.

`python -m tests.bench.bench_longest_take`

The whole command runs in a process of its own on takes of 15 minutes: sixteenths at 120 bpm as WAV and as FLAC, the
same at four times as many samples a second, and noise beside as much meant as may be. No test asserts these numbers.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from tests.ear.played import Room, recorded
from tests.ear.test_hearing import OUT_OF_TUNE, meant, performed

RATE = 48000
CODE = """
import resource, sys, time
from coach.cli import main
code = main(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
print(f"{used.ru_maxrss / 1024:.0f} MB, {used.ru_utime + used.ru_stime:.1f} s of processor time", file=sys.stderr)
sys.exit(code)
"""


def _written(folder: Path) -> Iterator[tuple[Path, str, int, int]]:
    """(file, chords, tempo, loops) of each take."""
    four, two = "C | Am | F | G", "C | Am"
    played = performed(meant("outside-in-sixteenths", 120, 111), missed=0.05, wrong=0.05)
    sound = recorded(played.struck, Room(rate=RATE, cents=dict(OUT_OF_TUNE)))[: 899 * RATE].astype(np.float32)
    for suffix in (".wav", ".flac"):
        soundfile.write(str(folder / f"take{suffix}"), np.stack([sound, sound], axis=1), RATE)
        yield folder / f"take{suffix}", four, 120, 111
    with soundfile.SoundFile(str(folder / "fast.wav"), "w", 4 * RATE, 2) as file:
        for begin in range(0, len(sound), RATE):
            file.write(np.repeat(sound[begin : begin + RATE, None], 4, axis=0).repeat(2, axis=1))
    yield folder / "fast.wav", four, 120, 111
    chance = np.random.default_rng(0)
    with soundfile.SoundFile(str(folder / "noise.wav"), "w", RATE, 1) as file:
        for _ in range(899):
            file.write(chance.normal(0, 0.1, RATE))
    yield folder / "noise.wav", two, 140, 500


def main() -> None:
    """A line for each take."""
    with tempfile.TemporaryDirectory() as name:
        env = {**os.environ, "COACH_HOME": name}
        for path, chords, tempo, loops in _written(Path(name)):
            args = ["listen", str(path), "--pattern", "outside-in-sixteenths", "--chords", chords]
            args += ["--tempo", str(tempo), "--loops", str(loops), "--json"]
            done = subprocess.run([sys.executable, "-c", CODE, *args], env=env, capture_output=True, text=True)
            print(f"{path.name}: {json.loads(done.stdout)['verdict']}, {done.stderr.splitlines()[-1]}", flush=True)
            path.unlink()


if __name__ == "__main__":
    main()

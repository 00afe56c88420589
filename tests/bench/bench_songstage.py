"""What a long song costs on the stage against a short one: `python -m tests.bench.bench_songstage [--seconds 15]`.

Prints for songs of 4 and 400 bars: reading, performing, making the loop and the first paint of the stage (on a
pseudo terminal at 160x45); then while it glides the processor's share of a core and the bytes sent; the longest
frame; and the ratios.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import psutil

from coach.session.conductor import song_loop
from tests.screens.made_songs import long_song, long_song_text, performed
from tests.terminal_rig import Terminal

LENGTHS = (4, 400)


def opening(bars: int) -> tuple[float, float, float]:
    """(seconds to read, to perform, to make the loop with its layers, words and tune)."""
    begun = time.perf_counter()
    song = long_song(bars)
    read = time.perf_counter()
    piece = performed(song)
    played = time.perf_counter()
    loop = song_loop(piece)
    assert loop.layers
    assert loop.worded
    assert len(loop.tune) == bars
    return read - begun, played - read, time.perf_counter() - played


def gliding(home: str, bars: int, seconds: float) -> tuple[float, float, float, float]:
    """(seconds to the first tab, share of a core, kB/s sent, longest pause between two pieces of output in ms)."""
    path = Path(home, f"long-{bars}.song.toml")
    path.write_text(long_song_text(bars))
    terminal = Terminal("-m", "coach", "drill", str(path), "--sing", "--tempo", "120", home=home)
    terminal.read(20, b"under the voice")
    painted = time.perf_counter() - terminal.started
    terminal.read(6.0)  # the count-in and the first bars
    process = psutil.Process(terminal.pid)
    before, sent, begun = process.cpu_times(), terminal.bytes, time.perf_counter()
    last, longest = begun, 0.0
    while time.perf_counter() - begun < seconds:
        if terminal.read(0.5, b"\x1b"):
            now = time.perf_counter()
            longest, last = max(longest, now - last), now
    after, wall = process.cpu_times(), time.perf_counter() - begun
    share = (after.user + after.system - before.user - before.system) / wall
    rate = (terminal.bytes - sent) / wall / 1000
    terminal.close()
    return painted, share, rate, longest * 1000


def main() -> None:
    """Both songs, and how they compare."""
    seconds = float(sys.argv[sys.argv.index("--seconds") + 1]) if "--seconds" in sys.argv else 15.0
    found = []
    with tempfile.TemporaryDirectory() as home:
        Path(home, "settings.toml").write_text("cautions_seen = true\n")
        for bars in LENGTHS:
            read, played, made = opening(bars)
            painted, share, rate, longest = gliding(home, bars, seconds)
            found.append((painted, share, rate))
            print(f"{bars:>4} bars: read {read:.3f} s, performed {played:.3f} s, loop {made:.3f} s; ", end="")
            print(f"stage after {painted:.2f} s; gliding {share:.1%} of a core, {rate:.1f} kB/s, ", end="")
            print(f"longest pause between frames {longest:.0f} ms")
    short, long = found
    print(
        f"{LENGTHS[1]} bars against {LENGTHS[0]}: opening +{long[0] - short[0]:.2f} s, "
        f"glide {long[1] / short[1]:.2f} of the processor, {long[2] / short[2]:.2f} of the bytes (aim: about 1)"
    )


if __name__ == "__main__":
    main()

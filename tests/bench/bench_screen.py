"""What the screen costs on a real (pseudo) terminal: `python -m tests.bench.bench_screen [--quick]`.

Prints: first paint against the time `import textual.app` takes alone; processor share of one core while the
stage runs at 160x45 (gliding and still), output rate, memory at the start and the end.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

from tests.terminal_rig import Terminal

RUN_S = 20.0


def first_paint(home: str, runs: int = 7) -> None:
    """Median time from start to the first words on the screen, against importing textual.app alone."""
    paints, imports = [], []
    for _ in range(runs):
        begun = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import textual.app"], check=True)
        imports.append(time.perf_counter() - begun)
        terminal = Terminal("-m", "coach", home=home)
        terminal.read(10, b"Steady Thumb")
        paints.append(time.perf_counter() - terminal.started)
        terminal.close()
    paint, alone = statistics.median(paints), statistics.median(imports)
    print(f"first paint {paint:.3f} s, import textual.app {alone:.3f} s: ratio {paint / alone:.2f} (aim: under 1.5)")


def running(home: str, pattern: str, keys: str, label: str) -> None:
    """Processor share and output while the stage runs."""
    terminal = Terminal("-m", "coach", "drill", pattern, "--tempo", "92", home=home)
    terminal.read(4.0)
    terminal.type(keys)
    terminal.read(1.0)
    process = psutil.Process(terminal.pid)
    before, sent, begun = process.cpu_times(), terminal.bytes, time.perf_counter()
    memory = process.memory_info().rss / 2**20
    terminal.read(RUN_S)
    after, wall = process.cpu_times(), time.perf_counter() - begun
    share = (after.user + after.system - before.user - before.system) / wall
    rate = (terminal.bytes - sent) / wall / 1000
    later = process.memory_info().rss / 2**20
    print(f"{label:<28} {share:6.1%} of a core, {rate:6.1f} kB/s out, {memory:.0f} -> {later:.0f} MB resident")
    terminal.close()


def main() -> None:
    """All of it."""
    with tempfile.TemporaryDirectory() as home:
        Path(home, "settings.toml").write_text("cautions_seen = true\n")
        if "--quick" not in sys.argv:
            first_paint(home)
        running(home, "outside-in", "", "glide, eighths, 160x45")
        running(home, "outside-in-sixteenths", "", "glide, sixteenths, 160x45")
        running(home, "outside-in", "y", "still page, 160x45")


if __name__ == "__main__":
    main()

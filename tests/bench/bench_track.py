"""How fast a practice track is rendered: `python -m tests.bench.bench_track`. Prints, asserts nothing.

Five minutes of a pattern with click (and the same with a hummed tune) on one core: times real time, with and without
the writing of the file; beside it fluidsynth on the MIDI of the same piece, in the same run (Debian: fluidsynth,
fluid-soundfont-gm). Then an hour: the memory it takes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import deque
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from coach import shelf
from coach.commands.picking import held_bars
from coach.music.notes import Pitch
from coach.paper.midi_file import make_midi_file
from coach.song.chart import TuneNote
from coach.song.piece import Piece, pattern_piece
from coach.sound.mixer import render_bars
from coach.sound.score import BarScore
from coach.sound.sound_files import has_flac, write_sound
from coach.sound.timing import frames_of
from coach.tracks import Sounding, track_bars

RATE = 48000
SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
TUNE = ("C4", "E4", "G4", "F4")
TIMES = 5


def piece() -> Piece:
    """Five minutes at 96 bpm: 120 bars of sixteenths or eighths over eight chords."""
    pattern = shelf.library().find("outside-in")
    held = held_bars("C | Am7 | F | G7 | Em | A7 | Dm | E7", pattern.meter)
    return pattern_piece(pattern, held, Fraction(96), loops=15)


def with_tune(of: Piece) -> Piece:
    """The same with a note of tune on every beat."""
    notes = tuple(TuneNote(Fraction(b), Fraction(1), Pitch.parse(name)) for b, name in enumerate(TUNE))
    return replace(of, bars=tuple(replace(bar, tune=notes) for bar in of.bars))


def best(times: int, deed: object) -> float:
    """The shortest of several runs, in seconds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        deed()  # type: ignore[operator]
        spent.append(time.perf_counter() - start)
    return min(spent)


def said(name: str, seconds: float, music: float) -> None:
    """One line: seconds, and how many times real time that is."""
    print(f"{name:44} {seconds:7.3f} s   {music / seconds:6.0f} times real time")


def rendered(bars: list[BarScore]) -> None:
    """All of it, block by block, thrown away."""
    deque(render_bars(bars, RATE), maxlen=0)


def memory() -> None:
    """An hour in a process of its own: the most memory it had (Linux counts in kB)."""
    import resource

    bars = track_bars(piece(), Sounding(loops=12))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        frames = write_sound(Path(folder) / "hour.wav", render_bars(bars, RATE), RATE)
        said("an hour into a WAV file", time.perf_counter() - start, frames / RATE)
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{'most memory before and after':44} {before / 1024:.0f} and {after / 1024:.0f} MB")


def main() -> None:
    """Measure and print."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})  # one core, for us and for what we start
    plain = piece()
    bars, tuned = track_bars(plain, Sounding()), track_bars(with_tune(plain), Sounding())
    music = frames_of(bars, RATE) / RATE
    print(f"{len(bars)} bars, {music:.0f} s of music, best of {TIMES}")
    ours = best(TIMES, lambda: rendered(bars))
    said("guide and click, rendered", ours, music)
    said("guide, click and tune, rendered", best(TIMES, lambda: rendered(tuned)), music)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for ending in ("wav", "flac", "ogg") if has_flac() else ("wav",):
            to = folder / f"a.{ending}"
            spent = best(1, lambda to=to: write_sound(to, render_bars(tuned, RATE), RATE, force=True))
            said(f"guide, click and tune into a .{ending} file", spent, music)
        into_file = best(TIMES, lambda: write_sound(folder / "b.wav", render_bars(bars, RATE), RATE, force=True))
        said("guide and click into a WAV file", into_file, music)
        if shutil.which("fluidsynth") is None or not SOUND_FONT.exists():
            print("missing tool: fluidsynth and fluid-soundfont-gm, so no ratio")
        else:
            (folder / "a.mid").write_bytes(make_midi_file(plain))
            (folder / "none.mid").write_bytes(make_midi_file(replace(plain, bars=plain.bars[:1])))

            def fluid(midi: str) -> None:
                command = ["fluidsynth", "-ni", "-R", "0", "-C", "0", "-F", str(folder / "f.wav"), "-r", str(RATE)]
                subprocess.run([*command, str(SOUND_FONT), str(folder / midi)], check=True, capture_output=True)

            theirs = best(TIMES, lambda: fluid("a.mid"))
            alone = theirs - best(TIMES, lambda: fluid("none.mid"))
            said("fluidsynth on its MIDI, into a WAV file", theirs, music)
            said("fluidsynth without its start (one bar)", alone, music)
            print(f"{'fluidsynth / ours, both into a file':44} {theirs / into_file:.2f}")
            print(f"{'the same without its start':44} {alone / into_file:.2f}")
    subprocess.run([sys.executable, "-m", "tests.bench.bench_track", "memory"], check=True)


if __name__ == "__main__":
    memory() if sys.argv[1:] == ["memory"] else main()

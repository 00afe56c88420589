"""How far the cursor on the screen is from the sound: `python -m tests.bench.bench_cursor`.

Runs the whole coach on a pseudo terminal (on a JACK server with its dummy driver where there is one, else
silently) and notes for every click when the first frame that has the cursor on or past it was handed to the
terminal. Prints the distribution of cursor minus sound in milliseconds; a frame lasts 16.7.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path
from time import perf_counter
from typing import Any

RUN_S = 40.0


def child(out: Path) -> None:
    """The coach, with a note made of every frame shown."""
    from coach.screens.app import Coach, run_app
    from coach.screens.stage.stage_page import Stage
    from coach.session.context import World
    from coach.session.run_setup import free_block

    shown: list[tuple[float, int, float]] = []
    sounds: dict[str, float] = {}
    display = Coach._display

    def noting(self: Coach, screen: Any, renderable: Any) -> None:
        display(self, screen, renderable)
        if isinstance(screen, Stage) and screen.engine is not None:
            shown.append((perf_counter(), screen.tab.number, screen.tab.beat))
            engine = screen.engine
            for bar in engine.timeline[-3:]:
                for stroke in bar.score.strokes:
                    frame = round(bar.segment.seconds(bar.start_beat + stroke.beat) * engine.rate)
                    sounds[f"{bar.number} {int(stroke.beat)}"] = engine.clock.wall_at(frame)

    Coach._display = noting  # type: ignore[method-assign]
    world = World.here()
    try:
        run_app(free_block(world, "outside-in", 96, False), world=world)
    finally:
        out.write_text(json.dumps([shown, sounds]))


def main() -> None:
    """Run it, and print how far apart they were."""
    from contextlib import ExitStack

    from tests.jack_rig import jack_server
    from tests.terminal_rig import Terminal

    with tempfile.TemporaryDirectory() as home, ExitStack() as stack:
        env = stack.enter_context(jack_server()).env if shutil.which("jackd") else {}
        out = Path(home, "notes.json")
        Path(home, "settings.toml").write_text("cautions_seen = true\n")
        terminal = Terminal("-m", "tests.bench.bench_cursor", "child", str(out), home=home, env=env)
        terminal.read(RUN_S)
        terminal.type("\x11")
        terminal.read(2.0)
        terminal.close()
        shown, sounds = json.loads(out.read_text())
    late = []
    for place, when in sounds.items():
        number, beat = map(int, place.split())
        if number == 0:  # the clock has only just begun to know where it is
            continue
        after = [t for t, n, b in shown if (n, b) >= (number, beat)]
        if after and min(t for t, _, _ in shown) < when < max(t for t, _, _ in shown):
            late.append(1000 * (min(after) - when))
    late.sort()
    at = [(q, late[min(int(q * len(late)), len(late) - 1)]) for q in (0, 0.05, 0.25, 0.5, 0.75, 0.95, 1)]
    quantiles = "  ".join(f"{q:.0%} {ms:.1f}" for q, ms in at)
    where = "on JACK" if env else "silently"
    print(f"cursor minus sound at {len(late)} clicks {where}, in ms: {quantiles} (a frame: 16.7)")


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(Path(sys.argv[2]))
    else:
        main()

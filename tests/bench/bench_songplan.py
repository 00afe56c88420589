"""What songs cost the plan: `python -m tests.bench.bench_songplan`; three songs of two arrangements, all patterns.

Prints milliseconds: all drills made anew, read from what is kept, and the day's plan. Asserts nothing.
"""

from __future__ import annotations

import os
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path


def milliseconds(deed: Callable[[], object], times: int = 7) -> float:
    """The median of so many runs."""
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        deed()
        found.append(1000 * (time.perf_counter() - begun))
    return statistics.median(found)


def main() -> None:
    """In a home of its own, with a month of evenings."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["COACH_HOME"] = folder
        from coach import places, shelf
        from coach.drills.song_drill_cache import cache_path
        from coach.log.ledger import Ledger
        from coach.settings import Settings

        home = Path(folder)
        (home / "songs").mkdir()
        for name in ("last-boat", "der-mond", "water-of-tyne"):
            shutil.copy(places.shipped("shared") / "songs" / f"{name}.song.toml", home / "songs")
        library, now, settings = shelf.library(), datetime.now().astimezone(), Settings()
        with Ledger(places.ledger()) as ledger:
            for days_ago in range(30, 0, -1):
                at = now - timedelta(days=days_ago)
                for block in shelf.plan_today(settings, at).blocks:
                    if block.played and block.drill and block.tempo_to:
                        ledger.add_whole_take(block.drill, block.tempo_to, "held", bars=32, stumbles=1, at=at)

        def anew() -> object:
            cache_path(places.ledger()).unlink(missing_ok=True)
            return shelf.drills_here(library)

        drills = shelf.drills_here(library)
        print(f"{len(drills)} drills, {sum('/' in d.id for d in drills)} of songs")
        print(f"made anew       {milliseconds(anew, 3):7.1f} ms")
        print(f"from what is kept {milliseconds(lambda: shelf.drills_here(library)):5.1f} ms")
        plain = shelf.drills_here(library, songs=())
        with_songs = milliseconds(lambda: shelf.plan_here(drills, library, settings, now, 20))
        without = milliseconds(lambda: shelf.plan_here(plain, library, settings, now, 20))
        print(f"plan            {with_songs:7.1f} ms, without songs {without:.1f} ms")


if __name__ == "__main__":
    main()

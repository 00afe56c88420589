"""The real coach is killed at random moments; what it had told of is in the ledger, read by plain SQL."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from random import Random

from tests.campaign import homes, rig
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind, slack

DRILL = ("drill", "two-four-answer", "--tempo", "400")
WORDS = ("lost", "shaky", "held", "flowing")


def _afterwards(folder: Path, before: homes.Kept) -> str | None:
    """What is wrong with a home after a kill: with the ledger, with the player's files, and after the next start."""
    home = folder / "home"
    found = homes.first(homes.unsound(home / "ledger.sqlite3"), before.lost(("settings.toml",)))
    with rig.coach(folder) as app:
        drawn = app.sees("min") and app.watch(0.3 * slack()) is False
        app.press("\x11")
        app.watch(15 * slack(), app.ended)
    if not drawn or app.code != 0:
        found = found or f"the next start: exit code {app.code}, {app.seen[-200:]!r}"
    return homes.first(found, homes.parts(home), fault(call(["today"], folder), codes=(0,)))


def playing(rng: Random, folder: Path) -> str | None:
    """Killed while it plays, at whatever moment: every pass the screen told of is there."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    with rig.coach(folder, *DRILL) as app:
        if rng.random() < 0.8 and not app.watch(40 * slack(), lambda: app.passes_told() >= 1):
            return f"it never played a pass: {app.seen[-200:]!r}"
        for _ in range(rng.randrange(4)):
            app.watch(rng.uniform(0, 0.8))
            app.press(rng.choice(" 7789ybsr"))
        app.watch(rng.uniform(0, 1.5))
        if rng.random() < 0.4:  # while it writes all that it writes on leaving
            app.press("\x11")
            app.watch(rng.uniform(0, 0.6))
        app.kill()
        app.watch(5 * slack(), app.ended)
    told, takes = app.passes_told(), rig.passes_written(home)
    written = max(map(len, takes.values()), default=0)
    if written < told:
        return f"{told} passes were told and {written} are in the ledger"
    gaps = [numbers for numbers in takes.values() if numbers != list(range(1, len(numbers) + 1))]
    return f"passes are missing between: {gaps[0]}" if gaps else _afterwards(folder, before)


def verdict(rng: Random, folder: Path) -> str | None:
    """The verdict key, and at once or a moment later the kill: a verdict that was told is there."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    number = rng.randrange(4)
    with rig.coach(folder, *DRILL) as app:
        if not app.watch(40 * slack(), lambda: app.passes_told() >= 1):
            return f"it never played a pass: {app.seen[-200:]!r}"
        app.press("e")
        if not app.sees("How was it?"):
            return f"nothing asked how it was: {app.seen[-200:]!r}"
        app.press(str(number + 1))
        # Leaving the screen is how the one block of `coach drill` tells that the word was taken.
        app.watch(rng.choice((0.0, rng.uniform(0, 0.3), 5.0)) * slack(), lambda: b"\x1b[?1049l" in app.raw)
        app.kill()
        app.watch(5 * slack(), app.ended)
    told = b"\x1b[?1049l" in app.raw
    with closing(sqlite3.connect(home / "ledger.sqlite3")) as db:
        words = [w for (w,) in db.execute("SELECT verdict FROM verdicts WHERE take NOT GLOB '0000*'")]
    if told and words != [WORDS[number]]:
        return f"the verdict '{WORDS[number]}' was taken and {words} stands in the ledger"
    if not told and words not in ([], [WORDS[number]]):
        return f"the key was for '{WORDS[number]}' and {words} stands in the ledger"
    return _afterwards(folder, before)


KINDS = (Kind("kill", playing, real=True, seconds=150), Kind("kill-verdict", verdict, real=True, seconds=150))

"""A disk that is full, or fails, at any point of any writing."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from random import Random

from tests.campaign import homes, rig
from tests.campaign.call import fault, start
from tests.campaign.full_disk import environment
from tests.campaign.kind import Kind, slack

ADD = ["log", "add", "--drill", "outside-in", "--tempo", "84", "--verdict", "held"]
READS = (["today"], ["log"], ["drills"], ["patterns"], ["song"], ["doctor"])
WRITES = (
    ADD, ["log", "export", "home/out.json"], ["song", "arrange", "ferry-bell", "--name", "new", "--tier", "plain"],
    ["song", "due", "ferry-bell", "+20"], ["sheet", "outside-in", "-o", "home/out.pdf"],
    ["click", "--tempo", "84", "--bars", "4", "-o", "home/out.wav"], ["song", "new", "home/songs/new.song.toml"],
)  # fmt: skip


def command(rng: Random, folder: Path) -> str | None:
    """A command on such a disk: what only reads answers; what writes is done whole, or says so and leaves nothing."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    after = rng.choice((0, 0, 100, 5000, rng.randrange(200_000)))
    name = rng.choice(("ENOSPC", "ENOSPC", "EDQUOT", "EIO"))
    words = rng.choice((*READS, *WRITES))
    said = start(words, folder, env=environment(home, after, name))
    found = fault(said, codes=(0,) if words in READS else (0, 1))
    if (
        not found
        and said.code == 1
        and name != "EIO"
        and not any(w in said.err for w in ("full", "space", "room", "quota"))
    ):
        found = f"it does not say that the disk is full: {said.err.strip()[:200]}"
    if not found and words == ADD:
        rows = homes.rows_of(home / "ledger.sqlite3")
        more = sum((rows - before.rows).values()) if rows and before.rows else 0
        if (said.code == 0) != (more == 3):
            found = f"exit code {said.code}, and {more} rows of 3 are in the ledger"
    out = next((folder / w for w in words if w.startswith("home/")), None)
    if not found and out is not None and out.exists() != (said.code == 0):
        found = f"exit code {said.code}, and {out.name} is {'there' if out.exists() else 'not there'}"
    arranged = ("songs/ferry-bell.song.toml",) if "arrange" in words and said.code == 0 else ()
    found = homes.first(found, before.lost(arranged), homes.parts(folder), homes.unsound(home / "ledger.sqlite3"))
    return found and f"{found} ({os.strerror(getattr(errno, name))} after {after} bytes)"


def stage(rng: Random, folder: Path) -> str | None:
    """The disk fills while it plays: it goes on, says so, and ends with exit code 1 where something is not written."""
    home = homes.make_home(folder)
    before = homes.keep(home)
    env = environment(home, rng.choice((0, rng.randrange(150_000))), rng.choice(("ENOSPC", "EIO")))
    with rig.coach(folder, "drill", "two-four-answer", "--tempo", "400", env=env) as app:
        if not app.watch(40 * slack(), lambda: app.passes_told() >= 1):
            return f"it never played a pass: {app.seen[-200:]!r}"
        app.watch(rng.uniform(0, 3))
        app.press("\x11")
        if not app.watch(15 * slack(), app.ended):
            return "ctrl-q did not end it"
        told = app.passes_told()
    written = max(map(len, rig.passes_written(home).values()), default=0)
    found = homes.first(before.lost(("settings.toml",)), homes.unsound(home / "ledger.sqlite3"), homes.parts(home))
    if app.code not in (0, 1):
        found = found or f"exit code {app.code}"
    if written < told and app.code == 0:
        found = found or f"{told} passes were told, {written} are written, and the exit code is 0"
    if written < told and "could not be written" not in app.seen[-2000:]:
        found = found or f"{written} of {told} passes are written, and nothing says so at the end"
    return found


KINDS = (Kind("disk", command, real=True, needs=("cc",)), Kind("disk-stage", stage, real=True, needs=("cc",)))

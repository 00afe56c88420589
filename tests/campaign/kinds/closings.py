"""Windows that are closed, hang, stand still or trickle while it plays: the sound ends, and so does the process."""

from __future__ import annotations

import os
import signal
import termios
import time
from contextlib import nullcontext
from pathlib import Path
from random import Random

from tests.campaign import homes, rig
from tests.campaign.kind import Kind, slack

SILENT_S, ENDED_S = 0.5, 3.0
ON_THE_WIRE_S = 0.25  # what the sound server still holds when the player stops
TRICKLE = 2500  # bytes a second
ENDS = ("window closed", "SIGTERM", "SIGHUP")


def _closing(rng: Random, folder: Path, sounding: bool) -> str | None:
    home = homes.make_home(folder)
    terminal, end = rng.choice(("read on", "not read", "not read", "stopped", "trickling")), rng.choice(ENDS)
    with (
        rig.sound_server(folder) if sounding else nullcontext(None) as wire,
        rig.coach(folder, "drill", "two-four-answer", "--tempo", "400", env=wire.env if wire else None) as app,
    ):
        if not app.watch(40 * slack(), lambda: app.passes_told() >= 1):
            return f"it never played a pass: {app.seen[-200:]!r}"
        app.watch(rng.uniform(0, 1.5))
        if wire and not app.watch(10 * slack(), lambda: wire.last_sound() > 0):
            return "nothing was heard on the sound server"
        _hold(app, terminal, rng.choice((0.05, 0.2, 1.0, 3.0)))
        told = app.passes_told()
        begun = time.monotonic()
        app.hang_up() if end == "window closed" else app.kill(signal.SIGTERM if end == "SIGTERM" else signal.SIGHUP)
        limit = ENDED_S * slack()
        while not app.ended() and time.monotonic() - begun < limit:
            _hold(app, terminal, 0.05)
        took = time.monotonic() - begun
        what = f"terminal {terminal}, then {end}"
        found = None if app.ended() else f"{what}: the process has not ended after {took:.1f} s"
        if wire:
            time.sleep(max(0.0, begun + SILENT_S * slack() + ON_THE_WIRE_S + 0.3 - time.monotonic()))
            after = wire.last_sound() - begun
            if after > SILENT_S * slack() + ON_THE_WIRE_S:
                found = f"{what}: it sounds {after:.1f} s later" + (f"; {found}" if found else "")
    written = max(map(len, rig.passes_written(home).values()), default=0)
    lost = f"{what}: {told} passes were told and {written} are in the ledger" if written < told else None
    return homes.first(found, homes.unsound(home / "ledger.sqlite3"), lost, homes.parts(home))


def _hold(app: rig.Coach, terminal: str, seconds: float) -> None:
    """Let so much time go by on such a terminal."""
    if terminal == "read on" and app.open:
        app.watch(seconds)
        return
    if terminal == "stopped" and app.open:
        try:
            end = os.open(f"/proc/{app.pid}/fd/0", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            termios.tcflow(end, termios.TCOOFF)
            os.close(end)
        except OSError:  # it has just gone
            pass
    until = time.monotonic() + seconds
    while time.monotonic() < until and not app.ended():
        if terminal == "trickling" and app.open:
            app.raw += os.read(app.terminal.fd, TRICKLE // 50)
        time.sleep(0.02)


def silent(rng: Random, folder: Path) -> str | None:
    """Without a sound server."""
    return _closing(rng, folder, sounding=False)


def sounding(rng: Random, folder: Path) -> str | None:
    """With one, on whose wire one listens."""
    return _closing(rng, folder, sounding=True)


KINDS = (
    Kind("closing", silent, alone=True, real=True),
    Kind("closing-sounding", sounding, alone=True, real=True, needs=("pulseaudio", "parec")),
)

"""Waiting until an app has done what it was asked, seen in its own queues and threads and not in the processor's clock.

Textual's own waiting takes an app that uses no processor for idle. On a machine with much else to do an app that is
only kept waiting looks just the same, and a test reads the page before the key has done its work.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any
from unittest.mock import patch

from textual.app import App
from textual.pilot import Pilot

PATIENCE_S = 60.0
# Workers that last as long as the evening, and those that a key may stop: a test waits for what comes of them.
GOES_ON = ("session", "write", "sound")


def _unfinished(app: App[Any]) -> str:
    """What the app has still to do, or nothing."""
    for worker in app.workers:
        if not worker.is_finished and worker.group not in GOES_ON:
            return f"a worker ({worker.group}, {worker.name})"
    screen = app.screen
    draft = getattr(screen, "draft", None)
    if draft is not None and draft.busy:
        return "a worker (draft)"
    for pump in (app, *app.screen_stack, *screen.walk_children()):
        if not pump._is_mounted:
            return f"{pump} to be mounted"
        if pump.message_queue_size or pump._next_callbacks:
            return f"a message to {pump}"
    if screen._layout_required or screen._repaint_required or screen._dirty_widgets or screen._callbacks:
        return f"{screen} to be drawn"
    return ""


async def quiet(pilot: Pilot[Any]) -> None:
    """Wait until nothing is left to do, twice in a row: no message, no worker, nothing to mount or to draw."""
    app = pilot.app
    end, in_a_row = time.monotonic() + PATIENCE_S, 0
    while in_a_row < 2 and app.is_running and not app._exit and app._exception is None:
        await pilot.pause(0)
        left = _unfinished(app) if app.is_running and app.screen_stack else ""
        in_a_row = 0 if left else in_a_row + 1
        assert time.monotonic() < end, f"waited {PATIENCE_S:.0f} s in vain: the app still has {left}"
        if left.startswith("a worker"):
            await asyncio.sleep(0.002)  # leave the processor to its thread


async def until(pilot: Pilot[Any], fact: Callable[[], object], what: str = "") -> None:
    """Let the app work until something is so; the sentence says what was waited for."""
    end = time.monotonic() + PATIENCE_S
    while not fact():
        assert pilot.app._exception is None, f"the app failed; waited for {what or fact}"
        assert time.monotonic() < end, f"waited {PATIENCE_S:.0f} s in vain for {what or fact}"
        await pilot.pause(0.005)


async def press(pilot: Pilot[Any], *keys: str) -> None:
    """Press keys one after the other; each has done all its work before the next."""
    for key in keys:
        with patch("textual.app.wait_for_idle", _go_on):
            await pilot.press(key)
        await quiet(pilot)


async def _go_on(min_sleep: float = 0, max_sleep: float = 0) -> None:
    """Instead of a look at the processor's clock: `quiet` comes after."""
    await asyncio.sleep(0)


@asynccontextmanager
async def running(app: App[Any], size: tuple[int, int]) -> AsyncIterator[Pilot[Any]]:
    """The app on a screen of `size` (columns, lines) that only a test sees, drawn and waiting for keys."""
    async with app.run_test(size=size, notifications=True) as pilot:
        await quiet(pilot)
        yield pilot

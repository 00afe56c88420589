"""Writes to the ledger on a thread of its own, in order, so that no disk ever holds up the screen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import TYPE_CHECKING

from coach.errors import CoachError

if TYPE_CHECKING:
    from coach.practice.ledger import Ledger

Deed = Callable[["Ledger"], object]


class Scribe:
    """Deeds are done one after another; each is on the disk before the next begins.

    on_trouble is called on the scribe's thread with one sentence when a deed fails; the scribe goes on.
    """

    def __init__(self, path: Path, on_trouble: Callable[[str], None]) -> None:
        self._path = path
        self._on_trouble = on_trouble
        self._deeds: SimpleQueue[Deed | None] = SimpleQueue()
        self._thread = Thread(target=self._work, name="scribe", daemon=True)
        self._thread.start()

    def write(self, deed: Deed) -> None:
        """Have `deed` done soon; returns at once."""
        self._deeds.put(deed)

    def close(self, limit_s: float = 5.0) -> None:
        """Wait until all is written, at most `limit_s` seconds."""
        self._deeds.put(None)
        self._thread.join(limit_s)

    def _work(self) -> None:
        ledger: Ledger | None = None
        while (deed := self._deeds.get()) is not None:
            try:
                if ledger is None:
                    # Only now: the first page need not wait for SQLite.
                    from coach.practice.ledger import Ledger

                    ledger = Ledger(self._path)
                deed(ledger)
            except CoachError as error:
                self._on_trouble(str(error))
            except Exception as error:  # a thread has nobody above it to tell
                self._on_trouble(f"the ledger could not be written ({error})")
        if ledger is not None:
            ledger.close()

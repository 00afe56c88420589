"""Writes to the ledger on a thread of its own, in order, so that no disk ever holds up the screen."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Thread
from typing import TYPE_CHECKING

from coach.errors import BadInput, CoachError

if TYPE_CHECKING:
    from coach.log.ledger import Ledger

Deed = Callable[["Ledger"], object]


class Scribe:
    """Deeds are done one after another; each is on the disk before the next begins.

    A deed that the file or another coach stands in the way of is kept and tried again before the next one, in order,
    and a last time on closing. on_trouble is called on the scribe's thread with one sentence, the same one only once.
    """

    def __init__(self, path: Path, on_trouble: Callable[[str], None]) -> None:
        self._path = path
        self._on_trouble = on_trouble
        self._deeds: SimpleQueue[Deed | Event | None] = SimpleQueue()
        self._kept: deque[Deed] = deque()
        self._ledger: Ledger | None = None
        self._said: set[str] = set()
        self._thread = Thread(target=self._work, name="scribe", daemon=True)
        self._thread.start()

    def write(self, deed: Deed) -> None:
        """Have `deed` done soon; returns at once."""
        self._deeds.put(deed)

    def wait(self, limit_s: float = 2.0) -> None:
        """Wait until all that was given so far has been done or kept, at most `limit_s` seconds; not on the screen's
        own thread."""
        done = Event()
        self._deeds.put(done)
        done.wait(limit_s)

    def close(self, limit_s: float = 5.0) -> str:
        """Wait until all is written, at most `limit_s` seconds; "" or a sentence about what is not."""
        self._deeds.put(None)
        self._thread.join(limit_s)
        left = len(self._kept)
        return f"{left} {'entry' if left == 1 else 'entries'} could not be written to {self._path}." if left else ""

    def _work(self) -> None:
        while (deed := self._deeds.get()) is not None:
            if isinstance(deed, Event):
                deed.set()
                continue
            self._kept.append(deed)
            self._write()
        self._write()
        if self._ledger is not None:
            self._ledger.close()

    def _write(self) -> None:
        """Write what is kept, until something stands in the way."""
        while self._kept:
            try:
                if self._ledger is None:
                    # Only now: the first page need not wait for SQLite.
                    from coach.log.ledger import Ledger

                    ledger = Ledger(self._path)
                    if ledger.unwritable is not None:  # opened anew with the next entry: there may be room by then
                        ledger.close()
                        raise ledger.unwritable
                    self._ledger = ledger
                self._kept[0](self._ledger)
            except CoachError as error:
                self._say(str(error))
                if self._ledger is None or not isinstance(error, BadInput):
                    return
            except Exception as error:  # a thread has nobody above it to tell
                self._say(f"the ledger could not be written ({error})")
            self._kept.popleft()

    def _say(self, sentence: str) -> None:
        if sentence not in self._said:
            self._said.add(sentence)
            self._on_trouble(sentence)

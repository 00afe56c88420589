"""The terminal's letters: what it cannot show gets a stand-in, and what it sends that is no letter ends nothing."""

from __future__ import annotations

import sys
from codecs import IncrementalDecoder, getincrementaldecoder
from collections.abc import Callable
from functools import partial


def letters() -> str:
    """The encoding of the terminal's letters, as the locale says it."""
    return getattr(sys.__stdout__, "encoding", None) or "utf-8"


def hear_every_byte() -> None:
    """Have the screen library read keys in the terminal's own letters and pass over bytes that are none of them.

    It takes all terminals for UTF-8, and its reader of keys ends with the first byte that is not: a letter with an
    accent typed elsewhere, or a disturbed line.
    """
    try:
        from textual.drivers import linux_driver
    except ImportError:  # another system, with a reader of its own
        return

    def decoder(_: str) -> Callable[[], IncrementalDecoder]:
        return partial(getincrementaldecoder(letters()), errors="ignore")

    linux_driver.__dict__["getincrementaldecoder"] = decoder

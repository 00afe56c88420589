"""Silence from outside: all that sounds, at once, whatever the thread that began it is doing.

An engine, and what sends its notes on, stands here from its start to its end. Any thread may call `hush` or `cut`;
neither waits for anything.
"""

from __future__ import annotations

from threading import Lock
from typing import Protocol


class Sounding(Protocol):
    """Something that sounds."""

    def stop(self, *, wait: bool) -> None:
        """Fade out and end; without `wait` it returns at once."""

    def cut(self) -> None:
        """Not a sample and not a note more, if the fading has not come to it; returns at once."""


_SOUNDING: set[Sounding] = set()
_LOCK = Lock()


def begins(one: Sounding) -> None:
    """`one` sounds from now on."""
    with _LOCK:
        _SOUNDING.add(one)


def ends(one: Sounding) -> None:
    """`one` is quiet; harmless when it was so already."""
    with _LOCK:
        _SOUNDING.discard(one)


def sounds() -> bool:
    """True while anything sounds, or is played where no device takes the sound."""
    return bool(_SOUNDING)


def hush() -> None:
    """Fade out all that sounds."""
    for one in _now():
        one.stop(wait=False)


def cut() -> None:
    """Cut off what `hush` has not ended within a moment."""
    for one in _now():
        one.cut()


def _now() -> tuple[Sounding, ...]:
    with _LOCK:
        return tuple(_SOUNDING)

"""What the player wishes of today's plan: a value the planner obeys, written by whoever lets the player say it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Wishes:
    """Drills by id. A swap: (what goes, what comes in its place). `minutes` stand before those asked for otherwise."""

    pinned: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    swapped: tuple[tuple[str, str], ...] = ()
    minutes: int | None = None

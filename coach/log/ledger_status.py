"""What can be seen of the ledger without opening it: whether there is one, and what the player should know of it."""

from __future__ import annotations

import os
from pathlib import Path

from coach.errors import CoachError, reason
from coach.files.reading import is_there


def begun(path: Path) -> bool:
    """True where there is a ledger file, False where none was begun. Raises CoachError where that cannot be told."""
    return is_there(path, "a ledger file")


def glance(path: Path) -> str:
    """What the player should know of the ledger before anything is written in it, in a sentence; else ""."""
    try:
        if is_empty(path):
            what = "this ledger is empty (0 bytes) and is begun anew"
            return str(CoachError(what, where=str(path), mend="if something was in it, put a copy of it back"))
        return "" if may_be_written(path) else str(not_allowed(path))
    except CoachError as error:
        return str(error)
    except OSError as error:
        return str(CoachError(f"this cannot be looked at ({reason(error)})", where=str(path)))


def is_empty(path: Path) -> bool:
    """True for a ledger file of 0 bytes, which opening it begins anew: a copy that went wrong looks like that."""
    return begun(path) and path.stat().st_size == 0


def may_be_written(path: Path) -> bool:
    """False where the player has no right to write the ledger, or the files that lie beside it while it is open."""
    real = Path(os.path.realpath(path))
    folder = next((place for place in real.parents if place.exists()), real.parent)
    return os.access(folder, os.W_OK | os.X_OK) and (not real.exists() or os.access(real, os.W_OK))


def not_allowed(path: Path) -> CoachError:
    """The error for a ledger that the player has no right to write."""
    what = "the ledger may not be written, so what you play now is not written down"
    return CoachError(what, where=str(path), mend="change its permissions, or set COACH_HOME to another place")

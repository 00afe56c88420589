"""Where things are: what the player owns, and what is shipped with the program.

COACH_HOME=DIR puts everything the player owns under DIR; without it the platform's usual user folder serves.
Nothing is created by asking; whoever writes makes the folder.
"""

from __future__ import annotations

import os
from pathlib import Path

from coach.errors import BadInput

_PACKAGE = Path(__file__).resolve().parent
_SHIPPED = _PACKAGE / "_data"


def shipped(name: str) -> Path:
    """The shipped folder `patterns` or `shared`: inside the wheel when installed, beside the package in a checkout."""
    beside = _PACKAGE.parent / name
    return beside if (_PACKAGE.parent / "pyproject.toml").exists() and beside.is_dir() else _SHIPPED / name


def home() -> Path:
    """The player's own folder. Raises BadInput when COACH_HOME names a user there is not."""
    chosen = os.environ.get("COACH_HOME")
    if chosen:
        try:
            return Path(chosen).expanduser()
        except RuntimeError:
            raise BadInput(f"COACH_HOME is '{chosen}', and there is no such user", mend="name a folder") from None
    from platformdirs import user_data_path  # only needed here: keeps `coach --help` quick

    return user_data_path("steady-thumb", appauthor=False)


def patterns() -> Path:
    """The player's own pattern files."""
    return home() / "patterns"


def songs() -> Path:
    """The player's own song files."""
    return home() / "songs"


def ledger() -> Path:
    """The ledger of takes."""
    return home() / "ledger.sqlite3"


def settings() -> Path:
    """The settings file."""
    return home() / "settings.toml"


def log() -> Path:
    """What sound libraries print while they look for devices, and the tail of a crash."""
    return home() / "coach.log"

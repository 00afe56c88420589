"""A cache of the drills that song files give, renewed when a file changes, so that a plan need not read every song.

One JSON file that may be thrown away at any time: what is missing, damaged or of another stamp is made anew.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import Any

from coach.drills.drill_id import Kind
from coach.drills.pattern_drills import Drill
from coach.errors import CoachError
from coach.files.reading import files_in, read_ordinary
from coach.files.writing import new_file

LAYOUT = 2
"""Raise it whenever drills are made from songs in another way: older files are then made anew."""


def cache_path(ledger: Path) -> Path:
    """Where the song drills lie that belong to a ledger."""
    return ledger.with_name(ledger.stem + ".songdrills.json")


def make_stamp(*folders: Path) -> str:
    """A text that changes when a TOML file in one of the folders does: how many there are, and the latest change."""
    times = []
    for folder in folders:
        for file in files_in(folder, ".toml")[0]:
            with suppress(OSError):  # a link that leads nowhere
                times.append(file.stat().st_mtime_ns)
    return f"{LAYOUT}/{len(times)}/{max(times, default=0)}"


class SongDrillCache:
    """The drills of song files. `stamp` is of all else that they are made from: the patterns."""

    def __init__(self, path: Path, stamp: str) -> None:
        self.path = path
        self.stamp = stamp
        self._rows: dict[str, dict[str, Any]] = {}
        self._changed = False
        with suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
            digest, _, body = read_ordinary(path).partition(b"\n")
            kept = json.loads(body)
            if digest == _digest(body) and kept["stamp"] == stamp:  # one changed byte may still be JSON
                self._rows = {name: row for name, row in kept["songs"].items() if isinstance(row, dict)}

    def of(self, file: Path, make: Callable[[], tuple[Drill, ...]]) -> tuple[Drill, ...]:
        """The drills of a song's file, made by `make` where they are not known or the file has changed."""
        try:
            stat = file.stat()
            mark = f"{stat.st_mtime_ns}/{stat.st_size}"
        except OSError:
            return ()
        row = self._rows.get(str(file))
        if row is not None and row.get("mark") == mark:
            with suppress(ValueError, KeyError, TypeError, CoachError):
                return tuple(_drill(drill_row) for drill_row in row["drills"])
        made = make()
        self._rows[str(file)] = {"mark": mark, "drills": [_row(drill) for drill in made]}
        self._changed = True
        return made

    def save(self) -> None:
        """Write down what was made anew; where that cannot be, it is made again next time."""
        if not self._changed or not self.path.parent.is_dir():
            return
        rows = {name: row for name, row in self._rows.items() if Path(name).exists()}
        with suppress(CoachError), new_file(self.path, "the drills of songs", force=True) as out:
            body = json.dumps({"stamp": self.stamp, "songs": rows}, ensure_ascii=False).encode("utf-8")
            out.write(_digest(body) + b"\n" + body)
        self._changed = False


def _digest(body: bytes) -> bytes:
    return sha256(body).hexdigest().encode()


def _row(drill: Drill) -> dict[str, Any]:
    return {**asdict(drill), "slots_per_beat": str(drill.slots_per_beat), "due": None}


def _drill(row: dict[str, Any]) -> Drill:
    return Drill(**{**row, "kind": Kind(row["kind"]), "slots_per_beat": Fraction(row["slots_per_beat"])})

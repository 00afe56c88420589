"""A player's home to do harm to, and a look at it afterwards that trusts nothing of the program."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections import Counter
from collections.abc import Collection
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

PATTERN = """# My own, do not lose.
title = "Two and a pinch"
about = "Thumb on one and three, index between, a pinch on one."
meter = "4/4"
slots = 4
feel = 0.6
tags = ["plain"]
grows_from = "thumb-root-and-alternate"
chords = "C | Am"
[[bars]]
p = "r . a ."
i = ". 3 . 3"
m = "2! . (2) 2@3"
"""
SONG = """# Written at the ferry, do not lose this line.
title = "Ferry Bell"
key = "G"
meter = "4/4"
tempo = 88
original = { key = "Bb", tempo = 100 }
voice = { low = "A2", high = "D5" }
order = ["Verse", "Verse", "Ending"]

[parts.Verse]
bars = [
  { chords = "G", words = "Ring the|fer- ry|bell,", tune = "D4:1/2 D4:1/2 G4:1/2 G4:1/2 B4:2 ," },
  { chords = "C D" },
]

[parts.Ending]
bars = [{ chords = "G", hold = true }]

[shapes]
Em = "022000"

[arrangements.plain]
pattern = "outside-in"
capo = 2
singing = "thumb"
by_chord = { D = "inside-out" }
shapes = { D = "xx0232" }
"""
SETTINGS = """# Mine: louder click for the kitchen.
minutes = 25
click_volume = 0.9  # loud
turn_minutes = 4
voice = "A2-D4"
lamp = "on the left"
[keys]
stumble = "x"
"""
DRILLS = ("thumb-on-the-beat", "outside-in", "two-four-answer", "pinch-on-one")
TABLES = ("takes", "passes", "stumbles", "wholes", "verdicts", "notes")


def make_home(folder: Path, *, takes: int = 12) -> Path:
    """`folder/home` with a pattern, a song, settings and a ledger of so many takes; none: no ledger."""
    home = folder / "home"
    (home / "patterns").mkdir(parents=True)
    (home / "songs").mkdir()
    (home / "patterns" / "mine.toml").write_text(PATTERN)
    (home / "songs" / "ferry-bell.song.toml").write_text(SONG)
    (home / "settings.toml").write_text(SETTINGS)
    if takes:
        (home / "ledger.sqlite3").write_bytes(ledger_bytes(takes))
    return home


@cache
def ledger_bytes(takes: int) -> bytes:
    """A ledger file: takes of the latest weeks with passes, stumbles, verdicts, a note; on one day always the same."""
    from coach.log.ledger import Ledger

    evening = datetime.now().astimezone().replace(hour=18, minute=0, second=0, microsecond=0)

    def moment(days: float, seconds: float = 0) -> tuple[str, str]:
        at = evening - timedelta(days=days) + timedelta(seconds=seconds)
        return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}.000000Z", f"{at:%Y-%m-%d}"

    with tempfile.TemporaryDirectory(prefix="coach-campaign-") as place:
        path = Path(place) / "ledger.sqlite3"
        Ledger(path).close()  # its tables; what is in them is written here
        with closing(sqlite3.connect(path)) as db, db:
            for k in range(takes):
                begun, id_, bpm = 1 + k // 2 - k % 2 / 48, f"{k:032x}", 70.0 + k
                db.execute("INSERT INTO takes VALUES (?, ?, ?, ?, ?, 'full', 'play')",
                           (id_, *moment(begun), DRILLS[k % len(DRILLS)], bpm))  # fmt: skip
                for n in range(1, 5):
                    db.execute("INSERT INTO passes VALUES (?, ?, ?, ?, 4, ?, ?, 'full')",
                               (id_, n, moment(begun, 14 * n)[0], bpm, int(n == 3), int(n != 3)))  # fmt: skip
                db.execute(
                    "INSERT INTO stumbles VALUES (?, ?, ?, 1, '3/2', ?, 3)", (id_, id_, moment(begun, 40)[0], bpm)
                )
                word = ("held", "shaky", "flowing")[k % 3]
                db.execute("INSERT INTO verdicts VALUES (?, ?, ?, ?)", (id_, id_, moment(begun, 60)[0], word))
            db.execute("INSERT INTO notes VALUES ('a', ?, ?, 'heard', 'outside-in', NULL)", moment(2))
        return path.read_bytes()


def rows_of(ledger: Path) -> Counter[tuple[object, ...]] | None:
    """Every row of every table of a ledger nobody has open, read from a copy; None where it cannot be read."""
    with tempfile.TemporaryDirectory(prefix="coach-campaign-copy-") as place:
        copy = Path(place) / "copy"
        for ending in ("", "-wal", "-journal"):
            side = ledger.with_name(ledger.name + ending)
            if side.is_file():
                shutil.copy(side, copy.with_name(copy.name + ending))
        try:
            with closing(sqlite3.connect(copy)) as db:
                db.text_factory = bytes
                db.set_progress_handler(lambda: 1, 50_000_000)  # a table may be a view without end
                kinds = dict(db.execute("SELECT name, type FROM sqlite_master").fetchall())
                real = [t for t in TABLES if kinds.get(t.encode()) == b"table"]
                return Counter((t, *row) for t in real for row in db.execute(f"SELECT * FROM {t}"))
        except sqlite3.Error:
            return None


def unsound(ledger: Path) -> str | None:
    """What SQLite's own check says against a ledger, None where it is sound or not there."""
    if not ledger.exists():
        return None
    with closing(sqlite3.connect(ledger)) as db:
        said = db.execute("PRAGMA integrity_check").fetchall()
    return None if said == [("ok",)] else f"integrity_check: {said[0][0]}"


@dataclass(frozen=True)
class Kept:
    """What of the player's there was before: files as bytes by their path in the home, the ledger as its rows."""

    home: Path
    files: dict[str, bytes]
    rows: Counter[tuple[object, ...]] | None

    def lost(self, but: Collection[str] = ()) -> str | None:
        """What of it is lost or changed now, None for nothing. Files in `but` may have been changed, not lost."""
        for name, before in self.files.items():
            path = self.home / name
            if not path.is_file():
                return f"{name} is gone"
            if name not in but and path.read_bytes() != before:
                return f"{name} was changed"
        ledger = self.home / "ledger.sqlite3"
        if self.rows is None:
            return None
        after = rows_of(ledger) if ledger.exists() else None
        if after is None:
            return "the ledger cannot be read any more"
        gone = self.rows - after
        return f"{sum(gone.values())} rows of the ledger are lost, such as {next(iter(gone))!r:.200}" if gone else None


def keep(home: Path) -> Kept:
    """A look at a home before harm is done. A ledger that cannot be read as rows is kept as bytes."""
    ledger = home / "ledger.sqlite3"
    rows = rows_of(ledger) if ledger.is_file() and ledger.stat().st_size else None
    mine = [p for p in home.rglob("*") if p.is_file() and (p.suffix == ".toml" or p == ledger) and p.stat().st_size]
    if rows is not None:
        mine.remove(ledger)
    return Kept(home, {str(p.relative_to(home)): p.read_bytes() for p in mine}, rows)


def parts(folder: Path) -> str | None:
    """The half-written files that lie about, None for none."""
    found = [p.name for p in folder.rglob("*.part")]
    return f"half-written files are left: {', '.join(sorted(found)[:3])}" if found else None


def first(*found: str | None) -> str | None:
    """The first failure of several looks."""
    return next((one for one in found if one), None)

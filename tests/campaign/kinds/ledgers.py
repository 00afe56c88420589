"""Hostile ledgers: the player's own after a bad disk or a bad program, another's taken in, and the day's caches."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from random import Random

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind

COLUMNS = {
    "takes": ("id", "at", "local_day", "drill", "tempo", "layer", "mode"),
    "passes": ("take", "number", "at", "tempo", "bars", "stumbles", "clean", "layer"),
    "stumbles": ("take", "at", "bar", "beat", "tempo", "pass_no"),
    "verdicts": ("take", "at", "verdict"),
    "notes": ("at", "local_day", "kind", "text", "take"),
}
ODD_CELLS = (
    "9999-12-31T23:59:59.999999Z", "0001-01-01T00:00:00.000000Z", "2026-13-45T99:99:99.000000Z", "2026-02-30",
    "9999-12-31",     "0001-01-01",
    "2100-01-01T00:00:00.000000Z", "", "x", b"\xff\xfe\x00", 0, -1, 2**62, 1e308, -1.0, 1e-300, None,
    "held\0", "flowing ", "a" * 100_000, "1/0", "-3/2", "\x1b[31m", "\ud7ff", "pain reported",
    "outside-in/plain/part/X",
)  # fmt: skip
VIEW = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT {} FROM n"


def spoil(rng: Random, path: Path) -> str:
    """Spoil a ledger file in one way; tells which."""
    way = rng.choice(("cells", "cells", "cells", "bytes", "bytes", "cut", "empty", "view", "schema", "version", "many"))
    raw = path.read_bytes()
    if way == "bytes":
        path.write_bytes(raw[:100] + mutate.blind(rng, raw[100:]) if rng.random() < 0.6 else mutate.blind(rng, raw))
    elif way == "cut":
        path.write_bytes(raw[: rng.randrange(len(raw))])
    elif way == "empty":
        path.write_bytes(b"")
    else:
        with closing(sqlite3.connect(path, isolation_level=None)) as db, suppress(sqlite3.Error):
            _spoil_inside(rng, db, way)
    return way


def _spoil_inside(rng: Random, db: sqlite3.Connection, way: str) -> None:
    db.execute("PRAGMA ignore_check_constraints = ON")
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    table = rng.choice(sorted(COLUMNS))
    if way == "cells":
        for _ in range(rng.choice((1, 1, 1, 3))):
            column, cell = rng.choice(COLUMNS[table]), rng.choice(ODD_CELLS)
            db.execute(f"UPDATE {table} SET {column} = ? WHERE rowid % ? = 1", (cell, rng.choice((1, 3, 5))))
    elif way == "view":
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        db.execute(f"DROP TABLE {table}")
        db.execute(f"CREATE VIEW {table} AS " + VIEW.format(", ".join(f"i AS {c}" for c in columns)))
    elif way == "schema":
        what = rng.choice(
            (f"DROP TABLE {table}", f"ALTER TABLE {table} RENAME COLUMN {COLUMNS[table][1]} TO lamp",
             "DROP INDEX takes_by_time",
             f"CREATE TRIGGER mean AFTER INSERT ON {table} BEGIN SELECT RAISE(ABORT, 'no'); END",
             f"CREATE TRIGGER mean AFTER INSERT ON {table} BEGIN DELETE FROM notes; DELETE FROM takes; END",
             f"ALTER TABLE {table} ADD COLUMN lamp TEXT NOT NULL DEFAULT 'x'", f"DELETE FROM {table}")
        )  # fmt: skip
        db.execute(what)
    elif way == "version":
        db.execute(f"PRAGMA {rng.choice(('user_version', 'application_id'))} = {rng.choice((0, 1, 3, -1, 2**31 - 1))}")
    else:
        day = f"2026-{rng.randrange(1, 13):02}-01"
        db.executemany(
            "INSERT INTO takes VALUES (hex(randomblob(16)), ?, ?, ?, 80.0, 'full', 'play')",
            [(f"{day}T00:00:00.{k:06}Z", day, rng.choice((*homes.DRILLS, "none", "last-boat/plain/part/Verse")))
             for k in range(3000)],
        )  # fmt: skip


def own(rng: Random, folder: Path) -> str | None:
    """The player's ledger is spoilt: what can be told is told, and nothing that is there is lost."""
    home = homes.make_home(folder)
    way = spoil(rng, home / "ledger.sqlite3")
    before = homes.keep(home)
    for words in rng.sample(
        (["today"], ["log"], ["drills"], ["doctor"], [], ["log", "export", "out.csv"],
         ["log", "blank", "-o", "out.pdf"],
         ["song", "due", "last-boat", "+14"],
         ["log", "add", "--drill", "outside-in", "--tempo", "84", "--verdict", "held"]),
        2,
    ):  # fmt: skip
        said = call(words, folder, cpu_s=12)
        found = homes.first(fault(said), before.lost(), homes.parts(folder))
        # Cells that cannot be read are left out and told of; only a file that is no ledger stops what reads it.
        if not found and way == "cells" and words in (["today"], ["log"], ["drills"], []) and said.code:
            found = f"one row stops `coach {' '.join(words)}`: {said.err.strip()[:200]}"
        if found:
            return f"{found} (ledger spoilt: {way})"
    return None


def merge(rng: Random, folder: Path) -> str | None:
    """Another's spoilt ledger or export is taken in: refused in a sentence, or taken in and the coach goes on."""
    home = homes.make_home(folder, takes=rng.choice((0, 12)))
    other = folder / "other.sqlite3"
    other.write_bytes(homes.ledger_bytes(12))
    if rng.random() < 0.4:
        elsewhere = {"COACH_HOME": str(folder / "else")}
        (folder / "else").mkdir()
        other.rename(folder / "else" / "ledger.sqlite3")
        call(["log", "export", "other.json"], folder, env=elsewhere)
        other = folder / "other.json"
        document = json.loads(other.read_text())
        damaged = (
            json.dumps(mutate.tree(rng, document)) if rng.random() < 0.6 else mutate.text(rng, json.dumps(document))
        )
        other.write_bytes(damaged.encode("utf-8", "surrogatepass"))
        way = "json"
    else:
        way = spoil(rng, other)
    before, theirs = homes.keep(home), other.read_bytes()
    found = homes.first(fault(call(["log", "merge", other.name], folder, cpu_s=6), alone=True), before.lost())
    if not found and other.read_bytes() != theirs:
        found = "the other ledger was written to"
    for words in (["today"], ["log"], ["drills"]):
        found = found or fault(call(words, folder), codes=(0,))
    return found and f"{found} (other ledger: {way})"


def caches(rng: Random, folder: Path) -> str | None:
    """What is kept beside the ledger may be thrown away: spoilt, it changes no answer."""
    home = homes.make_home(folder)
    call(["song", "due", "last-boat", "+30"], folder)
    words = rng.choice((["today", "--json"], ["drills", "--json"]))
    right = call(words, folder)
    kept = [
        p
        for p in home.iterdir()
        if p.is_file() and p.suffix != ".toml" and p.name not in ("ledger.sqlite3", "coach.log")
    ]
    if not kept:
        return f"nothing was kept beside the ledger by {words}"
    spoilt = rng.choice(sorted(kept))
    spoilt.write_bytes(rng.choice((mutate.blind(rng, spoilt.read_bytes()), b"", b"{}", rng.randbytes(4096))))
    before = homes.keep(home)
    said = call(words, folder)
    other = None if said.out == right.out else f"another answer with {spoilt.name} spoilt"
    return homes.first(fault(said, codes=(0,)), before.lost(), other)


KINDS = (Kind("own-ledger", own, seconds=150), Kind("merge", merge, seconds=180), Kind("caches", caches, share=0.5))

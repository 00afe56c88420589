"""Ledgers with rows nobody can read: written past all rules by plain SQL, or with bytes changed in the file itself."""

import random
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.schema import COLUMNS

BAD_UTF8 = b"\xff\xfe\xc3("
AT, DAY = "2026-02-11T18:00:00.000000Z", "2026-02-11"
SOUND = {
    "takes": ["ID", AT, DAY, "two-lamps", 80.0, "full", "play"],
    "passes": ["TAKE", "N", AT, 80.0, 4, 0, 1, "full"],
    "stumbles": ["ID", "TAKE", AT, 2, "3/2", 80.0, 1],
    "wholes": ["TAKE", 8, 1],
    "verdicts": ["ID", "TAKE", AT, "held"],
    "notes": ["ID", AT, DAY, "rest taken", "", None],
}
UNDECODED = (BAD_UTF8, b"\xed\xa0\x80")  # written as texts
NUMBERS = (None, -1, 2**62, -(2**63), 1e308, float("inf"), -float("inf"), "many", b"\x00\x01", "", 10**9, 0.5, "1e999")
TEXTS = (None, b"blob", BAD_UTF8, "", " ", "a\nb", "x" * 5000, "\0", "a\0b", b"\xed\xa0\x80", "\u202e\u2028")
TIMES = (
    "9999-12-31T23:59:00.000000Z", "0001-01-02T00:00:00.000000Z", "1969-12-31T23:59:59.999999Z",
    "2026-02-30T18:00:00.000000Z", "2026-13-01T18:00:00.000000Z", "2026-02-11T24:00:00.000000Z",
    "2026-02-11T18:60:00.000000Z", "2026-02-11T18:00:61.000000Z", "2O26-02-11T18:00:00.000000Z",
    "2126-02-11T18:00:00.000000Z", "2026-02-11T18:00:00.000000Z\0 or so", "2026-02-11 18:00",
    "٢٠٢٦-02-11T18:00:00.000000Z",
)  # fmt: skip
DAYS = ("2026-02-30", "2926-02-11", "0001-01-01", "9999-12-31", "2026-2-11", "2026-02-15", "today", "20٢6-02-11")
BAD = {
    "id": TEXTS, "take": (*TEXTS, "nobody"), "at": (*TIMES, *TEXTS), "local_day": (*DAYS, *TEXTS), "drill": TEXTS,
    "tempo": (*NUMBERS, 0.0, 19.9, 400.1, -80.0), "layer": TEXTS, "mode": ("dance", "Play", "plax", *TEXTS),
    "number": NUMBERS, "bars": NUMBERS, "stumbles": NUMBERS, "clean": (2, -1, None, "yes", 0.5, b"\x01"),
    "bar": NUMBERS, "beat": ("1/0", "late", "3/", "9" * 5000, "1e999999", "٣/2", *TEXTS[:6]), "pass_no": NUMBERS,
    "verdict": ("hel", "heldd", "Held", "hold", *TEXTS), "kind": TEXTS, "text": (None, b"blob", BAD_UTF8, "\0"),
}  # fmt: skip
NOTES = (
    "[" * 50_000, "{" * 900, '["minutes", 1e400]', '["pin"]', '["due", "last-boat", "9999-12-31"]', "null", "0", '"x"',
    '["due", "x", "0001-01-01"]', '{"drill": [], "remedy": {}, "for": null}', "[1, 2", "1" * 5000, '["swap", null, 2]',
)  # fmt: skip


def played(path: Path, evenings: int = 12) -> int:
    """A ledger of sound evenings at `path`; gives how many takes it has."""
    begun = datetime.now(UTC) - timedelta(days=2 * evenings)
    with Ledger(path) as ledger:
        ledger.rows("PRAGMA synchronous = OFF")  # made for reading
        for n in range(evenings):
            at = begun + timedelta(days=2 * n)
            for drill in ("thumb-on-the-beat", "two-four-answer", "last-boat/plain/part/verse"):
                take = ledger.begin_take(drill, 70 + n, at=at)
                for k in range(4):
                    ledger.add_pass(take, k + 1, 70 + n, 4, int(k == n % 4), at=at)
                ledger.add_stumble(take, n % 4, "3/2", 70 + n, 1, at=at)
                ledger.give_verdict(take, "held", at=at)
            ledger.add_note("rest taken", at=at)
        ledger.add_whole_take("thumb-on-the-beat", 80, "held", 12, 1, begun)
        return len(ledger.takes())


def without_rules(path: Path) -> sqlite3.Connection:
    """A connection that writes whatever it is given: no checks, no triggers, no keys. Close it."""
    db = sqlite3.connect(path)
    db.execute("PRAGMA ignore_check_constraints = ON")
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    # NOT NULL is part of the table's own text.
    db.execute("PRAGMA writable_schema = ON")
    db.execute("UPDATE sqlite_master SET sql = replace(sql, 'NOT NULL', '') WHERE type = 'table'")
    db.commit()
    db.close()
    db = sqlite3.connect(path)
    db.execute("PRAGMA ignore_check_constraints = ON")
    return db


def hostile_rows(chance: random.Random, take: str) -> Iterator[tuple[str, list[object]]]:
    """One row for each bad value of each column of each table, sound but for that; then notes with strange texts."""
    number = 0
    for table, columns in COLUMNS.items():
        for place, column in enumerate(columns):
            for bad in BAD[column]:
                if table == "notes" and column == "take" and bad in (None, "nobody"):
                    continue  # a note may stand alone
                if (table, column) == ("passes", "at") and bad in TIMES and len(str(bad)) == 27 and str(bad).isascii():
                    continue  # nobody asks when a pass ended
                number += 1
                own = {"ID": f"{number:06}{chance.getrandbits(64):x}", "TAKE": take, "N": 1000 + number}
                row = [own.get(one, one) if isinstance(one, str) else one for one in SOUND[table]]
                if table == "wholes" and column != "take":
                    row[0] = f"nobody-{number}"
                row[place] = bad
                yield table, row
    for kind in NoteKind:
        for text in NOTES:
            number += 1
            yield "notes", [f"note-{number}", AT, DAY, kind, text, None]


def put(db: sqlite3.Connection, table: str, row: list[object]) -> bool:
    """Write a row; False where even a table without rules does not take it (an id that is there already)."""
    values = [("CAST(? AS TEXT)", one) if one in UNDECODED else ("?", one) for one in row]
    try:
        db.execute(f"INSERT INTO {table} VALUES ({', '.join(v for v, _ in values)})", [one for _, one in values])
    except sqlite3.IntegrityError:
        return False
    return True


def changed_rows(path: Path, chance: random.Random, count: int) -> None:
    """Change one byte in each of so many values of rows, whatever they were."""
    db = without_rules(path)
    for _ in range(count):
        table = chance.choice(list(COLUMNS))
        column = chance.choice(COLUMNS[table])
        found = db.execute(f"SELECT rowid, CAST({column} AS BLOB), typeof({column}) FROM {table}").fetchall()
        row, told, kind = chance.choice(found) if found else (0, None, "null")
        if not told:
            continue
        hurt = bytearray(told)
        hurt[chance.randrange(len(hurt))] ^= 1 << chance.randrange(8)
        as_ = "CAST(? AS TEXT)" if kind == "text" else "?"
        value = bytes(hurt) if kind == "text" else chance.choice([bytes(hurt), int.from_bytes(hurt[:7], "big")])
        try:
            db.execute(f"UPDATE {table} SET {column} = {as_} WHERE rowid = ?", (value, row))
        except sqlite3.IntegrityError:
            continue
    db.commit()
    db.close()


def changed_file(path: Path, chance: random.Random, count: int) -> None:
    """Change so many bytes of the file behind its first page."""
    told = bytearray(path.read_bytes())
    for _ in range(count):
        told[chance.randrange(4096, len(told))] = chance.randrange(256)
    path.write_bytes(told)

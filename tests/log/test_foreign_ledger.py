"""A ledger that came from somewhere else is only read, and whatever it holds, reading it comes to an end."""

from __future__ import annotations

import signal
import sqlite3
import struct
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from coach.errors import BadInput, CoachError
from coach.log import foreign_ledger
from coach.log.exchange import merge
from coach.log.ledger import Ledger
from coach.log.schema import COLUMNS

AT = "2026-03-01T19:00:00.000000Z"
ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT"
TAKE = ", ".join(f"x AS {name}" for name in COLUMNS["takes"])
COUNTING = {
    "a view": f"CREATE VIEW takes AS {ENDLESS} {TAKE} FROM n",
    "a view in capitals": f"CREATE VIEW TAKES AS {ENDLESS} {TAKE} FROM n",
    "a virtual table": "CREATE VIRTUAL TABLE takes USING fts5(id, at, local_day, drill, tempo, layer, mode)",
    "computed columns": "CREATE TABLE takes (id TEXT, at TEXT, local_day TEXT, drill TEXT AS (hex(zeroblob(100000))),"
    " tempo REAL, layer TEXT, mode TEXT)",
    "a column too few": "CREATE TABLE takes (id TEXT, at TEXT, local_day TEXT, tempo REAL, layer TEXT, mode TEXT)",
}


def ledger_at(path: Path, *changes: str) -> Path:
    """A ledger with one take, changed by someone who knows SQL."""
    with Ledger(path) as ledger:
        ledger.add_whole_take("two-lamps", 84, "held", 16, 2)
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = DELETE")
        db.execute("PRAGMA foreign_keys = OFF")
        for change in changes:
            db.execute(change)
    return path


@pytest.fixture
def mine(tmp_path: Path) -> Ledger:
    """The player's own ledger, with nothing in it."""
    return Ledger(tmp_path / "mine.sqlite3")


@pytest.mark.parametrize("what", COUNTING)
def test_what_is_no_plain_table_is_not_read(tmp_path: Path, mine: Ledger, what: str) -> None:
    """A view without end, a virtual table, computed columns under a name of ours: refused in a sentence."""
    other = ledger_at(tmp_path / "other.sqlite3", "DROP TABLE takes", COUNTING[what])
    before = other.read_bytes()
    with pytest.raises(CoachError, match="'takes' in it"):
        merge(mine, other)
    assert other.read_bytes() == before
    assert mine.takes() == []


def test_what_a_file_has_besides_is_left_alone(tmp_path: Path, mine: Ledger) -> None:
    """Views and triggers of other names are never asked: the take is taken over."""
    other = ledger_at(
        tmp_path / "other.sqlite3",
        f"CREATE VIEW all_of_it AS {ENDLESS} x FROM n",
        "CREATE TRIGGER more AFTER INSERT ON takes BEGIN INSERT INTO notes SELECT x, x, x, x, x, x FROM all_of_it; END",
    )
    assert merge(mine, other)["takes"] == 1


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("UPDATE takes SET drill = zeroblob(30)", "not a text or a number"),
        ("UPDATE takes SET drill = zeroblob(3000000)", "damaged|too big|too long"),
        ("UPDATE takes SET drill = hex(zeroblob(3000))", "too long"),
        ("UPDATE takes SET tempo = 9e999", "too large"),
    ],
)
def test_a_value_that_no_ledger_may_hold_is_refused(tmp_path: Path, mine: Ledger, change: str, says: str) -> None:
    """Bytes in the place of a name, a text of megabytes, an endless number: one sentence, nothing taken over."""
    other = ledger_at(tmp_path / "other.sqlite3", "DROP TRIGGER takes_no_update", change)
    with pytest.raises(CoachError, match=says):
        merge(mine, other)
    assert mine.takes() == []


@pytest.mark.parametrize(
    "changes",
    [
        ("DROP TABLE stumbles", f"CREATE VIEW stumbles AS {ENDLESS} x AS id, x AS take FROM n"),
        ("DROP TABLE notes", "CREATE VIRTUAL TABLE notes USING fts5(id, at, local_day, kind, text, take)"),
        (f"CREATE TRIGGER more AFTER INSERT ON takes BEGIN INSERT INTO wholes {ENDLESS} x, x, x FROM n; END",),
    ],
)
def test_a_ledger_of_ones_own_that_someone_changed_is_left_as_it_is(tmp_path: Path, changes: tuple[str, ...]) -> None:
    """What would go on for ever when it is read or written is refused in a sentence, and not a byte is changed."""
    path = ledger_at(tmp_path / "ledger.sqlite3", *changes)
    before = path.read_bytes()
    with pytest.raises(CoachError, match="did not make"):
        Ledger(path)
    assert path.read_bytes() == before


def test_an_empty_file_is_no_ledger(tmp_path: Path, mine: Ledger) -> None:
    """Nothing to take over is told: a copy that went wrong looks like that."""
    (tmp_path / "other.sqlite3").touch()
    with pytest.raises(BadInput, match="empty"):
        merge(mine, tmp_path / "other.sqlite3")


def maze(path: Path, wide: int = 200, deep: int = 17) -> Path:
    """A ledger whose table of takes is a tree of pages, each of which names the next one `wide` times: 200^17 rows out
    of a file of some dozen pages (sqlite.org/fileformat2.html#b_tree_pages)."""
    ledger_at(path)
    raw = bytearray(path.read_bytes())
    size = struct.unpack(">H", raw[16:18])[0]
    with closing(sqlite3.connect(path)) as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'takes'").fetchone()
    leaf = raw[(root - 1) * size : root * size]
    first = len(raw) // size + 1
    pages = [root, *range(first, first + deep)]
    for below in pages[1:]:
        cells = b"".join(struct.pack(">IB", below, n % 100 + 1) for n in range(wide))
        head = struct.pack(">BHHHBI", 5, 0, wide, size - len(cells), 0, below)
        pointers = b"".join(struct.pack(">H", size - len(cells) + 5 * n) for n in range(wide))
        page = (head + pointers).ljust(size - len(cells), b"\0") + cells
        above = pages[pages.index(below) - 1]
        raw[(above - 1) * size : above * size] = page.ljust(size, b"\0")
        raw.extend(bytes(max(0, below * size - len(raw))))
    raw[(pages[-1] - 1) * size : pages[-1] * size] = leaf
    raw[28:32] = struct.pack(">I", len(raw) // size)
    path.write_bytes(raw)
    return path


def test_pages_that_name_each_other_come_to_an_end(tmp_path: Path, mine: Ledger) -> None:
    """More rows than a file of its size can hold are not read to their end."""
    with pytest.raises(CoachError, match="damaged"):
        merge(mine, maze(tmp_path / "other.sqlite3"))
    assert mine.takes() == []


def test_a_file_that_keeps_the_reader_waiting_is_given_up(
    tmp_path: Path, mine: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After a while it is said that it took too long."""
    monkeypatch.setattr(foreign_ledger, "LIMIT_S", 0.0)
    monkeypatch.setattr(foreign_ledger, "_STEPS", 1)
    with pytest.raises(CoachError, match="given up"):
        merge(mine, ledger_at(tmp_path / "other.sqlite3"))


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_ctrl_c_ends_it_while_the_database_is_at_work(tmp_path: Path) -> None:
    """The reader inside SQLite hears the player: exit code 130, and nothing was taken over."""
    other = ledger_at(tmp_path / "other.sqlite3")
    code = (
        "import sys, sqlite3\n"
        "from coach.log import foreign_ledger as foreign\n"
        "real = foreign._columns\n"
        "def endless(db, table, where):\n"
        "    print('at work', flush=True)\n"
        f"    db.execute('{ENDLESS} count(*) FROM n').fetchone()\n"
        "    return real(db, table, where)\n"
        "foreign._columns = endless\n"
        "from coach.cli import main\n"
        "sys.exit(main(['log', 'merge', sys.argv[1]]))\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(other)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "at work\n"
        time.sleep(0.2)  # into the query; too early would be heard as well
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)
    finally:
        process.kill()
    assert (process.returncode, said) == (130, "\n")

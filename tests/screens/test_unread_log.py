"""A log with entries nobody can read, or in a damaged file: the coach opens, says so, and everything works."""

import random
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from tests.log.hostile_ledgers import changed_rows, hostile_rows, played, put, without_rules
from tests.screens.house import house
from tests.screens.test_pages import planned, words


@pytest.mark.parametrize("harm", ["rows", "bytes", "pages"])
async def test_the_coach_opens_and_says_what_is_wrong(tmp_path: Path, harm: str) -> None:
    """Today stands there with the plan and a sentence on the log; the progress page opens too."""
    path = tmp_path / "ledger.sqlite3"
    played(path)
    if harm == "rows":
        with Ledger(path) as ledger:
            take = ledger.takes()[0].id
        db = without_rules(path)
        for table, row in hostile_rows(random.Random(5), take):
            put(db, table, row)
        db.commit()
        db.close()
    elif harm == "bytes":
        changed_rows(path, random.Random(3), 30)
    else:
        with Ledger(path) as ledger:
            ((root,),) = ledger.rows("SELECT rootpage FROM sqlite_master WHERE name = 'stumbles'")
        told = bytearray(path.read_bytes())
        told[4096 * (root - 1) : 4096 * root] = b"\xff" * 4096
        path.write_bytes(told)
    async with house(tmp_path, (110, 60), minutes=20) as here:
        await planned(here)
        assert ("file is damaged" if harm == "pages" else "cannot be read") in words(here)
        await here.press("g")
        await here.on("ProgressPage")
        await here.quiet()
        assert "Error" not in words(here)

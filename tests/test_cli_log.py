"""`coach log` sums up the week, `coach drills` tells trouble and remedy, `coach today` obeys wishes and care."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from coach import cli
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.plan.wishes import SKIP, wish_text
from tests.screens.evenings import practise


@pytest.fixture
def played(coach_home: Path) -> Path:
    """A home with forty days of invented evenings up to now; the ledger's path."""
    coach_home.mkdir(exist_ok=True)
    practise(coach_home / "ledger.sqlite3", datetime.now().astimezone())
    return coach_home / "ledger.sqlite3"


def said(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command prints when all is well."""
    assert cli.main(words) == 0
    return capsys.readouterr().out


def test_the_log_ends_with_the_week(played: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Minutes, days and takes of seven days, after the takes; JSON has the takes alone."""
    lines = said(capsys, "log").splitlines()
    week = next(line for line in lines if line.startswith("This week: "))
    assert " minutes on " in week
    rows = json.loads(said(capsys, "log", "--json"))
    assert len(rows) == len([line for line in lines if line[:2] == "20"])


def test_an_empty_log_has_no_summary(capsys: pytest.CaptureFixture[str], coach_home: Path) -> None:
    """One sentence."""
    assert said(capsys, "log") == "Nothing was logged yet.\n"


def test_drills_tell_trouble_and_remedy(played: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two more fields for each drill, null where there is nothing to say; the text names them below the table."""
    rows = {row["drill"]: row for row in json.loads(said(capsys, "drills", "--json"))}
    assert rows["outside-in"]["trouble"].startswith("stumbles gather at bar 3, beat 2")
    assert rows["outside-in"]["remedy"].startswith("that corner alone")
    assert rows["waltz-bass-and-chord"]["trouble"] is rows["waltz-bass-and-chord"]["remedy"] is None
    assert "remedy: that corner alone" in said(capsys, "drills")


def test_today_leaves_out_what_was_left_out(played: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A drill left out on the screen is left out of `coach today` as well, which says so."""
    before = json.loads(said(capsys, "today", "--json"))
    gone = before["blocks"][1]["drill"]
    with Ledger(played) as ledger:
        ledger.add_note(NoteKind.WISH, wish_text(SKIP, gone))
    after = json.loads(said(capsys, "today", "--json"))
    assert gone not in {block["drill"] for block in after["blocks"]}
    assert any(note.startswith("Left out today, as you asked: ") for note in after["notes"])


def test_today_after_pain_has_no_blocks_and_tomorrow_few_minutes(
    played: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pain today: minutes 0, no blocks, the words. Pain yesterday: five minutes, however many were asked for."""
    with Ledger(played) as ledger:
        ledger.add_note(NoteKind.PAIN, "Outside in", None, datetime.now().astimezone() - timedelta(days=1))
        assert json.loads(said(capsys, "today", "--json", "--minutes", "45"))["minutes"] == 5
        ledger.add_note(NoteKind.PAIN, "Outside in")
    plan = json.loads(said(capsys, "today", "--json"))
    assert (plan["minutes"], plan["blocks"]) == (0, [])
    assert "doctor or a performing-arts clinician" in said(capsys, "today")


def test_a_blank_record_names_the_drills_of_the_day(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One page for a week, with today's drills, the four verdicts and the cautions; nothing is written over."""
    import pymupdf

    path = tmp_path / "record.pdf"
    plan = json.loads(said(capsys, "today", "--json"))
    made = json.loads(said(capsys, "log", "blank", "-o", str(path), "--json"))
    with pymupdf.open(path) as book:
        text = " ".join(book[0].get_text().split())
        assert made["pages"] == len(book) == 1
    assert all(block["title"] in text for block in plan["blocks"] if block["drill"])
    assert all(word in text for word in ("lost", "shaky", "held", "flowing", "Day 7", "pain"))
    assert cli.main(["log", "blank", "-o", str(path)]) == 1

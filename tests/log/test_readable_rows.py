"""A row that cannot be read ends nothing: it is left out, counted and told, and all sound ones still count."""

import json
import random
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coach import places
from coach.errors import BadInput, CoachError
from coach.log.exchange import export_json, merge
from coach.log.ledger import Ledger
from coach.log.readable_rows import unread_rows
from coach.log.salvage import copy_readable_rows
from coach.skill.estimates import Estimates
from coach.skill.history import pasts_of
from tests.calls import Run
from tests.log.hostile_ledgers import changed_file, changed_rows, hostile_rows, played, put, without_rules

READING = (
    ("today",),
    ("today", "--minutes", "60", "--json"),
    ("drills",),
    ("log",),
    ("log", "--json"),
    ("log", "export", "{0}.csv", "--force"),
    ("log", "export", "{0}.json", "--force"),
    ("doctor",),
    ("doctor", "--json"),
)


def all_answer(run: Run, tmp_path: Path, codes: tuple[int, ...] = (0,)) -> None:
    """Every reading command ends with one of these codes; with another than 0 it says a sentence. An error that nobody
    expected would come through and fail the test."""
    for command in READING:
        code, _, err = run(*(word.format(tmp_path / "out") for word in command))
        assert code in codes, (command, err)
        assert "Traceback" not in err
        if code:
            assert err.strip().endswith("."), (command, err)


@pytest.fixture
def path(coach_home: Path) -> Path:
    """The player's ledger with three dozen sound takes."""
    coach_home.mkdir()
    assert played(places.ledger()) == 37
    return places.ledger()


def test_hundreds_of_rows_nobody_can_read_are_left_out_and_told(run: Run, tmp_path: Path, path: Path) -> None:
    """Every kind of bad value in every column, and notes with strange texts: all sound rows still count, the others
    are counted and listed one by one, and every reading command answers."""
    with Ledger(path) as ledger:
        takes, stumbles, verdicts = ledger.takes(), ledger.stumbles(), ledger.rows("SELECT count(*) FROM verdicts")
        pasts = pasts_of(takes)
    db = without_rules(path)
    bad = sound = 0
    for table, row in hostile_rows(random.Random(5), takes[0].id):
        written = put(db, table, row)
        strange = table == "notes" and str(row[0]).startswith("note-")
        bad, sound = bad + (written and not strange), sound + strange
    db.commit()
    db.close()
    assert bad > 300
    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        assert ledger.takes() == takes
        assert [take for drill in pasts for take in ledger.takes(drill)] == [
            take for drill in pasts for take in takes if take.drill == drill
        ]
        assert ledger.stumbles() == stumbles
        assert len(ledger.notes()) == 12 + sound
        assert estimates.pasts() == pasts
        unread = unread_rows(ledger.rows)
        assert len(unread) == bad
        assert all(one.columns for one in unread if "nobody" not in str(one.values.get("take")))
        assert str(bad) in estimates.troubles()[0]
        assert ledger.rows("SELECT count(*) FROM verdicts") > verdicts  # nothing was taken away
    all_answer(run, tmp_path)
    with Ledger(tmp_path / "b.sqlite3") as other:
        merge(other, tmp_path / "out.json")
        assert other.takes() == takes


@pytest.mark.parametrize("seed", range(6))
def test_changed_bytes_in_rows_cost_those_rows_alone(run: Run, tmp_path: Path, path: Path, seed: int) -> None:
    """A few bytes of any values flipped: every reading command answers, and no other row is lost by it."""
    with Ledger(path) as ledger:
        before = {take.id: take for take in ledger.takes()}
    chance = random.Random(seed)
    changed_rows(path, chance, 6)
    with Ledger(path) as ledger, Estimates(ledger) as estimates:
        takes = ledger.takes()
        hurt = len(before) - sum(before.get(take.id) == take for take in takes)
        assert hurt <= 6
        assert estimates.pasts() == pasts_of(takes)
    all_answer(run, tmp_path)


@pytest.mark.parametrize("seed", range(6))
def test_changed_bytes_of_the_file_never_end_in_an_error_nobody_expected(
    run: Run, tmp_path: Path, path: Path, seed: int
) -> None:
    """Bytes changed anywhere behind the first page, tables' roots and indexes among them: an answer, or a sentence."""
    changed_file(path, random.Random(seed), 1 + seed * 3)
    before = path.read_bytes()
    all_answer(run, tmp_path, (0, 1, 2))
    assert path.read_bytes() == before


def test_of_a_damaged_page_the_other_rows_are_read(run: Run, tmp_path: Path, coach_home: Path) -> None:
    """One page in the middle of the passes is overwritten: all takes are there, the log says what was lost and how to
    go on, and what was saved can be merged into a new ledger."""
    coach_home.mkdir()
    path = places.ledger()
    count = played(path, 40)
    with sqlite3.connect(path) as db:
        page_of = "SELECT pageno FROM dbstat WHERE name = 'passes' AND pagetype = 'leaf'"
        try:
            pages = [page for (page,) in db.execute(page_of)]
        except sqlite3.OperationalError:
            pytest.skip("missing tool: this SQLite does not tell where pages lie")
    db.close()
    told = bytearray(path.read_bytes())
    start = 4096 * (pages[len(pages) // 2] - 1)
    told[start : start + 4096] = b"\xff" * 4096
    path.write_bytes(told)
    with Ledger(path) as ledger:
        takes = ledger.takes()
        assert len(takes) == count
        assert 3 * count < sum(len(take.passes) for take in takes) < 4 * count
        damage = ledger.damage()
    assert damage is not None
    assert "passes" in damage
    assert "coach log export" in damage
    all_answer(run, tmp_path)
    code, out, _ = run("today")
    assert code == 0
    assert "file is damaged" in " ".join(out.split())
    with Ledger(tmp_path / "b.sqlite3") as other:
        merge(other, tmp_path / "out.json")
        assert other.takes() == takes


def test_put_aside_they_are_in_a_file_and_spoken_of_no_more(run: Run, tmp_path: Path, path: Path) -> None:
    """`coach doctor` lists them; put aside, they stand in the file with all their values, stay in the log, and nobody
    speaks of them; a new one is told again."""
    db = without_rules(path)
    at = "9999-12-31T23:59:00.000000Z"
    db.execute("INSERT INTO takes VALUES ('far', ?, '9999-12-31', 'two-lamps', 80.0, 'full', 'play')", (at,))
    db.execute("INSERT INTO notes VALUES ('n', ?, '2026-02-11', 'rest', CAST(? AS TEXT), NULL)", (at[:9], b"\xff"))
    db.commit()
    assert "2 entries" in run("log")[2]
    assert "2 entries" in " ".join(run("today")[1].split())
    listed = run("doctor")[1]
    assert "takes, row 38: at\n" in listed
    file = tmp_path / "aside.json"
    assert run("doctor", "--put-aside", str(tmp_path / "aside.txt"))[0] == 2
    assert run("doctor", "--put-aside", str(file))[0] == 0
    told = json.loads(file.read_text("utf-8"))["entries"]
    assert [one["table"] for one in told] == ["takes", "notes"]
    assert told[0]["values"]["at"] == at
    assert told[1]["values"]["text"] == {"hex": "FF"}
    assert run("log")[2] == ""
    assert "cannot be read" not in run("today")[1]
    assert json.loads(run("doctor", "--json")[1])["unread"] == []
    assert run("doctor", "--put-aside", str(file))[0] == 2
    assert db.execute("SELECT count(*) FROM takes WHERE id = 'far'").fetchone() == (1,)
    db.execute("INSERT INTO takes VALUES ('farther', ?, '9999-12-31', 'two-lamps', 80.0, 'full', 'play')", (at,))
    db.commit()
    db.close()
    assert "1 entry" in run("log")[2]


@pytest.mark.parametrize("at", ["9999-12-31T23:59", "0001-01-02T00:00", "1969-12-31T12:00", "2126-01-01T00:00Z"])
def test_a_day_before_1970_or_ahead_of_tomorrow_is_not_logged(run: Run, path: Path, at: str) -> None:
    """By hand one sentence and code 2, and nothing is written; the app's own entries are held to the same."""
    before = path.read_bytes()
    asked = ("log", "add", "--drill", "thumb-on-the-beat", "--tempo", "80", "--verdict", "held", "--at", at)
    code, _, err = run(*asked)
    assert code == 2
    assert err.count("\n") == 1
    assert at in err
    assert path.read_bytes() == before
    moment = datetime.fromisoformat(at[:16]).replace(tzinfo=UTC)
    with Ledger(path) as ledger:
        take = ledger.takes()[0].id
        for deed in (
            lambda: ledger.begin_take("two-lamps", 80, at=moment),
            lambda: ledger.add_pass(take, 99, 80, 4, at=moment),
            lambda: ledger.add_stumble(take, 0, 1, 80, 1, at=moment),
            lambda: ledger.give_verdict(take, "held", at=moment),
            lambda: ledger.add_note("rest taken", at=moment),
            lambda: ledger.add_whole_take("two-lamps", 80, "held", at=moment),
        ):
            with pytest.raises(BadInput, match=r"1970|ahead"):
                deed()


def test_from_1970_to_tomorrow_all_is_logged_and_read(tmp_path: Path) -> None:
    """The first day and the last one."""
    with Ledger(tmp_path / "a.db") as ledger:
        for at in (datetime(1970, 1, 1, tzinfo=UTC), datetime.now(UTC) + timedelta(hours=23)):
            ledger.add_whole_take("two-lamps", 80, "held", at=at)
        assert len(ledger.takes()) == 2
        assert not unread_rows(ledger.rows)


def test_a_ledger_with_such_days_is_not_merged(tmp_path: Path) -> None:
    """One sentence, and nothing is taken over; what that ledger exports can be merged."""
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other:
        other.add_whole_take("two-lamps", 80, "held", at=datetime(2026, 2, 11, tzinfo=UTC))
        with other.transaction() as db:
            at = "9999-12-31T23:59:00.000000Z"
            db.execute("INSERT INTO takes VALUES ('far', ?, '9999-12-31', 'two-lamps', 80.0, 'full', 'play')", (at,))
        with pytest.raises(BadInput, match="takes: at"):
            merge(ledger, other.path)
        assert ledger.takes() == []
        export_json(other, tmp_path / "b.json")
        merge(ledger, tmp_path / "b.json")
        assert ledger.takes() == other.takes() != []


def test_where_no_take_can_be_reached_it_is_one_sentence(tmp_path: Path) -> None:
    """The root of the takes is overwritten: the file is damaged, and it is said so."""
    path = tmp_path / "a.db"
    with Ledger(path) as ledger:
        ledger.add_whole_take("two-lamps", 80, "held")
        ((root,),) = ledger.rows("SELECT rootpage FROM sqlite_master WHERE name = 'takes'")
    told = bytearray(path.read_bytes())
    told[4096 * (root - 1) : 4096 * root] = b"\xff" * 4096
    path.write_bytes(told)
    with Ledger(path) as ledger, pytest.raises(CoachError, match="damaged"):
        ledger.takes()
    db = sqlite3.connect(path)
    with pytest.raises(sqlite3.DatabaseError, match="malformed"):
        copy_readable_rows(db)
    db.close()

"""The ledger holds what was played, as it was played, and says clearly when it cannot."""

import multiprocessing
import sqlite3
from collections import Counter
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import BadInput, CoachError
from coach.log.ledger import VERDICTS, Ledger
from coach.log.schema import STEPS, VERSION

AT = datetime(2026, 3, 1, 23, 30, tzinfo=timezone(timedelta(hours=-5)))


@pytest.fixture
def ledger(tmp_path: Path):
    """A new ledger, closed in the end."""
    with Ledger(tmp_path / "home" / "ledger.db") as opened:
        yield opened


def test_the_verdicts_go_from_worst_to_best() -> None:
    """There are four words, in this order."""
    assert VERDICTS == ("lost", "shaky", "held", "flowing")


def test_a_take_is_the_sum_of_its_passes(ledger: Ledger) -> None:
    """Bars and stumbles add up over passes; the tempo is that of the fastest pass."""
    take = ledger.begin_take("two-lamps", 80, "full", AT)
    ledger.add_pass(take, 1, 80, 4)
    ledger.add_stumble(take, 2, Fraction(3, 2), Fraction("82.4"), 2)
    ledger.add_pass(take, 2, Fraction("82.4"), 4, 1)
    ledger.give_verdict(take, "held")
    (found,) = ledger.takes()
    assert (found.id, found.drill, found.tempo, found.bars, found.stumbles) == (take, "two-lamps", 82.4, 8, 1)
    assert (found.verdict, found.layer, found.mode) == ("held", "full", "play")
    assert [(p.number, p.clean) for p in found.passes] == [(1, True), (2, False)]
    (stumble,) = ledger.stumbles("two-lamps")
    assert (stumble.bar, stumble.beat, stumble.tempo, stumble.pass_no) == (2, "3/2", 82.4, 2)


def test_moment_and_day_are_kept_apart(ledger: Ledger) -> None:
    """23:30 on 1 March five hours west of Greenwich is 2 March in UTC, and 1 March for the player."""
    ledger.begin_take("two-lamps", 80, at=AT)
    (found,) = ledger.takes()
    assert found.at == datetime(2026, 3, 2, 4, 30, tzinfo=UTC)
    assert found.local_day.isoformat() == "2026-03-01"


def test_a_take_that_was_cut_off_is_still_there(ledger: Ledger) -> None:
    """Without a pass and without a verdict a take counts no bars, keeps its stumbles and its first tempo."""
    take = ledger.begin_take("two-lamps", 76)
    ledger.add_stumble(take, 0, 2, 76, 1)
    (found,) = ledger.takes()
    assert (found.tempo, found.bars, found.stumbles, found.verdict, found.passes) == (76.0, 0, 1, None, ())


def test_the_last_word_counts_and_the_first_is_kept(ledger: Ledger) -> None:
    """A second verdict is added beside the first."""
    take = ledger.begin_take("two-lamps", 80)
    ledger.give_verdict(take, "lost", at=AT)
    ledger.give_verdict(take, "shaky", at=AT + timedelta(seconds=5))
    assert ledger.takes()[0].verdict == "shaky"
    assert ledger.rows("SELECT count(*) FROM verdicts") == [(2,)]


def test_a_take_logged_by_hand_keeps_its_sums(ledger: Ledger) -> None:
    """Bars, stumbles and verdict of a take played elsewhere stand as given, with no pass made up."""
    ledger.add_whole_take("two-lamps", 93.5, "flowing", 16, 2, AT)
    (found,) = ledger.takes()
    assert (found.tempo, found.bars, found.stumbles, found.verdict, found.passes) == (93.5, 16, 2, "flowing", ())


def test_notes_are_kept_beside_the_takes(ledger: Ledger) -> None:
    """A note may stand alone or belong to a take, and is found by its kind."""
    take = ledger.begin_take("two-lamps", 80)
    ledger.add_note("pain reported", "left wrist", take, AT)
    ledger.add_note("rest taken")
    (note,) = ledger.notes("pain reported")
    assert (note.text, note.take, note.local_day.isoformat()) == ("left wrist", take, "2026-03-01")
    assert len(ledger.notes()) == 2


def test_takes_of_one_drill_only(ledger: Ledger) -> None:
    """Asking for a drill leaves the others out, their passes and verdicts too."""
    for drill in ("two-lamps", "slow-tide"):
        take = ledger.begin_take(drill, 80)
        ledger.add_pass(take, 1, 80, 4)
        ledger.give_verdict(take, "held")
    (found,) = ledger.takes("slow-tide")
    assert (found.drill, len(found.passes), found.verdict) == ("slow-tide", 1, "held")


@pytest.mark.parametrize("table", ["takes", "passes", "stumbles", "wholes", "verdicts", "notes"])
@pytest.mark.parametrize("deed", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid + 1"])
def test_the_ledger_only_grows(ledger: Ledger, table: str, deed: str) -> None:
    """The file itself refuses to change or drop a row, whoever asks."""
    take = ledger.begin_take("two-lamps", 80)
    ledger.add_pass(take, 1, 80, 4)
    ledger.add_stumble(take, 0, 0, 80, 1)
    ledger.give_verdict(take, "held")
    ledger.add_note("rest taken")
    ledger.add_whole_take("two-lamps", 80, "held")
    with sqlite3.connect(ledger.path) as other, pytest.raises(sqlite3.IntegrityError, match="only grows"):
        other.execute(deed.format(table))
    other.close()


def test_every_row_is_flushed_before_the_call_returns(ledger: Ledger) -> None:
    """Write-ahead log with synchronous FULL (2): each commit is flushed (sqlite.org/pragma.html#pragma_synchronous)."""
    assert ledger.rows("PRAGMA journal_mode") == [("wal",)]
    assert ledger.rows("PRAGMA synchronous") == [(2,)]


def test_a_row_is_seen_by_another_program_at_once(ledger: Ledger) -> None:
    """A second connection sees a pass as soon as the call has returned."""
    take = ledger.begin_take("two-lamps", 80)
    ledger.add_pass(take, 1, 80, 4)
    with Ledger(ledger.path) as other:
        assert other.takes() == ledger.takes()


@pytest.mark.parametrize(
    ("deed", "says"),
    [
        (lambda g, t: g.begin_take("", 80), "drill"),
        (lambda g, t: g.begin_take("two\nlamps", 80), "drill"),
        (lambda g, t: g.begin_take("two-lamps", 0), "tempo"),
        (lambda g, t: g.begin_take("two-lamps", float("nan")), "tempo"),
        (lambda g, t: g.begin_take("two-lamps", 80, mode="dance"), "play, sing"),
        (lambda g, t: g.begin_take("two-lamps", 80, at=datetime(2026, 3, 1)), "offset"),
        (lambda g, t: g.add_pass(t, 1, 80, 4), "pass 1 of this take"),
        (lambda g, t: g.add_pass(t, -1, 80, 4), "pass number"),
        (lambda g, t: g.add_pass(t, 2, 80, 4.5), "bars"),
        (lambda g, t: g.add_pass(t, 2, 80, True), "bars"),
        (lambda g, t: g.add_pass("nobody", 2, 80, 4), "no take 'nobody'"),
        (lambda g, t: g.add_stumble(t, 0, "late", 80, 1), "beat"),
        (lambda g, t: g.add_stumble(t, 0, "1/0", 80, 1), "beat"),
        (lambda g, t: g.give_verdict(t, "fine"), "lost, shaky, held, flowing"),
        (lambda g, t: g.give_verdict("nobody", "held"), "no take 'nobody'"),
        (lambda g, t: g.add_whole_take("two-lamps", 80, "fine"), "verdict"),
        (lambda g, t: g.add_whole_take("two-lamps", 80, "held", -1), "bars"),
        (lambda g, t: g.add_note("pain reported", "", "nobody"), "no take 'nobody'"),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(ledger: Ledger, deed, says: str) -> None:
    """What cannot be written is refused by name, and the ledger stays as it was."""
    take = ledger.begin_take("two-lamps", 80)
    ledger.add_pass(take, 1, 80, 4)
    before = ledger.takes()
    with pytest.raises(BadInput, match=says) as caught:
        deed(ledger, take)
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")
    assert ledger.takes() == before


# Opening


def test_a_text_file_is_not_a_ledger_and_is_left_alone(tmp_path: Path) -> None:
    """A file that is no database is refused and not touched."""
    path = tmp_path / "ledger.db"
    path.write_text("Set list for the landing\n" * 80)
    before = path.read_bytes()
    with pytest.raises(CoachError, match="not a practice ledger"):
        Ledger(path)
    assert path.read_bytes() == before


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    """A database without our mark is refused and not touched."""
    path = tmp_path / "stock.db"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE strings (gauge TEXT)")
    other.close()
    before = path.read_bytes()
    with pytest.raises(BadInput, match="not a practice ledger"):
        Ledger(path)
    assert path.read_bytes() == before


def test_a_damaged_ledger_is_left_alone(tmp_path: Path) -> None:
    """A ledger with its middle overwritten gives one sentence when it is read, and keeps its bytes."""
    path = tmp_path / "ledger.db"
    with Ledger(path) as ledger:
        for k in range(300):
            ledger.add_whole_take(f"drill-{k}", 80, "held", 4)
    hurt = bytearray(path.read_bytes())
    hurt[4096 : len(hurt) - 4096] = b"\xff" * (len(hurt) - 8192)
    path.write_bytes(bytes(hurt))
    with pytest.raises(CoachError, match="damaged"), Ledger(path) as ledger:
        ledger.takes()
    assert path.read_bytes() == bytes(hurt)


def test_a_folder_is_not_a_ledger(tmp_path: Path) -> None:
    """A folder is named as such."""
    with pytest.raises(BadInput, match="folder"):
        Ledger(tmp_path)


def test_a_place_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    """A ledger under a file has no folder to stand in."""
    (tmp_path / "notes").write_text("")
    with pytest.raises(CoachError, match="cannot be made"):
        Ledger(tmp_path / "notes" / "ledger.db")


def test_a_newer_ledger_is_refused_and_left_alone(tmp_path: Path) -> None:
    """A layout from a later version is not opened, and not one byte of it is changed."""
    path = tmp_path / "ledger.db"
    with Ledger(path) as ledger:
        ledger.add_whole_take("two-lamps", 80, "held")
    with sqlite3.connect(path) as raw:
        raw.execute(f"PRAGMA user_version = {VERSION + 1}")
    raw.close()
    before = path.read_bytes()
    with pytest.raises(CoachError, match="newer version"):
        Ledger(path)
    assert path.read_bytes() == before


def test_a_full_disk_is_one_sentence_and_the_rest_is_kept(ledger: Ledger) -> None:
    """When no page more can be had the entry is refused in one sentence; all earlier ones stand, later ones go on."""
    ledger.add_whole_take("two-lamps", 80, "held")
    (pages,) = ledger.rows("PRAGMA page_count")[0]
    ledger.rows(f"PRAGMA max_page_count = {pages}")
    written: list[str] = []

    def write_on() -> None:
        while len(written) < 2000:
            written.append(ledger.add_note("rest taken", "x" * 900))

    with pytest.raises(CoachError, match="disk is full"):
        write_on()
    assert {n.id for n in ledger.notes()} == set(written)
    assert len(ledger.takes()) == 1
    ledger.rows("PRAGMA max_page_count = 100000")
    written.append(ledger.add_note("rest taken"))
    assert {n.id for n in ledger.notes()} == set(written)


def test_a_ledger_held_by_another_coach_is_waited_for_and_then_named(tmp_path: Path) -> None:
    """While another writes without end, a short wait ends in one sentence; when it is done, writing goes on."""
    path = tmp_path / "ledger.db"
    with Ledger(path, wait_s=0.05) as mine, Ledger(path) as other:
        with other.transaction(), pytest.raises(CoachError, match="another coach"):
            mine.begin_take("two-lamps", 80)
        mine.begin_take("two-lamps", 80)
        assert len(other.takes()) == 1


def _write_takes(path: Path, drill: str, count: int) -> None:
    with Ledger(path) as ledger:
        for _ in range(count):
            take = ledger.begin_take(drill, 80)
            ledger.add_pass(take, 1, 80, 4)


def test_two_coaches_may_write_at_once(tmp_path: Path) -> None:
    """Two processes that make and fill one ledger at the same time both get everything in."""
    path = tmp_path / "ledger.db"
    spawn = multiprocessing.get_context("spawn")
    writers = [spawn.Process(target=_write_takes, args=(path, drill, 40)) for drill in ("two-lamps", "slow-tide")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [writer.exitcode for writer in writers] == [0, 0]
    with Ledger(path) as ledger:
        takes = ledger.takes()
    assert Counter(t.drill for t in takes) == {"two-lamps": 40, "slow-tide": 40}
    assert all(len(t.passes) == 1 for t in takes)


# Older layouts


def first_version(path: Path) -> None:
    """A ledger as the first layout had it, written without the coach: one take of two passes, held."""
    raw = sqlite3.connect(path)
    raw.executescript(STEPS[0])
    raw.execute("PRAGMA application_id = 0x53544C47")
    raw.execute("PRAGMA user_version = 1")
    at = "2025-11-02T18:00:00.000000Z"
    raw.execute("INSERT INTO takes VALUES ('a1', ?, '2025-11-02', 'landing-walk', 72.0, 'full')", (at,))
    raw.execute("INSERT INTO passes VALUES ('a1', 1, ?, 72.0, 4, 0, 1, 'full')", (at,))
    raw.execute("INSERT INTO passes VALUES ('a1', 2, ?, 74.0, 4, 1, 0, 'full')", (at,))
    raw.execute("INSERT INTO verdicts VALUES ('v1', 'a1', ?, 'held')", (at,))
    raw.commit()
    raw.close()


def test_an_older_ledger_is_brought_forward_whole(tmp_path: Path) -> None:
    """A first-layout file opens with every row it had, and can hold what only the later layout can."""
    path = tmp_path / "ledger.db"
    first_version(path)
    with Ledger(path) as ledger:
        (take,) = ledger.takes()
        assert (take.drill, take.tempo, take.bars, take.stumbles, take.verdict) == ("landing-walk", 74.0, 8, 1, "held")
        assert take.mode == "play"
        ledger.add_note("rest taken", take="a1")
        ledger.begin_take("landing-walk", 72, "thumb", mode="sing")
        assert ledger.rows("PRAGMA user_version") == [(VERSION,)]
    with Ledger(path) as again:
        assert [t.mode for t in again.takes()] == ["play", "sing"]


def test_a_step_forward_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When a step breaks half-way nothing of it stays: version, tables and rows are the old ones."""
    path = tmp_path / "ledger.db"
    first_version(path)
    monkeypatch.setattr("coach.log.schema.STEPS", (STEPS[0], STEPS[1] + "INSERT INTO nowhere VALUES (1);"))
    with pytest.raises(CoachError, match="nowhere"):
        Ledger(path)
    raw = sqlite3.connect(path)
    assert raw.execute("PRAGMA user_version").fetchone() == (1,)
    assert raw.execute("SELECT count(*) FROM sqlite_master WHERE name = 'notes'").fetchone() == (0,)
    assert raw.execute("SELECT count(*) FROM passes").fetchone() == (2,)
    raw.close()


@settings(max_examples=40, deadline=None)
@given(
    st.datetimes(
        datetime(2000, 1, 1),
        datetime(2026, 1, 1),
        timezones=st.timezones() | st.integers(-840, 840).map(lambda m: timezone(timedelta(minutes=m))),
    )
)
def test_the_local_day_is_the_date_on_the_wall(tmp_path_factory: pytest.TempPathFactory, at: datetime) -> None:
    """In every zone and on every change of the clock, the kept day is the date shown where the take was played."""
    with Ledger(tmp_path_factory.mktemp("days") / "ledger.db") as ledger:
        ledger.begin_take("two-lamps", 80, at=at)
        (found,) = ledger.takes()
    assert found.local_day == at.date()
    assert found.at == at.astimezone(UTC)

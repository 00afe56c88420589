"""How long the hands have played: one answer from the ledger, for plan, stage and progress page."""

import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.playing_time import (
    Playing,
    Span,
    last_days,
    minutes_by_day,
    playing_of,
    read_playing,
    run_minutes,
    take_seconds,
)
from tests.made_takes import NOW, TODAY, day, take

MINUTE = timedelta(minutes=1)


def four(drill: str) -> int | None:
    """Four beats in a bar; of one drill nothing is known any more."""
    return None if drill == "gone" else 4


def spans(*ends_and_minutes: tuple[float, float]) -> list[Span]:
    """Stretches that ended so many minutes ago and lasted so long."""
    return [Span(TODAY, NOW - (ago + long) * MINUTE, NOW - ago * MINUTE) for ago, long in ends_and_minutes]


def test_minutes_are_bars_at_their_tempo() -> None:
    """Ten passes of four bars of four beats at 80 bpm are two minutes; 32 bars by hand at 64 bpm are two as well."""
    assert take_seconds(take("two-lamps", 0, clean=10, tempo=80), 4) == pytest.approx(120)
    by_hand = replace(take("two-lamps", 0, tempo=64), passes=(), bars=32)
    assert take_seconds(by_hand, 4) == pytest.approx(120)


def test_every_day_has_its_place_in_the_minutes() -> None:
    """Seven days up to today, those without playing at nothing, and nothing from outside them."""
    played = [take("two-lamps", 0, clean=10), take("two-lamps", 6, clean=5), take("two-lamps", 7, clean=5)]
    found = last_days(playing_of(played, NOW, four).by_day(), TODAY, 7)
    assert [when for when, _ in found] == [day(n) for n in range(6, -1, -1)]
    assert [round(minutes, 3) for _, minutes in found] == [1, 0, 0, 0, 0, 0, 2]


@pytest.mark.parametrize("change", [date(2026, 3, 29), date(2026, 10, 25)])
def test_the_days_when_clocks_change_are_neither_lost_nor_doubled(change: date) -> None:
    """A day of 23 or 25 hours is one column like any other."""
    played = playing_of([replace(take("two-lamps", 0), local_day=change)], NOW, four)
    found = last_days(played.by_day(), change + timedelta(3), 7)
    assert [when.toordinal() - change.toordinal() for when, _ in found] == [-3, -2, -1, 0, 1, 2, 3]
    assert [bool(minutes) for _, minutes in found] == [False] * 3 + [True] + [False] * 3


def test_a_pause_of_five_minutes_is_a_rest_and_a_shorter_one_is_not() -> None:
    """BAPAM: five minutes. Ten minutes, four of pause, ten, three since: twenty; with five of pause ten; none after a
    rest."""
    assert run_minutes(spans((3, 10), (17, 10)), NOW) == pytest.approx(20)
    assert run_minutes(spans((3, 10), (18, 10)), NOW) == pytest.approx(10)
    assert run_minutes(spans((5, 10)), NOW) == 0
    assert run_minutes([], NOW) == 0


@given(st.lists(st.tuples(st.integers(0, 90), st.integers(1, 30)), max_size=8), st.randoms())
def test_the_order_of_takes_does_not_matter(found: list[tuple[int, int]], chance) -> None:
    """Whatever order they come in, what was played together counts together, and more playing never counts less."""
    there = spans(*found)
    shuffled = list(there)
    chance.shuffle(shuffled)
    assert run_minutes(shuffled, NOW) == pytest.approx(run_minutes(there, NOW))
    assert run_minutes([*there, *spans((0, 3))], NOW) >= run_minutes(there, NOW)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """An empty one."""
    return Ledger(tmp_path / "ledger.sqlite3")


def played(ledger: Ledger, begun: datetime, count: int, *, pause: float = 0, drill: str = "two-lamps") -> str:
    """A take of passes of a minute (20 bars of 4 at 80), after the first a pause of so many minutes."""
    id_ = ledger.begin_take(drill, 80, at=begun)
    for n in range(count):
        ledger.add_pass(id_, n + 1, 80, 20, at=begun + (n + 1 + (pause if n else 0)) * MINUTE)
    return id_


def test_passes_lie_where_they_ended(ledger: Ledger) -> None:
    """A pause of six minutes within a take is a rest like any other; the day has all of it."""
    played(ledger, NOW - 20 * MINUTE, 10, pause=6)
    found = read_playing(ledger, NOW, four)
    assert found.by_day() == {TODAY: pytest.approx(10)}
    assert found.run() == pytest.approx(9)
    assert found.run(10 * MINUTE) == pytest.approx(10)


def test_what_was_broken_off_and_what_was_logged_by_hand_count(ledger: Ledger) -> None:
    """Two minutes in passes, 90 seconds beside them, and 40 bars of four at 80 by hand: five and a half."""
    id_ = played(ledger, NOW - 6 * MINUTE, 2)
    ledger.add_note(NoteKind.SECONDS_BESIDE, "90.0", id_, NOW - 2.5 * MINUTE)
    ledger.add_whole_take("gone", 80, "held", 40, at=NOW - 2.4 * MINUTE)
    found = read_playing(ledger, NOW, four)
    assert found.run() == found.by_day()[TODAY] == pytest.approx(5.5)


def test_what_was_cut_off_before_its_first_pass_says_nothing(ledger: Ledger) -> None:
    """Nobody knows how long it was: the day is one of practice, with no minute."""
    ledger.begin_take("two-lamps", 80, at=NOW - 9 * MINUTE)
    assert read_playing(ledger, NOW, four).by_day() == {TODAY: 0}


def test_a_day_is_that_of_the_clock_it_was_played_by(ledger: Ledger) -> None:
    """Half past midnight two hours east is today there, though it is still yesterday in UTC."""
    east = timezone(timedelta(hours=2))
    begun = datetime(2026, 3, 10, 0, 30, tzinfo=east)
    assert begun.astimezone(UTC).date() == day(1)
    played(ledger, begun, 3)
    assert read_playing(ledger, NOW, four).by_day() == {TODAY: pytest.approx(3)}


def test_a_clock_put_right_in_the_middle_does_not_stretch_a_take(ledger: Ledger) -> None:
    """Passes whose moments cannot be follow one another from where the take began."""
    id_ = ledger.begin_take("two-lamps", 80, at=NOW - 4 * MINUTE)
    for n, ended in enumerate((NOW - timedelta(days=400), NOW + timedelta(hours=20), NOW - timedelta(days=1))):
        ledger.add_pass(id_, n + 1, 80, 20, at=ended)
    assert read_playing(ledger, NOW, four).run() == pytest.approx(3)


def test_what_is_ahead_or_long_ago_is_left_out(ledger: Ledger) -> None:
    """A take dated tomorrow was not played yet; one of a month ago only makes its day one of practice."""
    played(ledger, NOW + timedelta(hours=20), 3)
    played(ledger, NOW - timedelta(days=30), 3)
    found = read_playing(ledger, NOW, four)
    assert found.spans == ()
    assert day(30) in found.days


def test_rows_that_cannot_be_read_are_left_out(ledger: Ledger) -> None:
    """A moment or day with one byte of it changed, or a note that is no number: the others count."""
    good = played(ledger, NOW - 9 * MINUTE, 2)
    bad = played(ledger, NOW - 6 * MINUTE, 2)
    ledger.add_note(NoteKind.SECONDS_BESIDE, "long", good, NOW - MINUTE)
    ledger.add_note(NoteKind.SECONDS_BESIDE, "inf", good, NOW - MINUTE)
    with sqlite3.connect(ledger.path) as db:
        db.execute("DROP TRIGGER takes_no_update")
        db.execute("UPDATE takes SET local_day = '2026-03-1x' WHERE id = ?", (bad,))
    assert read_playing(ledger, NOW, four).by_day() == {TODAY: pytest.approx(2)}


def test_minutes_of_days_add_up() -> None:
    """Each stretch goes to the day its take began."""
    two = [Span(day(1), NOW, NOW + MINUTE), Span(TODAY, NOW, NOW + 2 * MINUTE), Span(TODAY, NOW, NOW + MINUTE)]
    assert minutes_by_day(two) == {day(1): pytest.approx(1), TODAY: pytest.approx(3)}
    assert Playing(NOW).by_day() == {}
    assert Playing(NOW).last_end() is None

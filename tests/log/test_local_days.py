"""Moments are kept in UTC, days in the player's own calendar."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.log.local_days import (
    from_microseconds,
    from_utc_text,
    local_day,
    microseconds,
    read_at,
    told_minutes,
    utc_text,
)

BERLIN = ZoneInfo("Europe/Berlin")
offsets = st.integers(-14 * 60, 14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
moments = st.datetimes(datetime(1971, 1, 1), datetime(2199, 1, 1), timezones=offsets)


def test_a_late_evening_belongs_to_the_players_own_day() -> None:
    """Half past midnight in Berlin on 2 March is still 1 March in UTC, and counts as 2 March."""
    at = datetime(2026, 3, 2, 0, 30, tzinfo=BERLIN)
    assert utc_text(at) == "2026-03-01T23:30:00.000000Z"
    assert local_day(at).isoformat() == "2026-03-02"


def test_the_doubled_hour_of_autumn_keeps_its_order() -> None:
    """On 25 October 2026 02:30 comes twice in Berlin: two moments an hour apart on one local day."""
    first = datetime(2026, 10, 25, 2, 30, tzinfo=BERLIN)
    second = first.replace(fold=1)
    assert (utc_text(first), utc_text(second)) == ("2026-10-25T00:30:00.000000Z", "2026-10-25T01:30:00.000000Z")
    assert local_day(first) == local_day(second)


def test_flying_east_over_the_date_line_changes_the_day_but_not_the_moment() -> None:
    """One moment is 1 March in Honolulu and 2 March in Auckland."""
    at = datetime(2026, 3, 1, 20, 0, tzinfo=ZoneInfo("Pacific/Honolulu"))
    there = at.astimezone(ZoneInfo("Pacific/Auckland"))
    assert utc_text(at) == utc_text(there)
    assert (local_day(at).day, local_day(there).day) == (1, 2)


@given(moments)
def test_text_order_is_time_order_and_reads_back(at: datetime) -> None:
    """The kept text reads back as the same moment, and sorts as the moments do."""
    assert from_utc_text(utc_text(at)) == at
    later = at + timedelta(microseconds=1)
    assert utc_text(at) < utc_text(later)


@given(moments)
def test_a_written_offset_is_the_wall_clock_meant(at: datetime) -> None:
    """`--at 2026-03-01T23:30+05:00` counts as 1 March wherever the machine stands."""
    if at.utcoffset():
        assert local_day(read_at(at.isoformat())) == at.date()


def test_z_is_moved_to_the_machines_zone() -> None:
    """A bare UTC time names the moment; its local day is that of the machine's zone."""
    at = read_at("2026-03-01T23:30:00Z")
    assert at == datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    assert local_day(at) == datetime(2026, 3, 1, 23, 30, tzinfo=UTC).astimezone().date()


@pytest.mark.parametrize(
    "text", ["2026-03-01T19:30", "2026-03-01", "yesterday", "", "2026-13-01T00:00Z", "0001-01-01T00:00+14:00"]
)
def test_a_time_without_offset_or_sense_is_refused(text: str) -> None:
    """A time that names no moment is refused in one sentence."""
    with pytest.raises(BadInput):
        utc_text(read_at(text))


def test_a_naive_datetime_is_refused() -> None:
    """A datetime that does not know its offset is refused by both the moment and the day."""
    for reader in (utc_text, local_day):
        with pytest.raises(BadInput, match="offset"):
            reader(datetime(2026, 3, 1, 19, 30))


@given(moments)
def test_a_moment_and_its_microseconds_are_one(at: datetime) -> None:
    """Whole microseconds from 1970 on and back, exactly."""
    assert from_microseconds(microseconds(at)) == at


def test_minutes_are_told_by_their_number() -> None:
    """One minute is one."""
    assert [told_minutes(n) for n in (0, 0.6, 1, 1.4, 2, 20)] == [
        "0 minutes", "1 minute", "1 minute", "1 minute", "2 minutes", "20 minutes",
    ]  # fmt: skip

"""Moments and local days: when a take was played, and on which day of the player's own calendar.

A moment is kept as UTC (ISO 8601 with Z, always to the microsecond, so text order is time order). The local
day is the date on the clock the moment was given with: pass local time with its offset, not a bare UTC time,
wherever the player's day matters. A night between two takes is a change of that date.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from coach.errors import BadInput

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
DAYS_AHEAD = 1
"""How many days ahead of now something may be logged."""
_MICROSECOND = timedelta(microseconds=1)
_MEND = "give date, time and offset, like 2026-03-01T19:30+01:00"


def aware(at: datetime) -> datetime:
    """`at` itself if it knows its offset from UTC, else BadInput: a bare time is another moment in every zone."""
    if not isinstance(at, datetime) or at.utcoffset() is None:
        raise BadInput(f"the time '{at}' does not say its offset from UTC", mend=_MEND)
    return at


def now_here() -> datetime:
    """This moment on the machine's own clock and zone."""
    return datetime.now().astimezone()


def utc_text(at: datetime) -> str:
    """The moment as UTC, `2026-03-01T18:30:00.000000Z`. Raises BadInput without an offset or outside the calendar."""
    try:
        return aware(at).astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    except OverflowError:
        raise BadInput(f"the time '{at}' lies outside the calendar", mend=_MEND) from None


def check_moment(at: datetime) -> datetime:
    """`at` itself if something may be logged for it: from 1970 on, and a day ahead of now at most (clocks differ).

    Raises BadInput, also without an offset.
    """
    text = utc_text(at)
    if at < _EPOCH:
        raise BadInput(f"{text[:10]} lies before 1970", mend=_MEND)
    if at > now_here() + timedelta(days=DAYS_AHEAD):
        raise BadInput(f"{text[:10]} lies more than a day ahead", mend="give a time that has gone by")
    return at


def from_utc_text(text: str) -> datetime:
    """Inverse of `utc_text`; an aware UTC datetime."""
    return datetime.fromisoformat(text)


def microseconds(at: datetime) -> int:
    """The moment as whole microseconds since 1970 began in UTC."""
    return (at - _EPOCH) // _MICROSECOND


def from_microseconds(count: int) -> datetime:
    """Inverse of `microseconds`; an aware UTC datetime."""
    return _EPOCH + timedelta(0, 0, count)


def told_minutes(count: float) -> str:
    """`1 minute`, `20 minutes`; to whole ones."""
    return "1 minute" if round(count) == 1 else f"{count:.0f} minutes"


def local_day(at: datetime) -> date:
    """The date on the clock `at` was given with. Raises BadInput when the offset is missing."""
    return aware(at).date()


def read_at(text: str) -> datetime:
    """A moment as a player or script writes it (ISO 8601 with an offset or Z). Raises BadInput.

    An offset other than zero is the wall clock the player means and is kept. Z says nothing about where the
    player was, so it is moved to this machine's zone, whose date then counts as the local day.
    """
    try:
        at = aware(datetime.fromisoformat(text.strip()))
        return at if at.utcoffset() else at.astimezone()
    except (ValueError, OverflowError, AttributeError):
        raise BadInput(f"'{text}' is not a time", mend=_MEND) from None

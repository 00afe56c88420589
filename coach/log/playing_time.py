"""How long the hands have played: the one answer of the plan, the stage and the progress page.

A pass lasts its bars at the tempo it was played at; a take logged by hand lasts its bars at its tempo. What was played
beside whole passes (one that was broken off, or begun again) is a note of the stage. Nothing else counts: neither the
moments between takes nor a count-in.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import NamedTuple

from coach.log.ledger import Ledger
from coach.log.local_days import from_utc_text, utc_text
from coach.log.notes import NoteKind
from coach.log.readable_rows import IS_DAY, READABLE
from coach.log.takes import Take

REST = timedelta(minutes=5)
"""A pause of so long is a rest (BAPAM, "Ten top health tips for musicians": five minutes in each half hour)."""
USUAL_BEATS = 4
"""Beats in a bar of a drill that is no longer there."""
LATELY = timedelta(days=9)
"""Playing of so long ago is read at most: the seven local days before today, wherever on earth they were."""
_LONGEST_TAKE = timedelta(hours=12)

BeatsOf = Callable[[str], int | None]
"""The beats in a bar of a drill by its id, None where it is not known."""


class Span(NamedTuple):
    """A stretch of playing without a pause, on the local day its take began."""

    day: date
    start: datetime
    end: datetime

    @property
    def minutes(self) -> float:
        """How long it lasted."""
        return (self.end - self.start) / timedelta(minutes=1)


@dataclass(frozen=True)
class Playing:
    """What was played by `now`: the `spans` of the latest days, and every local day that has a take."""

    now: datetime
    spans: tuple[Span, ...] = ()
    days: frozenset[date] = field(default_factory=frozenset)

    def by_day(self) -> dict[date, float]:
        """Minutes of each day with a take; of days before the latest nine 0, since nobody asks for theirs."""
        return {**dict.fromkeys(self.days, 0.0), **minutes_by_day(self.spans)}

    def run(self, rest: timedelta = REST) -> float:
        """Minutes played without a rest up to now; 0 after one."""
        return run_minutes(self.spans, self.now, rest)

    def last_end(self) -> datetime | None:
        """When the hands played last; None where that is too long ago to be known."""
        return max((min(span.end, self.now) for span in self.spans), default=None)


def bar_seconds(bars: int, beats: float, bpm: float) -> float:
    """How long so many bars of so many beats last."""
    return 60.0 * bars * beats / bpm


def take_seconds(take: Take, beats: int) -> float:
    """Seconds of playing in a take: its passes at their tempos, or the bars of one logged by hand."""
    if take.passes:
        return math.fsum(bar_seconds(p.bars, beats, p.tempo) for p in take.passes)
    return bar_seconds(take.bars, beats, take.tempo)


def minutes_by_day(spans: Iterable[Span]) -> dict[date, float]:
    """Minutes played on each local day that has any."""
    found: dict[date, list[float]] = defaultdict(list)
    for span in spans:
        found[span.day].append(span.minutes)
    return {day: math.fsum(minutes) for day, minutes in found.items()}


def run_minutes(spans: Iterable[Span], now: datetime, rest: timedelta = REST) -> float:
    """Minutes played by `now` since the last pause of at least `rest`; shorter ones end nothing and count for nothing.

    What was logged as played together (two takes at one moment) was played one after the other. The order of spans does
    not matter.
    """
    found, begun = 0.0, now
    for span in sorted(spans, key=lambda s: (s.end, s.start), reverse=True):
        if begun - span.end >= rest:
            break
        found += span.minutes
        begun = min(begun, span.start)
    return found


def playing_of(takes: Iterable[Take], now: datetime, beats: BeatsOf = lambda drill: None) -> Playing:
    """What takes alone tell: passes follow one another from where each take began."""
    spans, days = [], set()
    for take in takes:
        days.add(take.local_day)
        seconds = take_seconds(take, beats(take.drill) or USUAL_BEATS)
        if seconds and take.at <= now:
            spans.append(Span(take.local_day, take.at, take.at + timedelta(seconds=seconds)))
    return Playing(now, tuple(spans), frozenset(days))


def read_playing(ledger: Ledger, now: datetime, beats: BeatsOf, lately: timedelta = LATELY) -> Playing:
    """What the ledger tells of the time up to `now`, with the spans of takes begun `lately`. Raises CoachError.

    A pass ends at its own moment. A row that cannot be read is left out.
    """
    since, until = utc_text(now - lately), utc_text(now)
    spans = [
        *_passes(ledger, since, until, beats),
        *_wholes(ledger, since, until, beats),
        *_beside(ledger, since, until),
    ]
    # Of all takes ever only the day is asked, and READABLE would take six times as long.
    texts = ledger.rows(f"SELECT DISTINCT local_day FROM takes WHERE {IS_DAY}")
    days = {day for (text,) in texts if (day := _day(text)) is not None}
    return Playing(now, tuple(spans), frozenset(days))


def _passes(ledger: Ledger, since: str, until: str, beats: BeatsOf) -> list[Span]:
    rows = ledger.rows(
        "SELECT t.local_day, t.drill, t.id, t.at, p.at, p.bars, p.tempo"
        f" FROM {READABLE['takes']} t JOIN {READABLE['passes']} p ON p.take = t.id"
        " WHERE t.at >= ? AND t.at <= ? ORDER BY t.at, t.id, p.number",
        since,
        until,
    )
    found: list[Span] = []
    take, before = "", None
    for day_text, drill, id_, begun_text, ended_text, bars, tempo in rows:
        day, begun, ended = _day(day_text), _moment(begun_text), _moment(ended_text)
        lasts = _lasts(bars, beats(drill), tempo)
        if day is None or begun is None or lasts is None:
            continue
        if id_ != take:
            take, before = id_, begun
        # A pass whose moment cannot be (a clock put right in between) follows the one before.
        end = ended if ended is not None and begun <= ended <= begun + _LONGEST_TAKE else (before or begun) + lasts
        before = end
        found.append(Span(day, end - lasts, end))
    return found


def _wholes(ledger: Ledger, since: str, until: str, beats: BeatsOf) -> list[Span]:
    rows = ledger.rows(
        "SELECT t.local_day, t.drill, t.at, w.bars, t.tempo"
        f" FROM {READABLE['takes']} t JOIN {READABLE['wholes']} w ON w.take = t.id"
        " WHERE t.at >= ? AND t.at <= ?",
        since,
        until,
    )
    found = []
    for day_text, drill, begun_text, bars, tempo in rows:
        day, begun, lasts = _day(day_text), _moment(begun_text), _lasts(bars, beats(drill), tempo)
        if bars and day is not None and begun is not None and lasts is not None:
            found.append(Span(day, begun, begun + lasts))
    return found


def _beside(ledger: Ledger, since: str, until: str) -> list[Span]:
    rows = ledger.rows(
        f"SELECT local_day, at, text FROM {READABLE['notes']} WHERE kind = ? AND at >= ? AND at <= ?",
        NoteKind.SECONDS_BESIDE,
        since,
        until,
    )
    found = []
    for day_text, ended_text, text in rows:
        day, ended = _day(day_text), _moment(ended_text)
        if day is None or ended is None:
            continue
        try:
            seconds = float(text)
        except (TypeError, ValueError):
            continue
        if 0 < seconds <= _LONGEST_TAKE.total_seconds():
            found.append(Span(day, ended - timedelta(seconds=seconds), ended))
    return found


def _day(text: object) -> date | None:
    try:
        return date.fromisoformat(str(text))
    except ValueError:
        return None


def _moment(text: object) -> datetime | None:
    try:
        at = from_utc_text(str(text))
    except ValueError:
        return None
    return at if at.utcoffset() is not None else None


def _lasts(bars: object, beats: int | None, tempo: object) -> timedelta | None:
    """How long so many bars last; None where the row says what no hand plays."""
    if not isinstance(bars, int) or not isinstance(tempo, float | int) or not tempo > 0:
        return None
    seconds = bar_seconds(bars, beats or USUAL_BEATS, tempo)
    return timedelta(seconds=seconds) if 0 <= seconds <= _LONGEST_TAKE.total_seconds() else None


def last_days(minutes: Mapping[date, float], last: date, days: int) -> tuple[tuple[date, float], ...]:
    """(day, minutes) of each of the `days` days up to `last`."""
    each = [last - timedelta(days - 1 - n) for n in range(days)]
    return tuple((day, minutes.get(day, 0.0)) for day in each)

"""How long a day's practice may be, from how long the days before were: load grows little by little.

Sources: BAPAM (British Association for Performing Arts Medicine), "Ten top health tips for musicians" (at most ten
minutes a day more) and "Return to play" (after a lay-off small levels, three to seven days each, none skipped).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from itertools import pairwise

MORE_A_DAY = 10
"""Minutes (BAPAM)."""
ALWAYS_FINE = 30
"""Minutes that are never called too many of a sudden, except after a lay-off: one sitting without a rest (ours)."""
LAY_OFF_DAYS = 14
LEVEL_MINUTES, LEVEL_DAYS, LEVELS = 10, 3, 3
"""Level n is n times so many minutes a day, for so many days of practice; after the last level a lay-off is over."""
_LATELY_DAYS, _LEAST_DAYS = 7, 3
_PAUSE = timedelta(minutes=10)
_LAST_TURN, _MINUTE = timedelta(minutes=3), timedelta(minutes=1)


def minutes_by_day(begun: Iterable[tuple[date, datetime]]) -> dict[date, float]:
    """About how many minutes were played on each local day, from (local day, moment) of every take that began."""
    days: dict[date, list[datetime]] = defaultdict(list)
    for day, at in begun:
        days[day].append(at)
    return {day: minutes_of(moments) for day, moments in days.items()}


def minutes_of(moments: Iterable[datetime]) -> float:
    """About how many minutes were played on a day with takes begun at these moments.

    From the first take to the last and a turn more; what lies between two takes more than ten minutes apart is rest.
    """
    gaps = [b - a for a, b in pairwise(sorted(moments))]
    return sum([gap if gap <= _PAUSE else _LAST_TURN for gap in gaps], _LAST_TURN) / _MINUTE


def allowed(asked: int, played: Mapping[date, float], today: date) -> tuple[int, list[str]]:
    """Minutes for today, no more than `asked`, and what is said when they are fewer.

    Says nothing while too little is known: with fewer than three days of practice in the last fortnight nobody knows
    how much the player plays elsewhere.
    """
    before = sorted(d for d in played if d < today)
    if not before:
        return asked, []
    ends = [*before, today]
    gaps = [(b, (b - a).days) for a, b in pairwise(ends)]
    back = next(((day, gap) for day, gap in reversed(gaps) if gap >= LAY_OFF_DAYS), None)
    if back is not None:
        since, gap = back
        level = sum(since <= d < today for d in before) // LEVEL_DAYS + 1
        if level <= LEVELS and len(before) >= _LEAST_DAYS:
            most = min(asked, level * LEVEL_MINUTES)
            when = f"{gap} days since the last take" if since == today else f"Back after {gap} days without a take"
            return most, [f"{when}: keep the first days short and add a little at a time ({most} minutes today)."]
        if since == today:
            return asked, [f"{gap} days since the last take: keep the first days short and add a little at a time."]
    lately = [played[d] for d in before if (today - d).days <= _LATELY_DAYS]
    if len(lately) < _LEAST_DAYS:
        return asked, []
    most = max(int(max(lately)) + MORE_A_DAY, ALWAYS_FINE)
    if asked <= most:
        return asked, []
    usual = f"{max(lately):.0f} minutes at most on a day of the last week"
    return most, [f"{most} minutes instead of {asked}: it was {usual}, and ten more a day are enough."]

"""How long a day's practice may be, from how long the days before were: load grows little by little.

What was played today counts. Sources: BAPAM (British Association for Performing Arts Medicine), "Ten top health tips
for musicians" (at most ten minutes a day more) and "Return to play" (after a lay-off small levels, three to seven
days each, none skipped).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
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


@dataclass(frozen=True)
class Most:
    """The most minutes of playing on a day, with `ground`, a sentence that says why; `always` where that is said in any
    case. `minutes` is None where nothing is known that would bound it."""

    minutes: int | None
    ground: str = ""
    always: bool = False


def most_today(played: Mapping[date, float], today: date) -> Most:
    """How much playing today may hold, from the minutes of the days before it.

    Nothing bounds it while too little is known: with fewer than three days of practice in the last week nobody knows
    how much the player plays elsewhere.
    """
    before = sorted(d for d in played if d < today)
    if not before:
        return Most(None)
    ends = [*before, today]
    gaps = [(b, (b - a).days) for a, b in pairwise(ends)]
    back = next(((day, gap) for day, gap in reversed(gaps) if gap >= LAY_OFF_DAYS), None)
    if back is not None:
        since, gap = back
        when = f"{gap} days since the last take" if since == today else f"Back after {gap} days without a take"
        ground = f"{when}: keep the first days short and add a little at a time"
        level = sum(since <= d < today for d in before) // LEVEL_DAYS + 1
        if level <= LEVELS and len(before) >= _LEAST_DAYS:
            return Most(level * LEVEL_MINUTES, ground, True)
        if since == today:
            return Most(None, f"{ground}.", True)
    lately = [played[d] for d in before if (today - d).days <= _LATELY_DAYS]
    if len(lately) < _LEAST_DAYS:
        return Most(None)
    longest = int(max(lately))
    usual = f"it was {longest} minutes at most on a day of the last week, and ten more a day are enough"
    return Most(max(longest + MORE_A_DAY, ALWAYS_FINE), usual)


def allowed(
    asked: int, played: Mapping[date, float], today: date, hands: Callable[[int], int] = lambda minutes: minutes
) -> tuple[int, list[str]]:
    """Minutes for today's plan, no more than `asked`, and what is said when they are fewer.

    `played` has the minutes of each day, of today as well. `hands` gives the minutes of playing in a plan of so many,
    which has rests. 0 where enough was played today.
    """
    most = most_today(played, today)
    if most.minutes is None:
        return asked, [most.ground] if most.ground else []
    done = math.fsum(minutes for day, minutes in played.items() if day >= today)
    left = most.minutes - done
    if left < 1:
        return 0, [_enough(done, most)]
    wanted = asked
    if hands(asked) > left:
        # The most playing that still fits, and of plans with so much the one with the fewest rests.
        wanted = max((n for n in range(1, asked) if hands(n) <= left), key=lambda n: (hands(n), -n))
    if most.always:
        return wanted, [f"{most.ground} ({wanted} minutes {'more ' if done >= 1 else ''}today)."]
    if wanted == asked:
        return asked, []
    with_these = f"you have played {done:.0f} today already, " if done >= 1 else ""
    return wanted, [f"{wanted} minutes instead of {asked}: {with_these}{most.ground}."]


def _enough(done: float, most: Most) -> str:
    ground = most.ground[0].upper() + most.ground[1:]
    return (
        f"{done:.0f} minutes played today, and that is a good day: let the hands rest, and go on tomorrow. {ground}."
    )

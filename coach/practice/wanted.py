"""What a day to be ready by asks of the plan: how many new things a day, and an honest word where it will not do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from coach.practice.need import View

LEARN_DAYS = 14
"""So many days the thing begun last should still have (ours, no source)."""
MOST_NEW = 3
"""However near the day, no more new things than this are begun in one (ours, no source)."""
TELL_DAYS = 21
_STEPS = ("pattern", "change", "spoken")  # of a song: they serve its parts and are not what is wanted by a day


@dataclass(frozen=True)
class Begin:
    """`urgent` ids of what must be begun now, so many `a_day` (0 when none), and `words` that say so."""

    urgent: frozenset[str] = frozenset()
    a_day: int = 0
    words: tuple[str, ...] = ()


def to_begin(untouched: Sequence[View], today: date) -> Begin:
    """What of the things never played must be begun now to have two weeks each before the day they are wanted by.

    While there are more days than things, one after the other is begun as room comes; when there are not, one a day,
    or as many as it takes.
    """
    urgent: set[str] = set()
    a_day, words = 0, list[str]()
    for day in sorted({v.drill.due for v in untouched if v.drill.due is not None and v.drill.due >= today}):
        things = [v.drill.id for v in untouched if v.drill.due is not None and today <= v.drill.due <= day]
        room = (day - today).days - LEARN_DAYS
        if len(things) < room:
            continue
        urgent |= set(things)
        pace = min(math.ceil(len(things) / max(room, 1)), MOST_NEW)
        if pace > max(a_day, 1):
            when = _when(day, today, "the day in")
            words = [f"{len(things)} things are still new for {when}: up to {pace} a day are begun, as they are ready."]
        a_day = max(a_day, pace)
    return Begin(frozenset(urgent), a_day, tuple(words))


def not_ready(views: Iterable[View], today: date) -> tuple[str, ...]:
    """What will not be at its tempo by its day at the gain so far, told where the day is near; nothing else to say."""
    late: dict[date, list[str]] = {}
    for view in views:
        due = view.drill.due
        steps = "/" in view.drill.id and view.drill.kind in _STEPS
        if due is None or steps or not 0 <= (due - today).days <= TELL_DAYS:
            continue
        bpm = view.bpm if view.bpm is not None else view.drill.start_bpm
        if math.log(view.drill.target_bpm / bpm) / view.gain > (due - today).days:
            late.setdefault(due, []).append(view.drill.title)
    found = []
    for due, titles in sorted(late.items()):
        named = ", ".join(f"'{title}'" for title in titles[:2])
        more = f" and {len(titles) - 2} more" if len(titles) > 2 else ""
        found.append(
            f"At the gain so far {named}{more} will not be at tempo {_when(due, today, 'in')}:"
            " think of a slower tempo, the plainer way, or less of it."
        )
    return tuple(found)


def _when(day: date, today: date, later: str) -> str:
    left = (day - today).days
    return "today" if left == 0 else "tomorrow" if left == 1 else f"{later} {left} days"

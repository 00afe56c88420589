"""What a day to be ready by asks of the plan: how many new things a day, and an honest word where that will not do."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from coach.plan.need import USUAL_GAIN, View

LEARN_DAYS = 14
"""So many days the thing begun last should still have (ours, no source)."""
MOST_NEW = 3
"""However near the day, no more new things than this are begun in one (ours, no source)."""
TELL_DAYS = 21


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
    """What would not be at its tempo by its day at the gain so far and what could be, told where the day is near;
    nothing where all of it could be.

    The gain only falls towards the end (Heathcote et al. 2000, as in need.py), so what is told is the best to be
    hoped for: hence "could".
    """
    wanted: dict[date, list[View]] = {}
    for view in views:
        due = view.drill.due
        is_step = bool(view.drill.song) and view.drill.kind.traits.is_step
        if due is not None and not is_step and 0 <= (due - today).days <= TELL_DAYS:
            wanted.setdefault(due, []).append(view)
    lines = []
    for due, all_ in sorted(wanted.items()):
        left = (due - today).days
        late = [view for view in all_ if _days_to_tempo(view) > left]
        if late:
            usual = "" if all(view.gain_known for view in late) else f" ({USUAL_GAIN:.0%} a day where it is not known)"
            lines.append(
                f"At the gain so far{usual} {_named([_title(view) for view in late], 2)} would not be at tempo"
                f" {_when(due, today, 'in')}: think of a slower tempo, the plainer way, or less of it."
                f" {_could([view for view in all_ if view not in late], late, left)}"
            )
    return tuple(lines)


def _could(ready: Sequence[View], late: Sequence[View], left: int) -> str:
    """The sentence on what could be at tempo in `left` days; of nothing at all, how far the nearest would be."""
    count = len(ready) + len(late)
    if ready:
        be = "could be" if left else "is" if len(ready) == 1 else "are"
        what = f"Of {count} things wanted {'then' if left else 'now'} {len(ready)} {be}"
        every_day = ", with a turn every day" if any(_days_to_tempo(view) > 0 for view in ready) else ""
        return f"{what}{every_day}: {_named([_in_numbers(view) for view in ready], 3)}."
    nearest = min(late, key=_days_to_tempo)
    bpm = _held(nearest) * math.exp(nearest.gain * left)
    none = f"None of {count} things could be" if left else f"None of {count} things is"
    which = f"{none}; nearest is {_title(nearest)}, at" if count > 1 else "It could be at" if left else "It is at"
    by_then = " by then, with a turn every day" if left else " now"
    return f"{which} about {bpm:.0f} of {nearest.drill.target_bpm} bpm{by_then}."


def _held(view: View) -> float:
    return view.bpm if view.bpm is not None else view.drill.start_bpm


def _days_to_tempo(view: View) -> float:
    """Days of practice until the target itself is held, at the gain so far; 0 and less when it is."""
    return math.log(view.drill.target_bpm / _held(view)) / view.gain


def _title(view: View) -> str:
    return f"'{view.drill.title}'"


def _in_numbers(view: View) -> str:
    days, target = math.ceil(_days_to_tempo(view)), view.drill.target_bpm
    if days <= 0:
        return f"{_title(view)} (at its {target} bpm now)"
    return f"{_title(view)} (from {_held(view):.0f} to {target} bpm in about {days} day{'s' if days > 1 else ''})"


def _named(things: Sequence[str], most: int) -> str:
    """`A, B and 2 more`, never more than `most` of them by name."""
    more = [f"{len(things) - most} more"] if len(things) > most else []
    *before, last = [*things[:most], *more]
    return f"{', '.join(before)} and {last}" if before else last


def _when(day: date, today: date, later: str) -> str:
    left = (day - today).days
    return "today" if left == 0 else "tomorrow" if left == 1 else f"{later} {left} days"

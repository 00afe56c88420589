"""All estimates made anew from one reading of the ledger: what was counted, pasts and minutes.

A drill's days are folded one after the other; its latest is held open, since takes of that day may follow
(keptpasts.py). Of the passes only those of a drill's latest days of practice are counted one by one.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import attrgetter

from coach.practice import tally
from coach.practice.collector import collector_waits
from coach.practice.ledger import Ledger
from coach.practice.load import minutes_of
from coach.practice.past import Fold, Past
from coach.practice.reading import Reading, Row
from coach.practice.short import as_counted
from coach.practice.trials import Window, add_take, latest


@dataclass(frozen=True)
class Told:
    """Of a `drill`, its past up to its latest day (None when it has no other), that day's takes by their ids, and both
    together; and what was counted of its latest days."""

    drill: str
    before: Past | None
    opened: list[str]
    past: Past
    window: Window


@dataclass(frozen=True)
class Everything:
    """What the ledger comes to: `ends` of its tables, by which to know what is new later (tally.py), what is told of
    each drill, and minutes of practice by local day."""

    ends: tally.Ends
    drills: list[Told]
    minutes: dict[date, float]


def everything(ledger: Ledger) -> Everything:
    """All of it. Raises CoachError when the ledger cannot be read."""
    with collector_waits(), ledger.reading() as db:
        ends = tally.ends(lambda query, *values: db.execute(query, values).fetchall(), tally.TOLD)
        reading = Reading(db)
        found = []
        begun: dict[date, list[datetime]] = defaultdict(list)
        for drill, rows in groupby(reading.takes(), key=attrgetter("drill")):
            days = [(day, list(own)) for day, own in groupby(rows, key=attrgetter("day"))]
            found.append(_told(drill, days, reading))
            for day, own in days:
                begun[day] += [row.take.at for row in own]
        return Everything(ends, found, {day: minutes_of(moments) for day, moments in begun.items()})


def _told(drill: str, days: list[tuple[date, list[Row]]], reading: Reading) -> Told:
    """What is told of one drill by its days in order."""
    fold, before = Fold(drill), None
    for day, rows in days[:-1]:
        fold.day(day, [as_counted(drill, row.mode, row.take) for row in rows])
    if fold.begun:
        before = fold.past()
    day, rows = days[-1]
    fold.day(day, [as_counted(drill, row.mode, row.take) for row in rows])
    window: Window = {}
    lately = latest(dict.fromkeys(day for day, _ in days))
    for day, own in days:
        if day in lately:
            for row in own:
                add_take(window, day, drill, row.mode, row.take, reading.bars(row))
    return Told(drill, before, [row.id for row in rows], fold.past(), latest(window))

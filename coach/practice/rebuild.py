"""All estimates made anew from one reading of the ledger: what was counted, pasts and minutes.

A drill's days are folded one after the other; its latest is held open, since takes of that day may follow
(keptpasts.py). Of the passes only those of a drill's latest days of practice are counted one by one.

Drills have nothing to do with each other here, so of a very long ledger a second process reads one half of them.
"""

from __future__ import annotations

import gc
import json
import os
import sqlite3
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from threading import Event

from coach.practice import tally
from coach.practice.beside import FirstOne, beside, stop_all
from coach.practice.days import from_utc_text
from coach.practice.laid import Laid, lay
from coach.practice.ledger import Ledger, reading_of
from coach.practice.load import minutes_by_day
from coach.practice.past import Fold, Past
from coach.practice.reading import Day, Reading
from coach.practice.short import as_counted
from coach.practice.steady import Evidence, evidence_of
from coach.practice.trials import Window, add_take, days_in, latest
from coach.practice.voices import voice_of

_LONG = 100_000  # takes, from which on a second process is worth its start
_STEPS = 100_000  # of the database, some milliseconds, after which is looked whether to give up
_GIVEN_UP = Event()
_EVERY = 97  # one take in so many is looked at to part the drills into halves


@dataclass(frozen=True)
class Told:
    """Of a `drill`, its past up to its latest day (None when it has no other), that day's takes by their ids, and both
    together; what was counted of its latest days, and what that says of the full layer."""

    drill: str
    before: Past | None
    opened: list[str]
    past: Past
    window: Window
    evidence: Evidence | None


@dataclass(frozen=True)
class Everything:
    """What the ledger comes to: `ends` of its tables, by which to know what is new later (tally.py), what is told of
    each drill, and minutes of practice by local day."""

    ends: tally.Ends
    drills: list[Told]
    minutes: dict[date, float]


def everything(ledger: Ledger) -> Everything:
    """All of it. Raises CoachError when the ledger cannot be read, or when it is given up (`give_up`)."""
    with reading_of(ledger.path) as db, ExitStack() as stack:
        db.set_progress_handler(_GIVEN_UP.is_set, _STEPS)
        ends = tally.ends(lambda query, *values: db.execute(query, values).fetchall(), tally.TOLD)
        passes, middle, other = ends["passes"][0], _middle(db, ends["takes"][0]), None
        if middle is None:
            laid = lay(db, 0, passes)
        else:  # a second process lays half of the passes, then tells half of the drills
            other = stack.enter_context(beside(_SECOND_HALF, str(ledger.path), middle, json.dumps(ends)))
            laid = lay(db, 0, passes // 2)
            laid.go_on(other.swap(laid) or lay(db, passes // 2, passes))
        reading = Reading(db, ends, laid)
        drills = _drills(reading, before=middle)
        days = tally.Days()
        begun = db.execute("SELECT local_day, at FROM takes WHERE rowid <= ?", (ends["takes"][0],))
        minutes = minutes_by_day((days[day], from_utc_text(at)) for day, at in begun)
        if middle is not None and other is not None:
            drills += other.get() or _drills(reading, middle)
        return Everything(ends, drills, minutes)


_SECOND_HALF = "coach.practice.rebuild:second_half"


def second_half(path: str, middle: str, ends: str) -> None:
    """What the second process does."""
    gc.disable()  # it ends with what it gives
    upto: tally.Ends = json.loads(ends)
    with reading_of(Path(path)) as db:
        laid = lay(db, upto["passes"][0] // 2, upto["passes"][0])
        first_one = FirstOne()
        before: Laid | None = first_one.swap(laid)
        if before is not None:
            before.go_on(laid)
            first_one.give(_drills(Reading(db, upto, before), middle))


def give_up() -> None:
    """Give up what is being made anew on any thread, and begin nothing of the kind: the process is about to end. It
    can be made at any time."""
    _GIVEN_UP.set()
    stop_all()


def _middle(db: sqlite3.Connection, takes: int) -> str | None:
    """The drill before and after which lie about as many takes each; None where two processes are not worth it."""
    if takes < _LONG or (os.cpu_count() or 1) < 2:
        return None
    query = "SELECT drill FROM takes WHERE rowid <= ? AND rowid % ? = 0 ORDER BY drill"
    some = [drill for (drill,) in db.execute(query, (takes, _EVERY))]
    return some[len(some) // 2] if some else None


def _drills(reading: Reading, first: str = "", before: str | None = None) -> list[Told]:
    return [_told(drill, days, reading) for drill, days in reading.drills(first, before)]


def _told(drill: str, days: list[Day], reading: Reading) -> Told:
    """What is told of one drill by its days in order."""
    fold, before, voice = Fold(drill), None, voice_of(drill)
    for n, (day, takes, whence) in enumerate(days, 1):
        if n == len(days) and n > 1:
            before = fold.past()
        if voice:
            takes = [as_counted(drill, where.mode, take) for take, where in zip(takes, whence, strict=True)]
        fold.day(day, takes)
    window: Window = {}
    lately = latest(dict.fromkeys(day for day, _, _ in days))
    for day, takes, whence in days:
        if day in lately:
            for take, where in zip(takes, whence, strict=True):
                add_take(window, day, drill, where.mode, take, reading.bars(where))
    window = latest(window)
    opened = [where.id for where in days[-1].whence]
    return Told(drill, before, opened, fold.past(), window, evidence_of(days_in(window)))

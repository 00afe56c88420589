"""All estimates made anew from one reading of the ledger: what was counted, pasts and minutes.

A drill's days are folded one after the other; its latest is held open, since takes of that day may follow
(keptpasts.py). Of the passes only those of a drill's latest days of practice are counted one by one.

Drills have nothing to do with each other here, so of a very long ledger a second process reads one half of them.
"""

from __future__ import annotations

import gc
import json
import os
import pickle
import sqlite3
import subprocess
import sys
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from threading import Event

from coach.practice import tally
from coach.practice.days import from_utc_text
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
_LOOK_S = 0.1
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
        takes = ends["takes"][0]
        middle = _middle(db, takes)
        other = None if middle is None else _beside(stack, ledger.path, ends, middle)
        reading = Reading(db, ends)
        drills = _drills(reading, before=middle)
        days = tally.Days()
        begun = db.execute("SELECT local_day, at FROM takes WHERE rowid <= ?", (takes,))
        minutes = minutes_by_day((days[day], from_utc_text(at)) for day, at in begun)
        if middle is not None:
            rest = None if other is None else _given_back(other)
            drills += _drills(reading, middle) if rest is None else rest
        return Everything(ends, drills, minutes)


def give_up() -> None:
    """Give up what is being made anew on any thread, and begin nothing of the kind: the process is about to end. It
    can be made at any time."""
    _GIVEN_UP.set()


def second_half(path: str, first: str, ends: str) -> None:
    """The second process: what is told of the drills from `first` on, up to `ends`, goes to its standard output."""
    gc.disable()  # it ends with what it gives back
    with reading_of(Path(path)) as db:
        sys.stdout.buffer.write(pickle.dumps(_drills(Reading(db, json.loads(ends)), first)))


_BESIDE = "import sys; from coach.practice.rebuild import second_half; second_half(*sys.argv[1:])"


def _beside(stack: ExitStack, path: Path, ends: tally.Ends, middle: str) -> subprocess.Popen[bytes] | None:
    """A second process that reads its half, ended with the stack; None where it cannot be started."""
    # Begun anew, and not a copy of this process, in which a screen and a sound engine may be at work.
    words = [sys.executable, "-P", "-c", _BESIDE, str(path), middle, json.dumps(ends)]
    where = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    none, pipe = subprocess.DEVNULL, subprocess.PIPE
    try:
        other = subprocess.Popen(words, stdin=none, stdout=pipe, stderr=none, env=where)
    except (OSError, ValueError):  # no such program; a name that cannot be handed over
        return None
    stack.enter_context(other)
    stack.callback(other.kill)
    return other


def _given_back(other: subprocess.Popen[bytes]) -> list[Told] | None:
    """What the second process found; None where something befell it, or when it is waited for no more."""
    found = b""
    while other.returncode is None and not _GIVEN_UP.is_set():
        with suppress(subprocess.TimeoutExpired):
            found, _ = other.communicate(timeout=_LOOK_S)
    if other.returncode != 0:
        return None
    told: list[Told] = pickle.loads(found)
    return told


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

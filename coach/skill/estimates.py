"""A cache of what the ledger comes to, in a file beside it that may be thrown away at any time.

Of each drill: its past, what was counted on its latest days, and what that says of the steady tempo. All of it is a
pure function of the ledger. A drill with new rows in the ledger is folded anew from all of its takes. On any doubt
everything is: another ledger or one that shrank, tables that were changed, a clock that was set, another layout, a
file that cannot be read. Where no file can be written it lives in memory.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from array import array
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path
from threading import Event
from types import TracebackType
from typing import Any, TypeVar

from coach.drills.pattern_drills import Drill
from coach.errors import CoachError
from coach.log.checks import is_disk_error
from coach.log.ledger import Ledger
from coach.log.local_days import DAYS_AHEAD, from_utc_text, now_here, utc_text
from coach.log.readable_rows import READABLE, describe_unread, read_put_aside, unread_rows
from coach.log.takes import Take
from coach.picking.layers import FULL
from coach.skill.history import Past, hastened, past_from_json, past_of, past_to_json, returns_of
from coach.skill.kin import Kin, lends
from coach.skill.pass_counts import Window, add_take, days_in, latest
from coach.skill.retention import keeping
from coach.skill.steady_tempo import (
    Evidence,
    Places,
    SteadyOf,
    SteadyTempo,
    Tried,
    as_known,
    evidence_of,
    known,
    own_prior,
    places,
)
from coach.skill.take_summary import summarize

LAYOUT = 13
"""Raise it whenever what is kept, or how it is worked out, changes: older files are then made anew."""

_TABLES = (
    # all that the rest was made of, by which to know whether it still is
    "CREATE TABLE made_of (told TEXT NOT NULL)",
    # days: what was counted of every layer; tried and along: what that says of the full layer, NULL when nothing
    "CREATE TABLE drills (drill TEXT PRIMARY KEY, past TEXT NOT NULL, days TEXT NOT NULL, tried TEXT, along BLOB)",
    # the steady tempos of drills (told by their mark), kin lending strength; no row where a drill has changed since
    "CREATE TABLE figures (mark TEXT NOT NULL, told TEXT NOT NULL)",
)
_WATCHED = {"takes": "id", "passes": "take", "stumbles": "take", "wholes": "take", "verdicts": "take", "notes": "id"}
_MOST_DRILLS = 50  # with something new, from which on reading all takes at once is sooner done
_WAIT_S = 5.0
_GIVEN_UP = Event()
_DAMAGE = (sqlite3.Error, ValueError, TypeError, KeyError, IndexError, OverflowError, RecursionError)

T = TypeVar("T")


def beside(ledger: Path) -> Path:
    """Where the estimates of a ledger lie."""
    return ledger.with_name(ledger.stem + ".estimates.sqlite3")


def give_up() -> None:
    """Give up what is being made anew on any thread, and begin nothing of the kind: the process is about to end."""
    _GIVEN_UP.set()


class Estimates:
    """The estimates of one ledger. Calls may come from any thread, one at a time runs; close it or use it in a `with`.

    Each answer is as the ledger is now; asking raises CoachError when the ledger cannot be read.
    """

    def __init__(self, ledger: Ledger, path: Path | None = None) -> None:
        self._ledger = ledger
        self._lock = threading.RLock()
        self.path = beside(ledger.path) if path is None else path
        self._in_memory = False
        self._db = self._opened()

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        with self._lock:
            self._db.close()

    def __enter__(self) -> Estimates:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # What is asked

    def evidence(self, drill: str, layer: str = FULL) -> Evidence | None:
        """What the passes of one drill's layer say; None when nothing was counted."""
        return self._answer(lambda: self._evidence(drill, layer))

    def steady(self, drill: Drill, layer: str = FULL, today: date | None = None) -> SteadyTempo | None:
        """The steady tempo of one drill's layer from its own passes alone; None until it is known."""
        return known(self.evidence(drill.id, layer), own_prior(drill), today)

    def steadies(self, drills: Sequence[Drill], today: date | None = None) -> dict[str, SteadyTempo]:
        """The steady tempo of every drill that has one, kin lending strength."""
        found = self._answer(lambda: self._figures(drills))
        shown = ((drill, as_known(tried, at, today)) for drill, tried, at in found)
        return {drill: steady for drill, steady in shown if steady is not None}

    def steady_of(self, drills: Sequence[Drill], today: date | None = None) -> SteadyOf:
        """The steady tempos by drill and layer: kin lend strength to the full layer, which is worked out for all when
        first asked for; another layer stands for itself."""
        full: dict[str, SteadyTempo] | None = None

        def found(drill: Drill, layer: str) -> SteadyTempo | None:
            nonlocal full
            if layer != FULL:
                return self.steady(drill, layer, today)
            if full is None:
                full = self.steadies(drills, today)
            return full.get(drill.id)

        return found

    def pasts(self) -> dict[str, Past]:
        """Every drill's past, due as soon as all returns together ask for."""
        found = self._answer(self._pasts)
        wait = keeping(returns_of(found.values())).wait
        return {drill: hastened(past, wait) for drill, past in found.items()}

    def played(self) -> tuple[str, ...]:
        """The ids of all drills with a past."""
        return self._answer(lambda: tuple(drill for (drill,) in self._db.execute("SELECT drill FROM drills")))

    def troubles(self) -> tuple[str, ...]:
        """What is to be said of entries that cannot be read and were not put aside, and of a damaged file."""
        marks = self._answer(lambda: set(self._made_of()["unread"]))
        left = marks - read_put_aside(self._ledger.rows) if marks else marks
        return tuple(filter(None, (describe_unread(len(left)) if left else None, self._ledger.damage())))

    # What is kept

    def _pasts(self) -> dict[str, Past]:
        rows = self._db.execute("SELECT drill, past FROM drills")
        return {drill: past_from_json(json.loads(text)) for drill, text in rows}

    def _evidence(self, drill: str, layer: str) -> Evidence | None:
        row = self._db.execute("SELECT days, tried, along FROM drills WHERE drill = ?", (drill,)).fetchone()
        if row is None:
            return None
        return _evidence_in(*row[1:]) if layer == FULL else evidence_of(days_in(_window_in(row[0]), layer))

    def _figures(self, drills: Sequence[Drill]) -> list[tuple[str, Tried, Places]]:
        """Every drill with passes enough for a figure, in the order given, and where the belief about it lies."""
        mark = _mark_of(drills)
        row = self._db.execute("SELECT told FROM figures WHERE mark = ?", (mark,)).fetchone()
        if row is None:
            told = self._worked_out(drills)
            with suppress(sqlite3.OperationalError):  # another coach keeps it, or nobody does
                self._db.execute("BEGIN IMMEDIATE")
                self._db.execute("DELETE FROM figures")
                self._db.execute("INSERT INTO figures VALUES (?, ?)", (mark, json.dumps(told)))
                self._db.execute("COMMIT")
        else:
            told = json.loads(row[0])
        return [(drill, _tried_in(tried), Places(*at)) for drill, tried, at in told]

    def _worked_out(self, drills: Sequence[Drill]) -> list[tuple[str, list[Any], Places]]:
        rows = self._db.execute("SELECT drill, tried, along FROM drills WHERE along IS NOT NULL")
        found = {drill: _evidence_in(*row) for drill, *row in rows}
        kin = Kin(drills, {drill.id: lends(found.get(drill.id), own_prior(drill)) for drill in drills})
        own = ((drill, found.get(drill.id)) for drill in drills)
        return [(d.id, _told_tried(one), places(one, kin.prior(d))) for d, one in own if one is not None and one.enough]

    def _made_of(self) -> dict[str, Any]:
        row = self._db.execute("SELECT told FROM made_of").fetchone()
        return dict(json.loads(row[0])) if row else {}

    # Keeping up with the ledger

    def _answer(self, ask: Callable[[], T]) -> T:
        """What is asked, of estimates that are up to date; what is damaged is thrown away and made anew in memory."""
        with self._lock:
            try:
                self.refresh()
                return ask()
            except _DAMAGE as error:
                self._db.close()
                if "locked" not in str(error):
                    self._throw_away()
                self._db, self._in_memory = _fresh(":memory:"), True
                self.refresh()
                return ask()

    def refresh(self) -> int:
        """Take in what is new in the ledger; gives how many drills were folded anew."""
        with self._lock:
            if self._still(self._as_it_is(), self._made_of()):
                return 0
            self._db.execute("BEGIN IMMEDIATE")
            try:
                # Asked again: another coach may have done it meanwhile.
                found = self._follow(self._as_it_is(), self._made_of())
                self._db.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
                raise
            return found

    def _as_it_is(self) -> dict[str, Any]:
        """Each table's last row, and the file's count of changes to its tables: triggers forbid to change a row, so who
        does changes those first."""
        rows = self._ledger.rows
        ends = {table: self._row("ORDER BY rowid DESC LIMIT 1", table) for table in _WATCHED}
        return {"ends": ends, "tables": rows("PRAGMA schema_version")[0][0]}

    def _row(self, which: str, table: str, *values: int) -> list[Any]:
        """The number of a row, and by what to know it again."""
        found = self._ledger.rows(f"SELECT rowid, hex({_WATCHED[table]}) FROM {table} {which}", *values)
        return list(found[0]) if found else [0, ""]

    @staticmethod
    def _still(now: Mapping[str, Any], was: Mapping[str, Any]) -> bool:
        """True where nothing has happened since: to the ledger, or to the clock that says what lies ahead."""
        ahead = utc_text(now_here() + timedelta(days=DAYS_AHEAD))
        return all(was.get(key) == one for key, one in now.items()) and was["latest"] <= ahead < was["until"]

    def _follow(self, now: dict[str, Any], was: Mapping[str, Any]) -> int:
        if self._still(now, was):
            return 0
        if _GIVEN_UP.is_set():
            raise CoachError("the reading of the ledger was given up")
        touched = self._touched(now, was)
        if touched is None:
            self._db.execute("DELETE FROM drills")
            takes, was = self._ledger.takes(), {}
        else:
            takes = self._ledger.takes(drills=touched)
        self._db.execute("DELETE FROM figures")
        self._db.execute("DELETE FROM made_of")
        own: dict[str, list[Take]] = defaultdict(list)
        for take in takes:
            own[take.drill].append(take)
        for drill, played in own.items():
            if _GIVEN_UP.is_set():
                raise CoachError("the reading of the ledger was given up")
            self._db.execute("INSERT OR REPLACE INTO drills VALUES (?, ?, ?, ?, ?)", (drill, *_folded(played)))
        unread = unread_rows(self._ledger.rows, {table: end[0] for table, end in was.get("ends", {}).items()})
        ahead = [str(one.values["at"]) for one in unread if "at" in one.columns and _is_moment(one.values["at"])]
        latest = max([utc_text(take.at) for take in takes], default="")
        now["unread"] = [*was.get("unread", ()), *(one.mark for one in unread)]
        now["latest"] = max(latest, was.get("latest", ""))
        now["until"] = min([*ahead, was.get("until", "9999")])
        if self._ledger.damage() and not self._in_memory:
            raise sqlite3.DatabaseError("what is left of a damaged ledger is not kept")
        self._db.execute("INSERT INTO made_of VALUES (?)", (json.dumps(now),))
        return len(own)

    def _touched(self, now: Mapping[str, Any], was: Mapping[str, Any]) -> set[str] | None:
        """The drills that have something new; None where all is to be made anew."""
        if not was or was["tables"] != now["tables"] or self._ledger.damage():
            return None
        if not self._still({}, was):
            return None
        drills = set[str]()
        for table, (row, mark) in was["ends"].items():
            if row > now["ends"][table][0] or (row and self._row("WHERE rowid = ?", table, row) != [row, mark]):
                return None
            if table == "notes":
                continue
            key = _WATCHED[table]
            query = (
                f"SELECT DISTINCT t.drill FROM {table} x CROSS JOIN {READABLE['takes']} t"
                f" ON t.id = x.{key} WHERE x.rowid > ?"
            )
            drills |= {drill for (drill,) in self._ledger.rows(query, row)}
        return drills if len(drills) <= _MOST_DRILLS else None

    def _opened(self) -> sqlite3.Connection:
        """The file, made anew when it is not of this layout or cannot be read; memory when no file can be had."""
        for _ in range(2):
            db = None
            try:
                db = _fresh(self.path)
                if db.execute("PRAGMA user_version").fetchone()[0] == LAYOUT:
                    return db
            except (sqlite3.Error, OSError) as error:
                if isinstance(error, sqlite3.Error) and is_disk_error(error):
                    break  # what is kept may be sound, and serves again once there is room
            if db is not None:
                db.close()
            self._throw_away()
        self._in_memory = True
        return _fresh(":memory:")

    def _throw_away(self) -> None:
        for side in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                self.path.with_name(self.path.name + side).unlink(missing_ok=True)


def _fresh(path: Path | str) -> sqlite3.Connection:
    """A connection to estimates at `path`, with the tables made where there is nothing yet. Raises sqlite3.Error."""
    db = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        db.execute("PRAGMA journal_mode = WAL").fetchone()
        db.execute("PRAGMA synchronous = NORMAL")  # whole after a crash; the newest may be lost, and is made anew
        if not db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            db.execute("BEGIN IMMEDIATE")
            if not db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                for statement in _TABLES:
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {LAYOUT}")
            db.execute("COMMIT")
    except BaseException:
        db.close()
        raise
    return db


def _folded(takes: Sequence[Take]) -> tuple[str, str, str | None, bytes | None]:
    """What is kept of one drill, from its takes in order."""
    past = past_of(takes)
    assert past is not None
    window: Window = {}
    lately = latest(dict.fromkeys(take.local_day for take in takes))
    for take in takes:
        if take.local_day in lately:
            bars = [p.bars for p in take.passes]
            add_take(window, take.local_day, take.drill, take.mode, summarize(take), bars)
    window = latest(window)
    said = evidence_of(days_in(window))
    along = None if said is None else array("d", said.along).tobytes()
    tried = None if said is None else json.dumps(_told_tried(said))
    return json.dumps(past_to_json(past)), _told_window(window), tried, along


def _told_tried(tried: Tried) -> list[Any]:
    return [tried.passes, tried.both, tried.slow, tried.fast, tried.last_day.toordinal()]


def _tried_in(told: Sequence[Any]) -> Tried:
    passes, both, slow, fast, day = told
    return Tried(passes, both, slow, fast, date.fromordinal(day))


def _evidence_in(tried: str | None, along: bytes | None) -> Evidence | None:
    if tried is None or along is None:
        return None
    passes, both, slow, fast, day = json.loads(tried)
    return Evidence(passes, both, slow, fast, date.fromordinal(day), tuple(array("d", along)))


def _told_window(window: Window) -> str:
    """Each day with its layers, each with [tempo bin, bars, clean, stumbled] of what was counted."""
    return json.dumps(
        [
            (day.toordinal(), {name: [(*key, *counts) for key, counts in own.items()] for name, own in layers.items()})
            for day, layers in window.items()
        ]
    )


def _window_in(told: str) -> Window:
    return {
        date.fromordinal(day): {
            name: {(fine, bars): (clean, stumbled) for fine, bars, clean, stumbled in own}
            for name, own in layers.items()
        }
        for day, layers in json.loads(told)
    }


def _mark_of(drills: Sequence[Drill]) -> str:
    """A mark of all that these drills' priors depend on beside what was played."""
    told = [(d.id, d.pattern, d.grows_from, str(d.slots_per_beat), d.start_bpm, d.target_bpm) for d in drills]
    return sha256(repr(told).encode()).hexdigest()


def _is_moment(told: Any) -> bool:
    """True for a moment in the ledger's way of writing it: an entry that may only be before its time."""
    try:
        return isinstance(told, str) and utc_text(from_utc_text(told)) == told
    except (ValueError, OverflowError, CoachError):
        return False

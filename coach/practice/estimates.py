"""Steady tempos and pasts kept at hand: what the ledger's takes come to, in a file that may be thrown away.

The ledger only grows, so what is new in it are the rows after the last ones seen; they are counted in, and only the
drills they belong to are worked out anew. What is kept is a pure function of the ledger: a file that is missing,
damaged, of another layout or of another ledger is made anew from it, and where none can be written it lives in memory.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import date
from pathlib import Path
from types import TracebackType

from coach.practice import keptfigures, keptpasts, tally
from coach.practice.collector import collector_waits
from coach.practice.drills import Drill
from coach.practice.keeping import Keeping
from coach.practice.ledger import Ledger
from coach.practice.need import SteadyOf
from coach.practice.past import Past
from coach.practice.rebuild import everything
from coach.practice.steady import Evidence, Steady, evidence_of, known, own_prior
from coach.practice.takes import FULL
from coach.practice.trials import Window, days_in, latest
from coach.practice.troubles import lies_in_the_disk

LAYOUT = 11
"""Raise it whenever what is kept, or how it is worked out, changes: older files are then made anew."""

_TABLES = (
    "CREATE TABLE seen (what TEXT PRIMARY KEY, row INTEGER NOT NULL, mark TEXT NOT NULL)",
    *keptfigures.TABLES,
    *keptpasts.TABLES,
)
_WAIT_S = 5.0


def beside(ledger: Path) -> Path:
    """Where the estimates of a ledger lie."""
    return ledger.with_name(ledger.stem + ".estimates.sqlite3")


class Estimates:
    """The estimates of one ledger. Calls may come from any thread, one at a time runs; close it or use it in a `with`.

    Asking for a figure brings them up to date first; it raises CoachError when the ledger cannot be read.
    """

    def __init__(self, ledger: Ledger, path: Path | None = None) -> None:
        self._ledger = ledger
        self._lock = threading.RLock()
        self.path = beside(ledger.path) if path is None else path
        self._full: dict[str, Evidence | None] = {}
        self._figures: dict[str, keptfigures.Figure] | None = None
        self._ends: tally.Ends = {}
        self._version = -1
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
        """What the passes of one drill's layer say as the ledger is now; None when nothing was counted."""
        with self._lock:
            self.refresh()
            if layer == FULL and drill in self._full:
                return self._full[drill]
            if layer != FULL:
                window = keptfigures.counts(self._db, drill)
                return None if window is None else evidence_of(days_in(window, layer))
            return self._read(drill)

    def steady(self, drill: Drill, layer: str = FULL, today: date | None = None) -> Steady | None:
        """The steady tempo of one drill's layer from its own passes alone; None until it is known."""
        return known(self.evidence(drill.id, layer), own_prior(drill), today)

    def steadies(self, drills: Sequence[Drill], today: date | None = None) -> dict[str, Steady]:
        """The steady tempo of every drill that has one, kin lending strength."""
        with self._lock:
            self.refresh()
            standing = keptfigures.standing(self._db, drills, today)
            if standing is not None:
                return standing
            if self._figures is None:
                self._figures = keptfigures.read(self._db)
            found, fresh = keptfigures.steadies(drills, self._figures, self._read, today)
            self._write({id_: self._figures[id_] for id_ in fresh}, keptfigures.mark_of(drills))
            return found

    def _read(self, drill: str) -> Evidence | None:
        """What is kept of one drill's full layer."""
        if drill not in self._full:
            self._full[drill] = keptfigures.evidence(self._db, drill)
        return self._full[drill]

    def _write(self, figures: dict[str, keptfigures.Figure], mark: str) -> None:
        """Keep figures that were worked out; where that cannot be done now they are worked out again another time."""
        with suppress(sqlite3.Error):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                if tally.known(self._db, "seen") == self._ends:  # else another coach has counted more meanwhile
                    keptfigures.write(self._db, figures)
                    keptfigures.stand(self._db, mark)
            finally:
                self._db.execute("COMMIT")

    def steady_of(self, drills: Sequence[Drill], today: date | None = None) -> SteadyOf:
        """The steady tempos as the ledger is now, by drill and layer: kin lend strength to the full layer, which is
        worked out for all when first asked for; another layer stands for itself."""
        full: dict[str, Steady] | None = None

        def found(drill: Drill, layer: str) -> Steady | None:
            nonlocal full
            if layer != FULL:
                return self.steady(drill, layer, today)
            if full is None:
                full = self.steadies(drills, today)
            return full.get(drill.id)

        return found

    def pasts(self, drills: Iterable[str] | None = None) -> dict[str, Past]:
        """Every drill's past as the ledger is now, or those of some drills."""
        with self._lock:
            self._retold()
            return keptpasts.read_pasts(self._db, drills)

    def played(self) -> tuple[str, ...]:
        """The ids of all drills with a past, as the ledger is now."""
        with self._lock:
            self._retold()
            return tuple(drill for (drill,) in self._db.execute("SELECT drill FROM pasts"))

    def keeping(self) -> Keeping:
        """How long this player's hands keep a thing, as the ledger is now."""
        with self._lock:
            self._retold()
            return keptpasts.read_keeping(self._db)

    def minutes(self) -> dict[date, float]:
        """Minutes of practice on every local day, as the ledger is now."""
        with self._lock:
            self._retold()
            return keptpasts.read_minutes(self._db)

    def _retold(self) -> None:
        try:
            self._follow("told")
        except sqlite3.Error:
            self._in_memory()
            self._follow("told")

    # Keeping up

    def refresh(self) -> int:
        """Take in what is new in the ledger; gives how many drills were worked out anew."""
        with self._lock:
            try:
                return self._follow("seen")
            except sqlite3.Error:
                self._in_memory()
                return self._follow("seen")

    def _in_memory(self) -> None:
        """Damaged since it was opened, or held too long by another coach: the ledger has it all."""
        self._db.close()
        self._forget()
        self._db = _fresh(":memory:")

    def rebuild(self) -> int:
        """Throw everything away and work it out from the ledger; gives how many drills there are."""
        with self._lock:
            with suppress(sqlite3.Error):
                for table in ("seen", "kept", "figures", "stands", "told", "pasts", "returns", "minutes"):
                    self._db.execute(f"DELETE FROM {table}")
            self._forget()
            return self.refresh()

    def _forget(self) -> None:
        self._full.clear()
        self._figures = None

    def _opened(self) -> sqlite3.Connection:
        """The file, made anew when it is not of this layout or cannot be read; memory when no file can be had."""
        for attempt in (1, 2):
            db = None
            try:
                if attempt == 2:
                    for side in ("", "-wal", "-shm", "-journal"):
                        self.path.with_name(self.path.name + side).unlink(missing_ok=True)
                db = _fresh(self.path)
                if db.execute("PRAGMA user_version").fetchone()[0] == LAYOUT:
                    db.execute("SELECT count(*) FROM seen")
                    return db
                db.close()
            except (sqlite3.Error, OSError) as error:
                if db is not None:
                    db.close()
                if isinstance(error, sqlite3.Error) and lies_in_the_disk(error):
                    break  # what is kept may be sound, and serves again once there is room
        return _fresh(":memory:")

    def _follow(self, table: str) -> int:
        """Bring what was counted (`seen`) or what is told of pasts (`told`) up to the ledger as it is now, or all of it
        anew; gives how many drills had something new."""
        db = self._db
        ends = tally.ends(self._ledger.rows, tally.COUNTED if table == "seen" else tally.TOLD)
        version = db.execute("PRAGMA data_version").fetchone()[0]
        if version != self._version:  # another coach has written to the file
            self._forget()
            self._version = version
        if table == "seen":
            self._ends = ends
        if tally.known(db, table) == ends:
            return 0
        db.execute("BEGIN IMMEDIATE")  # two coaches must not count the same rows twice
        try:
            seen = tally.known(db, table)
            found = None
            if not tally.far(self._ledger, seen, ends):
                found = self._count(seen, ends) if table == "seen" else keptpasts.go_on(db, self._ledger, seen, ends)
            if found is None:
                found = self._all_anew()
            else:
                tally.write(db, table, ends)
            db.execute("COMMIT")
        except BaseException:
            self._forget()
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
        return found

    @collector_waits()
    def _all_anew(self) -> int:
        """Make everything anew from one reading of the ledger."""
        told = everything(self._ledger)
        for table in ("seen", "told", "kept", "figures", "stands"):
            self._db.execute(f"DELETE FROM {table}")
        self._forget()
        for one in told.drills:
            keptfigures.put(self._db, one.drill, one.window, one.evidence)
        keptpasts.put(self._db, told.drills, told.minutes)
        self._ends = {what: told.ends[what] for what in tally.COUNTED}
        tally.write(self._db, "seen", self._ends)
        tally.write(self._db, "told", told.ends)
        return len(told.drills)

    def _count(self, seen: tally.Ends, ends: tally.Ends) -> int:
        """Count in what is new."""
        found = tally.counted(self._ledger, seen, ends)
        for drill, window in found.items():
            self._keep(drill, window)
        keptfigures.stand(self._db, None)
        return len(found)

    def _keep(self, drill: str, new: Window) -> None:
        window = keptfigures.counts(self._db, drill) or {}
        for day, layers in new.items():
            before = window.setdefault(day, {})
            for layer, counts in layers.items():
                sums = before.setdefault(layer, {})
                for key, (clean, stumbled) in counts.items():
                    old = sums.get(key, (0, 0))
                    sums[key] = (old[0] + clean, old[1] + stumbled)
        window = latest(window)
        self._full[drill] = evidence = evidence_of(days_in(window))
        figure = keptfigures.put(self._db, drill, window, evidence)
        if self._figures is not None:
            self._figures.pop(drill, None)
            if figure is not None:
                self._figures[drill] = figure


def _fresh(path: Path | str) -> sqlite3.Connection:
    """A connection to estimates at `path`, with the tables made where there is nothing yet. Raises sqlite3.Error."""
    db = sqlite3.connect(path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
    try:
        # A crash may cost this file, never the ledger; so it need not wait for the disk.
        db.execute("PRAGMA journal_mode = WAL").fetchone()
        db.execute("PRAGMA synchronous = OFF")
        if db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
            db.execute("BEGIN IMMEDIATE")
            if db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
                for statement in _TABLES:
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {LAYOUT}")
            db.execute("COMMIT")
    except BaseException:
        db.close()
        raise
    return db

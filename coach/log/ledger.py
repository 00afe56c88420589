"""The ledger: everything played, written down as it happens, in one SQLite file that only grows.

Each row is its own transaction, flushed to the disk before the call returns (write-ahead log, synchronous FULL;
sqlite.org/pragma.html#pragma_synchronous), so a crash or a kill loses at most the pass that was still running.
Two coaches may have the same file open; a writer waits for the other, then says so. The file is never replaced.
"""

from __future__ import annotations

import json
import sqlite3
import threading
from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any
from uuid import uuid4

from coach.errors import BadInput, CoachError
from coach.log.checks import check_count, check_verdict, check_word, explain, explain_write
from coach.log.local_days import check_moment, from_utc_text, local_day, now_here, utc_text
from coach.log.opening import open_ledger
from coach.log.readable_rows import AS_THEY_LIE, READABLE, teach
from coach.log.salvage import copy_readable_rows, is_damage
from coach.log.takes import VERDICTS, Mode, Note, Pass, Stumble, Take
from coach.music.tempo import bpm_value
from coach.picking.layers import FULL

__all__ = ["VERDICTS", "Ledger", "Note", "Pass", "Stumble", "Take"]

Tempo = float | int | str | Fraction


class Ledger:
    """An open ledger file. Calls may come from any thread, one at a time runs; close it or use it in a `with`.

    `wait_s` is how long a call waits in seconds for another coach that is writing. Opening makes the file (and its
    folder) when there is none and brings an older one forward; it raises CoachError or BadInput in one sentence.
    Where the disk is full or may not be written it is opened to be read: `unwritable` says why, None otherwise, and
    whatever would write raises it.
    """

    def __init__(self, path: Path | str, *, wait_s: float = 10.0) -> None:
        self.path = Path(path)
        self._lock = threading.RLock()
        self._db, self.unwritable = open_ledger(self.path, wait_s)
        teach(self._db)
        self._saved: sqlite3.Connection | None = None
        self.lacking: tuple[str, ...] = ()
        """The tables of which damaged pages keep some rows; as far as was noticed by reading."""

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        with self._lock:
            self._drop_saved()
            self._db.close()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Several rows, all or none. Raises CoachError when the disk or another coach is in the way."""
        self._check_writable()
        with self._lock:
            self._drop_saved()
            try:
                self._db.execute("BEGIN IMMEDIATE")
                try:
                    yield self._db
                    self._db.execute("COMMIT")
                except BaseException:
                    if self._db.in_transaction:
                        self._db.execute("ROLLBACK")
                    raise
            except sqlite3.IntegrityError:
                raise
            except sqlite3.Error as error:
                raise explain_write(error, self.path) from None

    def _check_writable(self) -> None:
        why = self.unwritable
        if why is not None:
            raise CoachError(why.what, where=why.where, mend=why.mend)

    def _add(self, table: str, **row: Any) -> None:
        self._check_writable()
        names, marks = ", ".join(row), ", ".join("?" * len(row))
        with self._lock:
            self._drop_saved()
            try:
                self._db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(row.values()))
            except sqlite3.IntegrityError as error:
                if "FOREIGN KEY" in str(error):
                    raise BadInput(f"no take '{row.get('take')}' is in the ledger", mend="begin it first") from None
                if "UNIQUE" in str(error):
                    what = f"pass {row.get('number')} of this take is in the ledger already"
                    raise BadInput(what, mend="number the passes of a take one by one") from None
                raise BadInput(f"this entry cannot be ({error})", where=table) from None
            except sqlite3.Error as error:
                raise explain_write(error, self.path) from None

    # Writing, as it happens

    def begin_take(
        self, drill: str, tempo: Tempo, layer: str = FULL, at: datetime | None = None, mode: str = Mode.PLAY
    ) -> str:
        """Write that a take has begun; gives its id (32 hex digits). `tempo` in bpm. Raises BadInput."""
        row = self._take_row(drill, tempo, layer, at, mode)
        self._add("takes", **row)
        return str(row["id"])

    def _take_row(self, drill: str, tempo: Tempo, layer: str, at: datetime | None, mode: str) -> dict[str, Any]:
        if mode not in list(Mode):
            raise BadInput(f"'{mode}' is not a way to take a drill", mend="use one of " + ", ".join(Mode))
        moment = check_moment(now_here() if at is None else at)
        return {
            "id": uuid4().hex,
            "at": utc_text(moment),
            "local_day": local_day(moment).isoformat(),
            "drill": check_word(drill, "drill"),
            "tempo": float(bpm_value(tempo)),
            "layer": check_word(layer, "layer"),
            "mode": mode,
        }

    def add_pass(
        self,
        take: str,
        number: int,
        tempo: Tempo,
        bars: int,
        stumbles: int = 0,
        layer: str = FULL,
        *,
        clean: bool | None = None,
        at: datetime | None = None,
    ) -> None:
        """Write a pass as it ends. `number` counts within the take; a pass is clean when it had no stumble, unless
        `clean` says otherwise. Raises BadInput for an unknown take or a number already written."""
        self._add(
            "passes",
            take=take,
            number=check_count(number, "the pass number"),
            at=utc_text(check_moment(at or now_here())),
            tempo=float(bpm_value(tempo)),
            bars=check_count(bars, "bars"),
            stumbles=check_count(stumbles, "stumbles"),
            clean=int(stumbles == 0 if clean is None else clean),
            layer=check_word(layer, "layer"),
        )

    def add_stumble(
        self,
        take: str,
        bar_in_loop: int,
        beat: Fraction | int | str,
        tempo: Tempo,
        pass_no: int,
        *,
        at: datetime | None = None,
    ) -> None:
        """Write a stumble as it happens: bar in the loop from 0, exact beat in it, tempo in bpm. Raises BadInput."""
        try:
            exact = Fraction(beat)
        except (ValueError, TypeError, ZeroDivisionError):
            raise BadInput(f"'{beat}' is not a beat", mend="give a fraction of a beat, like 3/2") from None
        self._add(
            "stumbles",
            id=uuid4().hex,
            take=take,
            at=utc_text(check_moment(at or now_here())),
            bar=check_count(bar_in_loop, "the bar"),
            beat=str(exact),
            tempo=float(bpm_value(tempo)),
            pass_no=check_count(pass_no, "the pass number"),
        )

    def give_verdict(self, take: str, verdict: str, *, at: datetime | None = None) -> None:
        """Write the player's word for a take. A second word is added, not put in its place; the last one counts."""
        moment = utc_text(check_moment(at or now_here()))
        self._add("verdicts", id=uuid4().hex, take=take, at=moment, verdict=check_verdict(verdict))

    def add_note(self, kind: str, text: str = "", take: str | None = None, at: datetime | None = None) -> str:
        """Write a note such as `pain reported` or `rest taken`; gives its id. Raises BadInput."""
        moment = check_moment(now_here() if at is None else at)
        row = {"id": uuid4().hex, "at": utc_text(moment), "local_day": local_day(moment).isoformat()}
        self._add("notes", **row, kind=check_word(kind, "kind of note"), text=str(text), take=take)
        return row["id"]

    def add_whole_take(
        self,
        drill: str,
        tempo: Tempo,
        verdict: str,
        bars: int = 0,
        stumbles: int = 0,
        at: datetime | None = None,
        layer: str = FULL,
        mode: str = Mode.PLAY,
    ) -> str:
        """Write a take that was played away from the coach, all at once; gives its id. Raises BadInput."""
        row = self._take_row(drill, tempo, layer, at, mode)
        sums = (row["id"], check_count(bars, "bars"), check_count(stumbles, "stumbles"))
        word = (uuid4().hex, row["id"], row["at"], check_verdict(verdict))
        with self.transaction() as db:
            marks = ", ".join("?" * len(row))
            db.execute(f"INSERT INTO takes ({', '.join(row)}) VALUES ({marks})", tuple(row.values()))
            db.execute("INSERT INTO wholes (take, bars, stumbles) VALUES (?, ?, ?)", sums)
            db.execute("INSERT INTO verdicts (id, take, at, verdict) VALUES (?, ?, ?, ?)", word)
        return str(row["id"])

    # Reading

    def rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        """The rows a reading query gives; of a file with damaged pages those that can be reached.

        Raises CoachError when the file cannot be read.
        """
        with self._lock:
            try:
                if self._saved is not None:
                    return self._saved.execute(query, values).fetchall()
                try:
                    return self._db.execute(query, values).fetchall()
                except sqlite3.Error as error:
                    if not is_damage(error):
                        raise
                    self._saved, lacks = copy_readable_rows(self._db)
                    self.lacking = tuple(table for table, some in lacks.items() if some)
                    return self._saved.execute(query, values).fetchall()
            except sqlite3.Error as error:
                raise explain(error, str(self.path)) from None

    @contextmanager
    def one_moment(self) -> Iterator[None]:
        """What is asked in it is answered as the ledger is at one moment. Raises CoachError."""
        with self._lock:
            self.rows("BEGIN")
            try:
                yield
            finally:
                for db in filter(None, (self._db, self._saved)):
                    if db.in_transaction:
                        db.execute("ROLLBACK")

    def _drop_saved(self) -> None:
        """What was written since is not in the copy."""
        if self._saved is not None:
            self._saved.close()
            self._saved = None

    def takes(self, drill: str | None = None, *, drills: Iterable[str] | None = None) -> list[Take]:
        """All takes in the order they began, those of one drill or of some; cut-off ones among them.

        What cannot be read is left out (readable_rows.py).
        """
        read, of, is_, values = AS_THEY_LIE, "", "", tuple[str, ...]()
        if drill is not None or drills is not None:
            names = json.dumps([drill] if drill is not None else sorted(drills or ()))
            chosen = "IN (SELECT value FROM json_each(?))"
            ids = self.rows(f"SELECT id FROM takes WHERE drill {chosen} AND plain_text(CAST(id AS BLOB), 1)", names)
            read, of, is_ = READABLE, f" WHERE x.take {chosen}", f" WHERE x.id {chosen}"
            values = (json.dumps([id_ for (id_,) in ids]),)
        passes: dict[str, list[Pass]] = defaultdict(list)
        with self._lock:
            for take, number, tempo, bars, stumbles, clean, layer in self.rows(
                "SELECT x.take, x.number, x.tempo, x.bars, x.stumbles, x.clean, x.layer"
                f" FROM {read['passes']} x{of} ORDER BY x.take, x.number",
                *values,
            ):
                passes[take].append(Pass(number, tempo, bars, stumbles, bool(clean), layer))
            counted = dict(
                self.rows(f"SELECT x.take, count(*) FROM {read['stumbles']} x{of} GROUP BY x.take", *values)
            )
            sums = self.rows(f"SELECT x.take, x.bars, x.stumbles FROM {read['wholes']} x{of}", *values)
            wholes = {take: (bars, stumbles) for take, bars, stumbles in sums}
            verdicts = dict(
                self.rows(f"SELECT x.take, x.verdict FROM {read['verdicts']} x{of} ORDER BY x.at, x.id", *values)
            )
            begun = self.rows(
                "SELECT x.id, x.at, x.local_day, x.drill, x.tempo, x.layer, x.mode"
                f" FROM {read['takes']} x{is_} ORDER BY x.at, x.id",
                *values,
            )
        found = []
        for id_, at, day, name, tempo, layer, mode in begun:
            own = tuple(passes.get(id_, ()))
            bars, stumbles = wholes.get(id_, (0, 0))
            found.append(
                Take(
                    id_,
                    from_utc_text(at),
                    date.fromisoformat(day),
                    name,
                    max((p.tempo for p in own), default=tempo),
                    bars + sum(p.bars for p in own),
                    stumbles + max(sum(p.stumbles for p in own), counted.get(id_, 0)),
                    verdicts.get(id_),
                    layer,
                    mode,
                    own,
                )
            )
        return found

    def stumbles(self, drill: str | None = None) -> list[Stumble]:
        """Every stumble in the order it happened, or those of one drill."""
        chosen, values = ("", ()) if drill is None else (" WHERE t.drill = ?", (drill,))
        rows = self.rows(
            "SELECT s.take, s.at, s.bar, s.beat, s.tempo, s.pass_no"
            f" FROM {READABLE['stumbles']} s JOIN {READABLE['takes']} t ON t.id = s.take{chosen} ORDER BY s.at, s.id",
            *values,
        )
        return [Stumble(take, from_utc_text(at), *rest) for take, at, *rest in rows]

    def notes(self, kind: str | None = None) -> list[Note]:
        """Every note in order, or those of one kind."""
        chosen, values = ("", ()) if kind is None else (" WHERE kind = ?", (kind,))
        rows = self.rows(
            f"SELECT id, at, local_day, kind, text, take FROM {AS_THEY_LIE['notes']}{chosen} ORDER BY at, id", *values
        )
        return [Note(i, from_utc_text(at), date.fromisoformat(day), *rest) for i, at, day, *rest in rows]

    def damage(self) -> str | None:
        """What is said of damaged pages of the file, as far as was noticed by reading; None where all was had."""
        if self._saved is None:
            return None
        some = f"some entries ({', '.join(self.lacking)}) are lost in it" if self.lacking else "no entry is lost in it"
        return (
            f"The ledger's file is damaged, and {some}; it was left as it is. To go on with what can be read:"
            f" `coach log export saved.json`, move {self.path} away, `coach log merge saved.json`."
        )

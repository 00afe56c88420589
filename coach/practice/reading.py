"""The whole ledger read in one go: every take in short, drill by drill, without a value for each pass.

Passes lie in the file in the order they were played, by takes in the order they were begun, mostly. So each table is
gone through once, in its own order, and no index is asked for every row (laid.py). The few takes whose passes lie apart
(two coaches at once, a log merged later) are asked for one by one.
"""

from __future__ import annotations

import sqlite3
from array import array
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import count, pairwise
from typing import NamedTuple

from coach.practice.days import from_utc_text
from coach.practice.laid import MORE_LAYERS, Laid
from coach.practice.short import Short
from coach.practice.takes import VERDICTS
from coach.practice.tally import Days, Ends

_NONE, _APART = -1, -2
_TAKES = (
    "SELECT rowid, id, at, local_day, drill, tempo, layer, mode FROM takes"
    " WHERE rowid <= ?1 AND drill >= ?2 AND (?3 IS NULL OR drill < ?3) ORDER BY drill, at, id"
)
_ON_PASSES = "SELECT tempo, bars, clean, layer FROM passes WHERE rowid <= ? AND take = ? ORDER BY number"
_WHOLES = (
    "SELECT w.take, w.bars, w.stumbles + (SELECT count(*) FROM stumbles s WHERE s.take = w.take AND s.rowid <= ?)"
    " FROM wholes w WHERE w.rowid <= ?"
)
_VERDICTS = "SELECT take, verdict FROM verdicts WHERE rowid <= ?"
_LAST_WORD = "SELECT verdict FROM verdicts WHERE rowid <= ? AND take = ? ORDER BY at DESC, id DESC LIMIT 1"
_make = tuple.__new__  # for values by the million: a named tuple's own way takes three times as long


class Whence(NamedTuple):
    """What a take in short does not tell: its id, the mode it was played in, and the place of its passes."""

    id: str
    mode: str
    place: int


class Day(NamedTuple):
    """A drill's takes of one local day in the order they began, and whence each of them is."""

    day: date
    takes: list[Short]
    whence: list[Whence]


class Reading:
    """What one reading of the ledger behind a connection of its own finds, up to the `ends` of its tables (tally.py)
    and whatever is written meanwhile; `laid` are its passes up to there. Raises sqlite3.Error."""

    def __init__(self, db: sqlite3.Connection, ends: Ends, laid: Laid) -> None:
        self._db = db
        self._ends = {table: row for table, (row, _) in ends.items()}
        self._laid = laid
        self._starts, self._cleans = array("Q", [*laid.starts, len(laid.tempos)]), bytes(laid.cleans)
        rare = set[str]()
        if len(laid.names) > MORE_LAYERS:
            runs = zip(laid.takes, pairwise(self._starts), strict=True)
            rare.update(take for take, (start, end) in runs if MORE_LAYERS in laid.layers[start:end])
        self._order = _Order(laid.takes, rare)
        self._words, self._apart_words = bytearray(len(laid.takes)), dict[str, str]()
        self._read_words()

    def drills(self, first: str = "", before: str | None = None) -> Iterator[tuple[str, list[Day]]]:
        """Every drill from `first` on and before another, in order of ids, with its days: takes in the order they
        began, cut-off ones among them. A local day that comes again after another one stands there twice."""
        ends = self._ends
        last_rows = (ends["stumbles"], ends["wholes"])
        wholes = {take: (bars, stumbles) for take, bars, stumbles in self._db.execute(_WHOLES, last_rows)}
        codes, days = self._laid.names, Days()
        words, apart, places = self._words, self._apart_words, self._places()
        starts, tempos, cleans, layers = self._starts, self._laid.tempos, self._cleans, self._laid.layers
        said = (None, *VERDICTS)
        found, own, last_drill, last_day = list[Day](), Day(date.min, [], []), None, ""
        rows = self._db.execute(_TAKES, (ends["takes"], first, before))
        for row, id_, text, day, drill, tempo, layer, mode in rows:
            if drill != last_drill:
                if last_drill is not None:
                    yield last_drill, found
                found, last_drill, last_day = [], drill, ""
            if day != last_day:
                own, last_day = Day(days[day], [], []), day
                found.append(own)
            at, place = from_utc_text(text), places[row]
            if place >= 0:
                start, end = starts[place], starts[place + 1]
                took, on = tuple(tempos[start:end]), None
                if layers.count(codes.get(layer, MORE_LAYERS), start, end) != end - start:
                    on = self._on(start, end)
                told = (at, layer, said[words[place]], max(took), 0, 0, took, cleans[start:end], on)
            elif place == _NONE:
                bars, stumbles = wholes.get(id_, (0, 0))
                told = (at, layer, apart.get(id_), tempo, bars, stumbles, (), b"", None)
            else:
                took, _, good, on = zip(*self._passes(id_), strict=True)
                told = (at, layer, apart.get(id_), max(took), 0, 0, took, bytes(good), on)
            own.takes.append(_make(Short, told))
            own.whence.append(_make(Whence, (id_, mode, place)))
        if last_drill is not None:
            yield last_drill, found

    def bars(self, whence: Whence) -> list[int]:
        """The bars of each pass of a take."""
        if whence.place == _NONE:
            return []
        if whence.place == _APART:
            return [bars for _, bars, _, _ in self._passes(whence.id)]
        return self._laid.bars[self._starts[whence.place] : self._starts[whence.place + 1]].tolist()

    def _passes(self, take: str) -> list[tuple[float, int, int, str]]:
        """Tempo, bars, clean and layer of each pass of a take, in order."""
        return self._db.execute(_ON_PASSES, (self._ends["passes"], take)).fetchall()

    def _on(self, start: int, end: int) -> tuple[str, ...]:
        """The layers of some passes, by their places."""
        names = list(self._laid.names)
        return tuple([names[code] for code in self._laid.layers[start:end]])

    def _places(self) -> array[int]:
        """Where each take's passes lie, by the number of its row. (Rows are only added: their numbers have no gaps.)"""
        query = "SELECT id FROM takes WHERE rowid <= ? ORDER BY rowid"
        ids = [id_ for (id_,) in self._db.execute(query, (self._ends["takes"],)).fetchall()]
        return array("q", [_NONE, *self._order.places(ids)])

    def _read_words(self) -> None:
        """The last verdict of each take: with its passes, or apart from them."""
        codes = {verdict: n + 1 for n, verdict in enumerate(VERDICTS)}
        words, apart, again = self._words, self._apart_words, set[str]()
        rows = self._db.execute(_VERDICTS, (self._ends["verdicts"],)).fetchall()
        for (take, verdict), place in zip(rows, self._order.places([take for take, _ in rows]), strict=True):
            if place < 0:
                if take in apart:
                    again.add(take)
                apart[take] = verdict
            else:
                if words[place]:
                    again.add(take)
                words[place] = codes[verdict]
        for take, place in zip(again, self._order.places([*again]), strict=True):
            (verdict,) = self._db.execute(_LAST_WORD, (self._ends["verdicts"], take)).fetchone()
            if place < 0:
                apart[take] = verdict
            else:
                words[place] = codes[verdict]


class _Order:
    """Where the run of each take lies among the runs of passes, whose takes are `ids`; soon told when takes are asked
    in the same order. Those with several runs, and those in `apart`, are to be asked for one by one."""

    def __init__(self, ids: list[str], apart: set[str]) -> None:
        self._takes = ids
        self._known = dict(zip(ids, count(), strict=False))
        if len(self._known) < len(ids):
            apart = apart | {take for take, runs in Counter(ids).items() if runs > 1}
        if apart:
            self._known.update(dict.fromkeys(apart, _APART))
            self._takes = ["" if take in apart else take for take in ids]

    def places(self, takes: Sequence[str]) -> Iterable[int]:
        """The place of each take's run, or _NONE or _APART."""
        return range(len(takes)) if takes == self._takes else self._found(takes)

    def _found(self, takes: Sequence[str]) -> Iterator[int]:
        ids, known, place = [*self._takes, ""], self._known, 0
        for take in takes:
            if ids[place] != take:  # each look into so large a table waits for the memory
                found = known.get(take, _NONE)
                if found < 0:
                    yield found
                    continue
                place = found
            yield place
            place += 1

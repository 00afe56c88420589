"""The whole ledger read in one go: every take in short, drill by drill, without a value for each pass.

Passes lie in the file in the order they were played, by takes in the order they were begun, mostly. So each table is
gone through once, in its own order, and no index is asked for every row: passes are laid side by side in arrays, with
the place where each take's begin. The few takes whose passes lie apart (two coaches at once, a log merged later) are
asked for one by one.
"""

from __future__ import annotations

import sqlite3
from array import array
from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from coach.practice.days import from_utc_text
from coach.practice.short import Short
from coach.practice.takes import VERDICTS

_AT_ONCE = 4096  # rows
_APART = -1
_ON_PASSES = "SELECT tempo, bars, clean, layer FROM passes WHERE take = ? ORDER BY number"
_WHOLES = (
    "SELECT w.take, w.bars, w.stumbles + (SELECT count(*) FROM stumbles s WHERE s.take = w.take) FROM wholes w"
)


class Row(NamedTuple):
    """A take with what is not in its short form: `take` has the layers it was played on, `place` is where its passes
    lie (see Reading.bars)."""

    id: str
    day: date
    drill: str
    mode: str
    take: Short
    place: int | None


class Reading:
    """What one reading of the ledger behind a connection of its own finds. Raises sqlite3.Error."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._starts, self._tempos, self._cleans = array("Q"), array("d"), bytearray()
        self._bars, self._layers, self._names = array("q"), array("I"), dict[str, int]()
        self._places: dict[str, int] = {}
        self._read_passes()
        self._words, self._apart_words = bytearray(len(self._starts)), dict[str, str]()
        self._read_words()

    def takes(self) -> Iterator[Row]:
        """Every take, drill by drill and each drill's in the order they began; cut-off ones among them."""
        wholes = {take: (bars, stumbles) for take, bars, stumbles in self._db.execute(_WHOLES)}
        codes, names, days = self._names, list(self._names), dict[str, date]()
        places, words, apart = self._places, self._words, self._apart_words
        starts, tempos, cleans, layers = self._starts, self._tempos, self._cleans, self._layers
        said = (None, *VERDICTS)
        query = "SELECT id, at, local_day, drill, tempo, layer, mode FROM takes ORDER BY drill, at, id"
        for id_, text, day_text, drill, tempo, layer, mode in self._db.execute(query):
            day = days.get(day_text)
            if day is None:
                day = days[day_text] = date.fromisoformat(day_text)
            at = from_utc_text(text)
            place = places.get(id_)
            if place is None:
                bars, stumbles = wholes.get(id_, (0, 0))
                take = Short(at, layer, apart.get(id_), tempo, bars, stumbles)
            elif place == _APART:
                took, _, good, on = zip(*self._db.execute(_ON_PASSES, (id_,)).fetchall(), strict=True)
                take = Short(at, layer, apart.get(id_), max(took), 0, 0, took, good, on)
            else:
                start, end = starts[place], starts[place + 1]
                took, own = tuple(tempos[start:end]), layers[start:end]
                on = None
                if own.count(codes.get(layer, -1)) != end - start:
                    on = tuple([names[code] for code in own])
                take = Short(at, layer, said[words[place]], max(took), 0, 0, took, tuple(cleans[start:end]), on)
            yield Row(id_, day, drill, mode, take, place)

    def bars(self, row: Row) -> list[int]:
        """The bars of each pass of a take."""
        if row.place is None:
            return []
        if row.place == _APART:
            return [bars for _, bars, _, _ in self._db.execute(_ON_PASSES, (row.id,))]
        return self._bars[self._starts[row.place] : self._starts[row.place + 1]].tolist()

    def _read_passes(self) -> None:
        places, starts, names = self._places, self._starts, self._names
        last_take, last_number, so_far = "", 0, 0
        cursor = self._db.execute("SELECT take, number, tempo, bars, clean, layer FROM passes")
        while rows := cursor.fetchmany(_AT_ONCE):
            takes, numbers, tempos, bars, cleans, layers = zip(*rows, strict=True)
            befores = zip(takes, (last_take, *takes), numbers, (last_number, *numbers), strict=False)
            for n in [n for n, (take, before, i, j) in enumerate(befores) if take != before or i <= j]:
                take = takes[n]
                places[take] = _APART if take in places else len(starts)
                starts.append(so_far + n)
            for layer in set(layers).difference(names):
                names[layer] = len(names)
            self._tempos.extend(tempos)
            self._cleans.extend(cleans)
            self._bars.extend(bars)
            self._layers.extend(map(names.__getitem__, layers))
            last_take, last_number, so_far = takes[-1], numbers[-1], so_far + len(takes)
        starts.append(so_far)

    def _read_words(self) -> None:
        """The last verdict of each take: with its passes, or apart from them."""
        codes = {verdict: n + 1 for n, verdict in enumerate(VERDICTS)}
        words, apart, again = self._words, self._apart_words, set[str]()
        for take, verdict in self._db.execute("SELECT take, verdict FROM verdicts"):
            place = self._places.get(take, _APART)
            if place == _APART:
                if take in apart:
                    again.add(take)
                apart[take] = verdict
            else:
                if words[place]:
                    again.add(take)
                words[place] = codes[verdict]
        for take in again:
            query = "SELECT verdict FROM verdicts WHERE take = ? ORDER BY at DESC, id DESC LIMIT 1"
            (verdict,) = self._db.execute(query, (take,)).fetchone()
            place = self._places.get(take, _APART)
            if place == _APART:
                apart[take] = verdict
            else:
                words[place] = codes[verdict]

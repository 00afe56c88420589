"""All passes of a ledger side by side, in the order they lie in its file, without a value for each."""

from __future__ import annotations

import sqlite3
from array import array
from dataclasses import dataclass, field
from itertools import compress, count
from operator import le, ne, or_

MORE_LAYERS = 255
"""The code of every layer beyond so many."""
_AT_ONCE = 4096  # rows
_PASSES = "SELECT take, number, tempo, bars, clean, layer FROM passes WHERE rowid > ? AND rowid <= ?"


@dataclass
class Laid:
    """Passes in runs of one take each, in order of their numbers; a take whose passes lie apart has several runs.

    takes, starts  of each run, its take and the place of its first pass
    tempos, cleans, bars, layers  of each pass: bpm, 1 or 0, how many, and the code of its layer in `names`
    """

    takes: list[str] = field(default_factory=list)
    starts: array[int] = field(default_factory=lambda: array("Q"))
    tempos: array[float] = field(default_factory=lambda: array("d"))
    cleans: bytearray = field(default_factory=bytearray)
    bars: array[int] = field(default_factory=lambda: array("q"))
    layers: bytearray = field(default_factory=bytearray)
    names: dict[str, int] = field(default_factory=dict)

    def code(self, layer: str) -> int:
        """The code of a layer, which it is given here if it has none yet."""
        return self.names.setdefault(layer, min(len(self.names), MORE_LAYERS))

    def go_on(self, later: Laid) -> None:
        """Take in passes that lie behind these."""
        codes = bytearray(range(256))
        for layer, code in later.names.items():
            codes[code] = self.code(layer) if code < MORE_LAYERS else MORE_LAYERS
        so_far = len(self.tempos)
        self.starts.extend([so_far + start for start in later.starts])
        self.takes += later.takes
        self.tempos += later.tempos
        self.cleans += later.cleans
        self.bars += later.bars
        self.layers += later.layers.translate(codes)


def lay(db: sqlite3.Connection, after: int, upto: int) -> Laid:
    """The passes whose rows come after one number and up to another. Raises sqlite3.Error."""
    laid = Laid()
    names = laid.names
    last_take, last_number, so_far = "", 0, 0
    cursor = db.execute(_PASSES, (after, upto))
    while rows := cursor.fetchmany(_AT_ONCE):
        takes, numbers, tempos, bars, cleans, layers = zip(*rows, strict=True)
        others = map(ne, takes, (last_take, *takes))
        back = map(le, numbers, (last_number, *numbers))
        begun = list(compress(count(), map(or_, others, back)))
        laid.starts.extend([so_far + n for n in begun])
        laid.takes += [takes[n] for n in begun]
        for layer in set(layers).difference(names):
            laid.code(layer)
        laid.tempos.extend(tempos)
        laid.cleans.extend(cleans)
        laid.bars.extend(bars)
        laid.layers.extend(map(names.__getitem__, layers))
        last_take, last_number, so_far = takes[-1], numbers[-1], so_far + len(takes)
    return laid

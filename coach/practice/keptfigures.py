"""Steady tempos kept at hand: where the belief about each drill lies, in the file of estimates (estimates.py).

A figure depends on a drill's own passes and on its prior, which is that of its kin to 1 %. So it stands until a pass
of the drill is counted or its kin have moved; only then is its likelihood read and the belief worked out anew. What
gone days do to it is plain arithmetic and is not kept.
"""

from __future__ import annotations

import json
import math
import sqlite3
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from hashlib import sha256

from coach.practice.drills import Drill
from coach.practice.kin import Kin, Lent, lends
from coach.practice.steady import (
    LEAST_PASSES,
    WIDEST,
    Evidence,
    Places,
    Prior,
    Steady,
    Tried,
    as_known,
    own_prior,
    places,
)
from coach.practice.trials import Window

TABLES = (
    # days: what was counted of every layer; along: what that says of the full layer, NULL when nothing
    "CREATE TABLE kept (drill TEXT PRIMARY KEY, days TEXT NOT NULL, along BLOB) WITHOUT ROWID",
    # passes to last_day: the passes in short (Tried). centre: of the wide prior, with which mean and variance are what
    # it lends (NULL when nothing). kin_centre and kin_sd: its prior, with which the belief lies at low to high.
    "CREATE TABLE figures (drill TEXT PRIMARY KEY, passes INTEGER NOT NULL, both INTEGER NOT NULL, slow REAL NOT NULL,"
    " fast REAL NOT NULL, last_day TEXT NOT NULL, centre REAL, mean REAL, variance REAL, kin_centre REAL, kin_sd REAL,"
    " low REAL, middle REAL, ask REAL, high REAL) WITHOUT ROWID",
    # the drills for which all figures stand, as a mark; no row when one does not
    "CREATE TABLE stands (mark TEXT NOT NULL)",
)


@dataclass
class Figure:
    """One drill's passes in short, what it lends with the wide prior around `centre`, and where the belief lies with
    `prior`; None for what was not worked out yet."""

    tried: Tried
    centre: float | None = None
    lent: Lent | None = None
    prior: Prior | None = None
    places: Places | None = None


def put(db: sqlite3.Connection, drill: str, window: Window, evidence: Evidence | None) -> Figure | None:
    """Put a drill's counts, and what they say of its full layer, in the place of those kept; gives its figure, not yet
    worked out. Raises sqlite3.Error.
    """
    along = None if evidence is None else array("d", evidence.along).tobytes()
    db.execute("INSERT OR REPLACE INTO kept VALUES (?, ?, ?)", (drill, _text(window), along))
    if evidence is None:  # the days on which it was counted have gone by
        db.execute("DELETE FROM figures WHERE drill = ?", (drill,))
        return None
    figure = Figure(Tried(evidence.passes, evidence.both, evidence.slow, evidence.fast, evidence.last_day))
    write(db, {drill: figure})
    return figure


def counts(db: sqlite3.Connection, drill: str) -> Window | None:
    """The counts kept of a drill, None where there are none. Raises sqlite3.Error."""
    row = db.execute("SELECT days FROM kept WHERE drill = ?", (drill,)).fetchone()
    return _window(row[0]) if row else None


def evidence(db: sqlite3.Connection, drill: str) -> Evidence | None:
    """What the counts kept of a drill say of its full layer. Raises sqlite3.Error."""
    row = db.execute(
        "SELECT k.along, f.passes, f.both, f.slow, f.fast, f.last_day FROM kept k JOIN figures f"
        " ON f.drill = k.drill WHERE k.drill = ?",
        (drill,),
    ).fetchone()
    if row is None:
        return None
    along, passes, both, slow, fast, day = row
    return Evidence(passes, bool(both), slow, fast, date.fromisoformat(day), tuple(array("d", along)))


def _text(window: Window) -> str:
    """A window as JSON: day, layer, then [tempo bin, bars, clean, stumbled] each."""
    return json.dumps(
        {
            day.isoformat(): {name: [[*key, *counts[key]] for key in sorted(counts)] for name, counts in layers.items()}
            for day, layers in window.items()
        }
    )


def _window(text: str) -> Window:
    return {
        date.fromisoformat(day): {
            name: {(fine, bars): (clean, stumbled) for fine, bars, clean, stumbled in counts}
            for name, counts in layers.items()
        }
        for day, layers in json.loads(text).items()
    }


def read(db: sqlite3.Connection) -> dict[str, Figure]:
    """Every drill's figure. Raises sqlite3.Error."""
    found = {}
    for drill, passes, both, slow, fast, day, centre, mean, variance, around, sd, *at in db.execute(
        "SELECT * FROM figures"
    ):
        found[drill] = Figure(
            Tried(passes, bool(both), slow, fast, date.fromisoformat(day)),
            centre,
            None if mean is None else (mean, variance),
            None if around is None else Prior(around, sd),
            None if at[0] is None else Places(*at),
        )
    return found


def write(db: sqlite3.Connection, figures: Mapping[str, Figure]) -> None:
    """Put these drills' figures in the place of those kept. Raises sqlite3.Error."""
    rows = []
    for drill, one in figures.items():
        tried, prior = one.tried, one.prior
        head = (drill, tried.passes, tried.both, tried.slow, tried.fast, tried.last_day.isoformat(), one.centre)
        kin = (None, None) if prior is None else (prior.centre, prior.sd)
        rows.append((*head, *(one.lent or (None,) * 2), *kin, *(one.places or (None,) * 4)))
    db.executemany(f"INSERT OR REPLACE INTO figures VALUES ({', '.join('?' * 15)})", rows)


def mark_of(drills: Sequence[Drill]) -> str:
    """A mark of all that these drills' priors depend on beside what was played."""
    told = [
        f"{d.id}\n{d.pattern}\n{d.grows_from}\n{d.slots_per_beat.numerator}/{d.slots_per_beat.denominator}"
        f"\n{d.start_bpm}\n{d.target_bpm}"
        for d in drills
    ]
    return sha256("\n\n".join(told).encode()).hexdigest()


def standing(db: sqlite3.Connection, drills: Sequence[Drill], today: date | None = None) -> dict[str, Steady] | None:
    """What `steadies` gives, read in one go where every figure of these drills stands; None where not.

    Only what may be shown is read: gone days can but widen a range. Raises sqlite3.Error.
    """
    if db.execute("SELECT mark FROM stands").fetchall() != [(mark_of(drills),)]:
        return None
    found = {}
    for drill, passes, slow, fast, day, *at in db.execute(
        "SELECT drill, passes, slow, fast, last_day, low, middle, ask, high FROM figures"
        " WHERE both AND passes >= ? AND high - low <= ?",
        (LEAST_PASSES, 1.001 * math.log(WIDEST)),
    ):
        found[drill] = as_known(Tried(passes, True, slow, fast, date.fromisoformat(day)), Places(*at), today)
    return {d.id: one for d in drills if (one := found.get(d.id)) is not None}


def stand(db: sqlite3.Connection, mark: str | None) -> None:
    """Say for which drills all figures stand; for none, when None. Raises sqlite3.Error."""
    db.execute("DELETE FROM stands")
    if mark is not None:
        db.execute("INSERT INTO stands VALUES (?)", (mark,))


def steadies(
    drills: Sequence[Drill],
    figures: Mapping[str, Figure],
    evidence: Callable[[str], Evidence | None],
    today: date | None = None,
) -> tuple[dict[str, Steady], set[str]]:
    """The steady tempo of every drill that has one, kin lending strength, and whose figures were worked out for it.

    `evidence` of a drill is asked for only where its figure does not stand; what is worked out is put into `figures`.
    """
    fresh = set()
    enough = [(drill, one) for drill in drills if (one := figures.get(drill.id)) is not None and one.tried.enough]
    for drill, one in enough:
        own = own_prior(drill)
        if one.centre != own.centre:
            one.centre, one.lent = own.centre, lends(evidence(drill.id), own)
            fresh.add(drill.id)
    kin = Kin(drills, {drill.id: one.lent for drill, one in enough})
    found = {}
    for drill, one in enough:
        prior = kin.prior(drill)
        if one.places is None or one.prior != prior:
            known = evidence(drill.id)
            if known is None:
                continue
            one.prior, one.places = prior, places(known, prior)
            fresh.add(drill.id)
        steady = as_known(one.tried, one.places, today)
        if steady is not None:
            found[drill.id] = steady
    return found, fresh

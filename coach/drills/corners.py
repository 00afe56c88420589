"""A corner: the bar of a loop where stumbles gather, with the bar before it, as a drill of its own.

Its id is the drill's own, `/corner/` and the bar's number from 1: `outside-in/corner/3`. What is played there is kept
apart from the whole, for two bars round and round are another thing; whether it helped shows in the whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from coach.drills.loop_map import loop_map
from coach.drills.pattern_drills import Drill
from coach.drills.song_drills import read_drill_id, song_corner
from coach.errors import CoachError
from coach.music.chords import read_bars
from coach.picking.pattern import Pattern
from coach.picking.pattern_library import Library

KIND = "corner"
_BETWEEN = f"/{KIND}/"


def corner_of(drill: Drill, pattern: Pattern, bar: int) -> Drill:
    """The corner at bar `bar` (from 0) of a drill's loop: that bar and the one before, going round at the loop's start.

    A pattern of several bars keeps its bars where they belong, so its corner begins with its first bar. Raises
    BadMusic when the chords cannot be read. A song's drill has its corners by its own rule (song_drills.py).
    """
    asked = read_drill_id(drill.id)
    if asked is not None:
        return song_corner(drill, asked, bar)
    written = read_bars(drill.chords)
    bars = loop_map(pattern, drill.chords).bars
    turn = len(pattern.bars)
    first = (bar - 1) // turn * turn
    last = bar // turn * turn + turn
    chosen = [written[number % bars % len(written)] for number in range(first, last)]
    chords = " | ".join(" ".join("N" if chord is None else str(chord) for chord in bar) for bar in chosen)
    return replace(
        drill,
        id=f"{drill.id}{_BETWEEN}{bar + 1}",
        title=f"{drill.title}, bar {bar + 1}",
        kind=KIND,
        chords=chords,
        grows_from=None,
    )


def corner(id_: str, drills: Iterable[Drill], library: Library) -> Drill | None:
    """The corner with this id; None when it is none, or its drill or bar is not there."""
    whole, between, number = id_.rpartition(_BETWEEN)
    drill = next((d for d in drills if d.id == whole), None)
    pattern = library.patterns.get(drill.pattern) if drill is not None else None
    if not between or drill is None or pattern is None or not number.isdecimal():
        return None
    try:
        bars = loop_map(pattern, drill.chords).bars
        return corner_of(drill, pattern, int(number) - 1) if 1 <= int(number) <= bars else None
    except CoachError:
        return None

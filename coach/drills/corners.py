"""A corner: the bar of a loop where stumbles gather, with the bar before it, as a drill of its own.

Its id is the drill's own, `/corner/` and the bar's number from 1: `outside-in/corner/3`. What is played there is kept
apart from the whole, for two bars round and round are another thing; whether it helped shows in the whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from coach.drills.drill_id import DrillId, Kind
from coach.drills.loop_map import map_pattern
from coach.drills.pattern_drills import Drill
from coach.drills.song_drills import make_song_corner
from coach.errors import CoachError
from coach.music.chords import read_bars
from coach.picking.pattern import Pattern
from coach.picking.pattern_library import Library


def make_corner(drill: Drill, pattern: Pattern, bar: int) -> Drill:
    """The corner at bar `bar` (from 0) of a drill's loop: that bar and the one before, going round at the loop's start.

    A pattern of several bars keeps its bars where they belong, so its corner begins with its first bar. Raises
    BadMusic when the chords cannot be read. A song's drill has its corners by its own rule (song_drills.py).
    """
    asked = drill.parsed_id
    if asked.names_song_drill:
        return make_song_corner(drill, bar)
    written = read_bars(drill.chords)
    bars = map_pattern(pattern, drill.chords).bars
    turn = len(pattern.bars)
    first = (bar - 1) // turn * turn
    last = bar // turn * turn + turn
    chosen = [written[number % bars % len(written)] for number in range(first, last)]
    chords = " | ".join(" ".join("N" if chord is None else str(chord) for chord in bar) for bar in chosen)
    return replace(
        drill,
        id=str(replace(asked, kind=Kind.CORNER, bar=bar + 1)),
        title=f"{drill.title}, bar {bar + 1}",
        kind=Kind.CORNER,
        chords=chords,
        grows_from=None,
    )


def corner(id_: str, drills: Iterable[Drill], library: Library) -> Drill | None:
    """The corner with this id; None when it is none, or its drill or bar is not there."""
    asked = DrillId.parse(id_)
    if asked.kind != Kind.CORNER or (asked.song and asked.name):
        return None
    whole = str(replace(asked, kind=Kind.SONG if asked.song else Kind.PATTERN, bar=0))
    drill = next((d for d in drills if d.id == whole), None)
    pattern = library.patterns.get(drill.pattern) if drill is not None else None
    if drill is None or pattern is None:
        return None
    try:
        bars = map_pattern(pattern, drill.chords).bars
        return make_corner(drill, pattern, asked.bar - 1) if asked.bar <= bars else None
    except CoachError:
        return None

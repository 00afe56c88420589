"""The player's repertoire: the patterns of the library and the songs that were taken up, as drills in one order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from coach.drills.drill_id import DrillId, Voice
from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.drills.song_choices import Settled
from coach.picking.pattern import Pattern, difficulty
from coach.picking.pattern_library import Library

STARTERS = 4
"""So many patterns of the first ladder stand before the first song: what a first day is made of."""
SONGS_FOR_A_PATTERN = 2
"""So many drills of songs come between two patterns: a song is what one practises for, a pattern a day what carries it
on (ours, no source)."""


def material(pattern: Pattern) -> Material:
    """What practice needs to know of a pattern."""
    return Material(
        id=pattern.id,
        title=pattern.title,
        meter=str(pattern.meter),
        slots=pattern.slots,
        beats=pattern.meter.beats,
        grows_from=pattern.grows_from or None,
        tags=pattern.tags,
        difficulty=difficulty(pattern),
        chords=pattern.chords,
    )


def make_pattern_drills(library: Library) -> tuple[Drill, ...]:
    """A drill for each pattern of the library, in ladder order."""
    return make_drills(material(pattern) for pattern in library.patterns.values())


def is_taken_up(song: str, own: bool, what: Settled | None, played: Iterable[str]) -> bool:
    """Whether a song is practised: one of the player's own, one taken up, or one that something of was `played`.

    `own` is of a song in the player's folder that has an arrangement; `played` are ids of drills.
    """
    return own or (what is not None and what.taken) or any(DrillId.parse(drill).song == song for drill in played)


def settle_drills(drills: Sequence[Drill], what: Settled | None) -> tuple[Drill, ...]:
    """The drills of one song, in order, with the day it is wanted by, and its rest.

    The day is for singing it through: it stands on what leads to the plainest arrangement sung as a whole (played,
    where there is nothing to sing). Changes nothing waits for, singing over all of it and richer arrangements have no
    day.
    """
    if what is None or (what.due is None and not what.resting):
        return tuple(drills)
    first = drills[0].parsed_id if drills else DrillId()
    through = [DrillId(first.song, first.arrangement, voice=voice) for voice in (Voice.NONE, Voice.SING)]
    whole = [n for n, drill in enumerate(drills) if drill.parsed_id in through]
    upto = max(whole, default=len(drills) - 1)
    return tuple(
        replace(drill, due=what.due if n <= upto else None, resting=what.resting) for n, drill in enumerate(drills)
    )


def merge_songs(patterns: Sequence[Drill], songs: Mapping[str, Sequence[Drill]]) -> tuple[Drill, ...]:
    """All drills in the order in which they are begun: songs in turn, with a pattern now and then between.

    Each song's drills, and the patterns, keep their own order; without songs nothing is moved.
    """
    if not songs:
        return tuple(patterns)
    queues = [list(drills) for drills in songs.values()]
    turns = [queue[at] for at in range(max(map(len, queues), default=0)) for queue in queues if at < len(queue)]
    order = [drill for drill in patterns if drill.family == patterns[0].family][:STARTERS]
    first = {drill.id for drill in order}
    rest = [drill for drill in patterns if drill.id not in first]
    for number, drill in enumerate(turns, 1):
        order.append(drill)
        if number % SONGS_FOR_A_PATTERN == 0 and rest:
            order.append(rest.pop(0))
    return (*order, *rest)

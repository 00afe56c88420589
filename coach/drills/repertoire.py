"""The player's repertoire: the patterns of the library and the songs that were taken up, as drills in one order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date

from coach.drills.pattern_drills import Drill, Material, drills_from
from coach.drills.song_choices import Settled
from coach.drills.sung_drills import SING
from coach.picking.pattern import Pattern, difficulty
from coach.picking.pattern_library import Library
from coach.plan.need import Reason
from coach.skill.history import Past

STARTERS = 4
"""So many patterns of the first ladder stand before the first song: what a first day is made of."""
SONG_AT_ONCE = 4
"""The most of one song that is on its way to its tempo before more of it is begun (ours, no source)."""
SONGS_FOR_A_PATTERN = 2
"""So many drills of songs come between two patterns: a song is what one practises for, a pattern a day what carries it
on (ours, no source)."""
_A_STEP = 0.5  # points of a song's next step, half of being due (ours, no source)


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


def drills_of(library: Library) -> tuple[Drill, ...]:
    """A drill for each pattern of the library, in ladder order."""
    return drills_from(material(pattern) for pattern in library.patterns.values())


def taken_up(song: str, own: bool, what: Settled | None, played: Iterable[str]) -> bool:
    """Whether a song is practised: one of the player's own, one taken up, or one that something of was `played`.

    `own` is of a song in the player's folder that has an arrangement; `played` are ids of drills.
    """
    return own or (what is not None and what.taken) or any(drill.startswith(f"{song}/") for drill in played)


def as_settled(drills: Sequence[Drill], what: Settled | None) -> tuple[Drill, ...]:
    """The drills of one song, in order, with the day it is wanted by, and its rest.

    The day is for singing it through: it stands on what leads to the plainest arrangement sung as a whole (played,
    where there is nothing to sing). Changes nothing waits for, singing over all of it and richer arrangements have no
    day.
    """
    if what is None or (what.due is None and not what.resting):
        return tuple(drills)
    whole = [n for n, drill in enumerate(drills) if drill.id in _through(drills[0].family)] if drills else []
    upto = max(whole, default=len(drills) - 1)
    return tuple(
        replace(drill, due=what.due if n <= upto else None, resting=what.resting) for n, drill in enumerate(drills)
    )


def _through(arrangement: str) -> tuple[str, str]:
    return arrangement, f"{arrangement}/{SING}"


def with_songs(patterns: Sequence[Drill], songs: Mapping[str, Sequence[Drill]]) -> tuple[Drill, ...]:
    """All drills in the order in which they are begun: songs in turn, with a pattern now and then between.

    Each song's drills, and the patterns, keep their own order; without songs nothing is moved.
    """
    if not songs:
        return tuple(patterns)
    queues = [list(drills) for drills in songs.values()]
    turns = [queue[at] for at in range(max(map(len, queues), default=0)) for queue in queues if at < len(queue)]
    found = [drill for drill in patterns if drill.family == patterns[0].family][:STARTERS]
    first = {drill.id for drill in found}
    rest = [drill for drill in patterns if drill.id not in first]
    for number, drill in enumerate(turns, 1):
        found.append(drill)
        if number % SONGS_FOR_A_PATTERN == 0 and rest:
            found.append(rest.pop(0))
    return (*found, *rest)


def next_steps(drills: Iterable[Drill], pasts: Mapping[str, Past], today: date) -> dict[str, tuple[Reason, ...]]:
    """A reason for the next thing of each song that may be begun: what it grows from was held on an earlier day, and
    less than SONG_AT_ONCE of the song is on its way. Of a song that is wanted by a day, only what leads there.
    """
    songs: dict[str, list[Drill]] = defaultdict(list)
    for drill in drills:
        if "/" in drill.id and not drill.resting:
            songs[drill.id.partition("/")[0]].append(drill)
    found: dict[str, tuple[Reason, ...]] = {}
    for own in songs.values():
        known = [drill for drill in own if drill.id in pasts]
        if sum((pasts[drill.id].full.bpm or 0) < drill.target_bpm for drill in known) >= SONG_AT_ONCE:
            continue
        fresh = [drill for drill in own if drill.id not in pasts]
        if any(drill.due is not None and drill.due >= today for drill in own):
            fresh = [drill for drill in fresh if drill.due is not None]
        step = next((drill for drill in fresh if _ready(drill, pasts, today)), None)
        if step is not None:
            found[step.id] = (Reason(_A_STEP, "the next step of a song you took up"),)
    return found


def _ready(drill: Drill, pasts: Mapping[str, Past], today: date) -> bool:
    below = pasts.get(drill.grows_from) if drill.grows_from else None
    return drill.grows_from is None or (below is not None and below.held_day is not None and below.held_day < today)

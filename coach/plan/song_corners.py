"""Bars of songs where stumbles gather, as drills of their own for today's plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coach.drills.pattern_drills import Drill
from coach.drills.song_drills import SONG, read_drill_id, song_corner
from coach.drills.sung_drills import PART, SING, SPOKEN
from coach.plan.need import Reason
from coach.skill.remedies import CORNER, Finding

_WHERE = (PART, SPOKEN, SING, SONG)
_PRESSES = 1.0  # as much as being due (ours, no source)
_A_CORNER = 3  # bars; what is no longer is its own corner


def song_corners(found: Mapping[str, Finding], drills: Iterable[Drill]) -> dict[str, tuple[Drill, Reason]]:
    """For each song drill whose stumbles gather, and whose remedy is that corner alone: its id, the corner as a drill,
    and why it is wanted today."""
    corners: dict[str, tuple[Drill, Reason]] = {}
    for drill in drills:
        one, asked = found.get(drill.id), read_drill_id(drill.id)
        if one is None or one.trouble is None or one.remedy != CORNER or asked is None:
            continue
        if drill.kind in _WHERE and not drill.resting and one.trouble.bars > _A_CORNER:
            corner = song_corner(drill, asked, one.trouble.spot.bar)
            corners[drill.id] = (corner, Reason(_PRESSES, one.trouble.words))
    return corners

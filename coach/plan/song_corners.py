"""Bars of songs where stumbles gather, as drills of their own for today's plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from coach.drills.pattern_drills import Drill
from coach.drills.song_drills import make_song_corner
from coach.plan.need import Reason
from coach.skill.remedies import CORNER, Finding

_PRESSES = 1.0  # as much as being due (ours, no source)
_A_CORNER = 3  # bars; what is no longer is its own corner


def song_corners(found: Mapping[str, Finding], drills: Iterable[Drill]) -> dict[str, tuple[Drill, Reason]]:
    """For each song drill whose stumbles gather, and whose remedy is that corner alone: its id, the corner as a drill,
    and why it is wanted today."""
    corners: dict[str, tuple[Drill, Reason]] = {}
    for drill in drills:
        finding = found.get(drill.id)
        if finding is None or finding.trouble is None or finding.remedy != CORNER or not drill.song:
            continue
        if drill.kind.traits.has_corners and not drill.resting and finding.trouble.bars > _A_CORNER:
            corner = make_song_corner(drill, finding.trouble.spot.bar)
            corners[drill.id] = (corner, Reason(_PRESSES, finding.trouble.words))
    return corners

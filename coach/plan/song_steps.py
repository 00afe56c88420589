"""What the songs taken up ask of today: the next step of each, and the bars of them where stumbles gather."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from coach.drills.pattern_drills import Drill
from coach.drills.song_drills import make_song_corner
from coach.plan.need import Reason
from coach.skill.history import Past
from coach.skill.remedies import CORNER, Finding

SONG_AT_ONCE = 4
"""The most of one song that is on its way to its tempo before more of it is begun (ours, no source)."""
_PRESSES = 1.0  # as much as being due (ours, no source)
_A_CORNER = 3  # bars; what is no longer is its own corner
_A_STEP = 0.5  # points of a song's next step, half of being due (ours, no source)


def find_next_steps(drills: Iterable[Drill], pasts: Mapping[str, Past], today: date) -> dict[str, tuple[Reason, ...]]:
    """A reason for the next thing of each song that may be begun: what it grows from was held on an earlier day, and
    less than SONG_AT_ONCE of the song is on its way. Of a song that is wanted by a day, only what leads there.
    """
    songs: dict[str, list[Drill]] = defaultdict(list)
    for drill in drills:
        if drill.song and not drill.resting:
            songs[drill.song].append(drill)
    steps: dict[str, tuple[Reason, ...]] = {}
    for own in songs.values():
        known = [drill for drill in own if drill.id in pasts]
        if sum((pasts[drill.id].full.bpm or 0) < drill.target_bpm for drill in known) >= SONG_AT_ONCE:
            continue
        fresh = [drill for drill in own if drill.id not in pasts]
        if any(drill.due is not None and drill.due >= today for drill in own):
            fresh = [drill for drill in fresh if drill.due is not None]
        step = next((drill for drill in fresh if _ready(drill, pasts, today)), None)
        if step is not None:
            steps[step.id] = (Reason(_A_STEP, "the next step of a song you took up"),)
    return steps


def _ready(drill: Drill, pasts: Mapping[str, Past], today: date) -> bool:
    below = pasts.get(drill.grows_from) if drill.grows_from else None
    return drill.grows_from is None or (below is not None and below.held_day is not None and below.held_day < today)


def make_song_corners(findings: Mapping[str, Finding], drills: Iterable[Drill]) -> dict[str, tuple[Drill, Reason]]:
    """For each song drill whose stumbles gather, and whose remedy is that corner alone: its id, the corner as a drill,
    and why it is wanted today."""
    made: dict[str, tuple[Drill, Reason]] = {}
    for drill in drills:
        finding = findings.get(drill.id)
        if finding is None or finding.trouble is None or finding.remedy != CORNER or not drill.song:
            continue
        if drill.kind.traits.has_corners and not drill.resting and finding.trouble.bars > _A_CORNER:
            corner = make_song_corner(drill, finding.trouble.spot.bar)
            made[drill.id] = (corner, Reason(_PRESSES, finding.trouble.words))
    return made

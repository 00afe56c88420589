"""Bars of songs where stumbles gather, as drills of their own for today's plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from coach.picking.library import Library
from coach.practice.checkup import troubles
from coach.practice.drills import Drill
from coach.practice.ledger import Ledger
from coach.practice.need import Reason
from coach.practice.songdrills import SONG, read_drill_id, song_corner
from coach.practice.voices import PART, SING, SPOKEN

_WHERE = (PART, SPOKEN, SING, SONG)
_PRESSES = 1.0  # as much as being due (ours, no source)


def song_corners(
    ledger: Ledger, drills: Sequence[Drill], library: Library, today: date
) -> dict[str, tuple[Drill, Reason]]:
    """By id the corner of each song drill whose stumbles gather, and why it is wanted. Raises CoachError."""
    songs = {d.id: d for d in drills if d.kind in _WHERE and not d.resting and read_drill_id(d.id) is not None}
    found: dict[str, tuple[Drill, Reason]] = {}
    for id_, trouble in troubles(ledger, songs.values(), library, today).items():
        asked = read_drill_id(id_)
        assert asked is not None
        corner = song_corner(songs[id_], asked, trouble.spot.bar)
        if corner.chords.count("|") + 1 < songs[id_].chords.count("|") + 1:  # else it is the whole of it
            found.setdefault(corner.id, (corner, Reason(_PRESSES, trouble.words)))
    return found

"""Bars of songs where stumbles gather, as drills of their own for today's plan."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date

from coach.errors import BadInput
from coach.practice.checkup import late_stumbles
from coach.practice.diagnosis import LEAST_HITS, gathered
from coach.practice.drills import Drill
from coach.practice.ledger import Ledger
from coach.practice.loopmap import LoopMap, piece_map
from coach.practice.need import Reason
from coach.practice.songdrills import SONG, SongDrillId, read_drill_id, song_corner
from coach.practice.voices import PART, SING, SPOKEN
from coach.song.cuts import cut, part_span
from coach.song.piece import Piece

PieceOf = Callable[[str, str], Piece | None]
"""The piece of a song (its id) in an arrangement, None where it cannot be had."""

_WHERE = (PART, SPOKEN, SING, SONG)
_PRESSES = 1.0  # as much as being due (ours, no source)
_A_CORNER = 3  # bars; what is no longer is its own corner


def song_corners(
    ledger: Ledger, drills: Iterable[Drill], piece_of: PieceOf, today: date
) -> dict[str, tuple[Drill, Reason]]:
    """By id the corner of each song drill whose stumbles gather, and why it is wanted. Raises CoachError.

    Pieces are asked for only where there are stumbles enough.
    """
    found: dict[str, tuple[Drill, Reason]] = {}
    late = late_stumbles(ledger, today)
    for drill in drills:
        own = late.get(drill.id, ())
        if len(own) < LEAST_HITS or drill.kind not in _WHERE or drill.resting:
            continue
        asked = read_drill_id(drill.id)
        loop = _map(asked, piece_of) if asked is not None else None
        if asked is None or loop is None or loop.bars <= _A_CORNER:
            continue
        trouble = gathered(loop.counts(own), loop)
        if trouble is not None:
            corner = song_corner(drill, asked, trouble.spot.bar)
            found.setdefault(corner.id, (corner, Reason(_PRESSES, trouble.words)))
    return found


def _map(asked: SongDrillId, piece_of: PieceOf) -> LoopMap | None:
    """The map of a part or the whole song; None where it is there no more."""
    piece = piece_of(asked.song, asked.arrangement)
    if piece is None or not piece.bars:
        return None
    try:
        return piece_map(cut(piece, *part_span(piece, asked.name)).bars if asked.name else piece.bars)
    except BadInput:
        return None

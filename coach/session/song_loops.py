"""What a song's drill plays: the song in its arrangement, cut or taken apart into the loop of one drill."""

from __future__ import annotations

from collections.abc import Mapping

from coach.drills.drill_id import DrillId, Kind, Voice
from coach.drills.song_drills import change_in, chords_of, make_song_drill, pattern_bars
from coach.errors import BadInput
from coach.guitar.grip import Hand
from coach.guitar.open_shapes import ShapeBook
from coach.picking.layers import FULL, THUMB
from coach.picking.pattern import Pattern
from coach.picking.realise import HeldBar
from coach.session.conductor import Loop, make_loop, song_loop
from coach.song.arrangement import Arrangement
from coach.song.chart import Song
from coach.song.cuts import corner_span, hand_in_bar, part_span
from coach.song.perform import arrangement_of, perform
from coach.song.piece import Piece


def loop_of(
    asked: DrillId, song: Song, patterns: Mapping[str, Pattern], book: ShapeBook, hand: Hand
) -> Loop:
    """The loop of a song's drill: with its own shapes, patterns and capo, sung where the drill is.

    Raises BadInput that names the nearest part, change or pattern, or says what is wrong with the arrangement.
    """
    way = arrangement_of(song, asked.arrangement)
    piece = perform(song, way, patterns, book, hand=hand)
    if asked.kind in (Kind.CHANGE, Kind.PATTERN):
        drill = make_song_drill(song, way, patterns, asked)
        if drill.pattern not in patterns:
            raise BadInput(f"there is no pattern '{drill.pattern}'", mend="`coach patterns` lists them")
        held = _change(song, way, piece, asked) if asked.kind == Kind.CHANGE else _chords(song, way, piece, asked.name)
        return make_loop(patterns[drill.pattern], held, capo=piece.capo)
    first, last = 0, len(piece.bars) - 1
    if asked.kind == Kind.CORNER:
        first, last = corner_span(piece, asked.name, asked.bar - 1)
    elif asked.kind in (Kind.PART, Kind.SPOKEN):
        first, last = part_span(piece, asked.name)
    spoken = asked.kind == Kind.SPOKEN
    under = THUMB if spoken else FULL if asked.voice == Voice.SING_FULL else way.singing
    return song_loop(
        piece, first, last, under=under, early=way.early, sung=spoken or bool(asked.voice), climbs=not spoken
    )


def _change(song: Song, way: Arrangement, piece: Piece, asked: DrillId) -> list[HeldBar]:
    """The two chords of a change, a bar each, held as where they first follow each other."""
    found = change_in(song, way, asked.name)
    assert found is not None  # its drill was made
    return [hand_in_bar(piece, chord.part, chord.bar, chord.place) for chord in found]


def _chords(song: Song, way: Arrangement, piece: Piece, pattern: str) -> list[HeldBar]:
    """The bars that lie over a pattern, held as where they first stand."""
    bars = pattern_bars(list(chords_of(song, way)), pattern)
    return [
        hand_in_bar(piece, bar[0].part, bar[0].bar, bar[0].place if len(bar) == 1 else None) for bar in bars
    ]

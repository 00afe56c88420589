"""Drills from songs: a song or one part of it in one arrangement, played or sung, under an id that says what it is.

    ferry/plain                    the whole song in the arrangement `plain`
    ferry/plain/part/Verse         one part of it, round and round
    ferry/plain/part/Verse/sing    the same, sung, with the picking thinned under the words
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from coach.errors import BadInput
from coach.music.tempo import SLOWEST_BPM
from coach.picking.pattern import Pattern, difficulty
from coach.practice.drills import STEP_SHARE, Drill
from coach.song.arrangement import Arrangement
from coach.song.chart import Song
from coach.song.perform import arrangement_of
from coach.song.songs import SongShelf

START_SHARE = Fraction(7, 10)
"""Where a song begins when nothing is known, as a share of its tempo (common practice, no source)."""

PART, SING = "part", "sing"


@dataclass(frozen=True)
class SongDrillId:
    """What the id of a song's drill says; no part is the whole song."""

    song: str
    arrangement: str
    part: str = ""
    sung: bool = False

    def __str__(self) -> str:
        return "/".join([self.song, self.arrangement, *([PART, self.part] if self.part else []), *[SING] * self.sung])

    @property
    def kind(self) -> str:
        """`sing` when it is sung, else `part` or `song`."""
        return SING if self.sung else PART if self.part else "song"


def read_drill_id(text: str) -> SongDrillId | None:
    """The id taken apart; None for one that is not a song's."""
    words = text.split("/")
    sung = len(words) > 2 and words[-1] == SING and words[2:-1] != [PART]
    song, *rest = words[: len(words) - sung]
    if not song or not rest or not rest[0]:
        return None
    if len(rest) == 1:
        return SongDrillId(song, rest[0], sung=sung)
    part = "/".join(rest[2:])
    return SongDrillId(song, rest[0], part, sung) if rest[1] == PART and part else None


def find_song_drill(asked: SongDrillId, songs: SongShelf, patterns: Mapping[str, Pattern]) -> Drill:
    """The drill with this id. Raises BadInput that names the nearest song, arrangement or part."""
    song = songs.find(asked.song)
    return song_drill(song, arrangement_of(song, asked.arrangement), patterns, part=asked.part, sung=asked.sung)


def song_drill(
    song: Song, arrangement: Arrangement, patterns: Mapping[str, Pattern], *, part: str = "", sung: bool = False
) -> Drill:
    """The drill of a song, or of its part, in an arrangement. Raises BadInput when the song is played in no part.

    Its tempo is that of its first bar; `pattern` is the arrangement's, from which it has its slots and difficulty.
    """
    named = next((name for name in (part, part.rpartition(" ")[0]) if name in song.order), "")
    if part and not named:
        near = difflib.get_close_matches(part, song.order, n=1)
        hint = f"did you mean {near[0]}?" if near else "it plays " + ", ".join(dict.fromkeys(song.order))
        raise BadInput(f"'{song.id}' plays no part '{part}'", mend=hint)
    if not song.order:
        raise BadInput(f"'{song.id}' has no bars to play", mend="put its parts into `order`")
    named = named or song.order[0]
    bpm = song.parts[named].tempo or song.tempo
    if arrangement.tempo is not None:
        bpm = bpm * arrangement.tempo / song.tempo
    pattern = patterns.get(arrangement.way.pattern)
    id_ = SongDrillId(song.id, arrangement.name, part, sung)
    what = [part] if part else []
    return Drill(
        id=str(id_),
        title=", ".join([song.title, *what, *["sung"] * sung]),
        kind=id_.kind,
        pattern=arrangement.way.pattern,
        chords="",
        target_bpm=round(bpm),
        start_bpm=max(round(bpm * START_SHARE), SLOWEST_BPM),
        step_share=STEP_SHARE,
        family=f"{song.id}/{arrangement.name}",
        grows_from=None,
        slots_per_beat=pattern.slots_per_beat if pattern else Fraction(2),
        difficulty=difficulty(pattern) if pattern else 0.0,
    )

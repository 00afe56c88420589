"""The id of a drill taken apart, the kinds of drills there are, and how the voice belongs to one.

    outside-in                       a picking pattern on its own chords
    outside-in/corner/3              a bar of its loop where stumbles gather, with the bar before it
    ferry/plain                      the whole song in the arrangement `plain`
    ferry/plain/pattern/outside-in   one of its patterns, on the song's own chords
    ferry/plain/change/C-F           two chords that follow each other, a bar each, round and round
    ferry/plain/part/Verse           one part, round and round
    ferry/plain/corner/Verse/5       a bar of a part where stumbles gather, with the bar before and after
    ferry/plain/corner/12            the same, counted through the whole song
    ferry/plain/spoken/Verse         the part's words spoken in rhythm over the thumb
    ferry/plain/part/Verse/sing      the part sung, with the picking thinned under the words
    ferry/plain/part/Verse/sing-full the part sung over all of the picking; also ferry/plain/sing and sing-full

Ledgers hold these texts, so what an id means never changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache


class Voice(StrEnum):
    """How a drill is sung: not at all, over the arrangement's singing layer, or over all of the picking."""

    NONE = ""
    SING = "sing"
    SING_FULL = "sing-full"


class Kind(StrEnum):
    """What a drill is of. SING is the kind of every drill that is sung, whatever its id names."""

    PATTERN = "pattern"
    SONG = "song"
    PART = "part"
    CHANGE = "change"
    CORNER = "corner"
    SPOKEN = "spoken"
    SING = "sing"
    OTHER = "other"
    """An id of no kind that is known here, as an older ledger or one written by hand may have it."""

    @property
    def traits(self) -> Traits:
        """What holds for every drill of this kind."""
        return _TRAITS[self]


@dataclass(frozen=True)
class Traits:
    """What holds for every drill of a kind.

    on_chords      it goes round a pattern on chords of its own; else it is bars of a song
    has_corners    of a song, long enough for a bar of it to become a drill of its own
    is_step        of a song, it serves the parts: not what is wanted by a day
    is_music       it is a song or a part as it is heard
    may_be_sung    a turn of it in the plan may be sung over the thumb
    """

    on_chords: bool = False
    has_corners: bool = False
    is_step: bool = False
    is_music: bool = False
    may_be_sung: bool = False


_TRAITS = {
    Kind.PATTERN: Traits(on_chords=True, is_step=True, may_be_sung=True),
    Kind.SONG: Traits(has_corners=True, is_music=True, may_be_sung=True),
    Kind.PART: Traits(has_corners=True, is_music=True, may_be_sung=True),
    Kind.CHANGE: Traits(on_chords=True, is_step=True),
    Kind.CORNER: Traits(on_chords=True),
    Kind.SPOKEN: Traits(has_corners=True, is_step=True),
    Kind.SING: Traits(has_corners=True),
    Kind.OTHER: Traits(),
}

_NAMED = (Kind.PATTERN, Kind.CHANGE, Kind.PART, Kind.SPOKEN, Kind.CORNER)
_LONGEST_NUMBER = 6


@dataclass(frozen=True)
class DrillId:
    """What the id of a drill says; `parse` and `str` are inverse for every text.

    song         the song's id, "" for a pattern's own drill
    arrangement  the song's arrangement, "" for a pattern's own drill
    kind         never SING: what is sung says so in `voice`
    name         the pattern, the change (`C-F`) or the part it is about, "" for a whole song; what is left of an OTHER
    bar          of a corner: the bar of the loop, the part or the whole song, from 1; else 0
    voice        only for parts and whole songs
    """

    song: str = ""
    arrangement: str = ""
    kind: Kind = Kind.SONG
    name: str = ""
    bar: int = 0
    voice: Voice = Voice.NONE

    @classmethod
    def parse(cls, text: str) -> DrillId:
        """The id that a text is; OTHER where it is of no kind known here."""
        return _parse(text)

    def __str__(self) -> str:
        bar = str(self.bar or "")
        if not self.song:
            return "/".join([self.name, *filter(None, ["" if self.kind == Kind.PATTERN else self.kind, bar])])
        if self.kind == Kind.OTHER:
            return f"{self.song}/{self.name}"
        about = ["" if self.kind == Kind.SONG else self.kind, self.name, bar, self.voice]
        return "/".join([self.song, self.arrangement, *filter(None, about)])

    @property
    def names_song_drill(self) -> bool:
        """Whether it says what of a song it is of."""
        return bool(self.song) and self.kind != Kind.OTHER

    @property
    def has_voice(self) -> bool:
        """Whether it is sung or spoken."""
        return self.kind == Kind.SPOKEN or bool(self.voice)


@lru_cache(maxsize=1 << 16)
def _parse(text: str) -> DrillId:
    song, *rest = text.split("/")
    if not song or not rest:
        return DrillId(kind=Kind.PATTERN, name=text)
    if len(rest) == 2 and rest[0] == Kind.CORNER and (bar := _bar_number(rest[1])):
        return DrillId(kind=Kind.CORNER, name=song, bar=bar)
    return _parse_song_drill(song, *rest) or DrillId(song, kind=Kind.OTHER, name="/".join(rest))


def _parse_song_drill(song: str, arrangement: str, *about: str) -> DrillId | None:
    if not arrangement:
        return None
    words = list(about)
    voice = Voice.NONE
    # A part may itself be called `sing`, and a pattern too.
    if len(words) != 2 and words[-1:] in ([Voice.SING], [Voice.SING_FULL]) and words[0] != Kind.SPOKEN:
        voice = Voice(words.pop())
        if words and words[0] != Kind.PART:
            return None
    if not words:
        return DrillId(song, arrangement, voice=voice)
    kind = next((kind for kind in _NAMED if kind == words[0]), None)
    bar = 0
    if kind == Kind.CORNER and len(words) > 1 and (bar := _bar_number(words[-1])):
        words.pop()
    name = "/".join(words[1:])
    if kind is None or bool(bar) != (kind == Kind.CORNER) or not (name or bar):
        return None
    return DrillId(song, arrangement, kind, name, bar, voice)


def _bar_number(text: str) -> int:
    """The bar a word of an id counts, from 1; 0 where it is no number as ids have them."""
    plain = text.isascii() and text.isdecimal() and len(text) <= _LONGEST_NUMBER and not text.startswith("0")
    return int(text) if plain else 0

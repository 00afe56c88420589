"""An arrangement: how the guitar plays a chart. Key and capo, a pattern for each chord, shapes, stand-ins.

What is said for a bar stands before what is said for its part, and that before what is said for the arrangement.
Chord symbols and shapes in an arrangement are those of its own key.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from coach.errors import BadMusic
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.picking.layers import THUMB

PLAIN, FULL = "plain", "full"
NO_CHORD = "N"


@dataclass(frozen=True)
class BarWay:
    """How one bar of a part is played: another pattern, or lanes written out for it alone, or other shapes.

    lanes   (finger, tokens) as in a pattern file, over `slots` equal slots; () for none
    shapes  chord symbol -> shape; under `N` what is held where there is no chord, without which nothing is picked there
    why     why it was proposed, for a person to read
    """

    pattern: str = ""
    lanes: tuple[tuple[str, str], ...] = ()
    slots: int = 0
    shapes: Mapping[str, Shape] = field(default_factory=dict)
    why: str = ""


@dataclass(frozen=True)
class PartWay:
    """How a part is played.

    pattern   id of its pattern, "" for the arrangement's
    by_chord  chord symbol -> id of the pattern under it
    shapes    chord symbol -> shape
    stand_in  chord symbol -> what is played for it: another symbol, or `G:1@1` (G's shape, string 1 at fret 1)
    bars      bar of the part, from 0 -> its own way
    """

    pattern: str = ""
    by_chord: Mapping[str, str] = field(default_factory=dict)
    shapes: Mapping[str, Shape] = field(default_factory=dict)
    stand_in: Mapping[str, str] = field(default_factory=dict)
    bars: Mapping[int, BarWay] = field(default_factory=dict)


@dataclass(frozen=True)
class Arrangement:
    """One way to play a song.

    way       what holds for all parts; `way.pattern` is never ""
    key       the key the hand plays in; None for the chart's own
    capo      fret of the capo: all of it sounds that many semitones higher
    shift     semitones from the tune as charted to the tune as it sounds, None for the nearest that fits key and capo
    singing   layer under words
    early     the layer changes one bar before the words begin
    tempo     bpm it is meant for, None for the song's
    why       why it was proposed so, line by line
    """

    name: str
    way: PartWay
    parts: Mapping[str, PartWay] = field(default_factory=dict)
    key: Key | None = None
    capo: int = 0
    shift: int | None = None
    singing: str = THUMB
    early: bool = False
    tempo: Fraction | None = None
    why: tuple[str, ...] = ()


def pattern_under(arrangement: Arrangement, part: str, bar: int, chord: str) -> str:
    """The id of the pattern under a chord (its symbol in the arrangement's key) of a part's bar, from 0.

    "" where the bar has lanes written out for it alone.
    """
    way = arrangement.parts.get(part, PartWay())
    own, whole = way.bars.get(bar, BarWay()), arrangement.way
    if own.lanes:
        return ""
    return own.pattern or way.by_chord.get(chord) or way.pattern or whole.by_chord.get(chord) or whole.pattern


def read_stand_in(recipe: str) -> tuple[str, tuple[tuple[int, int], ...]]:
    """(chord symbol, ((string, fret), ...)) of `Am7`, `G:1@1` or `G:1@1:2@3`. Raises BadMusic."""
    symbol, *added = recipe.split(":")
    changes = []
    for text in added:
        string, at, fret = text.partition("@")
        if not (at and string in set("123456") and fret.isdecimal() and fret.isascii() and len(fret) <= 4):
            raise BadMusic(
                f"'{recipe}' is not a stand-in",
                mend="write another chord, like Am7, or a chord with one string changed, like G:1@1",
            )
        if int(fret) > HIGHEST_FRET:
            raise BadMusic(f"'{recipe}' goes past the end of the neck", mend=f"use frets 0 to {HIGHEST_FRET}")
        changes.append((int(string), int(fret)))
    Chord.parse(symbol)
    return symbol, tuple(changes)

"""The chart of a song: parts made of bars, each with its chords, words and tune; and the order they are sung in.

Everything in a chart is written in the song's `key`. An arrangement may move it to another key and put a capo on;
the chart itself stays as it was written.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from coach.guitar.shape import Shape
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.meter import Meter
from coach.music.notes import Pitch
from coach.song.arrangement import Arrangement

SOUND, HOLD, SILENT = "sound", "hold", "silent"


@dataclass(frozen=True)
class Word:
    """A word, a syllable or a few words said from `beat` of the bar on; a syllable that goes on ends in `-`."""

    beat: Fraction
    text: str


@dataclass(frozen=True)
class TuneNote:
    """One note of the tune, `length` beats long from `beat` of the bar; `tied` when it goes on the note before."""

    beat: Fraction
    length: Fraction
    pitch: Pitch
    tied: bool = False


@dataclass(frozen=True)
class ChartBar:
    """One written bar.

    chords   (beat, chord) in order, the first on beat 0; None is no chord
    words    what is sung in it; none means the guitar may open up
    tune     its melody where it is known
    beats    its length where it is not the meter's (a pick-up bar), in felt beats
    way      SOUND (the pattern goes on), HOLD (each chord is plucked once and rings) or SILENT (nobody plays)
    breaths  beats after which the singer breathes, where the chart says so
    """

    chords: tuple[tuple[Fraction, Chord | None], ...]
    words: tuple[Word, ...] = ()
    tune: tuple[TuneNote, ...] = ()
    beats: Fraction | None = None
    way: str = SOUND
    breaths: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class Part:
    """A verse, a chorus: bars in order, with a meter or tempo (bpm) of their own where they have one."""

    name: str
    bars: tuple[ChartBar, ...]
    meter: Meter | None = None
    tempo: Fraction | None = None


@dataclass(frozen=True)
class Song:
    """A song: its chart and its arrangements.

    id            the file's stem without `.song`
    tempo         felt beats a minute
    order         names of parts in the order they are played; each is in `parts`
    original      (key, bpm) it was moved from, each None where unknown
    voice         the tune's lowest and highest pitch as written, where known
    shapes        shapes pinned for the whole song, by chord symbol as written
    arrangements  by name, in the file's order
    source        where words and tune come from
    own           made by the player and not shipped
    """

    id: str
    title: str
    key: Key
    meter: Meter
    tempo: Fraction
    parts: Mapping[str, Part]
    order: tuple[str, ...]
    original: tuple[Key | None, Fraction | None] = (None, None)
    voice: tuple[Pitch, Pitch] | None = None
    shapes: Mapping[str, Shape] = field(default_factory=dict)
    arrangements: Mapping[str, Arrangement] = field(default_factory=dict)
    source: str = ""
    own: bool = False

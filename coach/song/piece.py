"""A piece: bars of plucks in the order they are played, with all that belongs to them.

It is the one thing that screen, sound and paper are made from, whether it comes of a song's arrangement or of a
pattern over a few chords. Nothing downstream asks where the plucks came from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from coach.guitar.tuning import STANDARD, Tuning
from coach.music.keys import Key
from coach.music.meter import Meter
from coach.music.tempo import TempoPlan
from coach.picking.layers import FULL, distinct_layers, plucks_in_layer
from coach.picking.pattern import Pattern
from coach.picking.plucks import Pluck
from coach.picking.realise import HeldBar, realise
from coach.song.chart import SOUND, TuneNote, Word


@dataclass(frozen=True)
class PieceBar:
    """One bar as it is played.

    number    from 0 through the piece; its plucks carry it too
    part      the part it belongs to, "" in a pattern's piece
    part_bar  which bar of the part, from 0
    time      which time round the part is played, from 0
    start     felt beats from the piece's beginning to its bar line
    beats     its length in felt beats; less than the meter's in a pick-up bar
    slots     the grid it is counted on: equal slots over the meter's whole bar
    bpm       felt beats a minute
    held      what the fretting hand holds
    plucks    every pluck of the full pattern, in order of beat and string
    layer     how much of them sounds
    words     what is sung; tune: the melody as it sounds; breaths: beats after which to breathe
    way       SOUND, HOLD (each chord plucked once rings on) or SILENT, as charted
    """

    number: int
    part: str
    part_bar: int
    time: int
    start: Fraction
    meter: Meter
    beats: Fraction
    slots: int
    bpm: Fraction
    held: HeldBar
    plucks: tuple[Pluck, ...]
    layer: str = FULL
    words: tuple[Word, ...] = ()
    tune: tuple[TuneNote, ...] = ()
    breaths: tuple[Fraction, ...] = ()
    way: str = SOUND

    @property
    def sounding(self) -> tuple[Pluck, ...]:
        """The plucks that sound in its layer."""
        return plucks_in_layer(self.plucks, self.layer)

    @property
    def slot_beats(self) -> Fraction:
        """Length of one slot in felt beats."""
        return Fraction(self.meter.beats, self.slots)

    @property
    def offset(self) -> Fraction:
        """Beats of the meter's bar that go by before it begins: those a pick-up leaves out, 0 in any other bar."""
        return max(self.meter.beats - self.beats, Fraction(0)) if self.part_bar == 0 else Fraction(0)

    @cached_property
    def share(self) -> Fraction:
        """The first half of a beat's share of it as this bar is played: 1/2 is straight, 2/3 a 2:1 swing."""
        for pluck in self.plucks:
            whole, written = divmod(pluck.beat + self.offset, 1)
            if written:
                heard, late = pluck.sounds_at + self.offset - whole, 2 * written - 1
                return heard / (2 * written) if late <= 0 else (heard - late) / (1 - late)
        return Fraction(1, 2)


@dataclass(frozen=True)
class Piece:
    """Bars in the order they are played.

    id            of the song or the pattern
    arrangement   its name, "" for a pattern
    key           the key the hand plays in, None where it does not matter
    capo          its fret; midi numbers of plucks and pitches of the tune have it counted in already
    order         names of the parts as played, () for a pattern
    """

    id: str
    title: str
    bars: tuple[PieceBar, ...]
    arrangement: str = ""
    key: Key | None = None
    capo: int = 0
    tuning: Tuning = STANDARD
    order: tuple[str, ...] = ()

    @cached_property
    def beats(self) -> Fraction:
        """Felt beats in all."""
        return self.bars[-1].start + self.bars[-1].beats if self.bars else Fraction(0)

    @cached_property
    def layers(self) -> tuple[str, ...]:
        """The layers that differ in it, from `thumb` to `full`."""
        return distinct_layers([pluck for bar in self.bars for pluck in bar.plucks])

    def plan(self, share: Fraction = Fraction(1)) -> TempoPlan:
        """Its tempos as a plan; `share` of them, for practising slower or faster."""
        parts: list[tuple[Fraction, Fraction, Fraction]] = []
        for bar in self.bars:
            if not parts or parts[-1][1] != bar.bpm * share:
                parts.append((bar.start, bar.bpm * share, Fraction(0)))
        return TempoPlan.build(parts)

    def layered(self, layers: Sequence[str]) -> Piece:
        """The same piece with a layer for each bar."""
        return replace(self, bars=tuple(replace(b, layer=n) for b, n in zip(self.bars, layers, strict=True)))

    def sung(self, under: str, *, early: bool = False) -> Piece:
        """The same piece for singing: `under` sounds where there are words, all of it where there are none."""
        return self.layered(singing_layers(self.bars, under, early=early))


def singing_layers(bars: Sequence[PieceBar], under: str, *, early: bool = False) -> tuple[str, ...]:
    """The layer of each bar when the voice sings: `under` in bars with words, `full` in those without.

    It changes at the bar line; with `early` already one bar before the words begin, so that the hand has settled.
    """
    wordy = [bool(bar.words) for bar in bars]
    ahead = [*wordy[1:], False]
    return tuple(under if here or (early and soon) else FULL for here, soon in zip(wordy, ahead, strict=True))


def pattern_piece(
    pattern: Pattern,
    held: Sequence[HeldBar],
    bpm: Fraction,
    *,
    loops: int = 1,
    layer: str = FULL,
    capo: int = 0,
    tuning: Tuning = STANDARD,
) -> Piece:
    """The piece of a pattern over the bars of a progression, `loops` times round."""
    by_bar: list[list[Pluck]] = [[] for _ in range(len(held) * loops)]
    for pluck in realise(pattern, held, loops=loops, tuning=tuning, capo=capo):
        by_bar[pluck.bar].append(pluck)
    beats = pattern.meter.beats
    bars = tuple(
        PieceBar(
            number=number,
            part="",
            part_bar=number % len(held),
            time=number // len(held),
            start=Fraction(number * beats),
            meter=pattern.meter,
            beats=Fraction(beats),
            slots=pattern.slots,
            bpm=bpm,
            held=held[number % len(held)],
            plucks=tuple(plucks),
            layer=layer,
        )
        for number, plucks in enumerate(by_bar)
    )
    return Piece(pattern.id, pattern.title, bars, capo=capo, tuning=tuning)

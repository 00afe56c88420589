"""A piece as it is put into a track: which of its plucks, clicks and tones sound, how often and how fast."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from coach.errors import BadInput
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.picking.plucks import swing_beat
from coach.song.piece import Piece, PieceBar
from coach.song.ties import join_ties
from coach.sound.score import BEAT, DOWN, BarScore, Stroke, Tone

# (bar of the track from 0, without the count-in; the piece's bar) -> bpm at its bar line and at its end
Tempos = Callable[[int, PieceBar], tuple[Fraction, Fraction]]


@dataclass(frozen=True)
class Sounding:
    """What of a piece sounds: the thumb's plucks, the fingers', the hummed tune, the click; bars counted in; loops."""

    thumb: bool = True
    fingers: bool = True
    voice: bool = True
    click: bool = True
    count_in: int = 1
    loops: int = 1


def as_written(_: int, bar: PieceBar) -> tuple[Fraction, Fraction]:
    """Each bar at its own tempo."""
    return bar.bpm, bar.bpm


def at_share(share: Fraction) -> Tempos:
    """Each bar at a share of its own tempo."""
    return lambda _, bar: (bar.bpm * share, bar.bpm * share)


def track_bars(piece: Piece, way: Sounding, tempos: Tempos = as_written) -> list[BarScore]:
    """The bars of the track, the count-in first. Raises BadInput when a bar would be too slow or too fast to be told.

    Before a pick-up the count-in goes on until the beat where it comes in (common practice, no source).
    """
    bars = list(_counted_in(piece, way, tempos))
    tones = hummed(piece.bars) if way.voice else [()] * len(piece.bars)
    for n in range(way.loops * len(piece.bars)):
        k = n % len(piece.bars)
        bar = piece.bars[k]
        start, end = _checked(tempos(n, bar), bar)
        plucks = tuple(p for p in bar.sounding if (way.thumb if p.finger == "p" else way.fingers))
        strokes = _every_click(bar.beats, bar.offset) if way.click else ()
        bars.append(BarScore(len(bars), bar.beats, start, end, strokes, plucks, tones[k]))
    return bars


def plucks_in(bars: Sequence[BarScore]) -> int:
    """How many plucks sound in all."""
    return sum(len(bar.plucks) for bar in bars)


def _counted_in(piece: Piece, way: Sounding, tempos: Tempos) -> Iterator[BarScore]:
    first = piece.bars[0]
    bpm, _ = _checked(tempos(0, first), first)
    if not way.count_in:
        return
    whole = Fraction(first.meter.beats)
    for number, beats in enumerate([whole] * way.count_in + [first.offset]):
        if beats:
            yield BarScore(number, beats, bpm, bpm, _every_click(beats))


def click_strokes(beats: Iterable[int], offset: Fraction, length: Fraction) -> tuple[Stroke, ...]:
    """Clicks on those beats of a meter's bar that lie in a bar `length` beats long which begins `offset` into it."""
    placed = ((beat, beat - offset) for beat in beats)
    return tuple(Stroke(at, DOWN if beat == 0 else BEAT) for beat, at in placed if 0 <= at < length)


def _every_click(length: Fraction, offset: Fraction = Fraction(0)) -> tuple[Stroke, ...]:
    return click_strokes(range(ceil(offset + length)), offset, length)


def hummed(bars: Sequence[PieceBar]) -> tuple[tuple[Tone, ...], ...]:
    """The tones that begin in each bar: tied notes are one, off-beats swing with the guitar."""
    return tuple(
        tuple(_tone(bar, note.beat, note.beat + note.length, note.pitch.midi) for note in notes)
        for bar, notes in zip(bars, join_ties(bars), strict=True)
    )


def _tone(bar: PieceBar, begins: Fraction, ends: Fraction, midi: int) -> Tone:
    first, last = (swing_beat(beat + bar.offset, bar.share) - bar.offset for beat in (begins, ends))
    return Tone(first, last - first, midi)


def _checked(tempos: tuple[Fraction, Fraction], bar: PieceBar) -> tuple[Fraction, Fraction]:
    for bpm in tempos:
        if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
            where = f" in {bar.part}" if bar.part else ""
            raise BadInput(
                f"bar {bar.number + 1}{where} would be played at {float(bpm):.4g} bpm",
                mend=f"choose a tempo so that every bar keeps within {SLOWEST_BPM} and {FASTEST_BPM} bpm",
            )
    return tempos

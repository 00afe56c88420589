"""What is written out of a piece: each part once where it comes again unchanged, its held chords, swing and key."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from coach.music.keys import KEYS, Key
from coach.song.chart import HOLD
from coach.song.piece import Piece, PieceBar

FERMATA, LET_RING = "fermata", "let ring"
STRAIGHT = Fraction(1, 2)
_LARGEST = 24  # of a ratio's numbers: a share given as 0.6667 is meant to be 2:1


@dataclass(frozen=True)
class WrittenPart:
    """Bars as they are written once.

    name     of the part, "" in a pattern's piece
    bars     as they are played the first time
    times    which times round (from 1) are played exactly so
    of       how many times round there are in all
    """

    name: str
    bars: tuple[PieceBar, ...]
    times: tuple[int, ...]
    of: int

    @property
    def heading(self) -> str:
        """`Verse`, `Verse, time 1 and 3`; for a pattern `` or `3 times round`."""
        times = " and ".join(map(str, self.times))
        if not self.name:
            same = f"{self.of} times round" if self.of > 1 else ""
            return same if len(self.times) == self.of else f"Time {times} round"
        return self.name if len(self.times) == self.of else f"{self.name}, time {times}"


def written_parts(piece: Piece) -> tuple[WrittenPart, ...]:
    """The parts of a piece in the order they first come; one that is played in two ways is written twice."""
    parts: dict[tuple[str, tuple[PieceBar, ...]], tuple[tuple[PieceBar, ...], list[int]]] = {}
    of: dict[str, int] = {}
    for (name, time), run in groupby(piece.bars, key=lambda bar: (bar.part, bar.time)):
        bars = tuple(run)
        of[name] = of.get(name, 0) + 1
        parts.setdefault((name, tuple(map(_without_place, bars))), (bars, []))[1].append(time + 1)
    return tuple(WrittenPart(name, bars, tuple(times), of[name]) for (name, _), (bars, times) in parts.items())


def held_mark(bar: PieceBar, piece: Piece) -> str:
    """The mark at a bar whose chords ring on: FERMATA where the piece ends with it, else LET_RING; "" elsewhere.

    Inside a piece the beat goes on under a chord that rings; only on the last one does a player wait as long as they
    like (common practice, no source).
    """
    if bar.way != HOLD or not bar.sounding:
        return ""
    return FERMATA if bar.number == piece.bars[-1].number else LET_RING


def _without_place(bar: PieceBar) -> PieceBar:
    """The bar without its place in the piece, to compare it with others."""
    plucks = tuple(replace(pluck, bar=0) for pluck in bar.plucks)
    return replace(bar, number=0, time=0, start=Fraction(0), plucks=plucks)


def key_behind_capo(key: Key, capo: int) -> Key:
    """The key in which shapes of `key` sound behind a capo, with the fewest accidentals, sharps before flats."""
    if not capo % 12:
        return key
    wanted = (key.tonic.pitch_class + capo) % 12
    same = (k for k in KEYS if k.minor == key.minor and k.tonic.pitch_class == wanted)
    return min(same, key=lambda k: (abs(k.signature), k.signature < 0))


def swing_changes(bars: Sequence[PieceBar]) -> dict[int, Fraction]:
    """Bar numbers where the first half's share of a beat becomes another one; straight at first.

    A bar with all its plucks on the beat does not show its swing. In a compound meter the halves of a beat are no
    notes of their own, so nothing is said to swing there.
    """
    changes: dict[int, Fraction] = {}
    last = STRAIGHT
    for bar in bars:
        shows = not bar.meter.compound and any((p.beat + bar.offset).denominator > 1 for p in bar.plucks)
        if shows and bar.share != last:
            changes[bar.number] = last = bar.share
    return changes


def swing_ratio(share: Fraction) -> tuple[int, int]:
    """A share as first : second in small whole numbers; 2/3 is 2:1 (Friberg & Sundstrom 2002: share = r/(1 + r))."""
    small = (share / (1 - share)).limit_denominator(_LARGEST)
    return small.numerator, small.denominator

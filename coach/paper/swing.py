"""How much a piece swings, found from its plucks: where they are written and where they are played."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.picking.plucks import Pluck
from coach.song.piece import PieceBar

STRAIGHT = Fraction(1, 2)
_LARGEST = 24  # of a ratio's numbers: a share given as 0.6667 is meant to be 2:1


def share_of(bar: PieceBar) -> Fraction | None:
    """The first half's share of each beat in this bar, None where no pluck tells it.

    In a compound meter the halves of a beat are no notes of their own, so nothing is said to swing there.
    """
    if bar.meter.compound:
        return None
    return next((share for share in map(_share, bar.plucks) if share is not None), None)


def _share(pluck: Pluck) -> Fraction | None:
    """The inverse of `swung`: the beat is stretched before its middle and squeezed after."""
    whole, part = divmod(pluck.beat, 1)
    played = pluck.sounds_at - whole
    if part == 0:
        return None
    if part <= STRAIGHT:
        return played / (2 * part)
    along = 2 * part - 1
    return (played - along) / (1 - along)


def swing_changes(bars: Sequence[PieceBar]) -> dict[int, Fraction]:
    """Bar numbers where the swing becomes another one, with its share; straight until told otherwise."""
    found: dict[int, Fraction] = {}
    last = STRAIGHT
    for bar in bars:
        share = share_of(bar)
        if share is not None and share != last:
            found[bar.number] = last = share
    return found


def ratio(share: Fraction) -> tuple[int, int]:
    """A share as first : second in small whole numbers; 2/3 is 2:1 (Friberg & Sundstrom 2002: share = r/(1 + r))."""
    small = (share / (1 - share)).limit_denominator(_LARGEST)
    return small.numerator, small.denominator

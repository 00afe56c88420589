"""Where a piece begins to swing, or swings otherwise, and how a swing is written as a ratio."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from coach.song.piece import PieceBar

STRAIGHT = Fraction(1, 2)
_LARGEST = 24  # of a ratio's numbers: a share given as 0.6667 is meant to be 2:1


def swing_changes(bars: Sequence[PieceBar]) -> dict[int, Fraction]:
    """Bar numbers where the first half's share of a beat becomes another one; straight until told otherwise.

    A bar with all its plucks on the beat tells nothing. In a compound meter the halves of a beat are no notes of their
    own, so nothing is said to swing there.
    """
    found: dict[int, Fraction] = {}
    last = STRAIGHT
    for bar in bars:
        tells = not bar.meter.compound and any((p.beat + bar.offset).denominator > 1 for p in bar.plucks)
        if tells and bar.share != last:
            found[bar.number] = last = bar.share
    return found


def ratio(share: Fraction) -> tuple[int, int]:
    """A share as first : second in small whole numbers; 2/3 is 2:1 (Friberg & Sundstrom 2002: share = r/(1 + r))."""
    small = (share / (1 - share)).limit_denominator(_LARGEST)
    return small.numerator, small.denominator

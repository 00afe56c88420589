"""The neck in millimetres: where the frets lie, where a finger stands, how far two of them are apart.

    nut                                              bridge
     |----------|---------|--------|--- ... -----------|
     0    fret 1         2        3                 scale

Fret n lies at L(1 - 2^(-n/12)) from the nut of a string of length L: the twelfth root of two (M. Koch,
Building Electric Guitars). A finger stands in the middle between its fret and the one before. A capo
makes a shorter neck: frets are then counted from it, and every stretch is 2^(-capo/12) as long.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from coach.guitar.shape import HIGHEST_FRET


@dataclass(frozen=True)
class Neck:
    """A neck of open string length `scale_mm`, in millimetres, with a capo at fret `capo` (0 for none)."""

    scale_mm: float = 648.0
    capo: int = 0

    @property
    def string_mm(self) -> float:
        """The length that sounds when a string is open: from the capo, or the nut, to the bridge."""
        return float(self.scale_mm * 2 ** (-self.capo / 12))

    def bridge_mm(self, fret: int) -> float:
        """From the bridge to fret `fret`."""
        return float(self.string_mm * 2 ** (-fret / 12))

    def fret_mm(self, fret: int) -> float:
        """From the capo, or the nut, to fret `fret`."""
        return self.string_mm - self.bridge_mm(fret)

    def finger_mm(self, fret: int) -> float:
        """From the capo, or the nut, to where a finger that holds `fret` (1 or more) stands."""
        return (self.fret_mm(fret - 1) + self.fret_mm(fret)) / 2

    def stretch_mm(self, fret: int, other_fret: int) -> float:
        """How far apart along the neck two fingers stand that hold these frets."""
        return abs(self.finger_mm(fret) - self.finger_mm(other_fret))

    @cached_property
    def fingers_mm(self) -> tuple[float, ...]:
        """`finger_mm` of every fret that is left above the capo; at 0, where no finger stands, the nut itself."""
        return (0.0, *(self.finger_mm(fret) for fret in range(1, HIGHEST_FRET - self.capo + 1)))

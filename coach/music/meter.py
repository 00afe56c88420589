"""Meters: how many beats a bar has, how long one beat is, and how a bar is counted aloud.

In the compound meters (6/8, 9/8, 12/8) the beat that is felt, clicked and set by the tempo is the
dotted quarter: 6/8 has two beats of three eighths. In all others it is the written lower number.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from coach.errors import BadMusic

_COMPOUND = {6, 9, 12}


@dataclass(frozen=True)
class Meter:
    """A time signature, `upper` over `lower`."""

    upper: int
    lower: int

    @property
    def compound(self) -> bool:
        """True where the beat is a dotted quarter."""
        return self.lower == 8 and self.upper in _COMPOUND

    @property
    def beats(self) -> int:
        """Felt beats in a bar."""
        return self.upper // 3 if self.compound else self.upper

    @property
    def quarters_per_beat(self) -> Fraction:
        """Length of a beat in quarter notes: 1 in 4/4, 3/2 in 6/8."""
        return Fraction(3, 2) if self.compound else Fraction(4, self.lower)

    def slot_beat(self, slot: int, slots: int) -> Fraction:
        """Where the slot `slot` of a bar of `slots` equal slots falls, in beats from the bar line."""
        return Fraction(slot * self.beats, slots)

    def __str__(self) -> str:
        return f"{self.upper}/{self.lower}"

    @classmethod
    def parse(cls, text: str) -> Meter:
        """Read one of the meters this style uses. Raises BadMusic."""
        meter = METERS.get(text.strip()) if isinstance(text, str) else None
        if meter is None:
            raise BadMusic(f"'{text}' is not a meter known here", mend="use one of " + ", ".join(METERS))
        return meter


METERS = {f"{u}/{d}": Meter(u, d) for u, d in ((2, 4), (3, 4), (4, 4), (6, 8), (9, 8), (12, 8), (5, 4))}
FOUR_FOUR = METERS["4/4"]

# How a beat is counted when it is cut into this many parts (common practice, no source).
_COUNTS = {1: ("",), 2: ("", "&"), 3: ("", "&", "a"), 4: ("", "e", "&", "a"), 6: ("", "·", "&", "·", "a", "·")}


def count_syllables(meter: Meter, slots: int) -> tuple[str, ...]:
    """What is said on each slot of a bar: `1 & 2 &`, `1 e & a`, or `1 2 3 4 5 6` in 6/8.

    A slot with nothing usual to say gets "·".
    """
    if meter.compound:
        per = Fraction(slots, meter.upper)
        return tuple(
            str(int(s / per) + 1) if s % per == 0 else "&" if s % per == per / 2 else "·" for s in range(slots)
        )
    per_beat = Fraction(slots, meter.beats)
    if per_beat.denominator == 1 and int(per_beat) in _COUNTS:
        words = _COUNTS[int(per_beat)]
        return tuple(words[s % len(words)] or str(s // len(words) + 1) for s in range(slots))
    beats = (meter.slot_beat(s, slots) for s in range(slots))
    return tuple(str(int(b) + 1) if b.denominator == 1 else "·" for b in beats)


def beat_text(beat: Fraction) -> str:
    """A beat as players count, from 1: `2`, `2 1/2`."""
    whole, part = divmod(beat, 1)
    return f"{whole + 1}" + (f" {part}" if part else "")

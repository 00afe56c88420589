"""The pluck: one string sounding once. Everything downstream (screen, sound, ear, paper) is made of these."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

SOFT, PLAIN, ACCENT = "soft", "plain", "accent"
FINGER_WORDS = {"p": "thumb", "i": "index", "m": "middle", "a": "ring"}


@dataclass(frozen=True)
class Pluck:
    """One string sounding once.

    bar       counted from 0 through the whole realised progression
    beat      written place in the bar, in beats from the bar line (exact)
    sounds_at where it is played, in beats from the bar line: `beat` moved by the swing, if any
    string    6 (lowest) to 1
    fret      0 is the open string (or the capo)
    midi      sounding note number
    finger    p, i, m or a
    role      r, a or f for the thumb's bass notes, "-" for the fingers
    stress    soft (a ghost), plain or accent
    why       what was moved to make it playable on this shape, "" when nothing was
    """

    bar: int
    beat: Fraction
    sounds_at: Fraction
    string: int
    fret: int
    midi: int
    finger: str
    role: str
    stress: str = PLAIN
    why: str = ""

    @property
    def bass(self) -> bool:
        """True for a note of the thumb."""
        return self.role != "-"


def swing_beat(beat: Fraction, share: Fraction) -> Fraction:
    """Where a written beat is played when the first half of each beat takes `share` of it.

    The beat is stretched before its middle and squeezed after: 1/2 goes to `share`. A swing ratio r:1
    is a share of r/(1+r) (Friberg & Sundstrom 2002): 2:1 is 2/3, 1:1 is straight.
    """
    whole, part = divmod(beat, 1)
    half = Fraction(1, 2)
    bent = part / half * share if part < half else share + (part - half) / half * (1 - share)
    return whole + bent

"""Which strings a shape gives the thumb: root, alternate and fifth (second alternate), by rule.

The thumb owns strings 6, 5 and 4 and borrows 3 where the root lies on 4 (common practice, no source):

    root on 6   root 6, alternate 4, second alternate 5      G 320003:  6 4 5 4
    root on 5   root 5, alternate 4, second alternate 6      Am 002210: 5 4 6 4
    root on 4   root 4, alternate 3, second alternate 5      D x00232:  4 3 5 3

The root is the lowest of strings 6 to 4 that sounds the note wanted in the bass (the slash bass, or
the root). A second alternate that the shape mutes falls back to the root: C x32010 goes 5 4 5 4.
"""

from __future__ import annotations

from dataclasses import dataclass

from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord

THUMB_STRINGS = (6, 5, 4)

# Which strings come next for the thumb, best first, by the string the root lies on.
_ALTERNATES = {6: (4, 5, 3), 5: (4, 3, 6), 4: (3, 5, 6), 3: (4, 2, 5), 2: (3, 4, 5), 1: (2, 3, 4)}
_SECOND_ALTERNATES = {6: (5, 4), 5: (6, 4), 4: (5, 6), 3: (4, 5), 2: (3, 4), 1: (2, 3)}


@dataclass(frozen=True)
class Bass:
    """The strings (6..1) of a shape's root, alternate and fifth bass."""

    r: int
    a: int
    f: int

    def string(self, role: str) -> int:
        """The string for role `r`, `a` or `f`."""
        return {"r": self.r, "a": self.a, "f": self.f}[role]

    def role(self, string: int) -> str:
        """The role a thumb note on `string` plays; a string with none of the three counts as an alternate."""
        return "r" if string == self.r else "f" if string == self.f != self.a else "a"


def bass_of(shape: Shape, chord: Chord | None, tuning: Tuning = STANDARD) -> Bass:
    """The bass strings of `shape` when it stands for `chord`; always strings that sound."""
    sounding = shape.sounding
    wanted = chord.lowest.pitch_class if chord else None
    roots = [s for s in sounding if (shape.midi(s, tuning) or 0) % 12 == wanted]
    root = next((s for s in roots if s in THUMB_STRINGS), sounding[0])
    alternate = next((s for s in _ALTERNATES[root] if s in sounding), root)
    spare = [s for s in _SECOND_ALTERNATES[root] if s in sounding and s not in (root, alternate)]
    fifth_pc = chord.fifth.pitch_class if chord else None
    # A string that sounds the chord's own fifth comes before one that sounds another chord tone.
    spare.sort(key=lambda s: (shape.midi(s, tuning) or 0) % 12 != fifth_pc)
    return Bass(root, alternate, spare[0] if spare else root)

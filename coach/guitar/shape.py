"""A left-hand shape: the fret of each string, which strings are muted, and the fingers.

x32010          8(10)(10)988
||||||
string 6..1     `x` muted, digits are frets, frets over 9 in brackets
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from coach.errors import BadShape
from coach.guitar.tuning import STANDARD, STRINGS, Tuning

HIGHEST_FRET = 24
_CELL = re.compile(r"[xX]|\d|\((\d{1,2})\)")


@dataclass(frozen=True)
class Shape:
    """Frets of string 6 to string 1, None where muted; `fingers` the same way: `1 2 3 4 T` or `.`."""

    frets: tuple[int | None, ...]
    fingers: str = "......"

    def fret(self, string: int) -> int | None:
        """Fret of `string` (6..1), None where it is muted."""
        return self.frets[6 - string]

    def midi(self, string: int, tuning: Tuning = STANDARD, capo: int = 0) -> int | None:
        """Sounding MIDI number of `string`, None where it is muted."""
        fret = self.fret(string)
        return None if fret is None else tuning.open_midi(string) + capo + fret

    @property
    def sounding(self) -> tuple[int, ...]:
        """The strings that sound, lowest first."""
        return tuple(s for s in STRINGS if self.fret(s) is not None)

    def __str__(self) -> str:
        return "".join("x" if f is None else str(f) if f <= 9 else f"({f})" for f in self.frets)

    @classmethod
    def parse(cls, text: str, fingers: str = "......") -> Shape:
        """Read a shape as drawn above. Raises BadShape."""
        cells, at = [], 0
        body = text.strip()
        while at < len(body):
            match = _CELL.match(body, at)
            if match is None:
                raise BadShape(
                    f"'{text}' has '{body[at]}' in it",
                    mend="a shape is six of x or a fret, string 6 first, like x32010 or 8(10)(10)988",
                )
            cells.append(match)
            at = match.end()
        if len(cells) != 6:
            raise BadShape(
                f"'{text}' has {len(cells)} strings, not 6",
                mend="write string 6 first, like x32010; frets over 9 in brackets",
            )
        frets = tuple(None if c.group() in "xX" else int(c.group(1) or c.group()) for c in cells)
        if any(f is not None and f > HIGHEST_FRET for f in frets):
            raise BadShape(f"'{text}' goes past fret {HIGHEST_FRET}", mend="use frets 0 to 24")
        if all(f is None for f in frets):
            raise BadShape(f"'{text}' mutes every string", mend="let at least one string sound")
        return cls(frets, fingers)

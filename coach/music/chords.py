"""Chord symbols and their tones: `C Am F/C Bbmaj7 D7 Cadd9 Dsus4 D/F# N`.

A quality is a row of (letter steps, semitones) above the root, so tones come out properly spelled:
the third of D is F#, the third of Ab is C, the third of Abm is Cb.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

from coach.errors import BadMusic
from coach.music.notes import Note

Interval = tuple[int, int]
ROOT: Interval = (0, 0)
SECOND, NINTH = (1, 2), (8, 14)
MINOR_THIRD, MAJOR_THIRD = (2, 3), (2, 4)
FOURTH = (3, 5)
FLAT_FIFTH, FIFTH, SHARP_FIFTH = (4, 6), (4, 7), (4, 8)
SIXTH = (5, 9)
DIM_SEVENTH, MINOR_SEVENTH, MAJOR_SEVENTH = (6, 9), (6, 10), (6, 11)

# The usual spellings first; the tones of each by interval (any harmony handbook; common practice).
QUALITIES: dict[str, tuple[Interval, ...]] = {
    "": (ROOT, MAJOR_THIRD, FIFTH),
    "m": (ROOT, MINOR_THIRD, FIFTH),
    "5": (ROOT, FIFTH),
    "dim": (ROOT, MINOR_THIRD, FLAT_FIFTH),
    "aug": (ROOT, MAJOR_THIRD, SHARP_FIFTH),
    "sus2": (ROOT, SECOND, FIFTH),
    "sus4": (ROOT, FOURTH, FIFTH),
    "6": (ROOT, MAJOR_THIRD, FIFTH, SIXTH),
    "m6": (ROOT, MINOR_THIRD, FIFTH, SIXTH),
    "7": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH),
    "maj7": (ROOT, MAJOR_THIRD, FIFTH, MAJOR_SEVENTH),
    "m7": (ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH),
    "m7b5": (ROOT, MINOR_THIRD, FLAT_FIFTH, MINOR_SEVENTH),
    "dim7": (ROOT, MINOR_THIRD, FLAT_FIFTH, DIM_SEVENTH),
    "7sus4": (ROOT, FOURTH, FIFTH, MINOR_SEVENTH),
    "add9": (ROOT, MAJOR_THIRD, FIFTH, NINTH),
    "madd9": (ROOT, MINOR_THIRD, FIFTH, NINTH),
    "9": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH),
    "m9": (ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH),
    "maj9": (ROOT, MAJOR_THIRD, FIFTH, MAJOR_SEVENTH, NINTH),
}
_OTHER_SPELLINGS = {
    "M": "",
    "maj": "",
    "min": "m",
    "-": "m",
    "M7": "maj7",
    "min7": "m7",
    "-7": "m7",
    "sus": "sus4",
    "+": "aug",
}

_SYMBOL = re.compile(r"([A-G](?:##|#|bb|b|))([^/]*)(?:/(.+))?")


@dataclass(frozen=True)
class Chord:
    """A chord: `root`, `quality` (a key of QUALITIES) and the bass note where it is not the root."""

    root: Note
    quality: str = ""
    bass: Note | None = None

    @property
    def tones(self) -> tuple[Note, ...]:
        """The chord's tones from the root up, spelled; a foreign bass note is not among them."""
        return tuple(self.root.up(steps, semitones) for steps, semitones in QUALITIES[self.quality])

    @property
    def lowest(self) -> Note:
        """The note wanted in the bass."""
        return self.bass or self.root

    @property
    def fifth(self) -> Note:
        """The chord's fifth as it stands in it (flat in a diminished, sharp in an augmented chord)."""
        steps, semitones = next((i for i in QUALITIES[self.quality] if i[0] == 4), FIFTH)
        return self.root.up(steps, semitones)

    def __str__(self) -> str:
        return f"{self.root}{self.quality}" + (f"/{self.bass}" if self.bass else "")

    @classmethod
    def parse(cls, text: str) -> Chord:
        """Read a chord symbol. Raises BadMusic that names the nearest symbol understood."""
        match = _SYMBOL.fullmatch(text.strip())
        if match is None:
            raise BadMusic(f"'{text}' is not a chord", mend="write a symbol like C, Am, F#m7, D/F# or N for no chord")
        root, quality, bass = match.groups()
        quality = _OTHER_SPELLINGS.get(quality, quality)
        if quality not in QUALITIES:
            near = difflib.get_close_matches(quality, QUALITIES, n=1, cutoff=0.3)
            hint = f"did you mean {root}{near[0]}?" if near else f"try plain {root}"
            raise BadMusic(f"'{text}' is not a chord known here", mend=hint)
        return cls(Note.parse(root), quality, Note.parse(bass) if bass else None)


def read_bars(text: str) -> tuple[tuple[Chord | None, ...], ...]:
    """Read `"C | F G | C"`: bars parted by `|`, the chords of a bar by blanks; N (None) is no chord.

    Raises BadMusic with the bar's number (from 1) on an empty bar or an unknown chord.
    """
    bars: list[tuple[Chord | None, ...]] = []
    for number, bar in enumerate(text.strip().strip("|").split("|"), start=1):
        symbols = bar.split()
        if not symbols:
            raise BadMusic("there is no chord", where=f"bar {number}", mend="write a chord, or N for none")
        try:
            bars.append(tuple(None if s == "N" else Chord.parse(s) for s in symbols))
        except BadMusic as error:
            raise error.at(f"bar {number}") from None
    return tuple(bars)
